"""monitor.watch.cold_night_watch: when a cold night is told, and called off."""

from support.engine_night import Night
from support.foretold import Foretold

from monitor.events import AlarmName, ChangeKind

QUARTER_S = 900.0


def evening(*chances: float, lowest_in_s: float | None = None) -> list[tuple[ChangeKind, int]]:
    """What becomes of the alarm, and after how many quarters of an hour, when the night is foretold
    so at each of them."""
    estimate = Foretold()
    estimate.lowest_in_s = lowest_in_s
    night = Night(make_estimator=lambda *_a, **_k: estimate)
    night.holds(35.0, for_s=2 * 3600.0, every_s=300.0)
    begins = night.t
    for chance in chances:
        estimate.chance = chance
        night.holds(35.0, for_s=QUARTER_S, every_s=300.0)
    return [
        (c.change, int((c.at - night.start - begins) // QUARTER_S))
        for c in night.changes
        if c.alarm is AlarmName.COLD_NIGHT
    ]


def test_it_is_called_off_after_two_hours_in_which_it_should_hold():
    (raised, _), (cleared, quarter) = evening(*[0.6] * 3, *[0.1] * 10)
    assert (raised, cleared) == (ChangeKind.RAISED, ChangeKind.CLEARED)
    assert 10 <= quarter <= 12


def test_one_hopeful_look_does_not_call_off_what_stays_in_doubt():
    """Called off with 40 chances in 100, it was told anew a quarter of an hour later."""
    assert [what for what, _ in evening(*[0.6] * 3, 0.1, *[0.4] * 12, 0.6)] == [ChangeKind.RAISED]


def test_in_the_last_hour_of_a_night_none_is_foretold() -> None:
    """Nobody prepares for it any more: a floor that is cold is told as that."""
    quarters = 4 * (24 - 20 + 7)
    assert [q for _, q in evening(*[0.1] * (quarters + 1), *[0.6] * 3)] == []


def test_a_night_whose_lowest_is_now_is_not_ahead() -> None:
    """It was foretold for a quarter of an hour later, and seven minutes later it was too cold."""
    assert evening(*[0.6] * 3, lowest_in_s=QUARTER_S) == []
    assert evening(*[0.6] * 3, lowest_in_s=3 * QUARTER_S) != []
