"""Who is not heard: one probe, a brooder, the whole site. Owned by watch.engine.

One silence, one message. A brooder whose floor probes are all silent is blind: urgent. A single
silent probe beside others is a warning of that probe. All probes of a site of several brooders
silent is one alarm of the site. Probes fall silent one by one as their last messages were sent, so
the narrower alarm waits a little for the wider one: a minute for a brooder, five for a probe. They
come back one by one too: once a box or the site is heard again, each is waited for anew, for as
long as its own gaps last; and one whose gaps nobody knows yet for an hour, where others are heard.

A bad value is not a reading: a probe that says only -127 is silent too, and then a fault. Nor is
the same value for ever: a box whose floor probes are all silent or stuck is as blind."""

from collections.abc import Iterable
from itertools import islice

from monitor.events import AlarmName, Cause, Facts, Priority, ProbeFact
from monitor.measures import span
from monitor.site import Limits, Place
from monitor.thermal.diagnosis import FaultKind
from monitor.watch.alarm import Alarm, Description, Owner
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.brooder_watch import BrooderWatch
from monitor.watch.probe_faults import MEND
from monitor.watch.probe_watch import Lag, ProbeWatch
from monitor.watch.timers import Slot, Timers

SILENT = "silent"
NO_BIRDS = "no birds are left to listen for"  # why a silence is over
_BROODER_WAITS_S, _PROBE_WAITS_S = 60.0, 300.0
# At most so many times the limit: where others tell how the floor is, and if it is the last that
# does. Without heat a box is dangerously cold within the hour, and chicks of a day that spent 45
# minutes at 12.8 degC stayed lighter: University of Georgia, Poultry Housing Tips 7(12), 1995.
_MOST, _MOST_LAST = 12.0, 4.0
_SELDOM_GAPS = 2.0  # the only one there is, if it comes more seldom than that anyway
_LAST_GAPS = 1.5  # of its own: so much later at most is the last word of one that fell silent too
_MOST_HEARD = 4  # probes of other boxes: that one is heard says that the board works
MEND_CLOCK = (
    "Set the clock of the probe, or leave its time out (`time` in the configuration, or in what it "
    "sends): then the time of arrival counts."
)


