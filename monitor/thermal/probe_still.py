"""Which probe is stuck: it stands still while what is beside it moves, or for far longer than it
ever does. Asked by `probe_health`."""

from monitor.thermal.course import UNKNOWN_K
from monitor.thermal.diagnosis import FaultKind
from monitor.thermal.neighbours import Neighbours, Suspect
from monitor.thermal.track import Track

_STILL_S = 1500.0
# A fine probe on litter with chicks flickers; one in a great mass stands for an hour and more. Each
# is measured by itself: so many times as long as ever of late, while another moved; or so many
# times, whatever the others do. One that flickers all the time is given this long, and where
# nothing else moves so much longer.
_LONGER, _FAR_LONGER, _STANDS_S, _FAR_S = 4.0, 5.0, 360.0, 2880.0
_SAME = 6  # readings: one that comes each ten minutes says the same four times on a sound floor
# One in whole or half degrees stands still for hours on a steady floor. It is stuck only where its
# like move by more than two of its steps meanwhile.
_FINE_K = 0.2
_STEPS_MOVED, _LIKE_MOVED_K = 2.0, 0.8
# How fine one is that never changed yet cannot be told: taken for one in whole degrees. Without
# its like beside it, it has this long while all else in the box moves by so much.
_COARSEST_K = 1.0
_NEVER_CHANGED_S, _ALL_ELSE_MOVED_K = 6 * 3600.0, 3.0  # the outside, beside a fine one, too
_DAY_S = 86400.0  # no floor stays within a step of a probe that long
# What else lies in the box bears witness against a coarse one, if it has gone so far; and whatever
# does, if it stays there: a thermostat's swing is not that.
_WITNESS_K, _WITNESS_RATE = 6.0, 0.05


def still(
    near: Neighbours,
    track: Track,
    others: dict[str, float],
    *,
    alike: dict[str, float],
    outside_c: float | None,
) -> list[Suspect]:
    """A value that does not move. Beside a fine probe anything that moves counts, the outside too;
    beside a coarse one only its like."""
    found: list[Suspect] = []
    fine, unknown = _fine(track), track.quantum_k == UNKNOWN_K
    outside = {} if outside_c is None else {"": outside_c}
    beside = (others or outside) if fine or (unknown and not others) else (alike or others)
    if not beside:
        if lifeless(track):
            found.append((FaultKind.STUCK, 0.0, "its value has not changed for long"))
        return found
    beside_c, company = sum(beside.values()) / len(beside), "\n".join(beside)
    anew = near.moved_tick != track.moved_tick or company != near.company
    witnessed = not fine and not alike
    if not fine:
        before_c = beside_c if anew or near.beside is None else near.beside
        beside_c = near.beside = before_c + _WITNESS_RATE * (beside_c - before_c)
    if anew:
        near.others_low = near.others_high = beside_c
    near.moved_tick, near.company = track.moved_tick, company
    near.others_low = min(near.others_low, beside_c)
    near.others_high = max(near.others_high, beside_c)
    moved_k = near.others_high - near.others_low
    if lifeless(track) or (
        track.same >= _SAME
        and moved_k > _enough_k(track, witnessed=witnessed, others=bool(others))
        and track.still_s > _enough_s(track, witnessed=witnessed, others=bool(others))
    ):
        found.append((FaultKind.STUCK, 0.0, "its value has not changed while others moved"))
    return found


def _enough_s(track: Track, *, witnessed: bool, others: bool) -> float:
    """How long it must stand while what is beside it moves."""
    if witnessed and not others:
        return _NEVER_CHANGED_S
    return _LONGER * max(track.stood_s, _STANDS_S) if _fine(track) else _STILL_S


def _enough_k(track: Track, *, witnessed: bool, others: bool) -> float:
    """How far what is beside it must move meanwhile. `witnessed`: that is none of its like."""
    if witnessed:
        long = track.quantum_k == UNKNOWN_K and track.still_s > _NEVER_CHANGED_S
        return _ALL_ELSE_MOVED_K if long else _WITNESS_K
    return _moved_k(track) if others else _ALL_ELSE_MOVED_K


def lifeless(track: Track) -> bool:
    """Still for far longer than this probe ever is."""
    if track.quantum_k == UNKNOWN_K:
        return track.still_s > _DAY_S
    return _fine(track) and track.still_s > max(_FAR_LONGER * track.stood_s, _FAR_S)


def _fine(track: Track) -> bool:
    """Does its last digit flicker on a steady floor?"""
    return track.quantum_k <= _FINE_K


def _moved_k(track: Track) -> float:
    """How far its like must move before its own standing still means something."""
    quantum_k = _COARSEST_K if track.quantum_k == UNKNOWN_K else track.quantum_k
    return max(_LIKE_MOVED_K, _STEPS_MOVED * quantum_k)
