"""The built-in broker in a loop of its own thread, as the service has it, and what came into its
inbox.

with running() as broker: (one,) = broker.take(1); broker.broker.acknowledge([one.token])"""

import asyncio
import contextlib
import threading
from collections.abc import Iterator
from typing import Any

from support.links import clock, eventually
from support.patience import LEAST_S

from monitor.intake.builtin import BuiltInBroker
from monitor.intake.inbox import Inbox, MqttMessage
from monitor.intake.unclaimed import Unclaimed
from monitor.tell.status_topics import is_ours

FLOOR = "brooder/porch/floor"


class Running:
    """A built-in broker in a loop of its own thread, as the service has it."""

    def __init__(self, **more: object) -> None:
        self.inbox = more.pop("inbox", Inbox())
        self.unclaimed = Unclaimed()
        self.broker = BuiltInBroker(
            topics=[FLOOR, "brooder/acknowledge"],
            inbox=self.inbox,
            clock=clock,
            port=0,
            unclaimed=self.unclaimed,
            ours=is_ours,
            **more,
        )
        self.loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self._thread.start()
        asyncio.run_coroutine_threadsafe(self.broker.start(), self.loop).result(LEAST_S)

    @property
    def port(self) -> int:
        return self.broker.port

    def take(self, count: int) -> list[MqttMessage]:
        taken: list[MqttMessage] = []
        eventually(lambda: taken.extend(self.inbox.take(9, 0.2)) or len(taken) >= count, "messages")
        return taken

    @property
    def inside(self) -> Any:
        """amqtt's own broker: the sessions and retained messages that it keeps, and where it
        listens, can be asked nowhere else."""
        assert self.broker._broker is not None
        return self.broker._broker

    def look_through_sessions(self) -> None:
        """As amqtt does each second by itself: those that ended go."""

        async def once() -> None:
            look = asyncio.ensure_future(self.inside._session_monitor())
            for _ in range(100):
                await asyncio.sleep(0)
            look.cancel()  # it sleeps until the next look

        asyncio.run_coroutine_threadsafe(once(), self.loop).result(LEAST_S)

    def stop(self) -> None:
        if self.loop.is_closed():
            return
        asyncio.run_coroutine_threadsafe(self.broker.stop(), self.loop).result(LEAST_S)
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join(LEAST_S)
        self.loop.close()


@contextlib.contextmanager
def running(**more: object) -> Iterator[Running]:
    one = Running(**more)
    try:
        yield one
    finally:
        one.stop()
