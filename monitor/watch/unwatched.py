"""Birds for whom no alarm of cold can come: told urgently, and again, for as long as it is so.
Owned by watch.engine.

A probe that is not heard is watch.silence's; here is what no probe can tell: nobody knows any more
which birds are in the box, the box or its last floor probe is not in use, or the configuration has
lost it."""

from monitor.brooding.ledger import Ledger
from monitor.events import AlarmName, Entry, EntryKind, Facts
from monitor.kept import Kept, Sorted, part
from monitor.site import Limits, Place
from monitor.watch.alarm import Alarm, Description, Owner
from monitor.watch.alarm_register import AlarmRegister
from monitor.watch.brooder_watch import BrooderWatch

_UNKNOWN = Facts(
    reason="I no longer know which birds are in it",
    detail="The records were lost. Say what is in the box, on the page under Do or with "
    "`brooder flock placed`. If it is empty, say that all were moved out (`brooder flock moved`).",
)
_BOX_OUT = Facts(
    reason="it has birds and is out of service",
    detail="Put it back in service, or say that the birds were moved out.",
)
_NO_FLOOR = Facts(
    reason="it has birds and no floor probe in use",
    detail="Put a probe on the floor, at the edge of the heat, and into the configuration "
    "(`brooder check` says how), or put the one there is back in service.",
)


@part
class Unwatched(Kept, Owner):
    """Looks at every box after each entry and each change of the configuration."""

    _facts: dict[str, Facts]  # by alarm
    _unknown: Sorted[str]  # boxes of which nobody knows what is in them

    def __init__(self, boxes: list[BrooderWatch], register: AlarmRegister) -> None:
        self._boxes = boxes
        self._register = register
        self._unknown = set()
        self._lost: list[str] = []  # birds in boxes that are not configured, in words
        self._alarms = {
            box.name: register.open(AlarmName.UNWATCHED, box.name, self, limits=box.brooder.limits)
            for box in boxes
        }
        self._site = register.open(AlarmName.UNWATCHED, None, self, limits=Limits())
        self._facts = {}

    def birds_unknown(self) -> None:
        """The ledger was lost: a box that seems to be empty may hold birds."""
        self._unknown = {box.name for box in self._boxes if box.needs.batch is None}

    @property
    def unknown(self) -> frozenset[str]:
        """The boxes of which nobody knows what is in them."""
        return frozenset(self._unknown)

    def said(self, entry: Entry) -> None:
        """Somebody says what is in a box, or that nothing is."""
        if entry.entry in (EntryKind.PLACED, EntryKind.MOVED, EntryKind.END):
            self._unknown.discard(entry.brooder or "")
        if entry.entry is EntryKind.END and entry.brooder is None:
            self._unknown.clear()

    def judge(self, ledger: Ledger, tick: float) -> None:
        """Raises or ends `unwatched` of each box by what is known of its birds."""
        for box in self._boxes:
            self._see(self._alarms[box.name], self._why(box), tick)
        configured = {box.name for box in self._boxes}
        self._lost = [
            f"{batch.head_count()} birds are in {name}"
            for name in sorted(ledger.open.keys() - configured)
            if (batch := ledger.running(name)) is not None
        ]
        self._see(self._site, _lost(self._lost), tick)

    def _why(self, box: BrooderWatch) -> Facts | None:
        if box.needs.batch is None:
            return _UNKNOWN if box.name in self._unknown else None
        if box.probes.out_of_service:
            return _BOX_OUT
        if box.needs.target_c is None:
            return None  # their schedule asks for no heat at this age
        floor = any(p.place is Place.FLOOR and not p.out_of_service for p in box.probes)
        return None if floor else _NO_FLOOR

    def _see(self, alarm: Alarm, why: Facts | None, tick: float) -> None:
        before = self._facts.get(alarm.key)
        if why is not None:
            self._facts[alarm.key] = why
            if before != why:
                self._register.renew(alarm, tick)
        self._register.see(alarm, why is not None, tick)

    # -- Owner

    def describe(self, alarm: Alarm, tick: float) -> Description:
        """Why the birds cannot be watched."""
        return Description(self._facts.get(alarm.key, Facts()).copy())

    def resume(self) -> None:
        """Where one of the boxes has another name now, any empty one may be it."""
        names = {box.name for box in self._boxes}
        renamed = self._unknown - names
        self._unknown &= names
        if renamed:
            self.birds_unknown()


def _lost(birds: list[str]) -> Facts | None:
    if not birds:
        return None
    return Facts(
        reason=f"{', and '.join(birds)}, which the configuration does not have",
        detail='If a box only has another name now, write `renamed_from = "OLD NAME"` under it. If '
        "its birds are gone, say that they were moved out: `brooder flock moved --brooder NAME`.",
    )
