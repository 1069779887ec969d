"""What is said to help on a cold night does help by the same model, the least effort first, and
puts no other danger in place of the cold."""

import re
from collections.abc import Callable
from dataclasses import replace
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_site

from monitor.brooding.heat_balance import Flock, changed, with_watts
from monitor.site import Brooder, HeatSource
from monitor.thermal.coming_night import CLEAR_CHANCE
from monitor.thermal.mending import Mends

POOR = replace(a_brooder(), cover="none")


def by_model(box: Brooder, missing: float, flock: Flock) -> Callable[[Brooder], float]:
    """A box that holds once a change brings what a lamp of `missing` W would."""
    enough = changed(box, with_watts(box, missing), flock).rise_gain

    def look(wished: Brooder) -> float:
        return 0.05 if changed(box, wished, flock).rise_gain >= enough else 0.9

    return look


def helps(
    box: Brooder, missing: float, *, heads: int = 50, age_days: float = 2.0, spare_w: float = 940.0
) -> tuple[str, ...]:
    flock = Flock(kind="broiler", age_days=age_days, head_count=heads)
    return tuple(Mends(box, by_model(box, missing, flock), flock=flock, spare_w=spare_w))


def test_an_open_box_is_covered_first() -> None:
    first, *others = helps(POOR, 90.0)
    assert first == "cover it with plywood, clear of the lamps, leaving a gap for fresh air"
    assert "hang one more lamp of 100 W" in others


def test_a_covered_box_is_not_told_to_be_covered() -> None:
    covered = replace(POOR, cover="boards")
    assert not any("cover" in clause for clause in helps(covered, 90.0))


def test_the_smallest_lamp_that_holds_is_named() -> None:
    assert "hang one more lamp of 175 W" in helps(POOR, 150.0)


def test_when_nothing_holds_the_birds_go_elsewhere_and_a_cover_helps_until_then() -> None:
    elsewhere = "take the birds to a warmer room tonight (one more lamp is not enough)"
    cover = "cover it with plywood with cardboard on it, clear of the lamps, leaving a gap for "
    assert helps(POOR, 5000.0) == (f"{elsewhere}; until then, {cover}fresh air",)
    assert helps(replace(POOR, cover="boards"), 5000.0) == (elsewhere,)


def test_no_lamp_is_named_that_its_circuit_cannot_carry_all_night() -> None:
    # 1,250 W on 15 A at 120 V: 80 % is 1,440 W, so 190 W are left
    boards = replace(POOR, cover="boards")
    assert helps(boards, 180.0, spare_w=190.0, heads=115) == (
        "take the birds to a warmer room tonight (it needs more heat than its circuit should "
        "carry)",
    )
    assert "hang one more lamp of 175 W" in helps(boards, 150.0, spare_w=190.0)
    assert not any("lamp of" in clause for clause in helps(boards, 90.0, spare_w=60.0))


def test_a_cover_and_a_lamp_together_keep_to_the_circuit_too() -> None:
    # in the open box neither a cover alone nor what lamp the circuit bears is enough
    (only,) = helps(POOR, 680.0, heads=115)
    assert only == (
        "cover it with plywood, clear of the lamps, leaving a gap for fresh air, and hang one more "
        "lamp of 100 W"
    )
    (full,) = helps(POOR, 680.0, heads=115, spare_w=60.0)
    assert "warmer room" in full


@pytest.mark.parametrize(
    ("heads", "age_days", "roomy"),
    [
        (50, 2.0, True),  # 0.24 sq ft each on half of 24 sq ft
        (115, 2.0, False),  # 0.11: the tightest published figure is 0.19
        (50, 6.5, False),  # a week old before the morning: 0.48 then
        (20, 6.5, True),
    ],
)
def test_a_box_is_not_halved_where_the_birds_would_be_crowded(
    heads: int, age_days: float, roomy: bool
) -> None:
    found = helps(replace(POOR, cover="boards"), 90.0, heads=heads, age_days=age_days)
    halved = "halve the box with a board well clear of the lamps, so that the heat serves half the "
    assert (halved + "floor" in found) == roomy


def test_a_box_with_a_plate_alone_is_offered_a_lamp_by_its_name() -> None:
    plate = replace(POOR, cover="boards", heat=(HeatSource(name="p", kind="plate", watts=500),))
    assert "hang a heat lamp of 100 W" in helps(plate, 90.0)
    assert not any("clear of the lamps" in clause for clause in helps(plate, 90.0))


@pytest.mark.parametrize("watts", [(250, 250, 100), (250, 250, 250, 250, 250)])
def test_the_watch_asks_with_the_birds_and_the_circuit_it_has(watts: tuple[int, ...]) -> None:
    heat = tuple(HeatSource(name=f"lamp {n}", kind="lamp", watts=w) for n, w in enumerate(watts))
    box = replace(a_brooder(), heat=heat)
    night = Night(a_site(box, outside=True), batch=False)
    night.placed(count=115)
    noise = Random(1)
    for _ in night.until(3 * 3600, 60):
        night.says(35.0 + noise.gauss(0, 0.1))
        night.says(5.0 - night.t / 1200 + noise.gauss(0, 0.1), "site/shade")
    outlook = night.engine.tonight("porch", night.now()).outlook
    assert outlook is not None
    assert outlook.chance > CLEAR_CHANCE
    assert outlook.mend
    assert not any("halve" in clause for clause in outlook.mend)
    for clause in outlook.mend:
        more = re.search(r"lamp of (\d+) W", clause)
        assert more is None or sum(watts) + int(more[1]) <= 1440


def test_what_would_help_is_looked_for_when_somebody_reads_it_and_once() -> None:
    flock = Flock(kind="broiler", age_days=2.0, head_count=50)
    tried: list[Brooder] = []

    def look(wished: Brooder) -> float:
        tried.append(wished)
        return 0.05

    found = Mends(POOR, look, flock=flock, spare_w=940.0)
    assert tried == []
    first = tuple(found)
    tries = len(tried)
    assert (tuple(found), len(tried)) == (first, tries)
    assert tries > 0
