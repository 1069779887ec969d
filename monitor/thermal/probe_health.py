"""Which probes of a box are not to be trusted. Called by `thermal` once a minute with all tracks.

Each fault is told from the probe's neighbours where it has any, and from its own past where not.
Limits are common practice for a thermometer good to +/-0.5 K (DS18B20 datasheet) in litter."""

from collections.abc import Sequence

from monitor.kept import Kept, part
from monitor.thermal.diagnosis import FaultKind, Finding
from monitor.thermal.neighbours import CHECK_S, Neighbours, Suspect, beside
from monitor.thermal.probe_drift import DRIFT_K, OWN_RATE, Ways, follow, is_odd_one, wandered
from monitor.thermal.probe_exchanged import Exchanges, other_unit
from monitor.thermal.probe_moved import OUT_CONFIRM_S, fell_alone, fell_out, lit
from monitor.thermal.probe_still import still
from monitor.thermal.track import Track

_TORN_SHARE, _TORN_RATE = 0.25, 0.1  # of all readings, that jump and come back
_CONFIRM_S, _DRIFT_CONFIRM_S = 300.0, 1800.0
# What a probe is by all that it said stands while it says nothing.
_STAND = (FaultKind.STUCK, FaultKind.FELL_ALONE)


@part
class ProbeHealth(Kept):
    """All probes of a box together. `findings` is what stands."""

    _neighbours: dict[str, Neighbours]
    _ways: Ways
    _exchanges: Exchanges
    findings: tuple[Finding, ...] = ()

    def __init__(self, keys: Sequence[str]) -> None:
        self._neighbours = {key: Neighbours() for key in keys}
        self._ways, self._exchanges = Ways(), Exchanges()

    def check(
        self,
        tracks: Sequence[Track],
        tick: float,
        outside_c: float | None,
        outside_now_c: float | None,
        disturbed: bool,
        *,
        outside_fresh: bool = True,
        sources_seen: bool = False,
        by_day: bool = False,
    ) -> None:
        """Look at every probe heard lately. While `disturbed` (a fall is on) differences
        are expected and none is called a drift. `outside_fresh`: the outside was heard lately too.
        `sources_seen`: a probe lies beneath each source of heat. `by_day`: the lamps are not hung
        for the night."""
        heard = [t for t in tracks if t.level is not None and tick - t.last_tick < 600.0]
        found: list[Finding] = []
        sources_seen = sources_seen and all(t in heard for t in tracks if t.beneath)
        fresh_c = outside_c if outside_fresh else None
        self._ways.see(self._neighbours, heard, tick, fresh_c, by_day=by_day)
        bad = {finding.probe for finding in self.findings}
        sound = [t for t in heard if t.key not in bad]
        for track in heard:
            near, level = self._neighbours[track.key], track.level or 0.0
            others, peers, alike = beside(track, sound)
            others_c, peers_c = list(others.values()), list(peers.values())
            near.own = level if near.own is None else near.own + OWN_RATE * (level - near.own)
            track.forget(CHECK_S)
            if track.readings:
                near.torn += _TORN_RATE * (track.spikes / track.readings - near.torn)
                track.readings = track.spikes = 0
            if alike:
                follow(near, level - sum(alike.values()) / len(alike), disturbed)
            suspects = _jumps(near, track)
            suspects += still(near, track, others, alike=alike, outside_c=outside_c)
            if others:
                if outside_c is not None and fell_out(
                    near,
                    track,
                    others_c,
                    peers=peers_c,
                    past_c=self._exchanges.past.get(track.key),
                    outside_c=outside_c,
                    fresh=outside_fresh,
                ):
                    suspects.append(
                        (FaultKind.FELL_OUT, OUT_CONFIRM_S, "it reads like the outside")
                    )
                elif near.astray is not None:
                    reason = "for hours it has gone its own way while the rest of the box held"
                    suspects.append((FaultKind.DRIFT, 0.0, reason))
                elif (
                    alike
                    and not disturbed
                    and wandered(near) > DRIFT_K
                    and is_odd_one(track, heard, self._neighbours)
                ):
                    reason = "it wanders away from its neighbours"
                    suspects.append((FaultKind.DRIFT, _DRIFT_CONFIRM_S, reason))
                if lit(near, track, others_c):
                    suspects.append(
                        (FaultKind.UNDER_LAMP, _CONFIRM_S, "it lies in the lamp's light")
                    )
            suspects += fell_alone(
                near,
                track,
                heard,
                tick,
                outside_c=fresh_c,
                sources_seen=sources_seen,
            )
            witness = peers_c or ([] if fresh_c is None else [fresh_c])
            suspects[:0] = other_unit(near, level, witness)
            if near.since:
                kinds = {kind for kind, _, _ in suspects}
                near.since = {kind: at for kind, at in near.since.items() if kind in kinds}
            for kind, confirm_s, reason in suspects:
                since = near.since.setdefault(kind, tick)
                if kind is FaultKind.STUCK:
                    since = track.moved_tick  # what it says was true until then
                if tick - since >= confirm_s:
                    found.append(Finding(probe=track.key, kind=kind, reason=reason, since=since))
                    break
        stand = [f for f in self.findings if f.kind in _STAND]
        found += [f for f in stand for t in tracks if t.key == f.probe and t not in heard]
        found = self._exchanges.findings(heard, tick, outside_now_c) + found
        self.findings = tuple(found)

    def forget(self, key: str) -> None:
        """What was found of a probe, and what was suspected: it is looked at anew."""
        self._neighbours[key].since.clear()
        self.findings = tuple(f for f in self.findings if key not in (f.probe, f.other))
        self._exchanges.forget(key)

    def resume(self) -> None:
        """What was found of a probe that is no longer configured drops out."""
        self.findings = tuple(f for f in self.findings if f.probe in self._neighbours)
        self._exchanges.known(self._neighbours)


def _jumps(near: Neighbours, track: Track) -> list[Suspect]:
    if near.torn > _TORN_SHARE:
        return [(FaultKind.TORN, 0.0, "its readings jump to and fro: two probes may send")]
    if track.jumps:
        return [(FaultKind.SPIKES, 0.0, "its readings jump and come back")]
    return []
