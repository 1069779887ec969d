# A temperature probe: MicroPython on a Wi-Fi board with DS18B20 sensors.
#
# Reads each sensor, keeps what cannot be sent, and publishes SenML (RFC 8428) over MQTT 3.1.1 with
# QoS 1. A reading is forgotten when the broker has acknowledged it, which may take half a minute:
# where the broker keeps readings on a card, it writes several at once. So the next readings are
# taken and sent meanwhile. What was not acknowledged when a connection ends goes out again on the
# next as it was, with its packet identifier and DUP (MQTT 3.1.1, section 4.4), so that it is
# counted once. A watchdog starts the board anew if anything hangs. Needs nothing but MicroPython
# 1.20 or later, this file and settings.py.
import binascii
import json
import select
import socket
import struct
import time

import machine
import network
import ntptime
import onewire

import ds18x20
import settings

WATCHDOG_MS = 120000  # longer than the longest wait below
WIFI_WITHIN_S = 20
NETWORK_WITHIN_S = 10  # to connect, and for the rest of a packet that has begun
# For an acknowledgement. The broker inside the monitor gives it within 20 s, and 30 s more if its
# disk hangs. A ping is answered at once, so silence for so long after one is a dead connection.
ANSWER_WITHIN_S = 60
PONG_WITHIN_S = 20
MOST_FLYING = 8  # messages sent and not yet acknowledged
MOST_KEPT = 1500  # in memory; four hours of one sensor every ten seconds
MOST_KEPT_ASLEEP = 200  # in the 2 KiB that outlast deep sleep
IN_ONE_PACK = 20
CLOCK_EVERY_S = 6 * 3600
# MicroPython counts from 2000 on most boards and from 1970 on some.
EPOCH_S = 946684800 if time.gmtime(0)[0] == 2000 else 0
SURELY_SET = 1700000000 - EPOCH_S  # a clock that shows less has never been set

# Faults travel in a reading's place as one of these numbers.
FAULTS = {
    32001: "the sensor's checksum is wrong: a long or disturbed wire",
    32002: "the sensor sends its power-up value (85.0 C): it lost power for a moment",
    32003: "the bus is shorted (all zeros)",
    32004: "the sensor does not answer: unplugged, or its wire is broken",
}
RECORD_FORMAT = "<IBh"  # time, number of the sensor, sixteenths of a degree or a fault
RECORD_BYTES = 7


