"""On-delay, off-delay and dead band against OPC 10000-9 (OPC UA Part 9: Alarms and Conditions),
release 1.05.03, annex B.1.5 with figure B.4, and clause 5.8.2
(https://reference.opcfoundation.org/Core/Part9/v105/docs/B.1.5; the text was read, the figure could
not be). What it says, in our words:

1. A value that jumps over its limit and is back before the on-delay has passed makes no alarm.
2. A value that stays over it for the whole on-delay does.
3. Once active, a value that dances about the limit changes nothing until it has come back past the
   limit by the dead band.
4. A value that is back past the dead band only briefly, for less than the off-delay, keeps the
   alarm active; when it stays back for the off-delay the alarm ends.
5. Each limit may have a dead band of its own."""

from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from monitor.watch.band import Delay, Edge

LIMIT, DEAD_BAND, ON_S, OFF_S = 100.0, 5.0, 10.0, 20.0


def active_times(course: Sequence[tuple[float, float]], until: float) -> list[tuple[float, float]]:
    """(from, to) of every active stretch of a high alarm over a course of (second, value)."""
    edge = Edge(below=False)
    edge.move(LIMIT, DEAD_BAND)
    delay = Delay(on_s=ON_S, off_s=OFF_S)
    stretches: list[tuple[float, float]] = []
    began = 0.0

    def settle_until(tick: float) -> None:
        nonlocal began
        if delay.due is not None and delay.due <= tick:
            due = delay.due
            if delay.settle():
                began = due
            else:
                stretches.append((began, due))

    for tick, value in course:
        settle_until(tick)
        delay.see(edge.see(value), tick)
    settle_until(until)
    if delay.active:
        stretches.append((began, until))
    return stretches


def test_a_motor_that_starts_makes_no_alarm() -> None:
    """A spike of 8 s under an on-delay of 10 s."""
    assert active_times([(0, 50), (100, 180), (108, 60)], 300) == []


def test_a_load_that_stays_is_an_alarm_after_the_on_delay() -> None:
    assert active_times([(0, 50), (100, 120), (104, 130)], 300) == [(110, 300)]


def test_noise_about_the_limit_leaves_the_alarm_as_it_is() -> None:
    """Between 96 and 104, the dead band reaching down to 95."""
    noise = [(100.0 + 3 * k, 104.0 if k % 2 == 0 else 96.0) for k in range(60)]
    assert active_times([(0, 50), *noise], 400) == [(110, 400)]


def test_a_brief_return_does_not_end_it_and_a_lasting_one_does_after_the_off_delay() -> None:
    course = [(0, 50), (100, 120), (150, 90), (165, 120), (200, 90)]
    assert active_times(course, 400) == [(110, 220)]


def test_a_low_limit_mirrors_a_high_one() -> None:
    low = Edge(below=True)
    low.move(32.2, 0.5)
    seen = [low.see(t) for t in (33.0, 32.2, 32.1, 32.5, 32.69, 32.7, 32.5)]
    assert seen == [False, False, True, True, True, False, False]


def test_each_limit_has_its_own_dead_band() -> None:
    high, high_high = Edge(below=False), Edge(below=False)
    high.move(100.0, 5.0)
    high_high.move(120.0, 1.0)
    for value, beyond in ((121, (True, True)), (118, (True, False)), (96, (True, False))):
        assert (high.see(value), high_high.see(value)) == beyond
    assert not high.see(95.0)


COURSE = st.lists(st.tuples(st.integers(1, 40), st.floats(80, 120)), min_size=1, max_size=40)


@given(COURSE)
def test_active_only_after_a_whole_on_delay_beyond_and_over_only_after_a_whole_off_delay(
    steps: list[tuple[int, float]],
) -> None:
    """The law behind the figure, for any course: restated from the values alone."""
    course, tick = [], 0
    for gap_s, value in steps:
        tick += gap_s
        course.append((tick, value))
    end = tick + 100.0
    for began, ended in active_times(course, end):
        before = [v for t, v in course if t <= began - ON_S][-1:]
        during = [v for t, v in course if began - ON_S < t < began]
        assert all(v >= LIMIT - DEAD_BAND for v in (*before, *during))
        assert any(v > LIMIT for t, v in course if t < began)
        if ended < end:
            back = [v for t, v in course if ended - OFF_S < t < ended]
            assert all(v <= LIMIT for v in back)
