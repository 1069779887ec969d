"""Falls that take away only heat that was too much. Held by `thermal`.

A lamp that hung too low is raised, as the message asked: the floor comes down fast, as if a lamp
had died, but to where it should be. Such a fall is no loss until the floor is seen to head below
its band, and what was taken for one is over when the floor holds at its target. Figures here are
this project's (assumed); tests/unit/thermal/test_spare_heat.py measures what they do."""

from typing import NamedTuple

from monitor.events import State

_TOO_MUCH = 0.4  # of the band's half width above the target: more heat than was needed
_NEAR_TARGET = 0.5  # of it below the target: right
_HELD_S, _HELD_K = 1200.0, 0.4  # an open cover would have shown by then


class AgainstTarget(NamedTuple):
    """The floor of this moment beside what it should be, degC."""

    floor_c: float
    target_c: float | None
    band_c: float


class SpareHeat:
    """How long the floor has held near its target after a fall from above it. Temperatures in
    degC, ticks in seconds."""

    __slots__ = ("_held",)

    def __init__(self) -> None:
        self._held: tuple[float, float] | None = None  # since when, and the floor then

    @staticmethod
    def only(*, from_c: float, tau_s: float, rate_k_per_h: float, floor: AgainstTarget) -> bool:
        """Does a fall that began above the band still look as if it ended within it? Where it ends
        is read from how fast it goes: a box comes to rest one time constant's worth of the present
        rate further on. Above the target there is time to wait and see."""
        target_c, band_c = floor.target_c, floor.band_c
        if target_c is None or from_c <= target_c + band_c:
            return False
        if floor.floor_c > target_c:
            return True
        return floor.floor_c + rate_k_per_h * tau_s / 3600.0 > target_c - band_c

    def settled(self, tick: float, *, from_c: float, floor: AgainstTarget) -> bool:
        """Has a fall that began with heat to spare come to rest at the target? To be asked at every
        step while there is a fall or a loss."""
        target_c, band_c = floor.target_c, floor.band_c
        if (
            target_c is None
            or from_c <= target_c + _TOO_MUCH * band_c
            or floor.floor_c < target_c - _NEAR_TARGET * band_c
        ):
            self._held = None
            return False
        if self._held is None or floor.floor_c < self._held[1] - _HELD_K:
            self._held = (tick, floor.floor_c)
        return tick - self._held[0] >= _HELD_S

    def state(self) -> State:
        """As JSON."""
        return {"held": self._held}

    def restore(self, state: State, shift_s: float) -> None:
        """As it was, `shift_s` later."""
        held = state.get("held")
        self._held = None if held is None else (float(held[0]) + shift_s, float(held[1]))