class Broker:
    """The little of MQTT 3.1.1 that a probe needs."""

    def __init__(self):
        self.socket = None
        self.poll = None
        self.clean = True  # after power-up: nothing that was open before is known any more
        self.heard = 0  # ticks of the broker's last packet
        self.pinged = None  # ticks of a ping that is not answered yet

    def connect(self):
        address = socket.getaddrinfo(settings.BROKER, settings.PORT)[0][-1]
        plain = socket.socket()
        plain.settimeout(NETWORK_WITHIN_S)
        try:
            plain.connect(address)
            self.socket = secured(plain) if settings.TLS else plain
        except Exception:
            plain.close()
            raise
        name = "probe-" + binascii.hexlify(machine.unique_id()).decode()
        flags, fields = 2 if self.clean else 0, text(name)
        if settings.USERNAME is not None:
            flags |= 0x80
            fields += text(settings.USERNAME)
            if settings.PASSWORD is not None:
                flags |= 0x40
                fields += text(settings.PASSWORD)
        keep_alive = min(65535, max(60, 3 * settings.EVERY_S))
        self.send(0x10, text("MQTT") + bytes([4, flags]) + struct.pack(">H", keep_alive) + fields)
        kind, body = self.receive()
        if kind != 0x20 or body[1] != 0:
            why = {4: "wrong name or password", 5: "not allowed"}
            raise OSError("the broker refuses: " + why.get(body[1], "code %d" % body[1]))
        self.clean = False
        self.heard, self.pinged = time.ticks_ms(), None
        self.poll = select.poll()
        self.poll.register(self.socket, select.POLLIN)

    def publish(self, body, again=False):
        """`body` is a message's bytes after the fixed header. Does not wait for the answer."""
        self.send(0x3A if again else 0x32, body)

    def answer(self, within_ms):
        """What the broker says within that time: the identifier of a message that it has now, or 0
        for anything else; None: nothing. Raises OSError if it seems to be gone."""
        if self.poll.poll(within_ms):
            kind, body = self.receive()
            self.heard, self.pinged = time.ticks_ms(), None
            return struct.unpack(">H", body)[0] if kind == 0x40 else 0
        if self.pinged is not None:
            if passed_ms(self.pinged) >= PONG_WITHIN_S * 1000:
                raise OSError("the broker does not answer")
        elif passed_ms(self.heard) >= NETWORK_WITHIN_S * 1000:
            self.send(0xC0, b"")
            self.pinged = time.ticks_ms()
        return None

    def close(self):
        if self.socket is not None:
            try:
                self.send(0xE0, b"")
            except OSError:
                pass
            self.socket.close()
            self.socket = None

    def send(self, kind, body):
        length, head = len(body), bytearray([kind])
        while True:
            length, low = length >> 7, length & 0x7F
            head.append(low | (0x80 if length else 0))
            if not length:
                break
        data = bytes(head) + body
        while data:
            sent = self.write(data)
            data = data[sent:]

    def write(self, data):
        # TLS sockets of MicroPython have write(), plain ones both, CPython's only send().
        write = getattr(self.socket, "write", None) or self.socket.send
        sent = write(data)
        return len(data) if sent is None else sent

    def receive(self):
        kind = self.read(1)[0]
        length = shift = 0
        while True:
            low = self.read(1)[0]
            length |= (low & 0x7F) << shift
            shift += 7
            if not low & 0x80:
                break
        if length > 256:
            raise OSError("the broker sends what was not asked for")
        return kind & 0xF0, self.read(length)

    def read(self, count):
        read = getattr(self.socket, "read", None) or self.socket.recv
        data = b""
        while len(data) < count:
            more = read(count - len(data))
            if not more:
                raise OSError("the broker hung up")
            data += more
        return data


def text(word):
    data = word.encode()
    return struct.pack(">H", len(data)) + data


def secured(plain):
    import ssl

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.verify_mode = ssl.CERT_REQUIRED
    with open(settings.CA_FILE, "rb") as file:
        context.load_verify_locations(cadata=file.read())
    return context.wrap_socket(plain, server_hostname=settings.BROKER)


class Sensors:
    """The one-wire bus."""

    def __init__(self):
        self.bus = ds18x20.DS18X20(onewire.OneWire(machine.Pin(settings.PIN)))
        self.known = []

    def read(self):
        """[(number of the sensor, sixteenths of a degree or a fault)]"""
        try:
            for rom in sorted(bytes(rom) for rom in self.bus.scan()):
                if rom not in self.known and len(self.known) < 255:
                    self.known.append(rom)
                    claim(self.known)
                    print(name_of(rom), "publishes on", topic_of(rom))
            self.bus.convert_temp()
        except Exception:  # OneWireError when nothing answers the reset
            return [(number, 32004) for number in range(len(self.known))]
        time.sleep(0.8)  # a conversion at 12 bits takes 0.75 s at most
        return [(number, self.sixteenths(rom)) for number, rom in enumerate(self.known)]

    def sixteenths(self, rom):
        trouble = 32004
        for _ in range(3):
            try:
                pad = bytes(self.bus.read_scratch(rom))
            except Exception as error:
                trouble = 32001 if "CRC" in str(error) else 32004
                continue
            if not any(pad):
                trouble = 32003  # nine zeros have a right checksum
                continue
            if pad[0] == 0x50 and pad[1] == 0x05 and pad[6] == 0x0C:
                return 32002
            raw = pad[0] | pad[1] << 8
            raw = raw - 65536 if raw > 32767 else raw
            return raw * 8 if rom[0] == 0x10 else raw  # DS18S20: half degrees
        return trouble


def name_of(rom):
    """As Linux writes it: family, then the serial number backwards."""
    return "%02x-" % rom[0] + "".join("%02x" % byte for byte in reversed(rom[1:7]))


def claim(known):
    """The topic that stands for no sensor by name is the first one's."""
    if settings.TOPIC and known:
        settings.TOPICS.setdefault(name_of(known[0]), settings.TOPIC)


