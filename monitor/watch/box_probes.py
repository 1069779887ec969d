"""The probes of a box, and which of them count: by whom a cold floor is told, who is believed, who
is heard at all. Held by watch.brooder_watch.

Several probes make one alarm: the coldest (or hottest) one leads, and a probe that is silent,
faulty or out of service does not count while another one does. When none counts, nothing can be
judged: what is active stays active."""

from collections.abc import Iterator
from typing import NamedTuple

from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Place
from monitor.thermal.diagnosis import TELLS_NOTHING, Diagnosis
from monitor.watch.probe_faults import ProbeFaults
from monitor.watch.probe_watch import ProbeWatch


class Counted(NamedTuple):
    """Who counts at one moment, as the methods of `BoxProbes` have it."""

    usable: list[ProbeWatch]
    on_floor: list[ProbeWatch]
    trusted: list[ProbeWatch]
    judged: list[ProbeWatch]


@part
class BoxProbes(Kept):
    """Of one box. `inside`: all but the outside ones."""

    out_of_service: bool = False  # the whole box
    woke: Tick = NEVER  # when somebody watched again

    def __init__(self, probes: list[ProbeWatch], faults: ProbeFaults) -> None:
        self._all = probes
        self.inside = [p for p in probes if not p.outside]
        self.floor = [p for p in probes if p.place is Place.FLOOR]
        self._outside = [p for p in probes if p.outside]
        self._faults = faults

    def __iter__(self) -> Iterator[ProbeWatch]:
        return iter(self._all)

    def out_of_use(self, out: bool) -> None:
        """The box is out of service, or in service again."""
        self.out_of_service = out
        for probe in self._all:
            probe.box_out = out

    def wake(self, tick: float) -> None:
        """Nobody watched until now; what they said before is not what is."""
        self.woke = tick
        for probe in self._all:
            probe.stir()

    # -- who counts

    def usable(self) -> list[ProbeWatch]:
        """The probes that say something a floor can be; doubted ones too."""
        return [
            p
            for p in self.inside
            if p.temp_c is not None and not (p.silent or p.out_of_service or p.lost)
        ]

    def on_floor(self) -> list[ProbeWatch]:
        """The probes that a cold floor is told by: all that are heard and have a target. No finding
        and no doubt of one silences it: who is thought to err is told as that, beside it."""
        return with_target(self.usable())

    def trusted(self) -> list[ProbeWatch]:
        """The probes that nothing was found of; all where none of them lies on the floor: a finding
        never leaves it unwatched."""
        return trusted_of(self.usable())

    def counting(self) -> list[ProbeWatch]:
        """The probes that are believed now."""
        return believed(self.trusted())

    def counted(self) -> Counted:
        """All of these at once."""
        usable = self.usable()
        trusted = trusted_of(usable)
        return Counted(usable, with_target(usable), trusted, with_target(trusted))

    def watching(self) -> list[ProbeWatch]:
        """The probes that are to tell how the floor is."""
        inside = [p for p in self.inside if not p.out_of_service]
        return [p for p in inside if p.place is Place.FLOOR] or inside

    @property
    def blind(self) -> bool:
        """Nothing tells how the floor is: each of its probes is silent or stuck."""
        watching = self.watching()
        return bool(watching) and all(p.mute for p in watching)

    @property
    def has_own_outside(self) -> bool:
        """Has its own outside probe spoken? Then the site's, which hangs elsewhere, says nothing of
        this box any more; not even when the own one falls silent, for a sudden other outside would
        look like lost heat."""
        return any(p.known and not p.out_of_service for p in self._outside)

    # -- what the estimate found of them

    def see_stuck(self, diagnosis: Diagnosis) -> bool:
        """Take over which probes tell nothing of the floor; True: others than before."""
        found = {f.probe: f for f in diagnosis.findings if f.kind in TELLS_NOTHING}
        changed = False
        for probe in self.inside:
            finding = found.get(probe.key)
            changed = changed or (finding is None) != (probe.stuck_since is None)
            probe.stuck_since = None if finding is None else finding.since
            if finding is not None:
                probe.found = finding.kind
        return changed

    def see_findings(self, diagnosis: Diagnosis) -> list[ProbeWatch]:
        """Take over who misleads, and why. Those of which other things are said than before."""
        found = {finding.probe: finding for finding in diagnosis.findings}
        news = []
        for probe in self.inside:
            finding = found.get(probe.key)
            reason = None if finding is None else finding.reason
            probe.found = None if finding is None else finding.kind
            if reason != probe.finding:
                probe.finding = reason
                news.append(probe)
            probe.stir()
        return news

    def tell_findings(self, news: list[ProbeWatch], tick: float) -> None:
        """A finding is a fault at once: it was weighed before."""
        for probe in news:
            self._faults.see(probe, tick, at_once=probe.finding is not None)

    def see_lasting(self, tick: float) -> None:
        """A fault that could wait may have lasted too long by now."""
        for probe in self.inside:
            if probe.finding is not None:
                self._faults.see(probe, tick)

    def see_doubts(self, diagnosis: Diagnosis) -> None:
        """Take over who proves nothing just now."""
        for probe in self.inside:
            probe.doubted = probe.key in diagnosis.doubted

    def resume(self) -> None:
        self.out_of_use(self.out_of_service)


def believed(trusted: list[ProbeWatch]) -> list[ProbeWatch]:
    """Those of them that are not in doubt just now; all where every one is."""
    return [p for p in trusted if not p.doubted] or trusted


def with_target(probes: list[ProbeWatch]) -> list[ProbeWatch]:
    return [p for p in probes if p.target_c is not None]


def trusted_of(usable: list[ProbeWatch]) -> list[ProbeWatch]:
    trusted = [p for p in usable if p.finding is None]
    return trusted if any(p.place is Place.FLOOR for p in trusted) else usable
