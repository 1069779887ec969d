"""What is still missing for tonight: one list for `brooder check`, the page's Now and the guided
set-up. Pure."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

from monitor.events import Priority
from monitor.quantities import BATTERY_LEFT, POWER
from monitor.set_up_form import Step
from monitor.site import Brooder, Place, Site
from monitor.tell.contact import Contact
from monitor.tell.untold import untold
from monitor.tell.wording.silence_words import clock_behind
from monitor.tell.wording.words import called
from monitor.watch.status import BrooderStatus, ProbeStatus, SiteStatus

_SEE_POWER = "See that it has power and reaches the network."
_SELDOM_S = 900.0  # between two readings of a floor. Common practice


class Missing(NamedTuple):
    """One thing, and the one thing to do about it."""

    subject: str
    words: str
    do: str
    essential: bool = True  # without it the night is not watched, or nobody is told
    step: Step | None = None
    alarmed: bool = False  # an alarm says it too


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """What the list needs to know of the machine that watches."""

    page_open: bool  # to the home network: a phone can open a message's link
    on_battery: bool | None  # None: not known
    unreached: tuple[str, ...] = ()  # contacts that no message has reached in the last days


def missing(
    site: Site, contacts: Iterable[Contact], status: SiteStatus | None, machine: Machine
) -> list[Missing]:
    """What is essential first. `status` None: no service runs."""
    contacts = tuple(contacts)
    found = [
        *_of_the_watch(status, machine),
        *(one for box in site.brooders for one in _of_box(site, box, status)),
        *_of_birds(site, status),
        *_of_contacts(contacts, machine),
        *(
            Missing(subject, words, "Change it in the configuration.")
            for subject, words in untold(site, contacts)
        ),
        *_outside(site, status),
        *_meters(site, status),
        *_alarms(site, status),
    ]
    return sorted(found, key=lambda one: not one.essential)


def _of_the_watch(status: SiteStatus | None, machine: Machine) -> Iterator[Missing]:
    if status is None:
        yield Missing(
            "the watch",
            "is not running",
            "Start it: brooder watch, or sudo systemctl start brooder.",
        )
    elif not status.clock_sure:
        yield Missing(
            "the clock",
            "is not set: this machine does not know the time for certain",
            "Connect it to the network, or set its clock.",
            alarmed=True,
        )
    if machine.on_battery:
        yield Missing(
            "power", "this machine runs on its battery and may not last the night", "Plug it in."
        )


def _of_box(site: Site, box: Brooder, status: SiteStatus | None) -> Iterator[Missing]:
    floors = [probe for probe in box.probes if probe.place is Place.FLOOR]
    if not floors:
        yield Missing(
            box.name,
            "has no probe on the floor",
            "Add one, at the height of the chicks' backs and at the edge of the heat.",
            step=Step.PROBES,
        )
    if not box.heat:
        yield Missing(
            box.name,
            "no lamp or plate is entered, so a dead one cannot be named",
            "Enter each with its watts.",
            essential=False,
            step=Step.HEAT,
        )
    plugs = {meter.source for meter in box.meters if meter.quantity is POWER}
    unsaid = [s.name for s in box.heat if s.name in plugs and s.thermostat is None]
    if unsaid:
        yield Missing(
            box.name,
            f"nobody has said whether a thermostat switches {' or '.join(map(called, unsaid))}; "
            "without one, its plug tells a dead lamp at once",
            "Say yes or no.",
            essential=False,
            step=Step.HEAT,
        )
    seen = status.brooder(box.name) if status is not None else None
    if seen is not None and not seen.out_of_service:
        yield from _of_probes(site, seen)


def _of_probes(site: Site, box: BrooderStatus) -> Iterator[Missing]:
    floors = [p for p in box.probes if p.place is Place.FLOOR and not p.out_of_service]
    deaf = [p for p in floors if _unheard(p)]
    all_deaf = bool(floors) and len(deaf) == len(floors)
    if all_deaf:
        heard = [p.at for p in deaf if p.at is not None]
        since = "yet"
        if heard:
            since = f"since {datetime.fromtimestamp(max(heard), site.timezone):%a %H:%M}"
        yield Missing(
            box.name,
            *clock_behind(deaf) or (f"no floor probe has been heard {since}", _SEE_POWER),
            step=Step.PROBES,
            alarmed=bool(heard) and box.batch is not None,
        )
    gap_s = min((p.usual_gap_s for p in floors if p not in deaf), default=0.0)
    if gap_s > _SELDOM_S:
        yield Missing(
            box.name,
            f"its floor is heard only every {gap_s / 60:.0f} minutes or so: a dead lamp is told "
            "that much later",
            "Have its probe send every minute, and each reading by itself.",
            essential=False,
            step=Step.PROBES,
        )
    for probe in box.probes:
        if _unheard(probe) and not probe.out_of_service and not (all_deaf and probe in floors):
            yield _one_unheard(box.name, probe)


def _one_unheard(subject: str, probe: ProbeStatus) -> Missing:
    silent = f"the probe {probe.name} {'was never heard' if probe.at is None else 'is silent'}"
    return Missing(
        subject,
        *clock_behind([probe]) or (silent, _SEE_POWER),
        essential=False,
        step=Step.PROBES,
        alarmed=probe.at is not None,
    )


def _unheard(probe: ProbeStatus) -> bool:
    return probe.at is None or probe.silent


def _of_birds(site: Site, status: SiteStatus | None) -> Iterator[Missing]:
    if status is not None and not any(box.batch for box in status.brooders):
        today = datetime.fromtimestamp(status.at, site.timezone).date()
        to_come = any(box.expected and box.expected.day > today for box in status.brooders)
        yield Missing(
            "birds",
            "no chicks are entered, so nothing watches for cold",
            "Enter them as soon as they are in the box.",
            essential=not to_come,
            step=Step.BIRDS,
        )


def _of_contacts(contacts: tuple[Contact, ...], machine: Machine) -> Iterator[Missing]:
    if not contacts:
        yield Missing(
            "contacts",
            "there are none, so nobody will be told of an alarm",
            "Add your phone, then try it.",
            step=Step.CONTACTS,
        )
    for name in machine.unreached:
        yield Missing(
            f"contact {name}",
            "no message has reached it in these days",
            "Try it, and hear whether the phone sounds.",
            essential=False,
            step=Step.CONTACTS,
        )
    if contacts and not machine.page_open:
        yield Missing(
            "the page",
            "opens on this machine alone, so the link in a message leads nowhere on the phone",
            "Open it to the home network, with a passphrase.",
            essential=False,
            step=Step.PAGE,
        )


def _outside(site: Site, status: SiteStatus | None) -> Iterator[Missing]:
    if not any(p.place is Place.OUTSIDE for p in site.all_probes):
        yield Missing(
            "outside",
            "nothing measures it; with a probe there a cold night is told earlier, and is not "
            "taken for a dead lamp",
            "Hang one in the shade.",
            essential=False,
            step=Step.PROBES,
        )
    for probe in status.probes if status is not None else ():
        if _unheard(probe) and not probe.out_of_service:
            yield _one_unheard("outside", probe)


def _meters(site: Site, status: SiteStatus | None) -> Iterator[Missing]:
    """What measures something beside temperature, and was never heard."""
    if status is None:
        return
    local = {meter.key for meter in site.all_meters if meter.local}
    places = [(site.name, status.meters), *((box.name, box.meters) for box in status.brooders)]
    for place, meters in places:
        for meter in meters:
            if meter.at is None and meter.kind != BATTERY_LEFT.kind:
                device = f"{meter.title}'s {_DEVICE.get(meter.kind, 'sensor')}"
                words = f"nothing heard from the {device}"
                do = "See whether it publishes its topic (brooder probes)."
                if meter.key in local:
                    words = f"the {meter.title} cannot be read on this board"
                    do = "See whether the file or the UPS that is named for it is there."
                yield Missing(
                    place,
                    words,
                    do,
                    essential=False,
                    step=Step.HEAT if meter.kind == POWER.kind else Step.METERS,
                )


_DEVICE = {"power": "plug", "cover": "switch", "contact": "switch"}


def _alarms(site: Site, status: SiteStatus | None) -> Iterator[Missing]:
    for alarm in status.all_alarms if status is not None else ():
        if alarm.active and not alarm.folded and alarm.priority is not Priority.ADVICE:
            began = datetime.fromtimestamp(alarm.since, site.timezone)
            yield Missing(
                alarm.brooder or "the watch",
                f"{alarm.alarm.value}, {alarm.priority.value}, since {began:%a %H:%M}",
                "Look at the page or the last message for what to do.",
                alarmed=True,
            )