def topic_of(rom):
    name = name_of(rom)
    return settings.TOPICS.get(name, settings.TOPIC_PREFIX + "/" + name)


class Store:
    """Readings that the broker does not have yet: (time, number of the sensor, value)."""

    def __init__(self):
        self.unsent = []
        self.flying = []  # [packet identifier, bytes, readings]; bytes None: not to be sent again
        self.packet = 0
        self.most = MOST_KEPT_ASLEEP if settings.DEEP_SLEEP else MOST_KEPT

    @property
    def kept(self):
        return [one for _, _, some in self.flying for one in some] + self.unsent

    def add(self, now, values):
        for number, value in values:
            self.unsent.append((now, number, value))
        flying = sum(len(some) for _, _, some in self.flying)
        del self.unsent[: max(0, flying + len(self.unsent) - self.most)]  # the oldest go

    def next(self):
        """The oldest unsent reading with the next ones of its sensor."""
        number = self.unsent[0][1]
        return [one for one in self.unsent if one[1] == number][:IN_ONE_PACK]

    def sent(self, some, make):
        """They fly. `make` gives their bytes for an identifier, and whether the bytes will still be
        true when they are sent again. Returns the bytes."""
        self.packet = self.packet % 65535 + 1
        body, lasting = make(self.packet)
        self.flying.append([self.packet, body if lasting else None, some])
        self.drop(some)
        return body

    def drop(self, some):
        self.unsent = [one for one in self.unsent if one not in some]

    def landed(self, packet):
        self.flying = [one for one in self.flying if one[0] != packet]

    def fallen(self):
        """The connection ended. What flew is to be sent again: as it was, or else as new."""
        self.unsent = [
            one for _, body, some in self.flying if body is None for one in some
        ] + self.unsent
        self.flying = [one for one in self.flying if one[1] is not None]

    def shift(self, seconds):
        """The clock was set: what was taken before it moves along."""
        if seconds:
            self.unsent = [(at + seconds, number, value) for at, number, value in self.unsent]
            self.flying = [
                [packet, None, [(at + seconds, number, value) for at, number, value in some]]
                for packet, _, some in self.flying
            ]

    def to_bytes(self, roms):
        """For the memory that outlasts deep sleep: the sensors, then the readings."""
        data = bytes([len(roms)]) + b"".join(roms)
        most = (2000 - len(data)) // RECORD_BYTES
        for at, number, value in self.kept[-most:]:
            data += struct.pack(RECORD_FORMAT, at & 0xFFFFFFFF, number, value)
        return data

    def from_bytes(self, data):
        """The sensors' names; takes in the readings. Anything unexpected is an empty memory."""
        if not data or len(data) < 1 + 8 * data[0]:
            return []
        start = 1 + 8 * data[0]
        roms = [bytes(data[at : at + 8]) for at in range(1, start, 8)]
        for at in range(start, len(data) - RECORD_BYTES + 1, RECORD_BYTES):
            self.unsent.append(struct.unpack(RECORD_FORMAT, data[at : at + RECORD_BYTES]))
        return roms


def pack(readings, name, now):
    """SenML with absolute times, or with times before now where the clock was never set."""
    records = []
    for at, _, value in readings:
        record = {"n": name, "t": at + EPOCH_S if now > SURELY_SET else at - now}
        if value in FAULTS:
            record["vs"] = FAULTS[value]
        else:
            record["u"] = "Cel"
            record["v"] = value / 16
        records.append(record)
    return json.dumps(records)


def message(packet, rom, some):
    """The bytes after the fixed header, and whether they may be sent again later: an age would no
    longer be true."""
    now = int(time.time())
    body = text(topic_of(rom)) + struct.pack(">H", packet) + pack(some, name_of(rom), now).encode()
    return body, now > SURELY_SET


