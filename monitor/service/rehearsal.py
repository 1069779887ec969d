"""Plays an invented night to the running service: probes publish over real MQTT, the grower of
the story writes and answers through the control socket. Called by `brooder rehearse`."""

import asyncio
from collections.abc import Iterator
from datetime import time
from typing import Any

from monitor.events import Moment, Priority
from monitor.intake.plain_client import plain_client
from monitor.service import control, core_answers
from monitor.service.clock import FastClock
from monitor.service.core import Core
from monitor.service.rehearsed_night import RehearsedNight
from monitor.service.run import Places
from monitor.settings import Settings
from monitor.site import Site
from monitor.tell.contact import Contact
from monitor.tell.message import Message

CHICKS = 100
LOST = 2
AFTER_S = 60.0  # the service hears the last word out
# So long after the last word that the watch has heard the night waits, for a busy machine: well
# within what is called silence.
_WAITS_AFTER_S = 300.0
_LOOKS_AGAIN_S = 0.1


async def play(settings: Settings, night: RehearsedNight, clock: FastClock, places: Places) -> None:
    """Until the story's end. Raises OSError if the broker cannot be reached."""
    client = plain_client(lambda _reason: None, "rehearsal-probes")
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", places.broker_port or 1883)
    client.loop_start()
    acts = list(_acts(night))
    starts_at = night.at(night.story.starts)

    async def until(at: float) -> None:
        while True:
            clock.go_on_until((places.heard_at() or starts_at) + _WAITS_AFTER_S)
            wait_s = (at - clock.now().at) / clock.speed
            if wait_s <= 0:
                return
            await asyncio.sleep(min(wait_s, _LOOKS_AGAIN_S))

    try:
        for at, topic, payload in night.messages():
            while acts and acts[0][0] <= at:
                act_at, details = acts.pop(0)
                await until(act_at)
                paths = settings.control_paths
                await asyncio.to_thread(control.ask, paths, "entry", **details)
            await until(at)
            client.publish(topic, payload, qos=1)
        await until(clock.now().at + AFTER_S)
    finally:
        client.disconnect()
        client.loop_stop()


def first_word(site: Site, night: RehearsedNight) -> tuple[float, Message] | None:
    """The first urgent message once the lamp has failed, and its time: the same night through the
    same core, without waiting. None: nothing is told."""
    start = Moment(night.at(night.story.starts), night.at(night.story.starts))
    everybody = Contact(name="phone", url="")
    core = Core(site, start, contacts=(everybody,), next_entry_number=lambda: 1)
    _, placed = next(_acts(night))
    core_answers.asked(core, placed, start)
    for at, topic, payload in night.messages():
        now = Moment(at, at)
        core.advance(now)
        core.hear(topic, payload.encode(), now)
        for message in core.take(now).messages:
            if message.priority is Priority.URGENT:
                return at, message
    return None


def _acts(night: RehearsedNight) -> Iterator[tuple[float, dict[str, Any]]]:
    """What the grower of the story does, in time order."""
    story, hatched = night.story, night.hatched.isoformat()
    acts: tuple[tuple[time | None, dict[str, Any]], ...] = (
        (
            story.starts,
            {"entry": "placed", "count": CHICKS, "hatched": hatched, "kind": "broiler"},
        ),
        (story.answered, {"entry": "acknowledge", "by": "the grower"}),
        (story.mended, {"entry": "note", "note": "new bulb in the west lamp"}),
        (
            story.losses_found,
            {"entry": "loss", "count": LOST, "note": "in the corner by the west lamp"},
        ),
    )
    for of_day, act in acts:
        if of_day is not None:
            yield night.at(of_day), {**act, "brooder": "porch"}
