"""One cause over many boxes is one message that lists them, one answer and one repeat."""

from dataclasses import replace

import pytest
from tell_samples import FACTS, NIGHT, change, site

from monitor.events import AlarmName, Change, ChangeKind, Facts, Moment
from monitor.site import Site
from monitor.tell.contact import Contact
from monitor.tell.message import Message, MessageKind
from monitor.tell.notification_plan import NotificationPlan
from monitor.tell.outbox import Outbox
from monitor.watch.incidents import Incidents

ME = Contact(name="me", url="json://nowhere")


def many(count: int) -> Site:
    here = site()
    boxes = [replace(here.brooders[0], name=f"box {n:02}") for n in range(count)]
    return replace(here, brooders=tuple(boxes))


class Barn:
    """A plan over many boxes, and all it said."""

    def __init__(self, count: int) -> None:
        self.plan = NotificationPlan(many(count), (ME,))
        self.incidents = Incidents()
        self.said: list[Message] = []
        self.plan.advance(Moment(NIGHT - 100, NIGHT - 100))

    def raises(self, alarm: AlarmName, box: int, at: float) -> Change:
        raised = replace(
            change(alarm, at=at, brooder=f"box {box:02}"),
            occurrence=f"box {box:02}/{alarm.value}/{int(at)}",
            facts=Facts(**{**FACTS[alarm], "temp_c": 20.0 + box / 10}),  # type: ignore[typeddict-item]
        )
        return self.happens(raised)

    def happens(self, one: Change) -> Change:
        self.until(one.at)
        grouped = self.incidents.take(one, one.at)
        self.said += self.plan.changes([grouped], Moment(one.at, one.at))
        return grouped

    def until(self, at: float) -> None:
        """What is due by then, as a service would do it: again and again."""
        while (due := self.plan.next_due) is not None and due <= at:
            self.said += self.plan.advance(Moment(due, due))
        self.said += self.plan.advance(Moment(at, at))


def power_cut(barn: Barn, count: int) -> list[Change]:
    """Every box loses its heat, one every 20 s, and is dangerously cold a quarter of an hour
    later."""
    happens = [(NIGHT + 20 * n, AlarmName.HEAT_LOSS, n) for n in range(count)]
    happens += [(at + 900, AlarmName.CHILL, n) for at, _, n in happens]
    return [barn.raises(alarm, box, at) for at, alarm, box in sorted(happens)]


def test_a_power_cut_over_fifty_boxes_is_a_few_messages_in_the_first_hour() -> None:
    barn = Barn(50)
    power_cut(barn, 50)
    barn.until(NIGHT + 3600)
    urgent = [m for m in barn.said if m.kind is not MessageKind.MORNING]
    assert urgent[0].at == NIGHT, "the first box is told at once"
    assert len(urgent) <= 20
    last = urgent[-1]
    assert "50 boxes dangerously cold" in last.title
    assert "box 00" in last.body
    assert "and 38 more" in last.body


def test_every_box_is_told_of_within_less_than_a_plain_alarms_delay() -> None:
    barn = Barn(50)
    power_cut(barn, 50)
    barn.until(NIGHT + 3600)
    for n in range(50):
        due = NIGHT + 20 * n + 300
        counted = [m for m in barn.said if m.at <= due]
        told = max(len(m.ack_for) for m in counted)
        assert told >= n + 1, f"box {n} is not in what was told {due - NIGHT:.0f} s on"


def test_one_answer_is_for_all_of_them_and_ends_the_repeats() -> None:
    barn = Barn(6)
    raised = power_cut(barn, 6)
    barn.until(NIGHT + 1500)
    barn.said.clear()
    answers = [
        replace(one, change=ChangeKind.ACKNOWLEDGED, at=NIGHT + 1501, facts=Facts(by="me"))
        for one in raised
    ]
    for answer in answers:
        barn.happens(answer)
    barn.until(NIGHT + 1501 + 3500)
    assert [m.title for m in barn.said] == []
    barn.until(NIGHT + 1501 + 3601)
    assert len(barn.said) == 1, "asked anew after an hour, once for all"


def test_an_answer_for_one_box_leaves_the_others_asking() -> None:
    """The siren sounds on for them: so must the phone."""
    barn = Barn(2)
    raised = [barn.raises(AlarmName.HEAT_LOSS, box, NIGHT + 20 * box) for box in range(2)]
    barn.until(NIGHT + 300)
    barn.said.clear()
    barn.happens(
        replace(raised[0], change=ChangeKind.ACKNOWLEDGED, at=NIGHT + 301, facts=Facts(by="me"))
    )
    barn.until(NIGHT + 890)
    assert [m.ack_for for m in barn.said] == [(raised[1].occurrence,)]