class Probe:
    def __init__(self):
        self.watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self.wifi = network.WLAN(network.STA_IF)
        self.broker = Broker()
        self.sensors = Sensors()
        self.store = Store()
        self.clock_set = None  # ticks
        self.answered = 0  # ticks of the last acknowledgement, or of sending when nothing flew
        if settings.DEEP_SLEEP:
            self.sensors.known = self.store.from_bytes(machine.RTC().memory())
            claim(self.sensors.known)

    def round(self):
        """One reading of every sensor, and sending if it is time to."""
        self.watchdog.feed()
        self.store.add(int(time.time()), self.sensors.read())
        sensors = max(1, len(self.sensors.known))
        if settings.DEEP_SLEEP and len(self.store.kept) < sensors * settings.SEND_EVERY:
            return
        try:
            self.join_wifi()
            self.set_clock()
            if self.broker.socket is None:
                self.connect()
            self.send()
        except (OSError, ValueError) as error:  # the network's faults and TLS's
            self.hang_up(error)

    def connect(self):
        self.store.fallen()
        self.broker.connect()
        self.answered = time.ticks_ms()
        for _, body, _ in self.store.flying:
            self.broker.publish(body, again=True)

    def hang_up(self, error):
        print("Not sent:", error, "-", len(self.store.kept), "readings are kept.")
        self.broker.close()

    def send(self):
        while self.store.unsent and len(self.store.flying) < MOST_FLYING:
            self.watchdog.feed()
            some = self.store.next()
            number = some[0][1]
            if number >= len(self.sensors.known):
                self.store.drop(some)
                continue
            rom = self.sensors.known[number]
            if not self.store.flying:
                self.answered = time.ticks_ms()
            self.broker.publish(self.store.sent(some, lambda packet: message(packet, rom, some)))

    def listen(self, within_ms):
        """Takes what the broker acknowledges, for so long at most, and sends what waits."""
        begun = time.ticks_ms()
        while self.store.flying and self.broker.socket is not None:
            self.watchdog.feed()
            left = within_ms - passed_ms(begun)
            if left <= 0:
                return
            try:
                packet = self.broker.answer(min(left, 1000))
                if packet:
                    self.store.landed(packet)
                    self.answered = time.ticks_ms()
                    self.send()
                elif passed_ms(self.answered) >= ANSWER_WITHIN_S * 1000:
                    raise OSError("the broker does not acknowledge")
            except (OSError, ValueError) as error:
                self.hang_up(error)

    def join_wifi(self):
        self.wifi.active(True)
        if self.wifi.isconnected():
            return
        self.broker.close()
        self.wifi.connect(settings.WIFI_NAME, settings.WIFI_PASSWORD)
        begun = time.ticks_ms()
        while not self.wifi.isconnected():
            if passed_ms(begun) >= WIFI_WITHIN_S * 1000:
                raise OSError("no Wi-Fi")
            self.watchdog.feed()
            time.sleep(0.2)

    def set_clock(self):
        if self.clock_set is not None and passed_ms(self.clock_set) < CLOCK_EVERY_S * 1000:
            return
        now = int(time.time())
        if settings.DEEP_SLEEP and now > SURELY_SET and now % CLOCK_EVERY_S > 600:
            return  # the clock runs on in deep sleep; asking at each wake would cost the battery
        try:
            ntptime.settime()
        except (OSError, OverflowError):
            return  # no internet: times are sent as before now
        self.store.shift(int(time.time()) - now)
        self.clock_set = time.ticks_ms()

    def rest(self, started):
        """Until the next round is due."""
        if settings.DEEP_SLEEP:
            self.listen(ANSWER_WITHIN_S * 1000)
            self.broker.close()
            machine.RTC().memory(self.store.to_bytes(self.sensors.known))
            machine.deepsleep(max(1, left_ms(started)))
            return
        while left_ms(started) > 0:
            self.watchdog.feed()
            self.listen(left_ms(started))
            time.sleep(max(0, min(left_ms(started), 10000)) / 1000)


def passed_ms(begun):
    """Since those ticks; the clock may have been set meanwhile."""
    return time.ticks_diff(time.ticks_ms(), begun)


def left_ms(started):
    return int(settings.EVERY_S * 1000) - passed_ms(started)


def run(rounds=None):
    """For ever, or so many rounds. A board that is not set up asks first."""
    if settings.missing():
        settings.ask()
    probe = Probe()
    while rounds is None or rounds > 0:
        started = time.ticks_ms()
        probe.round()
        probe.rest(started)
        rounds = None if rounds is None else rounds - 1
    return probe


if __name__ == "__main__":
    run()