class Silence(Owner):
    """Watches the time since each probe was heard."""

    def __init__(
        self,
        brooders: list[BrooderWatch],
        site_probes: list[ProbeWatch],
        register: AlarmRegister,
        timers: Timers,
    ) -> None:
        self._brooders = brooders
        self._site_probes = site_probes
        self._register = register
        self._timers = timers
        several = len(brooders) > 1
        self._everybody = site_probes + [p for b in brooders for p in b.probes]
        self._heard_one = 0  # index of a probe in use that is heard, so long as it is
        self._whole_site = False  # as last judged
        self._site: Alarm | None = None
        if several:
            self._site = register.open(
                AlarmName.NO_READINGS, None, self, limits=Limits(), on_delay_s=0
            )
        self._of_brooder = {
            b.name: register.open(
                AlarmName.NO_READINGS,
                b.name,
                self,
                limits=b.brooder.limits,
                on_delay_s=_BROODER_WAITS_S if several else 0.0,
            )
            for b in brooders
        }
        self._of_probe = {
            p.key: register.open(
                AlarmName.NO_READINGS,
                p.probe.brooder,
                self,
                limits=Limits(),
                subject=p.key if p.probe.brooder is None else p.probe.name,
                on_delay_s=_PROBE_WAITS_S,
            )
            for p in self._everybody
        }
        self._probe_of = {self._of_probe[p.key].key: p for p in self._everybody}
        self._box_of = {b.name: b for b in brooders}

    def _due(self, probe: ProbeWatch) -> float:
        """Until when it may be unheard: longer where its own gaps are, but the floor not by any."""
        box = self._box(probe)
        boxes = self._brooders if box is None else [box]
        limit_s = max((b.brooder.limits.silent_s for b in boxes), default=Limits().silent_s)
        heard, gaps, last_s = probe.heard, probe.gaps, _MOST_LAST * limit_s
        if probe.clock_behind(heard) is not None:
            return heard + limit_s  # its words come: no link loses them, they are too old to count
        due = heard + _usual_s(probe, limit_s)
        watching = [] if box is None else box.probes.watching()
        if watching == [probe] and gaps.often_s > last_s:
            last_s = max(last_s, _SELDOM_GAPS * gaps.mean_s)
        if probe in watching:
            latest = max((p.heard for p in watching if p.stuck_since is None), default=heard)
            due = min(due, latest + last_s)
        return max(heard + limit_s, due)

    def _box(self, probe: ProbeWatch) -> BrooderWatch | None:
        return self._box_of.get(probe.probe.brooder or "")

    # -- one probe

    def wait(self, probe: ProbeWatch) -> None:
        """Expect something from it within its limit."""
        due = max(self._due(probe), self._timers.tick)
        self._timers.set(Slot(1, SILENT, probe.key), None if probe.out_of_service else due)

    def due(self, probe: ProbeWatch, tick: float) -> None:
        """The time is over, unless it was heard meanwhile."""
        if probe.out_of_service:
            return
        if self._due(probe) > tick:
            self.wait(probe)
            return
        probe.silent = True
        probe.stir()
        box = self._box(probe)
        self.judge(tick, box)
        if tick < probe.awaited_until:
            self._timers.set(Slot(1, SILENT, probe.key), probe.awaited_until)
        if box is not None:
            box.temperature.evaluate(tick)

    def heard(self, probe: ProbeWatch, tick: float) -> None:
        """A usable reading of a silent probe: the box's first word for as long as its limit is that
        of a box that was unheard as a whole, though one that speaks seldom was not missed yet."""
        probe.silent = False
        self.wait(probe)
        box = self._box(probe)
        if box is not None:
            limit_s = box.brooder.limits.silent_s
            if all(p.heard < tick - limit_s for p in box.probes if p is not probe):
                self._wait_anew(box.probes, limit_s, tick)
        self.judge(tick, box)

    def forgive(self, tick: float) -> None:
        """The watcher itself was away until now: nobody could be heard."""
        for probe in self._everybody:
            if not probe.silent:
                probe.heard = max(probe.heard, tick)
                self.wait(probe)

    def _wait_anew(self, probes: Iterable[ProbeWatch], limit_s: float, tick: float) -> None:
        """What silenced them all is over; who speaks seldom has had no time to say so."""
        for probe in probes:
            probe.awaited_until = max(probe.awaited_until, tick + _usual_s(probe, limit_s))
            if probe.silent:
                self._timers.set(Slot(1, SILENT, probe.key), probe.awaited_until)

    def resume(self) -> None:
        """The probes were restored: as it was judged last."""
        self._whole_site = self._all_silent()

    # -- brooder and site

    def judge(self, tick: float, changed: BrooderWatch | None = None) -> None:
        """Feed the alarms, the wider one first. `changed`: nothing is new but in that box, so the
        others are looked at only when the whole site falls silent or is heard again: a broker
        that is gone silences thousands of probes one by one."""
        whole_site = self._all_silent()
        if self._site is not None:
            if self._birds():
                self._register.see(self._site, whole_site, tick)
            else:
                self._register.stop(self._site, tick, NO_BIRDS)
        site_back = self._whole_site and not whole_site
        if whole_site != self._whole_site:
            changed = None
        self._whole_site = whole_site
        covered = whole_site and self._site is not None
        for box in self._brooders if changed is None else (changed,):
            if not box.probes.out_of_service:
                self._judge_box(box, tick, covered=covered, site_back=site_back)
        if site_back:
            self._wait_anew(self._site_probes, Limits().silent_s, tick)
        if changed is None:
            for probe in self._site_probes:
                self._see_probe(probe, whole_site or not self._birds(), tick)

    def _judge_box(self, box: BrooderWatch, tick: float, *, covered: bool, site_back: bool) -> None:
        """`covered`: the whole site is told; `site_back`: it was until now."""
        alarm, probes = self._of_brooder[box.name], box.probes
        if box.needs.batch is None:
            self._sleep(box, alarm, tick)
            return
        for probe in probes.watching():
            if not probe.silent:
                self.wait(probe)  # another may be stuck now
        blind = probes.blind
        if not blind and (alarm.delay.condition or site_back):
            self._wait_anew(probes, box.brooder.limits.silent_s, tick)
        self._see(alarm, blind, blind and not covered, tick)
        for probe in probes:
            self._see_probe(probe, blind or covered or probe.bad, tick)

    def _birds(self) -> bool:
        """Is any box in use? An empty one may stand unplugged for as long as it likes."""
        return any(box.needs.batch is not None for box in self._brooders)

    def _sleep(self, box: BrooderWatch, alarm: Alarm, tick: float) -> None:
        for each in (alarm, *(self._of_probe[probe.key] for probe in box.probes)):
            self._register.stop(each, tick, NO_BIRDS)

    def _all_silent(self) -> bool:
        """No probe in use is heard (and there is one in use). Looks first at the one that was
        heard last time."""
        everybody = self._everybody
        count = len(everybody)
        start, some = self._heard_one, False
        for step in range(count):
            index = (start + step) % count
            probe = everybody[index]
            if probe.in_service:
                if not probe.silent:
                    self._heard_one = index
                    return False
                some = True
        return some

    def _see_probe(self, probe: ProbeWatch, covered: bool, tick: float) -> None:
        if not probe.out_of_service:
            begins = probe.silent and not covered and tick >= probe.awaited_until
            self._see(self._of_probe[probe.key], probe.silent, begins, tick)

    def _see(self, alarm: Alarm, condition: bool, begins: bool, tick: float) -> None:
        """An active one ends with the silence; a new one begins only if nothing wider covers it."""
        self._register.see(alarm, condition if alarm.delay.active else begins, tick)

    # -- Owner

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """Who is silent, since when, and what was last heard."""
        one = self._probe_of.get(alarm.key)
        concerned = self._concerned(alarm)
        silent = [p for p in concerned if p.silent or (one is None and p.mute)]
        box = self._box_of.get(alarm.brooder or "")
        boxes = self._brooders if box is None else [box]
        since = max(map(_told_last, silent), default=tick)
        heard = (p for p in self._everybody if p.in_service and not p.silent and p not in concerned)
        others = islice(heard, _MOST_HEARD)  # no further: a site may have thousands
        facts = Facts(probes=[_fact(p, since) for p in (*concerned, *others)])
        facts["since"] = since + self._register.offset_s
        facts["silent_s"] = tick - since
        floor = [p for p in silent if p.place is Place.FLOOR]
        lead = one or max(floor, key=_told_last, default=None)
        stuck = [p.probe.name for p in silent if not p.silent]
        behind = self._clock_behind(silent, tick)
        torn, other_unit = (
            [p.probe.name for p in silent if p.found is kind and not p.silent]
            for kind in (FaultKind.TORN, FaultKind.OTHER_UNIT)
        )
        if torn:
            facts["reason"] = f"the {torn[0]} probe's readings jump to and fro"
            facts["detail"] = MEND[FaultKind.TORN]
        elif other_unit:
            facts["reason"] = f"the {other_unit[0]} probe says in °F what is set as °C"
            facts["detail"] = MEND[FaultKind.OTHER_UNIT]
        elif stuck:
            facts["reason"] = _stuck(stuck)
            facts["detail"] = MEND[FaultKind.STUCK]
        elif bad := next((p for p in silent if p.spoils(tick)), None):
            facts["reason"] = f"the {bad.probe.name} probe is heard, but {bad.bad_reason}"
            facts["detail"] = "Check its cable, its power and what sends it."
        elif behind is not None:
            old = span(behind.age_s)
            facts["reason"] = f"readings arrive, but their own time stamps are {old} old"
            facts["says_c"] = behind.temp_c
            facts["detail"] = MEND_CLOCK
        if lead is not None and lead.temp_c is not None:
            facts["temp_c"] = lead.temp_c
        on_floor = one is None or one.place is Place.FLOOR  # beneath a lamp nothing "should be"
        if len(boxes) == 1 and boxes[0].needs.target_c is not None and on_floor:
            facts["target_c"] = boxes[0].needs.target_c
        broken = "reason" in facts or (silent and all(p.bad for p in silent))
        cause = Cause.SENSOR if broken else Cause.SILENCE
        if one is not None:
            return Description(facts, cause, one.key, Priority.WARNING)
        return Description(facts, cause, None, Priority.URGENT)

    def _clock_behind(self, silent: list[ProbeWatch], tick: float) -> Lag | None:
        """Of a silent probe whose readings arrive all the same; of several the floor's coldest."""
        found = [(p, p.clock_behind(tick + p.heard - self._due(p))) for p in silent]
        behind = [(p.place is not Place.FLOOR, lag.temp_c, lag) for p, lag in found if lag]
        return min(behind)[-1] if behind else None

    def closing(self, alarm: Alarm, tick: float) -> Facts:
        """The probes that are heard again."""
        concerned = self._concerned(alarm)
        facts = Facts(probes=[p.fact() for p in concerned])
        lead = next((p for p in concerned if not p.mute and p.place is Place.FLOOR), None)
        lead = lead or self._probe_of.get(alarm.key)
        if lead is not None and lead.temp_c is not None:
            facts["temp_c"] = lead.temp_c
        return facts

    def _concerned(self, alarm: Alarm) -> list[ProbeWatch]:
        box = self._box_of.get(alarm.brooder or "")
        if box is not None:
            around: Iterable[ProbeWatch] = box.probes
        else:
            around = self._site_probes if alarm.key in self._probe_of else self._everybody
        return [p for p in around if p.in_service]

    def alarm(self, probe: ProbeWatch) -> Alarm:
        """The probe's own alarm."""
        return self._of_probe[probe.key]


def _usual_s(probe: ProbeWatch, limit_s: float) -> float:
    """For how long its own gaps have it unheard."""
    return min(probe.gaps.believable_s, _MOST * limit_s)


def _told_last(probe: ProbeWatch) -> float:
    """Tick at which it last told how the floor was."""
    return probe.heard if probe.stuck_since is None else min(probe.heard, probe.stuck_since)


def _fact(probe: ProbeWatch, since: float) -> ProbeFact:
    """One that said its last when those fell silent is no witness that the board works: its own
    time has only not run out."""
    fact = probe.fact()
    if probe.heard - since <= _LAST_GAPS * probe.gaps.often_s:
        fact["temp_c"] = None
    return fact


def _stuck(names: list[str]) -> str:
    every = " and ".join(names)
    return (
        f"the {every} probe says the same over and over: it is stuck"
        if len(names) == 1
        else f"the probes {every} say the same over and over: they are stuck"
    )
