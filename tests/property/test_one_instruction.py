"""For now and for the night there is one instruction: while a cold night stands, whoever is told to
take heat away is told in the same breath of the night, and whoever is told to add heat while it is
too hot, to let it cool first; and nobody hears that there is nothing to do. So in every message
from the afternoon to the morning's, on the page and in the answer of `brooder tonight`."""

import re
from dataclasses import replace

from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.engine_night import Night, a_brooder, a_site
from support.foretold import Foretold

from monitor.events import AlarmName
from monitor.page.now import view
from monitor.page.phrases import Phrases
from monitor.tell.contact import Contact
from monitor.tell.message import Message, MessageKind
from monitor.tell.notification_plan import NotificationPlan
from monitor.tell.wording.tonight_words import asked_lines
from monitor.tell.wording.words import Voice
from monitor.thermal.coming_night import CLEAR_CHANCE

H = 3600.0
TAKES_HEAT = re.compile(r"[Rr]aise (?:a|the) lamp|[Tt]urn (?:it|one) off|[Tt]urn the heat down")
OF_THE_NIGHT = re.compile(r"cold night is ahead|not tonight")
ADDS_HEAT = re.compile(r"[Aa]dd (?:cover|heat|about)|What would help")
OF_NOW = re.compile("let it cool first|See to that first")
MORNING = 20 * H  # after noon, an hour after its message


def stands(night: Night) -> bool:
    """Is a cold night told, or about to be, and foretold still?"""
    [box] = night.engine.status(night.now()).brooders
    alarm = any(a.alarm is AlarmName.COLD_NIGHT and a.active for a in box.alarms)
    return alarm and box.outlook is not None and box.outlook.chance >= CLEAR_CHANCE


def too_hot(night: Night) -> bool:
    [box] = night.engine.status(night.now()).brooders
    return box.too_hot


def wrong(text: str, *, too_hot: bool = False) -> bool:
    takes_alone = bool(TAKES_HEAT.search(text)) and not OF_THE_NIGHT.search(text)
    adds_alone = too_hot and bool(ADDS_HEAT.search(text)) and not OF_NOW.search(text)
    return takes_alone or adds_alone


_STEPS = st.lists(
    st.tuples(
        st.sampled_from([600.0, 1800.0, 2 * H, 6 * H]),
        st.sampled_from([28.0, 34.8, 38.4, 40.5, 46.0]),
        st.sampled_from([0.05, 0.3, 0.75, 0.97]),
    ),
    min_size=2,
    max_size=6,
)


@settings(max_examples=25)
@example([(6 * H, 40.5, 0.97), (6 * H, 40.5, 0.97), (6 * H, 40.5, 0.97)], "lamp", "plywood")
@given(_STEPS, st.sampled_from(["lamp", "plate"]), st.sampled_from(["plywood", "none"]))
def test_a_cold_night_that_stands_is_in_every_word_on_too_much_heat(
    steps: list[tuple[float, float, float]], kind: str, cover: str
) -> None:
    box = a_brooder()
    site = a_site(
        replace(box, cover=cover, heat=tuple(replace(one, kind=kind) for one in box.heat))
    )
    estimate = Foretold()
    noon = Night.evening("2026-02-10") - 6 * H
    night = Night(site, start=noon, make_estimator=lambda *_a, **_k: estimate)
    plan = NotificationPlan(
        site,
        (Contact(name="me", url="json://nowhere"),),
        look=lambda: night.engine.status(night.now()),
    )
    night.holds(34.8, for_s=3 * H, every_s=300.0)
    seen = 0
    kinds = set()

    def tell() -> list[Message]:
        nonlocal seen
        fresh, seen = night.changes[seen:], len(night.changes)
        return plan.changes(fresh, night.now()) + plan.advance(night.now())

    tell()
    assert night.engine.tonight("porch", night.now()).outlook is not None
    for lasts_s, temp_c, chance in steps:
        estimate.chance = chance
        until = night.t + lasts_s
        while night.t < until:
            night.holds(temp_c, for_s=300.0, every_s=60.0)
            standing = stands(night)
            for message in tell():
                kinds.add(message.kind)
                if standing:
                    text = f"{message.title}\n{message.body}"
                    assert not wrong(text, too_hot=too_hot(night)), text
                    assert "othing to do" not in text, text
                    assert not wrong(message.brief), message.brief
        now = night.now()
        status = night.engine.status(now)
        [box_now] = status.brooders
        answer = asked_lines(box_now, night.engine.tonight("porch", now), Voice(site), now.at)
        assert not wrong("\n".join(answer), too_hot=box_now.too_hot), answer
        shown = view(status, site, Phrases(site, now.at))
        [on_page] = shown.boxes
        alarms = " ".join(line for a in on_page.alarms for line in (a.title, a.first, *a.more))
        if stands(night):
            assert not wrong(f"{on_page.instruction} {alarms}"), alarms
            assert "othing to do" not in on_page.instruction
    assert night.t < MORNING or kinds >= {MessageKind.EVENING, MessageKind.MORNING}