def test_it_is_over_once_when_the_last_box_is_warm_again() -> None:
    barn = Barn(3)
    raised = power_cut(barn, 3)
    barn.until(NIGHT + 1500)
    barn.said.clear()
    for n, one in enumerate(raised):
        barn.happens(
            replace(one, change=ChangeKind.CLEARED, at=NIGHT + 1600 + n, facts=Facts(temp_c=34.0))
        )
    barn.said.clear()
    barn.until(NIGHT + 1600 + 7200)
    assert [m.kind for m in barn.said if m.kind is not MessageKind.MORNING] == [MessageKind.OVER]


def test_what_was_answered_takes_no_other_box_along() -> None:
    barn = Barn(2)
    first = barn.raises(AlarmName.CHILL, 0, NIGHT)
    barn.happens(replace(first, change=ChangeKind.ACKNOWLEDGED, at=NIGHT + 60, facts=Facts()))
    barn.said.clear()
    barn.raises(AlarmName.CHILL, 1, NIGHT + 120)
    assert [m.title for m in barn.said] == ["box 01: dangerously cold"]


@pytest.mark.parametrize("boxes", [2, 5])
def test_boxes_of_which_nobody_knows_the_birds_are_asked_for_together(boxes: int) -> None:
    barn = Barn(boxes)
    all_at_once = [
        barn.incidents.take(
            replace(
                change(AlarmName.UNWATCHED, at=NIGHT, brooder=f"box {n:02}"),
                occurrence=f"box {n:02}/unwatched/1",
                facts=Facts(reason="I no longer know which birds are in it"),
            ),
            NIGHT,
        )
        for n in range(boxes)
    ]
    barn.said += barn.plan.changes(all_at_once, Moment(NIGHT, NIGHT))
    [message] = barn.said
    assert f"cold is not watched for in {boxes} boxes" in message.title
    assert len(message.ack_for) == boxes


def test_a_storm_goes_on_the_same_after_a_restart() -> None:
    one, other = Barn(10), Barn(10)
    for barn in (one, other):
        power_cut(barn, 10)
    state = other.plan.kept()
    other.plan = NotificationPlan(many(10), (ME,))
    other.plan.restore(state, 0.0)
    for barn in (one, other):
        barn.said.clear()
        barn.until(NIGHT + 7200)
    assert one.said == other.said


def test_cold_nights_of_one_look_are_one_message_and_each_goes_on_by_itself() -> None:
    barn = Barn(4)
    nights = [barn.raises(AlarmName.COLD_NIGHT, box, NIGHT + box) for box in range(3)]
    barn.until(NIGHT + 60)
    later = barn.raises(AlarmName.COLD_NIGHT, 3, NIGHT + 900)
    barn.until(NIGHT + 960)
    told, alone = barn.said
    assert told.title == "Hillside: cold night ahead in 3 boxes"
    first, *rest = told.body.splitlines()
    assert first == "Add cover or heat in time in box 00, box 01 and box 02."
    assert rest[1] == "box 01: Likely down to 29.8 °C about 05:30, should be 35.0 °C."
    assert any(line.startswith("box 00, box 01 and box 02: About 70 W more") for line in rest)
    assert told.body.count("two separate supports") == 1
    assert told.ack_for == tuple(one.occurrence for one in nights)
    assert (told.at, told.contacts, alone.title) == (NIGHT + 5, ("me",), "box 03: cold night ahead")
    assert alone.ack_for == (later.occurrence,)
    barn.raises(AlarmName.CHILL, 0, NIGHT + 9100)
    barn.until(NIGHT + 9200)
    assert [(m.title, m.thread) for m in barn.said[2:]] == [
        ("box 00: dangerously cold", nights[0].occurrence)
    ]


def test_a_later_message_of_other_boxes_nights_takes_no_earlier_ones_place() -> None:
    """One that waits for its contact was replaced by the next of the same thread."""
    barn = Barn(4)
    for box in range(4):
        barn.raises(AlarmName.COLD_NIGHT, box, NIGHT + box // 2 * 900)
    barn.until(NIGHT + 960)
    now = Moment(NIGHT + 960, NIGHT + 960)
    outbox = Outbox(("me",))
    assert [one for said in barn.said for one in outbox.add(said, now)] == []
    assert len({said.thread for said in barn.said}) == len(barn.said) == 2


def test_of_nights_told_together_what_differs_is_said_of_each_box() -> None:
    barn = Barn(2)
    barn.raises(AlarmName.COLD_NIGHT, 0, NIGHT)
    night = change(AlarmName.COLD_NIGHT, at=NIGHT, brooder="box 01")
    warmer = "take the birds to a warmer room tonight"
    facts = Facts(**{**night.facts, "missing_watts": 40.0, "mend": [warmer]})  # type: ignore[typeddict-item]
    barn.happens(replace(night, occurrence="box 01/cold-night/1", facts=facts))
    barn.until(NIGHT + 60)
    [told] = barn.said
    lines = told.body.splitlines()
    assert lines[0] == "See to box 00 and box 01 in time."
    assert lines[1].endswith("should be 35.0 °C. Add cover or heat in time.")
    assert lines[2].endswith("should be 35.0 °C. Take the birds to a warmer room tonight.")
    assert lines[4].startswith("box 01: About 40 W more heat is needed.")
