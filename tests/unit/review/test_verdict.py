"""How far the record's words go for a loss: cold and heat alike, yesterday's and the day before's,
and no further than what was read."""

from contextlib import contextmanager
from dataclasses import replace

import pytest
from support.review_journal import at, site
from support.short_record import placed, recorded

from monitor.events import AlarmName, Cause, Change, ChangeKind, Entry, EntryKind, Priority
from monitor.review.loss_review import losses
from monitor.review.loss_words import heads
from monitor.review.record import Asked, open_record
from monitor.review.verdict import verdict

FOUND = "2026-02-12 06:00"
LATER = "Weakened chicks can die a day later."
OTHERS_FIRST = "Look at the other causes first."
HEAT_DRIES = (
    "Heat dries chicks out: in a day a newly hatched one loses 4.4 g of water at 101.8 °F, 1.8 g "
    "at 87.4 °F. Had they water, and a cooler end to go to? Look at the other causes too."
)
COLD_STRAINS = (
    "One such night is a strain. At 4 days a chick burns its reserves to keep warm below about "
    "93 °F. Kept up it kills later: of meat chicks held about 7 °F too cold for three weeks 9.5 % "
    "died of ascites, of those held right 1.9 %. Look at the other causes too."
)


@contextmanager
def found_dead(tmp_path, *spells: tuple[str, str, float | None], came: str = "2026-02-08 12:00"):
    """Ten of a hundred are found at six in the morning. `spells` are (from, to, degC, or None for
    silence), hours before that; the floor is right (34.5) otherwise."""
    spans = [(at(FOUND) - a * 3600, at(FOUND) - b * 3600, temp_c) for a, b, temp_c in spells]

    def course(t: float) -> float:
        return next((c for a, b, c in spans if a <= t < b and c is not None), 34.5)

    dead = Entry(at=at(FOUND), entry=EntryKind.LOSS, brooder="porch", count=10)
    heard = [(a, b) for a, b, c in spans if c is None]
    said = {"porch/west": course, "porch/east": course}
    chicks = placed(came, hatched="2026-02-08")
    with recorded(
        tmp_path, said, chicks, dead, start=came, stop="2026-02-12 20:00", silences=heard
    ) as record:
        (loss,) = losses(record)
        yield verdict(loss, record)


@pytest.mark.parametrize(
    ("spells", "words"),
    [
        (
            [(40, 28, 44.0)],
            "The last 24 hours were quiet, but in the 24 hours before them the floor was above the "
            f"overheat limit for 12 h. {LATER}",
        ),
        (
            [(24, 0, 38.9)],
            "The floor was above the band for 24 h but never above the overheat limit. "
            f"{HEAT_DRIES}",
        ),
        (
            [(46, 24.5, 31.0)],
            "The last 24 hours were quiet; in the 24 hours before them the floor was below the "
            f"band for 21 h 30 min but never below the chill limit. {COLD_STRAINS}",
        ),
        (
            [(5, 3, 39.1)],  # 4 K over the target, and chicks held at 39 die within two days
            "The floor was above the overheat limit for 2 h in the 24 hours before. Heat is the "
            "first thing to suspect, though the record cannot prove it.",
        ),
        (
            [(46, 30, 38.9)],
            "The last 24 hours were quiet; in the 24 hours before them the floor was above the "
            f"band for 16 h but never above the overheat limit. {HEAT_DRIES}",
        ),
        (
            [(10, 9.75, 28.0), (9.75, 1, 44.0)],
            "The floor was above the overheat limit for 8 h 45 min and below the chill limit "
            "for 15 min in the 24 hours before; none of 3 other recorded nights had more cold. "
            "Heat and cold are the first things to suspect, though the record cannot prove it.",
        ),
        (
            [(40, 30, 25.0), (5, 4, 31.0)],
            "In the last 24 hours the floor was below the band for 60 min, but in the 24 hours "
            f"before them the floor was below the chill limit for 10 h. {LATER}",
        ),
        (
            [(12, 10, 44.0)],
            "The floor was above the overheat limit for 2 h in the 24 hours before. Heat is "
            "the first thing to suspect, though the record cannot prove it.",
        ),
        (
            [(40, 39.75, 31.0)],
            "The floor was never far or long out of its band in the 48 hours before. "
            f"{OTHERS_FIRST}",
        ),
        (
            [(12, 10, 44.0), (10, 2, None)],
            "The floor was above the overheat limit for 2 h 10 min in the 24 hours before. "
            "7 h 50 min of them were not read. Heat is the first thing to suspect, though the "
            "record cannot prove it.",
        ),
        (
            [(40, 30, 25.0), (20, 2, None)],
            "The record cannot tell: 17 h 50 min of the 24 h before were not read. In the hours "
            "before those the floor was below the chill limit for 10 h.",
        ),
        (
            [(40, 26, None)],
            "The last 24 hours were quiet, but 13 h 50 min of the 24 hours before them were not "
            f"read. {OTHERS_FIRST}",
        ),
        (
            [],
            "The floor was never far or long out of its band in the 48 hours before. "
            f"{OTHERS_FIRST}",
        ),
    ],
)  # fmt: skip
def test_what_the_floor_did_is_what_is_said(tmp_path, spells, words):
    with found_dead(tmp_path, *spells) as said:
        assert said == words


