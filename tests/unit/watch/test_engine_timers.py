"""Timers fire in the order of time, then of name, whatever the order they were set in."""

from hypothesis import given
from hypothesis import strategies as st

from monitor.watch.timers import NEVER, Slot, Timers

SLOTS = st.builds(Slot, st.integers(0, 3), st.sampled_from(["a", "b"]), st.sampled_from("xyz"))


@given(st.lists(st.tuples(SLOTS, st.none() | st.integers(0, 20).map(float))))
def test_what_fires_is_what_was_set_last_in_order(orders: list[tuple[Slot, float | None]]) -> None:
    timers = Timers(0.0)
    wanted: dict[Slot, float] = {}
    for slot, due in orders:
        timers.set(slot, due)
        if due is None:
            wanted.pop(slot, None)
        else:
            wanted[slot] = due
        assert timers.next_due == min(wanted.values(), default=NEVER)
    fired = []
    while timers.next_due != NEVER:
        fired.append(timers.pop())
    assert fired == sorted((due, slot) for slot, due in wanted.items())


@given(st.dictionaries(SLOTS, st.integers(0, 20).map(float)), st.floats(-1e6, 1e6))
def test_restored_timers_fire_later_by_the_shift(slots: dict[Slot, float], shift_s: float) -> None:
    timers, again = Timers(0.0), Timers(0.0)
    for slot, due in slots.items():
        timers.set(slot, due)
    again.restore(timers.kept(), shift_s)
    for slot, due in slots.items():
        assert again.due(slot) == due + shift_s
