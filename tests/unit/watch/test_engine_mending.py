"""What is said to help on a cold night does help by the same model, the least effort first."""

from collections.abc import Callable
from dataclasses import replace

from support.engine_night import a_brooder

from monitor.watch.diagnosis import Interval, Outlook
from monitor.watch.mending import mends

POOR = replace(a_brooder(), cover="none")


def by_model(missing: float) -> Callable[[float, float], Outlook | None]:
    """A box that holds once watts and cover together bring `missing` W; its own heat is 500 W."""

    def look(extra_watts: float, gain: float) -> Outlook:
        brought = (500.0 + extra_watts) * gain - 500.0
        return Outlook(
            lowest_c=Interval(30.0, 29.0, 31.0),
            lowest_at=0.0,
            leaves_band_at=None,
            chance=0.05 if brought >= missing else 0.9,
            missing_watts=missing,
            outside_low_c=0.0,
            outside_from="the test",
            rise_c=Interval(30.0, 29.0, 31.0),
            learned=1.0,
        )

    return look


def test_an_open_box_is_covered_first() -> None:
    first, *others = mends(POOR, by_model(90.0))
    assert first.startswith("cover it with plywood")
    assert "one more lamp of 100 W" in others


def test_a_covered_box_is_not_told_to_be_covered() -> None:
    covered = replace(POOR, cover="boards")
    assert not any("cover" in clause for clause in mends(covered, by_model(90.0)))


def test_the_smallest_lamp_that_holds_is_named() -> None:
    assert "one more lamp of 175 W" in mends(POOR, by_model(150.0))


def test_when_nothing_holds_the_birds_go_elsewhere() -> None:
    (only,) = mends(POOR, by_model(5000.0))
    assert "warmer room" in only
