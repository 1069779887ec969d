"""The transition table of an alarm, move by move."""

from itertools import product

import pytest

from monitor.watch.life_cycle import (
    ACTIVE,
    MOVES,
    AlarmState,
    ImpossibleMove,
    Move,
    after,
    possible,
)

ALL = list(product(AlarmState, Move))


@pytest.mark.parametrize(("state", "move"), ALL)
def test_a_move_leads_where_the_table_says_or_is_loud(state: AlarmState, move: Move) -> None:
    if possible(state, move):
        assert after(state, move) is MOVES[state, move]
    else:
        with pytest.raises(ImpossibleMove, match=f"{state} cannot {move}"):
            after(state, move)


def test_no_state_is_a_trap() -> None:
    """From every state a way leads back to normal."""
    for start in AlarmState:
        reached, edge = {start}, {start}
        while edge:
            edge = {to for (state, _), to in MOVES.items() if state in edge} - reached
            reached |= edge
        assert AlarmState.NORMAL in reached, start


def test_acknowledging_never_ends_an_active_alarm() -> None:
    assert after(AlarmState.UNACKNOWLEDGED, Move.ACKNOWLEDGE) in ACTIVE


def test_what_returned_before_anybody_answered_stays_to_be_seen() -> None:
    state = after(AlarmState.UNACKNOWLEDGED, Move.CLEAR)
    assert state is AlarmState.RETURNED
    assert after(state, Move.RAISE) is AlarmState.UNACKNOWLEDGED
    assert after(state, Move.ACKNOWLEDGE) is AlarmState.NORMAL


def test_an_alarm_cannot_be_raised_twice_nor_out_of_a_shelf() -> None:
    for state in (*ACTIVE, AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE):
        assert not possible(state, Move.RAISE)
