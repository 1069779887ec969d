"""A floor that rose more quickly than foretold, and what it does next. Held by `thermal`.

A chick sits on the probe and leaves again; the sun comes and goes; a lamp is on again. The way back
down from such a rise is no loss of heat, and a rise that lasts is learned."""

from monitor.events import State
from monitor.thermal.track import NEVER

_RETURN_S = 2400.0  # a floor that rose quickly and comes back within this has not lost heat
_RETURN_K = 0.6
_LASTING_S = 900.0  # a rise for so long is more heat, not a chick


class Upturn:
    """The latest rise."""

    __slots__ = ("_calm_c", "_first", "_from_c", "_latest")

    def __init__(self) -> None:
        self._first = self._latest = NEVER
        self._from_c = 0.0  # the floor before it
        self._calm_c = 0.0  # the floor when it last was not rising

    def calm(self, temp_c: float) -> None:
        """It is not rising."""
        self._calm_c = temp_c

    def seen(self, tick: float) -> bool:
        """It rises. True: and has done so for long enough to be learned."""
        lasting = False
        if tick - self._latest > _LASTING_S:
            self._first = tick
            self._from_c = self._calm_c
        else:
            lasting = tick - self._first > _LASTING_S
        self._latest = tick
        return lasting

    def explains(self, tick: float, temp_c: float) -> bool:
        """Is a fall to `temp_c` the end of the rise, and no more?"""
        return tick - self._latest < _RETURN_S and temp_c > self._from_c - _RETURN_K

    def state(self) -> State:
        """What is needed to go on after a restart."""
        return {
            "first": self._first,
            "latest": self._latest,
            "from_c": self._from_c,
            "calm_c": self._calm_c,
        }

    def restore(self, state: State, shift_s: float) -> None:
        """Go on from `state`; ticks moved by `shift_s`."""
        self._first = float(state["first"]) + shift_s
        self._latest = float(state["latest"]) + shift_s
        self._from_c = float(state["from_c"])
        self._calm_c = float(state["calm_c"])
