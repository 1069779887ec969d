"""The day the chicks come: which entries belong to it, and what they say together."""

from datetime import UTC, date, datetime
from itertools import count
from typing import Any

import pytest
from support.engine_night import a_site

from monitor.brooding.arrival import (
    MAIL_ADVICE,
    STEP_NAMES,
    arrival_of,
    dead_on_arrival,
    mail_advice,
)
from monitor.brooding.entries import Entry, EntryKind, mail_days_of, mailed
from monitor.brooding.ledger import Ledger, fold
from monitor.brooding.objection import objection, question

DAY = 86400.0
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC).timestamp()
K = EntryKind


def ledger(*rows: tuple[float, EntryKind, dict[str, Any]]) -> Ledger:
    number = count(1)
    return fold(
        Entry(at=NOON + DAY * day, entry=what, number=next(number), **{"brooder": "porch", **more})
        for day, what, more in rows
    )


BIRDS = {"hatched": "2026-03-01", "kind": "broiler"}
COMING = (-9.0, K.EXPECTED, {"count": 100, "kind": "broiler", "note": "2026-03-02"})
DEAD = (0.0, K.DEAD_ON_ARRIVAL, {"count": 3, "note": "in one corner"})
PLACED = (0.01, K.PLACED, {"count": 98, "note": mailed(1), **BIRDS})


def test_the_dead_may_be_counted_before_the_living_are_in_and_belong_to_them() -> None:
    found = ledger(COMING, DEAD, PLACED)
    assert found.faults == {}
    came = arrival_of(found, "porch")
    assert (came.ordered, came.alive, came.dead, came.mail_days) == (100, 98, 3, 1)
    assert (came.day, came.hatched, came.age_days(UTC)) == (date(2026, 3, 2), date(2026, 3, 1), 1)
    assert dead_on_arrival(found, found.batches[0]) == 3


def test_when_all_came_dead_that_can_be_written_down_too() -> None:
    found = ledger(COMING, (0.0, K.DEAD_ON_ARRIVAL, {"count": 100}))
    assert found.faults == {}
    assert arrival_of(found, "porch").dead == 100


@pytest.mark.parametrize(
    ("rows", "dead", "asks"),
    [
        ((PLACED,), 2000, "2000 dead on arrival, beside 98 alive. Is that right?"),
        ((COMING,), 100, None),
        ((COMING,), 1000, "1000 dead on arrival, beside 100 ordered. Is that right?"),
        ((COMING, DEAD, PLACED), 97, None),
        ((COMING, DEAD, PLACED), 98, "101 dead on arrival, beside 98 alive and 100 ordered. Is"),
        ((), 2000, None),
    ],
)
def test_more_dead_than_can_have_come_are_asked_about(
    rows: tuple[tuple[float, EntryKind, dict[str, Any]], ...], dead: int, asks: str | None
) -> None:
    known = ledger(*rows)
    entry = Entry(at=NOON + DAY, entry=K.DEAD_ON_ARRIVAL, brooder="porch", count=dead)
    assert objection(known, entry) is None
    asked = question(known, entry, a_site())
    assert asked is None if asks is None else asked is not None and asked.startswith(asks)


def test_what_was_ticked_is_of_these_birds_and_not_of_those_before() -> None:
    first = [(-60.0, K.CHECKED, {"note": "beaks"}), (-60.0, K.PLACED, {"count": 50, **BIRDS})]
    rows = [
        *first,
        (-30.0, K.EXPECTED, {"count": 80, "note": "2026-03-02"}),
        (-20.0, K.END, {}),
        (-1.0, K.CHECKED, {"note": "warm; since Sunday"}),
        (-0.9, K.CHECKED, {"note": "water"}),
        (-0.8, K.UNDO, {"undoes": 6}),
    ]
    coming = arrival_of(ledger(*rows), "porch")
    assert (coming.ordered, coming.at, coming.done) == (80, None, {"warm": 5})
    came = arrival_of(ledger(*rows, PLACED, (0.02, K.CHECKED, {"note": "vents"})), "porch")
    assert (came.ordered, came.alive, set(came.done)) == (80, 98, {"warm", "vents"})
    over = arrival_of(ledger(*rows, PLACED, (9.0, K.END, {})), "porch")
    assert (over.alive, set(over.done)) == (98, {"warm"})


def test_a_second_crate_of_the_day_came_too_and_birds_of_a_later_day_did_not() -> None:
    more = (0.2, K.PLACED, {"count": 5}), (3.0, K.PLACED, {"count": 20})
    assert arrival_of(ledger(PLACED, *more), "porch").alive == 103


def test_nothing_is_known_of_a_box_that_nobody_wrote_of() -> None:
    came = arrival_of(ledger(), "porch")
    assert (came.ordered, came.at, came.alive, came.dead, came.done) == (None, None, 0, 0, {})


@pytest.mark.parametrize("word", STEP_NAMES)
def test_each_step_can_be_ticked_with_or_without_birds(word: str) -> None:
    tick = Entry(at=NOON + DAY, entry=K.CHECKED, brooder="porch", note=word)
    assert objection(ledger(), tick) is None
    assert objection(ledger(PLACED), tick) is None


def test_what_is_no_step_is_named() -> None:
    tick = Entry(at=NOON, entry=K.CHECKED, brooder="porch", note="singing")
    assert (objection(ledger(), tick) or "").startswith("What was done? Use one of warm, water")


def test_a_longer_journey_asks_for_more_and_a_usual_one_for_nothing() -> None:
    assert [mail_advice(days) for days in (0, 1)] == [None, None]
    assert [mail_advice(days) for days in (2, 3, 4)] == [
        MAIL_ADVICE[0].text,
        MAIL_ADVICE[1].text,
        MAIL_ADVICE[1].text,
    ]


def test_days_in_the_mail_are_read_back_from_a_placement_alone() -> None:
    placed = Entry(at=NOON, entry=K.PLACED, note=f"{mailed(3)}; noisy")
    assert mail_days_of(placed) == 3
    assert mail_days_of(Entry(at=NOON, entry=K.NOTE, note=mailed(3))) is None
    assert mail_days_of(Entry(at=NOON, entry=K.PLACED, note="from shed")) is None
