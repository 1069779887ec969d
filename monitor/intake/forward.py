"""Samples on their way to a broker: kept while there is none, sent in order, dropped when received.

Used by `brooder read-wires`. A sample leaves the store only when the broker has acknowledged it
(QoS 1). Packs are SenML JSON (RFC 8428) with the time of each sample, so what was kept for an hour
comes with its own time."""

import json
import logging
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode

from monitor.intake.link import BrokerAddress, words_for_failure
from monitor.intake.plain_client import plain_client, secure
from monitor.intake.wires import WireSample

log = logging.getLogger(__name__)

MOST_KEPT = 100_000  # a day of eight sensors every ten seconds is 69,120; about 30 MB at worst
IN_ONE_PACK = 100
CLOCK_SET_AFTER = 1_700_000_000.0  # a board that believes it is earlier has never asked the time


class Forwarder:
    def __init__(
        self,
        address: BrokerAddress,
        *,
        prefix: str,
        names: Mapping[str, str] | None = None,
        now: Callable[[], float],
        on_words: Callable[[str], None] = log.info,
        most_kept: int = MOST_KEPT,
    ) -> None:
        self._address = address
        self._prefix = prefix.rstrip("/")
        self._names = dict(names or {})
        self._now = now
        self._on_words = on_words
        self._said = ""
        self._kept: deque[WireSample] = deque(maxlen=most_kept)
        self._ready = threading.Condition()  # never held while paho is called
        self._connected = False
        self._stopping = False
        self._sender = threading.Thread(target=self._send_all, daemon=True)
        self._client = plain_client(self._on_connect)
        self._client.on_connect_fail = self._on_connect_fail
        self._client.on_disconnect = self._on_disconnect

    def start(self) -> None:
        """Connect in the background. Raises OSError for certificate files that cannot be read."""
        secure(self._client, self._address)
        self._client.connect_async(self._address.host, self._address.real_port, keepalive=30)
        self._client.loop_start()
        self._sender.start()

    def stop(self, within_s: float = 5.0) -> int:
        """Send what can be sent, end, and say how many samples are lost."""
        with self._ready:
            self._stopping = True
            self._ready.notify_all()
        self._sender.join(within_s if self._connected else 0.0)
        self._client.disconnect()
        ending = threading.Thread(target=self._client.loop_stop, daemon=True)
        ending.start()
        ending.join(within_s)
        return self.kept

    @property
    def kept(self) -> int:
        """Samples that the broker does not have yet."""
        return len(self._kept)

    def add(self, sample: WireSample) -> None:
        """Keep, and send when possible. When the store is full, the oldest goes."""
        with self._ready:
            self._kept.append(sample)
            self._ready.notify_all()

    def topic_of(self, sensor: str) -> str:
        return f"{self._prefix}/{self._names.get(sensor, sensor)}"

    def _send_all(self) -> None:
        while True:
            with self._ready:
                while not (self._connected and self._kept):
                    if self._stopping:
                        return
                    self._ready.wait()
                sensor = self._kept[0].sensor
                pack = [one for one in self._kept if one.sensor == sensor][:IN_ONE_PACK]
            info = self._client.publish(self.topic_of(sensor), self._pack(pack), qos=1)
            if info.rc is MQTTErrorCode.MQTT_ERR_QUEUE_SIZE:
                time.sleep(1.0)
                continue
            # When the connection is lost meanwhile, paho itself sends it again on the next.
            while not info.is_published():
                info.rc = MQTTErrorCode.MQTT_ERR_SUCCESS  # else waiting raises for a lost network
                info.wait_for_publish(1.0)
                if self._hopeless():
                    return
            self._forget(pack)

    def _hopeless(self) -> bool:
        return self._stopping and not self._connected

    def _forget(self, pack: list[WireSample]) -> None:
        """Usually the first of the store; a full store may have let go of some meanwhile."""
        arrived = {id(sample) for sample in pack}
        with self._ready:
            left = [one for one in self._kept if id(one) not in arrived]
            self._kept.clear()
            self._kept.extend(left)

    def _pack(self, samples: list[WireSample]) -> str:
        now = self._now()
        relative = now < CLOCK_SET_AFTER
        records: list[dict[str, Any]] = []
        for sample in samples:
            record: dict[str, Any] = {"n": sample.sensor}
            # SenML: a time below 2**28 counts from now, so a board without the time says how old.
            record["t"] = round(sample.at - now if relative else sample.at, 3)
            if sample.temp_c is None:
                record["vs"] = sample.fault
            else:
                record |= {"u": "Cel", "v": round(sample.temp_c, 4)}
            records.append(record)
        return json.dumps(records, separators=(",", ":"))

    # --- paho's callbacks, in its thread --------------------------------------------------------

    def _on_connect(self, reason: ReasonCode) -> None:
        if reason.is_failure:
            self._say(f"{self._address} refuses the connection: {reason.getName()}")
            return
        self._say(f"connected to {self._address}")
        with self._ready:
            self._connected = True
            self._ready.notify_all()

    def _on_connect_fail(self, *_: Any) -> None:
        self._say(words_for_failure(self._address, sys.exc_info()[1]) + "; samples are kept")

    def _on_disconnect(self, *_: Any) -> None:
        # What was on its way stays with paho, which sends it again; its sample stays here as well.
        if self._connected:
            self._connected = False
            self._say(f"the connection to {self._address} was lost; samples are kept")

    def _say(self, words: str) -> None:
        if words != self._said:
            self._said = words
            self._on_words(words)
