"""The states an alarm passes through and the only moves between them. For watch.alarm_register.

After ANSI/ISA-18.2-2016 and IEC 62682:2022, the alarm state transition diagram. The standards'
"suppressed by design" is not a state here: an alarm that follows from a told one is folded into
that one's incident (see watch.alarm_register) and stays visible."""

from enum import StrEnum


class AlarmState(StrEnum):
    """Where an alarm stands. The letter is the standards' own label of the state."""

    NORMAL = "normal"  # A
    UNACKNOWLEDGED = "unacknowledged"  # B: active, nobody has answered
    ACKNOWLEDGED = "acknowledged"  # C: active, somebody knows
    RETURNED = "returned"  # D: over by itself before anybody answered
    SHELVED = "shelved"  # G: put aside by the grower for a stated time
    OUT_OF_SERVICE = "out-of-service"  # I: its probe or brooder is not in use


class Move(StrEnum):
    """What can happen to an alarm."""

    RAISE = "raise"
    CLEAR = "clear"
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    TAKE_OUT = "take-out"
    PUT_BACK = "put-back"


class ImpossibleMove(Exception):
    """A move the table does not know: a fault of the caller, never of the grower."""

    def __init__(self, state: AlarmState, move: Move) -> None:
        self.state, self.move = state, move
        super().__init__(f"an alarm that is {state} cannot {move}")


_S, _M = AlarmState, Move

# Unshelving and putting back lead to normal; an alarm whose condition still holds is raised anew
# right after, so that what the grower put aside is told again and not taken up silently.
MOVES: dict[tuple[AlarmState, Move], AlarmState] = {
    (_S.NORMAL, _M.RAISE): _S.UNACKNOWLEDGED,
    (_S.NORMAL, _M.SHELVE): _S.SHELVED,
    (_S.NORMAL, _M.TAKE_OUT): _S.OUT_OF_SERVICE,
    (_S.UNACKNOWLEDGED, _M.ACKNOWLEDGE): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _M.CLEAR): _S.RETURNED,
    (_S.UNACKNOWLEDGED, _M.SHELVE): _S.SHELVED,
    (_S.UNACKNOWLEDGED, _M.TAKE_OUT): _S.OUT_OF_SERVICE,
    (_S.ACKNOWLEDGED, _M.CLEAR): _S.NORMAL,
    (_S.ACKNOWLEDGED, _M.SHELVE): _S.SHELVED,
    (_S.ACKNOWLEDGED, _M.TAKE_OUT): _S.OUT_OF_SERVICE,
    (_S.RETURNED, _M.RAISE): _S.UNACKNOWLEDGED,
    (_S.RETURNED, _M.ACKNOWLEDGE): _S.NORMAL,
    (_S.RETURNED, _M.SHELVE): _S.SHELVED,
    (_S.RETURNED, _M.TAKE_OUT): _S.OUT_OF_SERVICE,
    (_S.SHELVED, _M.UNSHELVE): _S.NORMAL,
    (_S.SHELVED, _M.TAKE_OUT): _S.OUT_OF_SERVICE,
    (_S.OUT_OF_SERVICE, _M.PUT_BACK): _S.NORMAL,
}

ACTIVE = frozenset({_S.UNACKNOWLEDGED, _S.ACKNOWLEDGED})


def after(state: AlarmState, move: Move) -> AlarmState:
    """The state that `move` leads to. Raises ImpossibleMove."""
    try:
        return MOVES[state, move]
    except KeyError:
        raise ImpossibleMove(state, move) from None


def possible(state: AlarmState, move: Move) -> bool:
    """May `move` happen in `state`? A grower's acknowledgement may come when all is over."""
    return (state, move) in MOVES