def test_chicks_that_came_the_evening_before_have_no_48_hours(tmp_path):
    with found_dead(tmp_path, came="2026-02-11 20:00") as said:
        assert said.startswith(
            "The floor was never far or long out of its band in the 10 hours before"
        )


def test_after_the_night_of_the_dead_lamp_cold_is_suspected_and_not_called_proven(reader):
    record = open_record(reader, site(), Asked(brooder="porch"), now=at("2026-06-01 00:00"))
    cold, quiet = losses(record)
    assert verdict(cold, record) == (
        "The floor was below the chill limit for 3 h 32 min in the 24 hours before; none of 3 "
        "other recorded nights had more cold. Cold is the first thing to suspect, though the "
        "record cannot prove it."
    )
    assert verdict(quiet, record).endswith(OTHERS_FIRST)
    for below_ks, had in ((0.0, "no more"), (1e9, "more")):
        one = replace(cold, others=(replace(cold.others[0], below_ks=below_ks),))
        assert f"; the only other recorded night had {had} cold. " in verdict(one, record)
        assert heads(one)[-1] == "the other night"


def dead_in_the_morning() -> tuple[Entry, Entry]:
    dead = Entry(at=at(FOUND), entry=EntryKind.LOSS, brooder="porch", count=10)
    return placed("2026-02-09 12:00", hatched="2026-02-08"), dead


def cold(t: float) -> float:
    return 25.0 if at(FOUND) - 6 * 3600 <= t < at(FOUND) - 3600 else 34.5


@pytest.mark.parametrize(("elsewhere", "alone"), [(34.5, True), (30.5, False)])
def test_harm_that_one_probe_alone_read_is_said_so(tmp_path, elsewhere, alone):
    """One that was wrong for a day made cold the first thing to suspect, as if all had read it."""
    said = {"porch/west": cold, "porch/east": lambda t: 34.5 if cold(t) == 34.5 else elsewhere}
    days = {"start": "2026-02-09 12:00", "stop": "2026-02-12 20:00"}
    with recorded(tmp_path, said, *dead_in_the_morning(), **days) as record:
        words = verdict(losses(record)[0], record)
    only = "Only west read so, and not east: look whether that probe is right."
    assert "below the chill limit for 5 h" in words
    assert (only in words) is alone


def test_what_rests_on_one_probe_in_doubt_is_said_so(tmp_path):
    told = {"brooder": "porch", "alarm": AlarmName.PROBE_FAULT, "probe": "porch/west",
            "priority": Priority.WARNING, "cause": Cause.SENSOR, "occurrence": "one"}  # fmt: skip
    fault = [Change(at=at("2026-02-12 01:00"), change=ChangeKind.RAISED, **told)]
    days = {"start": "2026-02-09 12:00", "stop": "2026-02-12 20:00"}
    chicks = dead_in_the_morning()
    with recorded(tmp_path, {"porch/west": cold}, *chicks, changes=fault, **days) as record:
        # A floor with one probe: the other is not there.
        one = replace(record, probes=tuple(p for p in record.probes if p.key != "porch/east"))
        for told_of, doubted in ((one, True), (replace(one, changes=()), False)):
            words = verdict(losses(told_of)[0], told_of)
            assert words.endswith("(probe-fault), and so are these figures.") is doubted
