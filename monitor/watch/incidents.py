"""Which alarms are one trouble: the one grouping, kept by watch.alarm_register and read by whoever
tells.

An incident is one trouble in one place: the alarms of one family. It is named after its first
alarm. What is no worse than was told already is *folded*: an event like any other, but it needs no
message of its own and shares the acknowledgement of the incident's worst active alarm. So is what
is worse by the same cause while somebody is asked about an urgent alarm of it: the next repeat says
it, and there is nothing else to do. An alarm that ends and comes back within half an hour is the
same trouble and is told again only if it is worse: a floor that wavers about a limit is no news
each time (a chattering alarm in the words of ANSI/ISA-18.2 and EEMUA 191; the half hour is common
practice, and an hour where no more than the band was left). The half hour counts too while
something less bad of the incident goes on, or comes: a lamp that dies in a night foretold as cold
is no reminder of the heat that was lost at feeding. An answer resets that: whoever has seen to it
and gone back to bed must hear when it comes again; so does what matters more now than anything
that was told of it, and so does an urgent alarm that comes back by another cause: a lamp that dies
after the cover was off. A probe that is told as what is behind a cold floor needs no message of its
own beside that."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from monitor.events import AlarmName, Cause, Change, ChangeKind, Priority
from monitor.kept import ByTuple, Kept, Tick, part
from monitor.site import SITE_WIDE
from monitor.watch.alarm import Alarm
from monitor.watch.alarm_table import TABLE, Family
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import AlarmStatus

BACK_S = 1800.0
# A floor that a thermostat swings about the edge of its band comes back later than that, over and
# over, and is no other trouble each time. Common practice.
SWINGING, SWING_S = (AlarmName.COLD, AlarmName.HOT), 3600.0
RENEWED = "it matters more now and is told anew"  # why an alarm ended that goes on: see `renew`
_WEIGHT = {Priority.ADVICE: 0, Priority.WARNING: 100, Priority.URGENT: 200}


def rank(change: Change | AlarmStatus) -> int:
    """How bad: priority first, then the form of the trouble."""
    return _WEIGHT[change.priority] + TABLE[change.alarm].rank


SITE_SILENT = (SITE_WIDE, "silence")
_PROBES = "probes"


def scope(change: Change) -> tuple[str, str]:
    """Which incident a change belongs to by itself: its place and its family.

    Silence of whole brooders and a lost broker share the site, for a silent site is one cause; the
    silent and faulty probes of a brooder are one matter. Faults of the watcher each stand
    alone."""
    place = change.brooder or SITE_WIDE
    match TABLE[change.alarm].family:
        case Family.SILENCE if change.priority is Priority.URGENT:
            return SITE_SILENT
        case Family.SILENCE if change.alarm is AlarmName.BROKER_LOST:
            return SITE_SILENT
        case Family.SILENCE:
            return place, _PROBES
        case None:
            return place, _name(change)
        case family:
            return place, family.value


@dataclass(slots=True)
class Incident:
    """What is known of one trouble. `active`: rank by occurrence."""

    id: str
    active: dict[str, int] = field(default_factory=dict)
    answered: list[str] = field(default_factory=list)  # occurrences
    told_rank: int = -1
    members: list[str] = field(default_factory=list)  # alarms that ever were active in it
    places: list[str] = field(default_factory=list)  # told
    told_tick: Tick | None = None
    causes: list[str] = field(default_factory=list)  # told
    blamed: dict[str, str] = field(default_factory=dict)  # by occurrence: the probe told as cause
    ended: Tick | None = None
    eased: dict[int, Tick] = field(default_factory=dict)  # by rank: since when it is less bad

    @property
    def asks_urgently(self) -> bool:
        """Is an urgent alarm of it active and told, and waits for an answer?"""
        urgent = _WEIGHT[Priority.URGENT]
        waiting = [rank for one, rank in self.active.items() if one not in self.answered]
        return min(self.told_rank, max(waiting, default=-1)) >= urgent


@part
class Incidents(Kept):
    """All that are open, or ended less than half an hour ago."""

    _by_scope: ByTuple[tuple[str, str], Incident]
    _home: dict[str, tuple[str, str]]  # by alarm: where it was last

    def __init__(self) -> None:
        self._by_scope = {}
        self._scope_of: dict[str, tuple[str, str]] = {}  # by active occurrence
        self._home = {}

    def take(self, change: Change, tick: float) -> Change:
        """The change with its incident, and whether it is folded into what was told."""
        if change.change is ChangeKind.RAISED:
            return self._raised(change, tick)
        found = self._scope_of.get(change.occurrence)
        incident = None if found is None else self._by_scope.get(found)
        if incident is None:
            return change
        folded = change.facts.get("folded", False)
        match change.change:
            case ChangeKind.ACKNOWLEDGED:
                incident.answered.append(change.occurrence)
            case ChangeKind.CLEARED | ChangeKind.SHELVED:
                self._ended(incident, change, tick)
            case ChangeKind.EXPLAINED:
                told = change.cause is Cause.UNKNOWN or _cause(change) in incident.causes
                folded = told or incident.active[change.occurrence] < max(incident.active.values())
                if not folded:
                    incident.causes.append(_cause(change))
                    _blame(incident, change)
            case ChangeKind.ESCALATED | ChangeKind.UNSHELVED:
                pass
        return _with(change, incident, folded=folded)

    def _raised(self, change: Change, tick: float) -> Change:
        key = self._key(change, tick)
        incident = self._by_scope.get(key)
        if (
            incident is None
            or _is_past(incident, change, tick)
            or TABLE[change.alarm].family is None
        ):
            incident = self._by_scope[key] = Incident(change.occurrence)
        else:
            _forget_what_is_past(incident, change, tick)
        name = _name(change)
        self._home[name] = key
        if name not in incident.members:
            incident.members.append(name)
        # Of silence another place is news, unless it was told at the same moment.
        place = str(change.brooder) if key == SITE_SILENT else f"{change.brooder}/{change.probe}"
        new_place = (
            TABLE[change.alarm].family is Family.SILENCE
            and place not in incident.places
            and tick != incident.told_tick
        )
        known = rank(change) <= incident.told_rank or (
            _cause(change) in incident.causes and incident.asks_urgently
        )
        blamed = self._is_blamed(change)
        folded = blamed or (known and not new_place and not _asks_for_another_act(incident, change))
        incident.active[change.occurrence] = rank(change)
        incident.ended = None
        incident.eased = {r: since for r, since in incident.eased.items() if r > rank(change)}
        self._scope_of[change.occurrence] = key
        incident.told_rank = max(incident.told_rank, rank(change))
        if blamed or not folded:
            incident.told_tick = tick
            _blame(incident, change)
            if place not in incident.places:
                incident.places.append(place)
            for cause in {change.cause.value, _cause(change)} - {*incident.causes}:
                incident.causes.append(cause)
        return _with(change, incident, folded=folded)

    def _is_blamed(self, change: Change) -> bool:
        """Is it the fault of a probe that is told as what is behind the cold in its box?"""
        cold = self._by_scope.get((change.brooder or "", Family.COLD.value))
        if cold is None or change.alarm is not AlarmName.PROBE_FAULT:
            return False
        return change.probe in cold.blamed.values()

    def _key(self, change: Change, tick: float) -> tuple[str, str]:
        """What comes back belongs where it was. A probe of a brooder that is silent belongs to that
        silence; a silence that grows from one probe to its brooder is the same trouble."""
        home = self._home.get(_name(change))
        before = None if home is None else self._by_scope.get(home)
        if (
            home
            and before
            and _name(change) in before.members
            and not _is_past(before, change, tick)
        ):
            return home
        key = scope(change)
        wide = self._by_scope.get(SITE_SILENT)
        if key == SITE_SILENT:
            narrow = (change.brooder or "", _PROBES)
            grown = self._by_scope.get(narrow)
            if grown is not None and grown.active and (wide is None or not wide.active):
                self._by_scope[key] = self._by_scope.pop(narrow)
                self._scope_of.update(dict.fromkeys(grown.active, key))
                self._home.update(dict.fromkeys(grown.members, key))
        elif key[1] == _PROBES and wide is not None:
            around = {f"{change.brooder}/no-readings", "site/no-readings"}
            if any(occurrence.rpartition("/")[0] in around for occurrence in wide.active):
                return SITE_SILENT
        return key

    def _ended(self, incident: Incident, change: Change, tick: float) -> None:
        key = self._scope_of.pop(change.occurrence)
        was = incident.active.pop(change.occurrence, -1)
        incident.blamed.pop(change.occurrence, None)
        reason = change.facts.get("reason")
        answered = change.occurrence in incident.answered
        anew = reason == RENEWED and rank(change) >= incident.told_rank
        if answered or anew or change.change is ChangeKind.SHELVED:
            _forget_worse_than(incident, max(incident.active.values(), default=-1))
            incident.answered = [o for o in incident.answered if o != change.occurrence]
        if not incident.active and reason not in (None, RENEWED):
            del self._by_scope[key]  # the box was emptied, or taken out of service
            return
        if not incident.active:
            incident.ended = tick
        if incident.told_rank >= was > max(incident.active.values(), default=-1):
            incident.eased[was] = tick

    def resume(self) -> None:
        self._scope_of.clear()
        for key, incident in self._by_scope.items():
            self._scope_of.update(dict.fromkeys(incident.active, key))


def _name(change: Change) -> str:
    """The alarm, whichever occurrence of it."""
    return change.occurrence.rpartition("/")[0]


def _cause(change: Change) -> str:
    """That another lamp went out is another cause, where its plug says so."""
    source = change.facts.get("source", "") if "draws_w" in change.facts else ""
    return f"{change.cause.value} {source}".rstrip()


def _blame(incident: Incident, change: Change) -> None:
    """What is told: is a probe behind it?"""
    if change.cause is Cause.SENSOR and change.probe is not None:
        incident.blamed[change.occurrence] = change.probe
    else:
        incident.blamed.pop(change.occurrence, None)


def _asks_for_another_act(incident: Incident, change: Change) -> bool:
    """Urgent, by a cause that nobody was told, and nothing else urgent goes on. Not a probe's
    fault: that has an alarm of its own, and a floor that jumps is no news each time."""
    urgent = _WEIGHT[Priority.URGENT]
    alone = max(incident.active.values(), default=-1) < urgent <= rank(change)
    known = {Cause.UNKNOWN.value, Cause.SENSOR.value, *incident.causes}
    return alone and _cause(change) not in known


def _is_past(incident: Incident, change: Change, tick: float) -> bool:
    return incident.ended is not None and tick - incident.ended >= _back_s(incident, change)


def _back_s(incident: Incident, change: Change) -> float:
    swings = change.alarm in SWINGING and incident.told_rank < _WEIGHT[Priority.URGENT]
    return SWING_S if swings else BACK_S


def _forget_worse_than(incident: Incident, still: int) -> None:
    """What was told and is over counts no more."""
    if still >= incident.told_rank:
        return
    incident.told_rank = still
    incident.places = []
    incident.eased = {r: since for r, since in incident.eased.items() if r <= still}


def _forget_what_is_past(incident: Incident, change: Change, tick: float) -> None:
    """Each form of it by itself: the worst may be over for long, and the next only since."""
    for worst in sorted(incident.eased, reverse=True):
        if tick - incident.eased[worst] <= _back_s(incident, change):
            break
        del incident.eased[worst]
        _forget_worse_than(incident, max([*incident.active.values(), *incident.eased], default=-1))


def _with(change: Change, incident: Incident, *, folded: bool) -> Change:
    facts = change.facts.copy()
    facts["incident"] = incident.id
    if folded:
        facts["folded"] = True
    return replace(change, facts=facts)


def head(incident: str, alarms: Iterable[Alarm], but: Alarm) -> Alarm | None:
    """The worst active alarm of an incident besides one, the earlier one of equals."""
    members = [a for a in alarms if a is not but and a.active and a.incident == incident]
    return max(members, key=lambda a: (a.rank, -a.raised_tick), default=None)


def siblings(alarm: Alarm, alarms: Iterable[Alarm]) -> list[Alarm]:
    """The same alarm of other probes of the same box, waiting for its delay like this one."""
    if alarm.subject is None:
        return []
    return [
        other
        for other in alarms
        if other is not alarm
        and other.rule is alarm.rule
        and other.delay.condition
        and other.delay.due is not None
    ]


def lesser(asked: list[Alarm], alarms: Iterable[Alarm]) -> list[Alarm]:
    """Unanswered alarms of the same incidents that are no worse: answered along with them."""
    return [
        a
        for a in alarms
        if a not in asked
        and a.state is AlarmState.UNACKNOWLEDGED
        and any(b.active and b.incident == a.incident and b.rank >= a.rank for b in asked)
    ]
