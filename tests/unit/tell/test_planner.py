"""Who is told what, and when. Times are pushed, never waited for."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, time, timedelta

import pytest
from support import fake_api
from support.birds import chicks_in
from tell_samples import NIGHT, ZONE, change, local, site

from monitor.events import (
    AlarmName,
    Cause,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Facts,
    Moment,
    Priority,
    Reading,
)
from monitor.tell.contact import Contact
from monitor.tell.message import Message, MessageKind
from monitor.tell.notification_plan import NotificationPlan
from monitor.tell.policy import Policy
from monitor.tell.wording import for_change
from monitor.thermal.diagnosis import Interval
from monitor.watch.cold_night_watch import NIGHT_OVER
from monitor.watch.engine import Engine
from monitor.watch.incidents import BACK_S, Incidents
from monitor.watch.status import SiteStatus

A, K, P = AlarmName, ChangeKind, Priority
ME = Contact(name="me", url="json://nowhere")
ANN = Contact(name="ann", url="json://nowhere", after_minutes=15)


class Teller:
    """A plan with its clock; everything that was said."""

    def __init__(
        self,
        *contacts: Contact,
        policy: Policy | None = None,
        start: float = NIGHT - 100,
        look: Callable[[], SiteStatus | None] = lambda: None,
    ) -> None:
        self.contacts = contacts or (ME,)
        self.policy = policy or Policy()
        self.plan = NotificationPlan(site(), self.contacts, self.policy, look=look)
        self.incidents = Incidents()
        self.said: list[Message] = []
        self.go(start)

    def go(self, at: float) -> list[Message]:
        """Nothing happens until `at`, but what is due."""
        return self._note(self.plan.advance(Moment(at, at)))

    def take(self, *changes: Change) -> list[Message]:
        """These changes, each at its time."""
        at = changes[-1].at
        grouped = [self.incidents.take(change, change.at) for change in changes]
        return self._note(self.plan.changes(grouped, Moment(at, at)))

    def restarted(self) -> None:
        """The same in a new process, an hour later on the tick scale."""
        state = self.plan.kept()
        self.plan = NotificationPlan(site(), self.contacts, self.policy)
        self.plan.restore(state, 0.0)

    def _note(self, messages: list[Message]) -> list[Message]:
        self.said += messages
        return messages

    def kinds(self) -> list[MessageKind]:
        return [message.kind for message in self.said]


def raised(alarm: AlarmName, after: float = 0.0, **more: object) -> Change:
    return change(alarm, at=NIGHT + after, occurrence=f"porch/{alarm.value}/1", **more)  # type: ignore[arg-type]


def cleared(alarm: AlarmName, after: float, **more: object) -> Change:
    return change(alarm, K.CLEARED, at=NIGHT + after, occurrence=f"porch/{alarm.value}/1", **more)  # type: ignore[arg-type]


def answered(alarm: AlarmName, after: float, by: str = "me") -> Change:
    return change(
        alarm,
        K.ACKNOWLEDGED,
        at=NIGHT + after,
        occurrence=f"porch/{alarm.value}/1",
        facts=Facts(by=by),
    )


def test_an_urgent_alarm_is_told_at_once():
    teller = Teller()
    [message] = teller.take(raised(A.HEAT_LOSS))
    assert (message.kind, message.priority, message.contacts) == (
        MessageKind.RAISED,
        P.URGENT,
        ("me",),
    )
    assert message.at == NIGHT
    assert message.ack_for == ("porch/heat-loss/1",)
    assert message.attach_brooder == "porch"


def test_warnings_of_one_cause_within_seconds_are_one_message_that_lists_every_probe():
    teller = Teller()
    first = raised(A.COLD)
    others = [
        replace(
            first,
            at=NIGHT + seconds,
            probe=f"porch/{name}",
            occurrence=f"porch/cold/{name}/1",
            facts=Facts(
                temp_c=31.0,
                target_c=35.0,
                probes=[{"probe": f"porch/{name}", "place": "floor", "temp_c": 31.0}],
            ),
        )
        for seconds, name in ((1, "far floor"), (3, "third floor"))
    ]
    teller.take(first)
    for other in others:
        teller.take(other)
    assert teller.said == []
    [message] = teller.go(NIGHT + 5)
    for name in ("floor", "far floor", "third floor"):
        assert f"{name} 31.0 °C" in message.body


@pytest.mark.parametrize("every_s", [600.0, 7200.0])
def test_what_is_worse_by_a_cause_that_is_asked_about_comes_with_the_next_repeat(every_s):
    """There is nothing else to do than what was told; and ten minutes are the longest it waits."""
    teller = Teller(policy=Policy(urgent_repeat_s=every_s))
    teller.take(raised(A.HEAT_LOSS))
    assert teller.take(raised(A.COLD, 60)) == []
    assert teller.take(raised(A.CHILL, 420)) == []
    if every_s > 600.0:
        assert teller.go(NIGHT + 420 + 599) == []
    [worse] = teller.go(NIGHT + (600 if every_s == 600.0 else 420 + 600))
    assert (worse.kind, worse.thread) == (MessageKind.AGAIN, teller.said[0].thread)
    assert "dangerously cold" in worse.title


def test_what_is_worse_by_another_cause_or_after_an_answer_is_told_at_once():
    for before in (raised(A.HEAT_LOSS, cause=Cause.COVER_OPEN), answered(A.HEAT_LOSS, 60)):
        teller = Teller()
        teller.take(raised(A.HEAT_LOSS) if before.change is K.ACKNOWLEDGED else before)
        if before.change is K.ACKNOWLEDGED:
            teller.take(before)
        [worse] = teller.take(raised(A.CHILL, 120))
        assert worse.kind is MessageKind.RAISED
        assert "dangerously cold" in worse.title


def test_cold_told_then_chill_is_the_same_thread_and_told_at_once():
    teller = Teller()
    teller.take(raised(A.COLD))
    teller.go(NIGHT + 10)
    [worse] = teller.take(raised(A.CHILL, 200))
    assert [m.thread for m in teller.said] == ["porch/cold/1"] * 2
    assert worse.at == NIGHT + 200


def test_an_urgent_alarm_repeats_every_ten_minutes_until_somebody_answers():
    teller = Teller()
    teller.take(raised(A.CHILL))
    for minute in range(36):
        teller.go(NIGHT + 60 * minute)
    repeats = [m for m in teller.said if m.kind is MessageKind.AGAIN]
    assert [(m.at - NIGHT) / 60 for m in repeats] == [10, 20, 30]
    teller.take(answered(A.CHILL, 36 * 60))
    teller.go(NIGHT + 36 * 60 + 3599)
    assert [m for m in teller.said if m.kind is MessageKind.AGAIN] == repeats


def test_what_nobody_answered_for_a_day_is_repeated_every_hour_until_something_changes():
    day = 24 * 60
    teller = Teller()
    teller.take(raised(A.COLD, priority=Priority.URGENT))
    for minute in range(day + 4 * 60):
        teller.go(NIGHT + 60 * minute)
    teller.take(raised(A.CHILL, (day + 4 * 60) * 60))
    for minute in range(day + 4 * 60, day + 5 * 60):
        teller.go(NIGHT + 60 * minute)
    repeats = [m for m in teller.said if m.kind is MessageKind.AGAIN]
    late = [(m.at - NIGHT) / 60 - day for m in repeats if m.at >= NIGHT + day * 60]
    assert late == [0, 60, 120, 180, 240, 250, 260, 270, 280, 290]
    assert len(repeats) - len(late) == day / 10 - 1


def repeats_of_lost_heat(
    *, told_c: float = 31.0, then: A | None = None, **box: object
) -> list[Message]:
    """In the hour after it was told at `told_c`, and `then` as well, while the box is so."""
    teller = Teller()
    status = fake_api.status(fake_api.brooder(**box))
    teller.plan = NotificationPlan(site(), teller.contacts, teller.policy, look=lambda: status)
    teller.go(NIGHT - 100)
    told = raised(A.HEAT_LOSS)
    teller.take(replace(told, facts={**told.facts, "temp_c": told_c}))
    if then is not None:
        folded = raised(then)
        facts = {**folded.facts, "incident": told.occurrence, "folded": True}
        teller.take(replace(folded, facts=facts))
    for minute in range(60):
        teller.go(NIGHT + 60 * minute)
    return [m for m in teller.said if m.kind is MessageKind.AGAIN]


@pytest.mark.parametrize("trend_c_per_h", [2.0, -0.5])
def test_nobody_is_woken_to_hear_that_a_floor_holds_in_its_band(trend_c_per_h):
    """Whether it comes back or wavers: what was lost was told, and nothing is lost since."""
    assert repeats_of_lost_heat(temp_c=30.8, trend_c_per_h=trend_c_per_h) == []


@pytest.mark.parametrize(("trend_c_per_h", "repeats"), [(2.0, 0), (-0.5, 5)])
@pytest.mark.parametrize("then", [A.COLD, A.CHILL])
def test_nobody_is_woken_once_a_floor_that_was_cold_is_in_its_band_and_rises(
    then, trend_c_per_h, repeats
):
    """The alarm of cold ends only well within the band; while it wavers at the edge, it is told."""
    told = repeats_of_lost_heat(then=then, temp_c=29.7, trend_c_per_h=trend_c_per_h)
    assert len(told) == repeats


@pytest.mark.parametrize(
    ("temp_c", "trend_c_per_h", "reason", "repeats"),
    [
        (36.5, -3.0, None, 0),
        (36.5, 0.5, None, 5),  # it goes on being that hot
        (38.5, -3.0, None, 5),  # still dangerously hot
        (36.5, -3.0, "a lamp may have fallen", 5),
    ],
)
def test_heat_that_goes_while_nobody_answered_is_not_told_again(
    temp_c, trend_c_per_h, reason, repeats
):
    status = fake_api.status(fake_api.brooder(temp_c=temp_c, trend_c_per_h=trend_c_per_h))
    teller = Teller()
    teller.plan = NotificationPlan(site(), teller.contacts, teller.policy, look=lambda: status)
    teller.go(NIGHT - 100)
    facts = Facts(temp_c=38.9, target_c=32.2, overheat_c=37.8)
    if reason:
        facts["reason"] = reason
    teller.take(change(A.OVERHEAT, facts=facts))
    for minute in range(60):
        teller.go(NIGHT + 60 * minute)
    assert len([m for m in teller.said if m.kind is MessageKind.AGAIN]) == repeats


@pytest.mark.parametrize(("shed", "repeats"), [({"temp_c": 31.5}, 0), ({"temp_c": 30.4}, 1)])
def test_of_two_boxes_without_heat_each_must_hold_for_the_word_to_be_spared(shed, repeats):
    """The shed was told at 31.0 as well; the porch holds."""
    teller = Teller()
    boxes = (fake_api.brooder(temp_c=31.0, trend_c_per_h=-0.5),
             fake_api.brooder("shed", trend_c_per_h=-0.5, **shed))  # fmt: skip
    status = fake_api.status(*boxes)
    teller.plan = NotificationPlan(site(), teller.contacts, teller.policy, look=lambda: status)
    teller.go(NIGHT - 100)
    for box in ("porch", "shed"):
        told = change(A.HEAT_LOSS, brooder=box, occurrence=f"{box}/heat-loss/1")
        teller.take(replace(told, facts={**told.facts, "temp_c": 31.0}))
    for minute in range(60):
        teller.go(NIGHT + 60 * minute)
    assert any("2 boxes" in m.title for m in teller.said), "one trouble in two boxes"
    assert len([m for m in teller.said if m.kind is MessageKind.AGAIN]) == repeats


def test_lost_heat_is_told_again_each_time_the_floor_is_clearly_colder():
    (again,) = repeats_of_lost_heat(temp_c=30.4, trend_c_per_h=-0.5)
    assert "reminder 1" in again.title


@pytest.mark.parametrize(
    "box",
    [
        {
            "temp_c": 30.8,
            "trend_c_per_h": -0.5,
            "minutes_to_chill": Interval(low=40, mid=60, high=90),
        },
        {"temp_c": 30.8, "trend_c_per_h": -3.0},
        {"temp_c": 28.9, "trend_c_per_h": 2.0, "in_band": False},
        {"temp_c": 30.8, "trend_c_per_h": None},
    ],
    ids=["harm is in sight", "it falls fast", "it is out of its band", "nobody knows"],
)
def test_lost_heat_is_repeated_every_ten_minutes_while_harm_may_be_near(box):
    assert len(repeats_of_lost_heat(**box)) == 5


def test_who_answered_and_fell_asleep_is_asked_anew_every_hour_until_it_is_over():
    teller = Teller()
    teller.take(raised(A.CHILL))
    teller.take(answered(A.CHILL, 600))
    for minute in range(11, 4 * 60):
        teller.go(NIGHT + 60 * minute)
        if minute in (40, 100):
            teller.restarted()
    anew = [m for m in teller.said if m.kind is MessageKind.AGAIN]
    assert [(m.at - NIGHT) / 60 for m in anew] == [70, 130, 190]
    assert len({m.key for m in anew}) == 3
    assert all(m.priority is P.URGENT and m.ack_for == () for m in anew)
    assert anew[0].body.startswith("You answered at 02:30; it is still 28.9 °C, should be 35.0 °C.")
    teller.take(cleared(A.CHILL, 4 * 3600))
    teller.go(NIGHT + 9 * 3600)
    assert [m for m in teller.said if m.kind is MessageKind.AGAIN] == anew


@pytest.mark.parametrize(
    ("below_k", "trend_c_per_h", "asked"),
    [(0.2, 0.6, 0), (0.2, 0.1, 3), (0.2, -0.5, 3), (3.0, 6.0, 3)],
)
def test_nobody_is_asked_anew_of_a_floor_that_is_nearly_back_and_rises(
    below_k: float, trend_c_per_h: float, asked: int
) -> None:
    """Not where it will take longer than the hour, and not where much is missing yet."""
    teller, low_c = Teller(), 29.4
    box = fake_api.brooder(
        temp_c=low_c - below_k, low_c=low_c, trend_c_per_h=trend_c_per_h, in_band=False
    )
    plan = NotificationPlan(
        site(), teller.contacts, teller.policy, look=lambda: fake_api.status(box)
    )
    teller.plan = plan
    teller.go(NIGHT - 100)
    teller.take(raised(A.CHILL))
    teller.take(answered(A.CHILL, 600))
    for minute in range(11, 4 * 60):
        teller.go(NIGHT + 60 * minute)
    assert len([m for m in teller.said if m.kind is MessageKind.AGAIN]) == asked


def test_all_who_know_of_it_are_asked_anew_and_hear_who_had_answered():
    teller = Teller(ME, ANN)
    teller.take(raised(A.CHILL))
    teller.go(NIGHT + 900)
    teller.take(answered(A.CHILL, 1200, by="ann"))
    [anew] = teller.go(NIGHT + 1200 + 3600)
    assert anew.contacts == ("me", "ann")
    assert anew.body.startswith("Ann answered at 02:40; it is still")


def test_an_answered_warning_is_not_asked_anew():
    teller = Teller()
    teller.take(raised(A.COLD))
    teller.go(NIGHT + 10)
    teller.take(answered(A.COLD, 60))
    teller.go(local(11, 6, 59))
    assert teller.kinds() == [MessageKind.RAISED]


@pytest.mark.parametrize("left", [A.HEAT_LOSS, A.COLD])
def test_an_answered_chill_is_asked_about_for_as_long_as_the_floor_stays_below_its_band(left):
    teller = Teller()
    teller.take(raised(left))
    teller.take(raised(A.CHILL, 900))
    teller.take(answered(A.CHILL, 1200), answered(left, 1200))
    teller.take(cleared(A.CHILL, 4000))
    for minute in range(70, 11 * 60):
        teller.go(NIGHT + 60 * minute)
    anew = [m for m in teller.said if m.kind is MessageKind.AGAIN and m.at > NIGHT + 1200]
    assert [round((m.at - NIGHT - 1200) / 3600) for m in anew][:10] == list(range(1, 11))


@pytest.mark.parametrize("alarm", [A.COLD, A.HOT])
def test_a_floor_that_a_thermostat_swings_out_of_its_band_is_told_once_and_so_is_its_end(alarm):
    """Every fifty minutes for ten; harm on top of it is another matter."""
    teller = Teller()
    for number in range(5):
        begins, name = NIGHT + 3000 * number, f"porch/{alarm.value}/{number}"
        teller.take(change(alarm, at=begins, occurrence=name))
        teller.go(begins + 10)
        ends = begins + 600
        teller.take(change(alarm, K.CLEARED, at=ends, occurrence=name))
    teller.go(ends + 3599)
    assert set(teller.kinds()[1:]) == {MessageKind.AGAIN}, "no more than a warning is repeated"
    teller.go(ends + 3601)
    assert [m.kind for m in teller.said if m.kind is not MessageKind.AGAIN] == [
        MessageKind.RAISED,
        MessageKind.OVER,
    ]


def test_lost_heat_that_comes_back_after_half_an_hour_is_told_anew():
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS))
    teller.take(cleared(A.HEAT_LOSS, 600))
    teller.go(NIGHT + 600 + BACK_S)
    again = change(A.HEAT_LOSS, at=NIGHT + 3000, occurrence="porch/heat-loss/2")
    assert [m.kind for m in teller.take(again)] == [MessageKind.RAISED]


def test_what_comes_back_just_half_an_hour_after_its_trouble_was_over_is_another_one() -> None:
    """By then it has been called over; what the outlook says comes on the quarter of an hour."""
    incidents, ends = Incidents(), NIGHT + 7500
    first, again = (f"porch/cold-night/{number}" for number in (1, 2))
    for one in (
        raised(A.HEAT_LOSS),
        change(A.COLD_NIGHT, at=NIGHT + 300, occurrence=first),
        cleared(A.HEAT_LOSS, 600),
        change(A.COLD_NIGHT, K.CLEARED, at=ends, occurrence=first),
    ):
        incidents.take(one, one.at)
    back = change(A.COLD_NIGHT, at=ends + BACK_S, occurrence=again)
    facts = incidents.take(back, back.at).facts
    assert facts["incident"] == again
    assert "folded" not in facts


def test_heat_lost_in_a_night_foretold_as_cold_is_no_reminder_of_the_feeding_at_dusk():
    teller = told_at_three()
    tick = local(10, 19) - NIGHT
    teller.take(raised(A.HEAT_LOSS, tick))
    teller.take(cleared(A.HEAT_LOSS, tick + 600))
    teller.go(local(10, 23))
    lost = change(A.HEAT_LOSS, at=local(10, 23, 1), occurrence="porch/heat-loss/2")
    [told] = teller.take(lost)
    assert told.kind is MessageKind.RAISED
    assert "reminder" not in told.title


def test_heat_lost_in_a_cold_night_is_no_reminder_of_a_chill_that_ended_before_its_lost_heat():
    """The chill had been over for half an hour by then, and after it the heat for an hour and a
    half: only the first was forgotten."""
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS))
    teller.take(raised(A.COLD_NIGHT, 60))
    teller.take(raised(A.CHILL, 300))
    teller.take(cleared(A.CHILL, 1000))
    teller.take(cleared(A.HEAT_LOSS, 2000))
    teller.go(NIGHT + 2000 + BACK_S)
    again = replace(raised(A.HEAT_LOSS, 7400), occurrence="porch/heat-loss/2")
    [news] = teller.take(again)
    assert news.kind is MessageKind.RAISED


def test_heat_lost_in_a_night_foretold_as_cold_after_the_feeding_is_no_reminder_of_that_either():
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS))
    teller.take(cleared(A.HEAT_LOSS, 600))
    teller.take(change(A.COLD_NIGHT, at=NIGHT + 900, occurrence="porch/cold-night/1"))
    teller.go(NIGHT + 4 * 3600)
    lost = change(A.HEAT_LOSS, at=NIGHT + 4 * 3600 + 60, occurrence="porch/heat-loss/2")
    assert [m.kind for m in teller.take(lost)] == [MessageKind.RAISED]


def test_reminders_are_counted_from_the_last_word_that_it_is_over():
    """One box lost heat by day, and in its cold night the first reminder was the fifteenth."""
    teller = told_at_three()
    tick = local(10, 19) - NIGHT
    teller.take(raised(A.HEAT_LOSS, tick))
    teller.go(local(10, 19, 55))
    assert "(reminder 5)" in teller.said[-1].title
    teller.take(cleared(A.HEAT_LOSS, tick + 4000))
    teller.go(local(10, 23))
    teller.take(change(A.HEAT_LOSS, at=local(10, 23, 1), occurrence="porch/heat-loss/2"))
    teller.go(local(10, 23, 12))
    assert "(reminder 1)" in teller.said[-1].title
    assert len({message.key for message in teller.said}) == len(teller.said)


def test_lost_heat_that_comes_back_by_another_cause_is_told_with_what_to_do_now():
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS, cause=Cause.COVER_OPEN))
    teller.take(cleared(A.HEAT_LOSS, 600))
    again = [
        change(A.HEAT_LOSS, at=NIGHT + after, occurrence=f"porch/heat-loss/{after}", cause=cause)
        for after, cause in ((1500, Cause.HEAT_SOURCE), (2700, Cause.COVER_OPEN))
    ]
    [told] = teller.take(again[0])
    assert told.kind is MessageKind.RAISED
    teller.take(change(A.HEAT_LOSS, K.CLEARED, at=NIGHT + 2000, occurrence="porch/heat-loss/1500"))
    [reminder] = teller.take(again[1])
    assert reminder.kind is MessageKind.AGAIN, "both have been told"


def wavers(teller: Teller, times: int) -> None:
    """Cold for ten minutes of every twenty-five."""
    for number in range(times):
        begins, name = NIGHT + 1500 * number, f"porch/cold/{number}"
        teller.take(change(A.COLD, at=begins, occurrence=name))
        teller.go(begins + 10)
        teller.take(change(A.COLD, K.CLEARED, at=begins + 600, occurrence=name))


def test_what_comes_back_within_half_an_hour_is_the_same_trouble_and_told_only_if_it_is_worse():
    teller = Teller()
    wavers(teller, 4)
    assert teller.kinds() == [MessageKind.RAISED], "and nothing is called over while it wavers"
    ended = NIGHT + 3 * 1500 + 600
    teller.take(change(A.CHILL, at=ended + 1700, occurrence="porch/chill/1"))
    assert teller.kinds() == [MessageKind.RAISED, MessageKind.RAISED]
    assert len({m.thread for m in teller.said}) == 1
    teller.take(change(A.CHILL, K.CLEARED, at=ended + 1800, occurrence="porch/chill/1"))
    later = ended + 1800 + BACK_S
    teller.go(later)
    assert teller.kinds()[-1] is MessageKind.OVER
    teller.take(change(A.COLD, at=later + 60, occurrence="porch/cold/9"))
    teller.go(later + 70)
    assert teller.said[-1].thread == "porch/cold/9", "another trouble, told as one"


def test_a_better_diagnosis_reaches_the_phone_at_once_and_once_and_is_what_reminders_say():
    teller = Teller()
    teller.take(raised(A.CHILL, cause=Cause.COLD_NIGHT))
    better = change(
        A.CHILL, K.EXPLAINED, at=NIGHT + 300, occurrence="porch/chill/1", cause=Cause.HEAT_SOURCE
    )
    [told] = teller.take(replace(better, facts=raised(A.CHILL).facts))
    assert told.priority is P.URGENT
    assert "clearer now" in told.body
    assert "west lamp" in told.body
    [reminder] = teller.go(NIGHT + 300 + 600)
    assert "Cover the box" not in reminder.body
    assert "west lamp" in reminder.body
    doubted = replace(better, at=NIGHT + 950, cause=Cause.UNKNOWN)
    assert teller.take(doubted, replace(better, at=NIGHT + 960)) == [], "nothing new to do"


def test_cold_that_is_found_to_be_a_lamp_is_over_when_it_is_mended_though_the_night_stays_cold():
    teller = Teller()
    teller.take(raised(A.CHILL, cause=Cause.COLD_NIGHT))
    found = change(
        A.CHILL, K.EXPLAINED, at=NIGHT + 300, occurrence="porch/chill/1", cause=Cause.HEAT_SOURCE
    )
    teller.take(replace(found, facts=raised(A.CHILL).facts))
    teller.take(raised(A.COLD_NIGHT, 600, cause=Cause.COLD_NIGHT))
    teller.go(NIGHT + 1000)
    teller.take(cleared(A.CHILL, 1200))
    teller.go(NIGHT + 1200 + BACK_S)
    [over] = [message for message in teller.said if message.kind is MessageKind.OVER]
    assert "back to normal" in over.title


def test_a_newer_answer_begins_the_hour_anew():
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS))
    teller.take(answered(A.HEAT_LOSS, 60))
    teller.take(raised(A.CHILL, 3000))
    teller.take(answered(A.CHILL, 3300))
    assert teller.go(NIGHT + 3300 + 3599) == []
    [anew] = teller.go(NIGHT + 3300 + 3600)
    assert "dangerously cold" in anew.title


def test_warnings_repeat_less_and_not_in_quiet_hours():
    quiet = Contact(name="me", url="json://nowhere", quiet_from=time(21), quiet_to=time(6, 30))
    for contact, expected in ((ME, [120, 240]), (quiet, [])):
        teller = Teller(contact)
        teller.take(raised(A.COLD))
        for minute in range(0, 260, 10):
            teller.go(NIGHT + 60 * minute)
        repeats = [m for m in teller.said if m.kind is MessageKind.AGAIN]
        assert [round((m.at - NIGHT) / 60) for m in repeats] == expected


def test_quiet_hours_never_hold_back_anything_urgent_nor_a_new_warning():
    quiet = Contact(name="me", url="json://nowhere", quiet_from=time(21), quiet_to=time(6, 30))
    teller = Teller(quiet)
    teller.take(raised(A.COLD))
    teller.go(NIGHT + 10)
    teller.take(raised(A.CHILL, 100))
    teller.go(NIGHT + 100 + 600)
    assert teller.kinds() == [MessageKind.RAISED, MessageKind.RAISED, MessageKind.AGAIN]
    assert all(m.contacts == ("me",) for m in teller.said)


def test_an_unanswered_urgent_alarm_goes_on_to_the_next_contact_after_its_minutes():
    teller = Teller(ME, ANN)
    [first] = teller.take(raised(A.CHILL))
    assert first.contacts == ("me",)
    for minute in range(21):
        teller.go(NIGHT + 60 * minute)
    [passed] = [m for m in teller.said if m.kind is MessageKind.PASSED_ON]
    assert (passed.contacts, passed.at) == (("ann",), NIGHT + 900)
    assert "me did not answer" in passed.body
    [second] = [m for m in teller.said if m.kind is MessageKind.AGAIN and m.at > NIGHT + 900]
    assert second.contacts == ("me", "ann")


def test_an_answer_in_time_keeps_the_next_contact_asleep():
    teller = Teller(ME, ANN)
    teller.take(raised(A.CHILL))
    teller.take(answered(A.CHILL, 300))
    teller.go(NIGHT + 4 * 3600)
    assert len(teller.said) > 1
    assert all("ann" not in m.contacts for m in teller.said)


def test_all_who_were_told_hear_who_answered_and_that_it_is_over():
    teller = Teller(ME, ANN)
    teller.take(raised(A.CHILL))
    teller.go(NIGHT + 900)
    [told] = teller.take(answered(A.CHILL, 1000, by="ann"))
    assert (told.kind, told.contacts) == (MessageKind.ANSWERED, ("me",))
    assert "Ann answered" in told.body
    teller.take(cleared(A.CHILL, 2000))
    [over] = teller.go(NIGHT + 2010)  # who has answered waits for it
    assert (over.kind, set(over.contacts)) == (MessageKind.OVER, {"me", "ann"})


def test_an_answer_to_the_worst_answers_the_lesser_alarms_of_the_same_cause():
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS))
    teller.take(raised(A.CHILL, 100))
    teller.take(answered(A.CHILL, 200))
    teller.go(NIGHT + 200 + 3599)
    assert teller.kinds() == [MessageKind.RAISED]


def test_an_answer_to_the_lesser_does_not_silence_what_is_worse():
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS))
    teller.take(answered(A.HEAT_LOSS, 50))
    [worse] = teller.take(raised(A.CHILL, 100))
    assert worse.priority is P.URGENT
    [repeat] = teller.go(NIGHT + 100 + 600)
    assert repeat.kind is MessageKind.AGAIN


def test_one_all_clear_when_the_last_alarm_of_a_cause_ends_with_how_long_and_how_low():
    teller = Teller()
    teller.take(raised(A.COLD))
    teller.go(NIGHT + 10)
    teller.take(raised(A.CHILL, 100))
    low = Facts(extreme_c=27.3, temp_c=30.0, target_c=35.0)
    assert teller.take(cleared(A.CHILL, 500, facts=low)) == []
    high = Facts(extreme_c=27.3, temp_c=33.4, target_c=35.0)
    teller.take(cleared(A.COLD, 600, facts=high))
    assert teller.go(NIGHT + 600 + BACK_S - 1) == []
    [over] = teller.go(NIGHT + 600 + BACK_S)
    assert over.kind is MessageKind.OVER
    assert "too cold for 13 min, lowest 27.3 °C" in over.body  # since 200 s before it was raised
    assert "It has been right for 30 min." in over.body
    assert "Now 33.4 °C" in over.body


@pytest.mark.parametrize(("temp_c", "where"), [(29.0, "Below"), (29.9, "Around")])
def test_of_a_floor_that_wavers_about_its_limit_a_repeat_says_how_long_it_was_beyond_in_all(
    temp_c, where
):
    """Half a degree above it for a moment is no new beginning of what the chicks bear."""
    teller = Teller()
    teller.take(raised(A.COLD))
    facts = Facts(temp_c=29.0, target_c=35.0, chill_c=29.4)
    teller.take(raised(A.CHILL, 100, facts=facts | Facts(since=NIGHT + 40)))
    teller.take(cleared(A.CHILL, 640, facts=facts))
    again = facts | Facts(since=NIGHT + 900, temp_c=temp_c)
    teller.take(replace(raised(A.CHILL, 960, facts=again), occurrence="porch/chill/2"))
    [repeat] = [m for m in teller.go(NIGHT + 1560) if "reminder" in m.title]
    since = "the chill limit of 29.4 °C since 02:35. 21 min in all since 02:20."
    assert f"{where} {since}" in repeat.body


def test_too_cold_counts_from_the_cold_floor_not_from_the_lost_lamp_or_the_night_expected():
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS, 0, facts=Facts(temp_c=34.0, target_c=35.0, since=NIGHT - 60)))
    teller.take(raised(A.COLD, 600, facts=Facts(temp_c=32.0, target_c=35.0, since=NIGHT + 420)))
    teller.take(raised(A.COLD_NIGHT, 700))
    teller.take(raised(A.CHILL, 900, facts=Facts(temp_c=29.0, target_c=35.0, since=NIGHT + 870)))
    teller.take(cleared(A.CHILL, 2000))
    teller.take(cleared(A.COLD, 4020), cleared(A.HEAT_LOSS, 4020))
    teller.restarted()
    teller.take(cleared(A.COLD_NIGHT, 4600))
    [over] = [m for m in teller.go(NIGHT + 4600 + BACK_S) if m.kind is MessageKind.OVER]
    assert "too cold for 60 min" in over.body


def test_raised_and_over_before_it_was_told_is_one_line():
    teller = Teller()
    teller.take(change(A.STORAGE_FAULT), change(A.STORAGE_FAULT, K.CLEARED))
    [only] = teller.go(NIGHT + 60)
    assert only.kind is MessageKind.OVER
    assert "The card is full." in only.body


def test_a_silent_site_is_one_message_though_its_probes_fall_silent_a_minute_apart():
    teller = Teller()
    for seconds, brooder in ((0, "porch"), (50, "shed")):
        teller.take(change(A.NO_READINGS, at=NIGHT + seconds, brooder=brooder))
    [message] = teller.go(NIGHT + 61)
    assert "porch and shed" in message.body
    teller.take(change(A.NO_READINGS, K.CLEARED, at=NIGHT + 300, brooder="porch"))
    assert teller.go(NIGHT + 310) == []
    teller.take(change(A.NO_READINGS, K.CLEARED, at=NIGHT + 330, brooder="shed"))
    [over] = teller.go(NIGHT + 330 + BACK_S)
    assert over.kind is MessageKind.OVER


def lost_in(box: str, after: float, kind: ChangeKind = K.RAISED, alarm: AlarmName = A.HEAT_LOSS):
    facts = Facts(temp_c=26.0, target_c=26.7, since=NIGHT + after - 180)
    name = f"{box}/{alarm.value}/1"
    priority = P.WARNING if alarm is A.COLD_NIGHT else P.URGENT
    return change(
        alarm,
        kind,
        at=NIGHT + after,
        brooder=box,
        occurrence=name,
        facts=facts,
        priority=priority,
    )


@pytest.mark.parametrize(
    ("after_s", "check", "said"),
    [(120, "power", "They went together"), (1500, "heat", "They did not go at the same time")],
)
def test_boxes_went_together_only_where_their_heat_went_at_about_the_same_time(
    after_s, check, said
):
    teller = Teller()
    teller.take(lost_in("porch", 0))
    teller.take(lost_in("shed", after_s))
    last = teller.go(NIGHT + after_s + 61)[-1]
    assert last.title.endswith("2 boxes without heat")
    assert f"Go now. Check the {check} first." in last.body
    assert said in last.body


def test_of_boxes_whose_heat_is_back_the_reminder_does_not_send_to_the_breaker():
    """The power was back for half an hour, and it said to check it."""
    alarms = (fake_api.alarm(A.HEAT_LOSS, extreme_c=20.0),)
    boxes = [fake_api.brooder(box, 26.0, alarms=alarms, in_band=False) for box in ("porch", "shed")]
    teller = Teller(look=lambda: fake_api.status(*boxes))
    teller.take(lost_in("porch", 0), lost_in("shed", 0))
    repeat = teller.go(NIGHT + 700)[-1]
    assert "Go now. See that all of the heat and the cover are on." in repeat.body
    assert "porch: 26.0 °C, should be 32.2 °C. Some of the heat is back." in repeat.body
    assert "breaker" not in repeat.body


def test_which_of_several_boxes_is_dangerously_cold_is_said():
    teller = Teller()
    [both] = teller.take(lost_in("porch", 0), lost_in("shed", 0, alarm=A.CHILL))
    assert both.title.endswith("2 boxes without heat, 1 dangerously cold")
    assert "porch: 26.0 °C" in both.body
    assert "shed: dangerously cold, 26.0 °C" in both.body


def test_the_morning_names_each_of_several_boxes_that_need_attention():
    teller = Teller()
    teller.take(lost_in("porch", 0), lost_in("shed", 0))
    [morning] = [m for m in teller.go(NIGHT + 8 * 3600) if "good morning" in m.title]
    assert "porch heat has stopped; shed heat has stopped" in morning.body


def test_one_answer_to_several_boxes_is_told_of_all_of_them():
    """The other phone read that the shed is seen to, and ran to the porch."""
    teller = Teller(ME, replace(ANN, after_minutes=0.0))
    teller.take(lost_in("porch", 0), lost_in("shed", 0))
    teller.go(NIGHT + 60)
    said = teller.take(*(lost_in(box, 90, K.ACKNOWLEDGED) for box in ("porch", "shed")))
    assert [message.title for message in said] == ["Hillside: the lost heat is being seen to"]


def test_the_end_of_what_two_boxes_had_says_how_each_of_them_is():
    """It gave the floor of one under the name of the site."""
    boxes = (fake_api.brooder(temp_c=34.0), fake_api.brooder("shed", temp_c=33.0))
    teller = Teller(look=lambda: fake_api.status(*boxes))
    teller.take(lost_in("porch", 0), lost_in("shed", 0))
    teller.take(lost_in("porch", 600, K.CLEARED), lost_in("shed", 700, K.CLEARED))
    over = teller.go(NIGHT + 700 + BACK_S)[-1]
    assert over.body.startswith("porch and shed. It was")
    assert "porch: 34.0 °C, should be 32.2 °C." in over.body
    assert "shed: 33.0 °C, should be 32.2 °C." in over.body


def test_a_box_that_has_its_heat_again_is_no_longer_in_the_repeat_for_a_cold_night_ahead():
    teller = Teller()
    teller.take(lost_in("porch", 0))
    teller.take(lost_in("shed", 120))
    teller.take(lost_in("shed", 150, alarm=A.COLD_NIGHT))
    teller.go(NIGHT + 250)
    teller.take(lost_in("shed", 300, K.CLEARED))
    [again] = teller.go(NIGHT + 120 + 700)
    assert again.kind is MessageKind.AGAIN
    assert again.title.startswith("porch: heat has stopped")
    assert "shed" not in again.body


def test_where_no_other_brooder_could_join_silence_is_told_at_once():
    here = site()
    alone = replace(here, brooders=here.brooders[:1])
    for where, brooder in ((alone, "porch"), (here, None)):
        plan = NotificationPlan(where, (ME,))
        plan.advance(Moment(NIGHT - 60, NIGHT - 60))
        silent = change(A.NO_READINGS, brooder=brooder)
        assert len(plan.changes([silent], Moment(NIGHT, NIGHT))) == 1


def test_a_repeated_silence_says_how_long_it_has_lasted_by_now():
    teller = Teller()
    silent = Facts(temp_c=34.1, target_c=35.0, since=NIGHT - 900, silent_s=900.0)
    teller.take(raised(A.NO_READINGS, facts=silent))
    [first] = teller.go(NIGHT + 61)
    [repeat] = teller.go(NIGHT + 61 + 600)
    assert "Nothing has been heard for 15 min." in first.body
    assert "Nothing has been heard for 26 min." in repeat.body


def of_probes(alarm: AlarmName, kind: ChangeKind, after: float, *names: str) -> list[Change]:
    return [
        replace(
            change(alarm, kind, at=NIGHT + after, priority=P.WARNING),
            probe=f"porch/{name}",
            occurrence=f"porch/{alarm.value}/{name}/1",
        )
        for name in names
    ]


@pytest.mark.parametrize(
    ("alarm", "begins", "ends"),
    [
        (A.NO_READINGS, "far floor probe is silent", "far floor probe is heard again"),
        (A.PROBE_FAULT, "far floor probe cannot be trusted", "far floor probe makes sense again"),
    ],
)
def test_the_end_names_the_probe_that_the_beginning_named(alarm, begins, ends):
    teller = Teller()
    teller.take(*of_probes(alarm, K.RAISED, 0, "far floor"))
    teller.go(NIGHT + 100)
    teller.take(*of_probes(alarm, K.CLEARED, 600, "far floor"))
    teller.go(NIGHT + 600 + BACK_S)
    raised_message, over_message = teller.said
    assert begins in raised_message.title
    assert ends in over_message.title


def test_the_end_of_several_probes_trouble_names_none_of_them_alone():
    teller = Teller()
    teller.take(*of_probes(A.PROBE_FAULT, K.RAISED, 0, "floor", "far floor"))
    teller.go(NIGHT + 100)
    teller.take(*of_probes(A.PROBE_FAULT, K.CLEARED, 600, "floor", "far floor"))
    assert [m.title for m in teller.go(NIGHT + 600 + BACK_S)] == ["porch: probes make sense again"]


def test_a_probe_told_as_what_is_behind_the_cold_has_no_message_beside_it_but_its_repeats_and_end():
    teller = Teller()
    chill = replace(raised(A.CHILL), probe="porch/floor")
    teller.take(chill)
    why = replace(chill, at=NIGHT + 60, change=K.EXPLAINED, cause=Cause.SENSOR)
    teller.take(why, *of_probes(A.PROBE_FAULT, K.RAISED, 60, "floor"))
    teller.go(NIGHT + 300)
    first, explained = teller.said
    assert {first.thread, explained.thread} == {chill.occurrence}
    teller.take(change(A.COLD_NIGHT, at=NIGHT + 400), cleared(A.CHILL, 600))
    [over, repeat] = teller.go(NIGHT + 7500)
    assert (over.kind, repeat.kind) == (MessageKind.OVER, MessageKind.AGAIN)
    assert "it may have been wrong" in over.body
    assert "probe cannot be trusted" in repeat.title
    teller.take(*of_probes(A.PROBE_FAULT, K.CLEARED, 9000, "floor"))
    [end] = teller.go(NIGHT + 9000 + BACK_S)
    assert "makes sense again" in end.title


def test_the_end_says_what_was_found_behind_it_over_a_restart_too():
    ends = []
    for restarts in (False, True):
        teller = Teller()
        chill = replace(raised(A.CHILL), probe="porch/floor")
        teller.take(chill)
        if restarts:
            teller.restarted()
        teller.take(replace(chill, at=NIGHT + 60, change=K.EXPLAINED, cause=Cause.SENSOR))
        teller.take(cleared(A.CHILL, 600))
        ends.append([message.body for message in teller.go(NIGHT + 600 + BACK_S)])
    assert "may have been wrong" in ends[0][0]
    assert ends[0] == ends[1]


def test_another_brooder_that_falls_silent_later_is_told():
    teller = Teller()
    teller.take(change(A.NO_READINGS))
    teller.go(NIGHT + 61)
    teller.take(change(A.NO_READINGS, at=NIGHT + 300, brooder="shed"))
    [second] = teller.go(NIGHT + 361)
    assert second.title.startswith("shed")
    assert second.thread == teller.said[0].thread


def test_silence_with_a_lost_broker_is_one_cause():
    teller = Teller()
    teller.take(change(A.BROKER_LOST))
    teller.go(NIGHT + 5)
    teller.take(change(A.NO_READINGS, at=NIGHT + 900))
    [worse] = teller.go(NIGHT + 961)
    assert worse.thread == teller.said[0].thread


def test_what_was_told_once_and_ended_is_told_again_when_it_comes_back():
    teller = Teller()
    teller.take(raised(A.CHILL))
    teller.take(answered(A.CHILL, 100))
    teller.take(raised(A.COLD, 110))
    teller.take(cleared(A.CHILL, 200))
    back = change(A.CHILL, at=NIGHT + 400, occurrence="porch/chill/2")
    [again] = teller.take(back)
    assert again.kind is MessageKind.RAISED
    assert again.key == "porch/chill/2:raised"
    [reminder] = teller.go(NIGHT + 1000)
    assert reminder.kind is MessageKind.AGAIN, "the answer was to the first chill, not to this one"


def test_an_end_that_lasts_a_moment_is_no_end():
    teller = Teller()
    teller.take(raised(A.CHILL))
    teller.take(cleared(A.CHILL, 100))
    teller.take(change(A.CHILL, at=NIGHT + 102, occurrence="porch/chill/2"))
    teller.go(NIGHT + 602)
    assert teller.kinds() == [MessageKind.RAISED, MessageKind.AGAIN]


def test_a_silence_that_grows_from_one_probe_to_its_brooder_is_not_told_as_over():
    teller = Teller()
    one = replace(
        change(A.NO_READINGS, priority=P.WARNING, occurrence="porch/no-readings/floor/1"),
        probe="porch/floor",
    )
    teller.take(one)
    teller.go(NIGHT + 100)
    over = replace(one, at=NIGHT + 200, change=K.CLEARED)
    teller.take(over, change(A.NO_READINGS, at=NIGHT + 200))
    teller.go(NIGHT + 300)
    assert teller.kinds() == [MessageKind.RAISED, MessageKind.RAISED]


def test_warnings_of_two_brooders_are_two_causes():
    teller = Teller()
    teller.take(raised(A.COLD), change(A.COLD, at=NIGHT, brooder="shed"))
    teller.go(NIGHT + 120)
    assert len({message.thread for message in teller.said}) == 2


def test_advice_waits_for_the_morning_message_and_is_told_in_one():
    teller = Teller()
    teller.take(change(A.CROWDED))
    teller.take(change(A.LOSSES_HIGH, at=NIGHT + 60))
    assert teller.said == []
    [morning] = teller.go(local(11, 7))
    assert morning.kind is MessageKind.MORNING
    assert "getting crowded" in morning.body
    assert "more losses than usual" in morning.body
    [tomorrow] = teller.go(local(12, 7))
    assert "crowded" not in tomorrow.body


def test_the_morning_tells_an_advice_with_the_figures_of_the_morning():
    start = NIGHT - 3600.0
    engine = Engine(site(), Moment(start, start))
    morning = local(11, 7)
    plan = NotificationPlan(site(), (ME,), look=lambda: engine.status(Moment(morning, morning)))
    plan.advance(Moment(start, start))

    def enter(number: int, at: float, what: EntryKind, count: int, **more: str) -> None:
        entry = Entry(at=at, entry=what, brooder="porch", number=number, count=count, **more)
        plan.changes(engine.entry(entry, Moment(at, at)), Moment(at, at))

    enter(1, start, EntryKind.PLACED, 200, hatched="2026-01-25", kind="broiler")
    enter(2, start + 60, EntryKind.MOVED, 50)
    [message] = plan.advance(Moment(morning, morning))
    area_cm2 = 1e4 * site().brooders[0].floor_area_m2 / 150
    assert f"Each chick has {area_cm2:.0f} cm²" in message.body


def bedtime(*contacts: Contact, birds: bool = True, mild: bool = False) -> Teller:
    """A site with or without birds in the porch, on the day of their seventh evening. `mild`: the
    night is foretold, and the box will hold it."""
    start = local(10, 12)
    engine = Engine(site(), Moment(start, start))
    if birds:
        placed = chicks_in(start, number=1, hatched="2026-02-04")
        engine.entry(placed, Moment(start, start))
        engine.reading(Reading(start + 60, start + 60, "porch/floor", 34.6))
    teller = Teller(*contacts, start=start)
    status = engine.status(Moment(start + 120, start + 120))
    if mild:
        boxes = [replace(box, outlook=fake_api.outlook(chance=0.02)) for box in status.brooders]
        status = replace(status, brooders=tuple(boxes))
    teller.plan = NotificationPlan(site(), teller.contacts, look=lambda: status)
    teller.go(start + 120)
    return teller


def test_an_evening_with_nothing_to_do_says_so_and_that_the_step_is_for_the_morning():
    [told] = bedtime(mild=True).go(local(10, 20))
    assert (told.kind, told.priority, told.title) == (
        MessageKind.EVENING,
        P.ADVICE,
        "Hillside: tonight, nothing to do",
    )
    assert told.body.startswith("porch 34.6 °C, should be 35.0 °C; tonight likely down to")
    assert "It should hold. Nothing to do." in told.body
    assert "raise the lamps in the morning, not tonight" in told.body


def test_a_copy_of_the_records_that_fails_is_told_once_and_in_the_evening_message():
    teller = bedtime()
    fault = replace(
        change(A.MIRROR_FAULT, at=local(10, 9), occurrence="site/mirror-fault/1"),
        brooder=None,
        facts=Facts(reason="there is no bucket"),
    )
    told = [*teller.take(fault), *teller.go(local(10, 19))]
    assert [message.title for message in told] == ["Hillside: records are not copied off the board"]
    [evening] = teller.go(local(10, 20))
    assert evening.kind is MessageKind.EVENING
    assert "Needs attention now: records are not copied off the board" in evening.body


def test_without_birds_there_is_no_message_of_the_evening_or_of_the_morning():
    assert bedtime(birds=False).go(local(14, 12)) == []


def test_a_cold_night_foreseen_in_the_afternoon_is_the_evening_message():
    only_warnings = Contact(name="ann", url="json://nowhere", priorities=frozenset({P.WARNING}))
    teller = bedtime(replace(ME, quiet_from=time(19), quiet_to=time(6)), only_warnings)
    cold = change(A.COLD_NIGHT, at=local(10, 16), occurrence="porch/cold-night/1")
    facts = Facts(**{**cold.facts, "leaves_band_at": local(11, 2)})
    assert teller.take(replace(cold, facts=facts)) == []
    assert teller.go(local(10, 19, 59)) == []
    [told] = teller.go(local(10, 20))
    assert (told.kind, told.priority) == (MessageKind.EVENING, P.WARNING)
    assert told.title == "porch: cold night ahead"
    assert told.contacts == ("me", "ann"), "a warning does not wait for the end of quiet hours"
    assert told.ack_for == ("porch/cold-night/1",)
    assert teller.go(local(11, 5)) == []


def test_a_floor_that_is_too_cold_before_bedtime_is_told_at_once():
    teller = bedtime()
    cold = change(A.COLD_NIGHT, at=local(10, 16), occurrence="porch/cold-night/1")
    soon = replace(cold, facts=Facts(**{**cold.facts, "leaves_band_at": local(10, 20, 30)}))
    teller.take(soon)
    [told] = teller.go(local(10, 16, 1))
    assert told.kind is MessageKind.RAISED


def foretold(teller: Teller, chance: float, lowest_at: float | None = None) -> None:
    """What the porch's night is now said to be. Put in the place of what the plan looks at: a night
    of just this chance cannot be made by readings."""
    status = teller.plan._look()
    assert status is not None
    [porch] = [box for box in status.brooders if box.name == "porch"]
    outlook = replace(fake_api.outlook(), chance=chance)
    if lowest_at is not None:
        outlook = replace(outlook, lowest_at=lowest_at)
    now = replace(status, brooders=(replace(porch, outlook=outlook),))
    teller.plan._look = teller.plan._composer.look = lambda: now


@pytest.mark.parametrize(("chance", "reminded"), [(0.15, False), (0.3, True), (0.42, True)])
def test_a_cold_night_told_in_the_night_says_that_the_evening_held_it_possible(
    chance: float, reminded: bool
) -> None:
    """What was done about it then is done; told as if it were new it would be done twice."""
    teller = bedtime()
    foretold(teller, chance)
    [evening] = teller.go(local(10, 20))
    assert "cold night ahead" not in evening.title
    foretold(teller, 0.6)
    look = teller.plan._look
    teller.restarted()
    teller.plan._look = teller.plan._composer.look = look
    cold = change(A.COLD_NIGHT, at=local(11, 3), occurrence="porch/cold-night/1")
    told = [*teller.take(cold), *teller.go(local(11, 3, 1))]
    assert [message.title for message in told] == ["porch: cold night ahead"]
    said = "The evening message at 20:00 said it might come."
    assert (said in told[0].body.split("\n")) is reminded
    next_day = change(A.COLD_NIGHT, at=local(11, 15), occurrence="porch/cold-night/2")
    again = [*teller.take(next_day), *teller.go(local(11, 15, 1))]
    assert all("The evening message" not in message.body for message in again)


def told_at_three() -> Teller:
    """A cold night that would not wait for bedtime."""
    teller = bedtime()
    cold = change(A.COLD_NIGHT, at=local(10, 15), occurrence="porch/cold-night/1")
    soon = replace(cold, facts=Facts(**{**cold.facts, "leaves_band_at": local(10, 20, 30)}))
    teller.take(soon)
    assert [m.kind for m in teller.go(local(10, 15, 1))] == [MessageKind.RAISED]
    return teller


@pytest.mark.parametrize("chance", [0.3, 0.9])
def test_a_cold_night_that_stands_is_what_bedtime_says_with_the_figures_of_now(chance):
    teller = told_at_three()
    foretold(teller, chance)
    [evening] = teller.go(local(10, 20))
    assert evening.title == "porch: cold night ahead"
    assert f"about {chance * 100:.0f} in 100" in evening.body
    assert "Nothing to do" not in evening.body
    assert "Needs attention now" not in evening.body
    assert evening.ack_for == ("porch/cold-night/1",)


def test_the_night_that_is_over_is_not_ahead_in_the_morning_message():
    teller = told_at_three()
    foretold(teller, 0.9)
    morning = [m for m in teller.go(local(11, 8)) if m.kind is MessageKind.MORNING]
    assert [m.body.startswith("Needs attention now") for m in morning] == [False]


def test_a_cold_night_that_should_hold_after_all_is_called_off_at_bedtime_and_not_once_more():
    teller = told_at_three()
    foretold(teller, 0.1)
    [evening] = teller.go(local(10, 20))
    assert evening.title == "Hillside: tonight, it should hold"
    assert (
        "should hold after all: the cold night told at 15:00 is no longer expected" in evening.body
    )
    clearing = change(
        A.COLD_NIGHT, K.CLEARED, at=local(10, 20, 15), occurrence="porch/cold-night/1"
    )
    teller.take(clearing)
    assert teller.go(local(11, 5)) == []


def test_a_cold_night_called_off_at_bedtime_that_stands_an_hour_later_is_told_anew():
    teller = told_at_three()
    foretold(teller, 0.1)
    teller.go(local(10, 20))
    foretold(teller, 0.7)
    assert teller.go(local(10, 20, 59)) == []
    [anew] = teller.go(local(10, 21))
    assert (anew.kind, anew.title) == (MessageKind.RAISED, "porch: cold night ahead")
    assert "about 70 in 100" in anew.body
    keys = [message.key for message in teller.said]
    assert len(set(keys)) == len(keys), "what has a used key is not kept as told"


@pytest.mark.parametrize("chance", [0.1, 0.3])
def test_a_cold_night_called_off_at_bedtime_is_not_told_again_while_it_should_hold(chance):
    """Its alarm stands for two hours more: after one the old figures were told anew, or what came
    two times in ten."""
    teller = told_at_three()
    foretold(teller, 0.1)
    teller.go(local(10, 20))
    foretold(teller, chance)
    assert teller.go(local(10, 21, 30)) == []
    foretold(teller, 0.7)
    [anew] = teller.go(local(10, 22))
    assert "about 70 in 100" in anew.body


def heat_back_at_seven() -> Teller:
    """Lost heat beside which a cold night needed no message of its own."""
    teller = bedtime()
    foretold(teller, 0.1)
    lost, night = (raised(alarm, local(10, 18) - NIGHT) for alarm in (A.HEAT_LOSS, A.COLD_NIGHT))
    teller.take(lost, night)
    teller.take(cleared(A.HEAT_LOSS, local(10, 18, 30) - NIGHT))
    [over] = [m for m in teller.go(local(10, 19)) if m.kind is MessageKind.OVER]
    assert "night" not in over.body
    return teller


def test_a_cold_night_that_nobody_was_told_of_is_not_said_to_have_been_told():
    teller = heat_back_at_seven()
    [evening] = teller.go(local(10, 20))
    assert "cold night" not in evening.body
    teller.take(cleared(A.COLD_NIGHT, local(10, 20, 15) - NIGHT))
    assert teller.go(local(11, 5)) == []


def test_a_cold_night_that_stands_again_after_the_heat_is_back_is_told():
    teller = heat_back_at_seven()
    teller.go(local(10, 20))
    foretold(teller, 0.7)
    [night] = teller.go(local(10, 21))
    assert (night.kind, night.title) == (MessageKind.RAISED, "porch: cold night ahead")


def test_a_cold_night_that_nobody_was_told_of_is_told_in_the_night_when_it_stands_again():
    """Heat is back after bedtime, and it should hold: an hour later it should not."""
    teller = bedtime()
    foretold(teller, 0.1)
    teller.go(local(10, 20))
    lost, night = (raised(alarm, local(10, 22) - NIGHT) for alarm in (A.HEAT_LOSS, A.COLD_NIGHT))
    teller.take(lost, night)
    teller.take(cleared(A.HEAT_LOSS, local(10, 22, 30) - NIGHT))
    assert teller.plan.nights_told() == {}, "nobody heard of more than the heat that was lost"
    teller.go(local(10, 23))
    assert teller.plan.nights_told() == {night.occurrence: False}
    foretold(teller, 0.7)
    [night] = teller.go(local(11, 0))
    assert teller.plan.nights_told() == {night.ack_for[0]: True}
    assert (night.kind, night.title) == (MessageKind.RAISED, "porch: cold night ahead")


def test_a_cold_night_that_the_end_of_lost_heat_told_is_called_off_like_any_other():
    teller = bedtime()
    teller.go(local(10, 20))
    foretold(teller, 0.7, local(11, 6))
    lost, night = (
        raised(alarm, local(10, 20, 30) - NIGHT) for alarm in (A.HEAT_LOSS, A.COLD_NIGHT)
    )
    teller.take(lost, night)
    teller.take(cleared(A.HEAT_LOSS, local(10, 21) - NIGHT))
    [over] = [m for m in teller.go(local(10, 21, 30)) if m.kind is MessageKind.OVER]
    assert "The night is still likely to bring it down" in over.body
    foretold(teller, 0.1)
    teller.take(cleared(A.COLD_NIGHT, local(10, 22) - NIGHT))
    [off] = teller.go(local(11, 5))
    assert off.title == "porch: cold night no longer expected"


@pytest.mark.parametrize(("since", "said"), [(local(10, 18, 50), "10 min"), (None, None)])
def test_right_for_is_no_longer_than_the_floor_has_been_in_its_band(since, said):
    """One that was too hot had been too cold meanwhile: "it has been right for 80 min"."""
    teller = bedtime()
    status = teller.plan._look()
    assert status is not None
    boxes = tuple(replace(box, in_band_since=since) for box in status.brooders)
    teller.plan._composer.look = lambda: replace(status, brooders=boxes)
    teller.take(raised(A.HEAT_LOSS, local(10, 18) - NIGHT))
    teller.take(cleared(A.HEAT_LOSS, local(10, 18, 30) - NIGHT))
    [over] = [m for m in teller.go(local(10, 19)) if m.kind is MessageKind.OVER]
    assert ("right for" in over.body) is (said is not None)
    assert said is None or f"It has been right for {said}." in over.body


def test_while_lost_heat_is_not_told_as_over_no_other_end_says_that_all_is_normal():
    teller = Teller()
    teller.take(raised(A.HOT))
    teller.go(NIGHT + 10)
    teller.take(cleared(A.HOT, 600))
    teller.take(raised(A.HEAT_LOSS, 1200))
    teller.take(cleared(A.HEAT_LOSS, 3000))
    over = [m for m in teller.go(NIGHT + 3000 + BACK_S) if m.kind is MessageKind.OVER]
    assert [m.title for m in over] == ["porch: no longer too hot", "porch: back to normal"]
    assert "You will hear by itself when the lost heat is over." in over[0].body


def test_who_wants_urgent_news_alone_hears_no_second_end_of_what_goes_on_as_a_cold_night():
    only = Contact(name="only urgent", url="json://nowhere", priorities=frozenset({P.URGENT}))
    teller = Teller(ME, only)
    teller.take(raised(A.HEAT_LOSS), raised(A.COLD_NIGHT))
    teller.take(cleared(A.HEAT_LOSS, 600))
    teller.take(raised(A.COLD, 7200))
    teller.take(cleared(A.COLD, 9000), cleared(A.COLD_NIGHT, 9000))
    teller.go(NIGHT + 6 * 3600)
    ends = [m.contacts for m in teller.said if m.kind is MessageKind.OVER]
    assert ends == [("me", "only urgent"), ("me",)]


def test_what_is_passed_on_anew_after_the_first_was_over_has_a_key_of_its_own():
    teller = Teller(ME, replace(ANN, priorities=frozenset({P.URGENT})))
    teller.take(raised(A.HEAT_LOSS), raised(A.COLD_NIGHT))
    teller.go(NIGHT + 1000)
    teller.take(cleared(A.HEAT_LOSS, 1200))
    teller.go(NIGHT + 1200 + BACK_S)
    teller.take(replace(raised(A.HEAT_LOSS, 9000), occurrence="porch/heat-loss/2"))
    teller.go(NIGHT + 11000)
    passed = [m.key for m in teller.said if m.kind is MessageKind.PASSED_ON]
    assert len(set(passed)) == len(passed) == 2


def test_of_a_floor_that_was_cold_in_a_cold_night_the_end_says_how_it_is_now():
    teller = Teller()
    teller.take(raised(A.COLD, cause=Cause.COLD_NIGHT), raised(A.COLD_NIGHT))
    teller.take(cleared(A.COLD, 3600, facts=Facts(temp_c=34.0, target_c=35.0)))
    dawn = Facts(temp_c=34.0, target_c=35.0, reason=NIGHT_OVER)
    teller.take(cleared(A.COLD_NIGHT, 7000, facts=dawn))
    [over] = [m for m in teller.go(NIGHT + 4 * 3600) if m.kind is MessageKind.OVER]
    assert over.title == "porch: back to normal"
    assert "Now 34.0 °C" in over.body


def test_that_it_is_over_makes_no_sound_at_night():
    silent = {}
    for start in (local(10, 22), local(11, 10)):
        teller = Teller(start=start - 60)
        chill = change(A.CHILL, at=start, occurrence="porch/chill/1")
        over = replace(chill, at=start + 600, change=K.CLEARED)
        teller.take(chill)
        teller.take(over)
        teller.go(start + 600 + BACK_S)
        silent[start] = [m.silent for m in teller.said]
    assert list(silent.values()) == [[False, True], [False, False]]


def test_the_morning_message_waits_for_a_contact_who_is_not_up_yet():
    sleeper = Contact(name="late", url="json://nowhere", quiet_from=time(22), quiet_to=time(8, 30))
    teller = Teller(ME, sleeper)
    [at_seven] = teller.go(local(11, 7))
    assert at_seven.contacts == ("me",)
    assert teller.go(local(11, 8, 29)) == []
    [at_half_past] = teller.go(local(11, 8, 30))
    assert (at_half_past.key, at_half_past.contacts) == (at_seven.key, ("late",))


def test_no_morning_message_on_the_day_of_the_first_start_after_its_hour():
    teller = Teller(start=local(11, 9))
    assert teller.go(local(12, 6, 59)) == []
    assert [m.key for m in teller.go(local(12, 7))] == ["morning:2026-02-12"]


def test_a_morning_missed_while_the_board_was_off_is_told_late_and_once():
    teller = Teller(start=local(10, 12))
    teller.restarted()
    [late] = teller.go(local(13, 9))
    assert late.key == "morning:2026-02-13"


@pytest.mark.parametrize("morning_at", [time(7), time(2, 30), time(1, 30), time(0)])
def test_every_local_day_has_one_morning_message_also_with_23_and_25_hours(morning_at):
    begin = datetime(2026, 3, 1, 12, tzinfo=ZONE).timestamp()
    teller = Teller(policy=Policy(morning_at=morning_at), start=begin)
    days = (datetime(2026, 11, 10) - datetime(2026, 3, 1)).days  # noqa: DTZ001 - a count of days
    at = begin
    while at < begin + days * 86400:
        at += 1700.0
        teller.go(at)
    keys = [m.key for m in teller.said]
    first = datetime(2026, 3, 2)  # noqa: DTZ001 - a calendar day
    assert keys == [f"morning:{(first + timedelta(days=n)).date()}" for n in range(len(keys))]
    assert len(keys) in (days, days - 1)


def test_a_clock_that_was_years_ahead_does_not_silence_the_mornings_after_it_is_right():
    teller = Teller(start=local(10, 12))
    future = local(10, 12) + 400 * 86400.0
    teller.plan.advance(Moment(future, local(10, 12) + 5))
    right = local(10, 12) + 10
    teller.plan.advance(Moment(right, right))
    assert [m.key for m in teller.go(local(11, 7))] == ["morning:2026-02-11"]


def test_a_board_that_starts_in_the_night_with_the_time_of_weeks_ago_says_no_good_morning_again():
    """Once its clock was set, after each start."""
    teller = Teller(start=local(10, 6))
    assert [m.key for m in teller.go(local(10, 8))] == ["morning:2026-02-10"]
    for hour in (23, 25, 27):
        steady = local(10, hour % 24) + 86400.0 * (hour // 24)
        teller.plan.advance(Moment(steady - 30 * 86400.0, steady))
        assert teller.go(steady + 60) == []
    assert [m.key for m in teller.go(local(11, 8))] == ["morning:2026-02-11"]


def test_was_down_is_told_once_and_its_end_not_at_all():
    teller = Teller()
    [told] = teller.take(change(A.WAS_DOWN), change(A.WAS_DOWN, K.CLEARED))
    assert "nobody watched for 66 min" in told.title
    assert teller.go(NIGHT + 3600 * 4) == []


def test_the_end_of_a_cold_night_wakes_nobody():
    teller = Teller()
    teller.take(raised(A.COLD_NIGHT))
    teller.go(NIGHT + 10)
    teller.take(cleared(A.COLD_NIGHT, 3600))
    teller.go(NIGHT + 4 * 3600)
    assert teller.kinds() == [MessageKind.RAISED]


def evening_of_a_cold_night(*contacts: Contact) -> Teller:
    """Told at a quarter past six."""
    early = Policy(evening_at=time(18))
    teller = Teller(*contacts, policy=early, start=local(10, 18))
    teller.take(change(A.COLD_NIGHT, at=local(10, 18, 15), occurrence="porch/cold-night/1"))
    teller.go(local(10, 18, 20))
    assert teller.kinds() == [MessageKind.RAISED]
    return teller


def called_off(day: int, hour: int, minute: int, **facts: object) -> Change:
    return change(
        A.COLD_NIGHT,
        K.CLEARED,
        at=local(day, hour, minute),
        occurrence="porch/cold-night/1",
        facts=Facts(lasted_s=1800.0, **facts),  # type: ignore[typeddict-item]
    )


def test_a_cold_night_no_longer_expected_is_told_the_same_evening():
    teller = evening_of_a_cold_night()
    teller.take(called_off(10, 18, 45))
    assert teller.go(local(10, 19, 14)) == [], "it may be expected again"
    [over] = teller.go(local(10, 19, 15))
    assert (over.kind, over.contacts, over.ack_for) == (MessageKind.OVER, ("me",), ())
    assert over.title == "porch: cold night no longer expected"


@pytest.mark.parametrize("clearing", [called_off(11, 0, 30), called_off(11, 8, 0)])
def test_neither_in_the_night_nor_at_its_end_is_a_cold_night_called_off(clearing):
    teller = evening_of_a_cold_night()
    teller.take(clearing)
    teller.go(clearing.at + BACK_S + 600)
    assert MessageKind.OVER not in teller.kinds()


def test_a_cold_night_is_not_called_off_to_who_emptied_the_box_nor_in_quiet_hours():
    teller = evening_of_a_cold_night()
    teller.take(called_off(10, 18, 45, reason="no batch in the brooder"))
    assert teller.go(local(10, 20)) == []
    teller = evening_of_a_cold_night(replace(ME, quiet_from=time(20), quiet_to=time(6)))
    teller.take(called_off(10, 21, 45))
    assert teller.go(local(10, 23)) == []


def test_a_cold_night_that_was_never_told_is_not_called_off():
    teller = Teller(start=local(10, 18))
    told = change(A.COLD_NIGHT, at=local(10, 18, 45) - 2, occurrence="porch/cold-night/1")
    teller.take(told, called_off(10, 18, 45))
    assert teller.go(local(10, 20)) == []


def test_a_cold_night_that_was_only_expected_does_not_lengthen_the_cold_nor_the_wait():
    teller = Teller()
    teller.take(raised(A.COLD_NIGHT))
    teller.go(NIGHT + 10)
    cold = Facts(temp_c=33.0, target_c=35.0, since=NIGHT + 7200 - 60)
    teller.take(raised(A.HEAT_LOSS, 7200, facts=cold))
    [reminder] = teller.go(NIGHT + 7800)
    assert "Still not answered after 10 min." in reminder.body
    teller.take(cleared(A.HEAT_LOSS, 8000), cleared(A.COLD_NIGHT, 8000))
    [over] = teller.go(NIGHT + 8000 + BACK_S)
    assert "without some of its heat for 14 min" in over.body


def test_a_cold_that_was_expected_waits_for_its_answer_since_it_came():
    """It is of the same priority as the night that was told in the evening, hours before."""
    teller = Teller()
    teller.take(raised(A.COLD_NIGHT))
    teller.go(NIGHT + 10)
    came_s = 6900
    teller.take(raised(A.COLD, came_s))
    [reminder] = [m for m in teller.go(NIGHT + came_s + 7300) if m.kind is MessageKind.AGAIN]
    assert "too cold (reminder 1)" in reminder.title
    assert "Still not answered after 2 h." in reminder.body


def test_how_long_it_was_cold_leaves_out_the_hours_between():
    """The evening's and the morning's are one trouble in a night that was expected to be cold."""
    teller = Teller()
    teller.take(raised(A.COLD_NIGHT))
    for n, (begun, ended) in enumerate([(3600, 5400), (8400, 12000)]):
        cold = Facts(temp_c=33.0, target_c=35.0, since=NIGHT + begun)
        occurrence = f"porch/cold/{n}"
        teller.take(replace(raised(A.COLD, begun + 300, facts=cold), occurrence=occurrence))
        teller.go(NIGHT + begun + 400)
        teller.take(replace(cleared(A.COLD, ended), occurrence=occurrence))
    teller.take(cleared(A.COLD_NIGHT, 12000))
    over = [m for m in teller.go(NIGHT + 12000 + 4 * 3600) if m.kind is MessageKind.OVER]
    assert "It was too cold for 1 h 30 min" in over[-1].body


@pytest.mark.parametrize(
    ("chance", "lowest_at"),
    [(0.1, NIGHT + 14400), (0.6, NIGHT + 14400), (0.6, NIGHT + 1200), (0.6, NIGHT + 3300)],
)
def test_heat_that_is_back_is_told_in_half_an_hour_whatever_the_night_is_expected_to_bring(
    chance, lowest_at
):
    """It says what is still to come, if something is: a floor that was lowest a while ago, and from
    there only rises, has nothing to come. What is lost later is news, with times of its own."""
    teller = bedtime()
    teller.go(NIGHT - 60)
    foretold(teller, chance, lowest_at)
    teller.take(raised(A.HEAT_LOSS))
    teller.take(raised(A.COLD_NIGHT, 900))
    teller.take(cleared(A.HEAT_LOSS, 1200))
    [over] = [m for m in teller.go(NIGHT + 1200 + BACK_S) if m.kind is MessageKind.OVER]
    assert over.title == "porch: back to normal"
    assert "It has been right for 30 min." in over.body
    ahead = chance == 0.6 and lowest_at == NIGHT + 14400
    assert ("The night is still likely to bring it down to" in over.body) is ahead
    teller.said.clear()
    since = Facts(temp_c=33.0, target_c=35.0, since=NIGHT + 7200)
    again = replace(raised(A.HEAT_LOSS, 7200, facts=since), occurrence="porch/heat-loss/2")
    [news] = teller.take(again)
    assert news.kind is MessageKind.RAISED
    teller.take(
        replace(cleared(A.HEAT_LOSS, 7800), occurrence=again.occurrence),
        cleared(A.COLD_NIGHT, 7800),
    )
    [ended] = [m for m in teller.go(NIGHT + 7800 + BACK_S) if m.kind is MessageKind.OVER]
    assert "without some of its heat for 10 min" in ended.body


def test_no_message_of_heat_lost_again_in_a_cold_night_goes_under_a_key_that_was_used():
    """What has a used key counts as sent."""
    teller = Teller(ME, ANN)
    for number, at in ((1, 0), (2, 20000)):
        this = f"porch/heat-loss/{number}"
        teller.take(replace(raised(A.HEAT_LOSS, at), occurrence=this))
        if number == 1:
            teller.take(raised(A.COLD_NIGHT, at + 60))
        teller.go(NIGHT + at + 1000)
        teller.take(replace(answered(A.HEAT_LOSS, at + 1000), occurrence=this))
        teller.go(NIGHT + at + 9000)
        teller.take(replace(cleared(A.HEAT_LOSS, at + 9000), occurrence=this))
        teller.go(NIGHT + at + 9000 + BACK_S)
    keys = [message.key for message in teller.said]
    assert sum(":anew:" in key for key in keys) == 2
    assert len(set(keys)) == len(keys)


def test_what_comes_again_after_it_was_put_aside_has_keys_of_its_own():
    teller = Teller(ME, ANN)
    for number, at in ((1, 0), (2, 2000)):
        this = f"porch/chill/{number}"
        teller.take(replace(raised(A.CHILL, at), occurrence=this))
        teller.go(NIGHT + at + 1300)
        put_aside = replace(cleared(A.CHILL, at + 1400), change=K.SHELVED, occurrence=this)
        teller.take(put_aside)
    keys = [(message.key, message.contacts) for message in teller.said]
    assert [m.kind for m in teller.said].count(MessageKind.PASSED_ON) == 2
    assert len(set(keys)) == len(keys)


def test_a_cause_that_is_found_to_be_the_first_after_all_has_a_key_of_its_own():
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS, cause=Cause.COVER_OPEN))
    for after, cause in (
        (60, Cause.HEAT_SOURCE),
        (120, Cause.COVER_OPEN),
        (180, Cause.HEAT_SOURCE),
    ):
        found = replace(raised(A.HEAT_LOSS, after, cause=cause), change=K.EXPLAINED)
        teller.said += teller.plan.changes([found], Moment(found.at, found.at))
    keys = [message.key for message in teller.said]
    assert len(set(keys)) == len(keys) == 4


def test_a_box_of_which_a_cold_night_was_told_is_named_when_it_loses_its_heat_with_another():
    """It came ten minutes late, with the first reminder."""
    teller = Teller()
    for box in ("porch", "shed"):
        teller.take(lost_in(box, 0, alarm=A.COLD_NIGHT))
        teller.go(NIGHT + 10)
    for box in ("porch", "shed"):
        teller.take(lost_in(box, 60))
    [both] = teller.go(NIGHT + 130)
    assert both.title.endswith("2 boxes without heat")


def test_heat_that_is_back_in_two_boxes_leaves_the_cold_night_of_each():
    """The one that was not the worst was forgotten, and its end told to nobody."""
    teller = Teller(start=local(10, 20, 5))
    begin = local(10, 20, 10) - NIGHT
    for box in ("porch", "shed"):
        teller.take(lost_in(box, begin, alarm=A.COLD_NIGHT))
        teller.go(NIGHT + begin + 10)
    for box in ("porch", "shed"):
        teller.take(lost_in(box, begin + 60))
    teller.take(*(lost_in(box, begin + 600, K.CLEARED) for box in ("porch", "shed")))
    [over] = teller.go(NIGHT + begin + 600 + BACK_S)
    assert over.kind is MessageKind.OVER
    for box, after in (("shed", 2700), ("porch", 6000)):
        teller.take(lost_in(box, begin + after, K.CLEARED, alarm=A.COLD_NIGHT))
        [off] = teller.go(NIGHT + begin + after + BACK_S)
        assert off.kind is MessageKind.OVER
        assert off.title.startswith(f"{box}: ")
        assert off.contacts == ("me",)
    keys = [message.key for message in teller.said]
    assert len(set(keys)) == len(keys)


def test_what_comes_back_within_half_an_hour_goes_on_to_the_next_contact_too():
    """Each reminder began their minutes anew: they never came."""
    teller = Teller(ME, ANN)
    teller.take(raised(A.CHILL))
    teller.take(cleared(A.CHILL, 200))
    teller.take(replace(raised(A.CHILL, 400), occurrence="porch/chill/2"))
    for minute in range(60):
        teller.go(NIGHT + 400 + 60 * minute)
    [passed] = [m for m in teller.said if m.kind is MessageKind.PASSED_ON]
    assert passed.at == NIGHT + 400 + 900


@pytest.mark.parametrize(("asked_s", "waits_s"), [(300, 600), (1, 899)])
def test_who_was_asked_before_the_power_went_has_the_rest_of_their_minutes_after(asked_s, waits_s):
    """The next was told that they did not answer two minutes after a start: nobody could answer."""
    teller = Teller(ME, ANN)
    teller.take(raised(A.CHILL))
    teller.go(NIGHT + asked_s)
    start = NIGHT + asked_s + 3 * 3600
    teller.plan.nobody_watched(3 * 3600.0, start)
    for second in range(0, 1800, 30):
        teller.go(start + second)
    [passed] = [m for m in teller.said if m.kind is MessageKind.PASSED_ON]
    assert passed.at == start + waits_s


def test_the_end_of_a_dangerously_cold_floor_is_told_though_the_cold_night_goes_on():
    """Who hears only what is urgent heard "go now" last, and its end at dawn, hours later."""
    urgent = Contact(name="ann", url="json://nowhere", priorities=frozenset({P.URGENT}))
    teller = Teller(ME, urgent)
    teller.take(change(A.COLD_NIGHT, cause=Cause.COLD_NIGHT))
    teller.take(change(A.CHILL, at=NIGHT + 60, cause=Cause.COLD_NIGHT))
    ended = NIGHT + 1200
    teller.take(change(A.CHILL, K.CLEARED, at=ended, cause=Cause.COLD_NIGHT))
    teller.go(ended + BACK_S)
    over = teller.said[-1]
    assert (over.kind, over.contacts, over.at) == (MessageKind.OVER, ("me", "ann"), ended + BACK_S)


@pytest.mark.parametrize("comes_back", [True, False])
def test_it_is_not_over_while_the_floor_is_out_of_its_band_again(comes_back):
    """'Still too hot; it has been right for 32 min', and in the same minute 'dangerously hot'."""
    teller = Teller(ME, ANN)
    boxes = [fake_api.brooder(temp_c=46.9, in_band=False)]
    teller.plan = NotificationPlan(
        site(), teller.contacts, teller.policy, look=lambda: fake_api.status(*boxes)
    )
    teller.go(NIGHT)
    teller.take(raised(A.OVERHEAT, 10))
    teller.go(NIGHT + 1000)  # nobody answers: ann is told
    teller.take(cleared(A.OVERHEAT, 1200))
    back = 1200 + BACK_S + 59
    assert teller.go(NIGHT + back) == []
    if comes_back:
        [again] = teller.take(replace(raised(A.OVERHEAT, back), occurrence="porch/overheat/2"))
        assert again.contacts == ("me", "ann"), "who had heard of it hears how it goes on"
        teller.go(NIGHT + 4 * BACK_S)
        assert MessageKind.OVER not in teller.kinds()
        return
    boxes[:] = [fake_api.brooder()]
    [over] = teller.go(NIGHT + back + 1)
    assert (over.title, over.contacts) == ("porch: back to normal", ("me", "ann"))


def test_the_morning_tells_once_that_a_probe_may_be_wrong():
    teller = Teller()
    status = fake_api.status(fake_api.brooder())
    teller.plan = NotificationPlan(site(), teller.contacts, teller.policy, look=lambda: status)
    teller.go(NIGHT - 100)
    chill = replace(raised(A.CHILL), probe="porch/floor")
    teller.take(chill)
    doubt = Facts(doubt="the floor probe may be wrong: it is wet")
    for after in (60, 600):
        why = replace(chill, at=NIGHT + after, change=K.EXPLAINED, cause=Cause.SENSOR)
        teller.take(replace(why, facts=chill.facts | doubt))
    teller.go(NIGHT + 6 * 3600)
    [morning] = [m for m in teller.said if m.kind is MessageKind.MORNING]
    [told] = [line for line in morning.body.splitlines() if line.startswith("Told since")]
    assert told.count("dangerously cold") == 2
    assert told.count("dangerously cold, if the probe is right") == 1


def test_that_readings_are_back_is_said_with_the_floor_of_now():
    """It said what the first word after the silence was, half an hour before."""
    teller = Teller()
    status = fake_api.status(fake_api.brooder(temp_c=18.0))
    teller.plan = NotificationPlan(site(), teller.contacts, teller.policy, look=lambda: status)
    teller.go(NIGHT)
    teller.take(change(A.NO_READINGS, at=NIGHT))
    back = Facts(temp_c=24.8, target_c=35.0)
    teller.take(change(A.NO_READINGS, K.CLEARED, at=NIGHT + 1800, facts=back))
    teller.go(NIGHT + 1800 + BACK_S)
    over = teller.said[-1]
    assert over.title == "porch: readings are back"
    assert "Now 18.0 °C" in over.body


def test_of_a_contact_that_cannot_be_reached_nobody_says_that_it_did_not_answer():
    """And the next is not let wait for an answer that cannot come."""
    teller = Teller(ME, replace(ANN, name="the neighbour", after_minutes=0.0), ANN)
    failing = change(A.DELIVERY_FAULT, facts=Facts(contact="me", reason="refused"))
    teller.take(failing)
    teller.take(raised(A.CHILL, 60))
    teller.go(NIGHT + 1800)
    [passed] = [m for m in teller.said if m.kind is MessageKind.PASSED_ON]
    assert "me cannot be reached, the neighbour did not answer." in passed.body
    assert passed.at == NIGHT + 60 + 900


@pytest.mark.parametrize(("fails_s", "passed_s"), [(-30, 120), (300, 300), (None, 900)])
def test_where_nobody_who_was_asked_can_be_reached_the_next_is_told_at_once(fails_s, passed_s):
    """It waited a quarter of an hour for an answer that could not come."""
    teller = Teller(ME, ANN)
    if fails_s is None or fails_s > 0:
        teller.take(raised(A.CHILL))
    if fails_s is not None:
        facts = Facts(contact="me", reason="refused")
        teller.take(change(A.DELIVERY_FAULT, at=NIGHT + fails_s, facts=facts))
        if fails_s < 0:
            teller.take(raised(A.CHILL))
    for second in range(0, 1200, 5):
        teller.go(NIGHT + max(fails_s or 0, 0) + second)
    [passed] = [m for m in teller.said if m.kind is MessageKind.PASSED_ON]
    assert passed.at == NIGHT + passed_s
    assert ("me did not answer" in passed.body) == (fails_s is None)


def test_who_wants_no_urgent_news_is_not_said_to_have_left_any_unanswered():
    teller = Teller(ME, Contact(name="bob", url="json://n", priorities=frozenset({P.WARNING})), ANN)
    teller.take(raised(A.COLD))
    teller.take(raised(A.CHILL, 60))
    teller.go(NIGHT + 1200)
    [passed] = [m for m in teller.said if m.kind is MessageKind.PASSED_ON]
    assert "me did not answer." in passed.body
    assert "bob" not in passed.body


def test_where_the_power_goes_again_and_again_the_next_is_told_all_the_same():
    teller = Teller(ME, ANN)
    teller.take(raised(A.CHILL))
    at = NIGHT + 10
    for _ in range(5):
        teller.go(at)
        at += 900.0
        teller.plan.nobody_watched(900.0, at)
        at += 150.0
    assert "ann" in {name for m in teller.said for name in m.contacts}


def test_a_cold_night_called_off_after_the_heat_is_back_neither_delays_nor_repeats_its_end():
    teller = Teller()
    teller.take(raised(A.HEAT_LOSS), raised(A.COLD_NIGHT))
    teller.take(cleared(A.HEAT_LOSS, 600))
    teller.take(cleared(A.COLD_NIGHT, 1200))
    [over] = [m for m in teller.go(NIGHT + 600 + BACK_S) if m.kind is MessageKind.OVER]
    assert "It has been right for 30 min." in over.body
    assert teller.go(NIGHT + 4 * 3600) == []


def test_a_contact_that_is_not_reached_is_told_through_the_others():
    teller = Teller(Contact(name="my phone", url="json://nowhere"), ME)
    teller.take(change(A.DELIVERY_FAULT))
    [told] = teller.go(NIGHT + 5)
    assert told.contacts == ("me",)
    teller.take(change(A.DELIVERY_FAULT, K.CLEARED, at=NIGHT + 900))
    [over] = teller.go(NIGHT + 905)
    assert over.title == "Hillside: messages to my phone get through again"


@pytest.mark.parametrize(("who", "said"), [("me", False), ("ann", True)])
def test_nobody_reads_in_the_morning_that_they_cannot_be_reached(who, said):
    urgent = Contact(name="ann", url="json://nowhere", priorities=frozenset({P.URGENT}))
    teller = bedtime(ME, urgent)
    failing = change(A.DELIVERY_FAULT, at=local(11, 5), facts=Facts(contact=who, reason="refused"))
    teller.take(failing)
    [morning] = [m for m in teller.go(local(11, 7)) if m.kind is MessageKind.MORNING]
    assert (f"{who} cannot be reached" in morning.body.partition("\n")[0]) is said


def test_without_contacts_every_message_is_still_made_for_log_and_terminal():
    plan = NotificationPlan(site(), ())
    plan.advance(Moment(NIGHT - 100, NIGHT - 100))
    [message] = plan.changes([raised(A.CHILL)], Moment(NIGHT, NIGHT))
    assert message.contacts == ()


def test_when_every_contact_waits_for_another_the_least_patient_is_told_at_once():
    slow = Contact(name="slow", url="json://nowhere", after_minutes=30)
    teller = Teller(ANN, slow)
    [message] = teller.take(raised(A.CHILL))
    assert message.contacts == ("ann",)


def test_a_contact_hears_only_the_priorities_it_asked_for():
    only = Contact(name="only urgent", url="json://nowhere", priorities=frozenset({P.URGENT}))
    teller = Teller(ME, only)
    teller.take(raised(A.COLD))
    [warning] = teller.go(NIGHT + 5)
    [urgent] = teller.take(raised(A.CHILL, 100))
    assert (warning.contacts, urgent.contacts) == (("me",), ("me", "only urgent"))


def test_an_alarm_put_aside_is_told_to_the_others_and_repeats_no_more():
    teller = Teller(ME, ANN)
    teller.take(raised(A.CHILL))
    teller.go(NIGHT + 900)
    shelved = change(
        A.CHILL,
        K.SHELVED,
        at=NIGHT + 1000,
        occurrence="porch/chill/1",
        facts=Facts(by="me", until=NIGHT + 4600, note="lamp is being changed"),
    )
    [told] = teller.take(shelved)
    assert (told.kind, told.contacts) == (MessageKind.SHELVED, ("ann",))
    assert teller.go(NIGHT + 4 * 3600) == []


def test_what_is_passed_on_is_kept_as_a_change_of_the_alarm():
    far = Contact(name="far", url="json://nowhere", after_minutes=30)
    teller = Teller(ME, ANN, far)
    teller.take(raised(A.CHILL))
    assert teller.plan.take_escalated() == []
    teller.go(NIGHT + 4 * 3600)
    first, second = teller.plan.take_escalated()
    assert (first.change, first.alarm, first.occurrence) == (K.ESCALATED, A.CHILL, "porch/chill/1")
    assert [c.at - NIGHT for c in (first, second)] == [900, 1800]
    assert [c.facts["level"] for c in (first, second)] == [1, 2]
    assert [c.facts["contacts"] for c in (first, second)] == [["ann"], ["far"]]
    assert "Passed on to ann: nobody answered." in for_change(first, site()).body


def test_nothing_is_passed_on_where_there_is_nobody_else_or_somebody_has_answered():
    alone = Teller(ME)
    alone.take(raised(A.CHILL))
    alone.go(NIGHT + 4 * 3600)
    assert alone.plan.take_escalated() == []
    two = Teller(ME, ANN)
    two.take(raised(A.CHILL))
    two.take(answered(A.CHILL, 600))
    two.go(NIGHT + 2400)
    assert two.plan.take_escalated() == []


def test_after_a_night_without_power_only_the_last_repeat_comes():
    teller = Teller()
    teller.take(raised(A.CHILL))
    teller.restarted()
    said = teller.go(NIGHT + 4 * 3600)
    assert [m.kind for m in said] == [MessageKind.AGAIN]
    assert said[0].key == "porch/chill/1:again:24"


def test_all_messages_of_a_restored_plan_are_those_of_one_never_stopped():
    whole, cut = Teller(ME, ANN), Teller(ME, ANN)
    for teller in (whole, cut):
        teller.take(raised(A.HEAT_LOSS))
        teller.go(NIGHT + 700)
        if teller is cut:
            teller.restarted()
        teller.take(raised(A.CHILL, 800))
        teller.go(NIGHT + 1600)
        if teller is cut:
            teller.restarted()
        teller.take(cleared(A.CHILL, 1700), cleared(A.HEAT_LOSS, 1700))
        teller.go(NIGHT + 1800)
    assert cut.said == whole.said
