"""The guided set-up: what each step asks, and how an answer is written into the configuration file.

`form_of` says the questions with what stands in the file; `edit_of` makes the change for
`rewriting.propose`. Whether the answers are right is for the loader to say; `field_of` finds the
question that one of its faults is about."""

import re
import socket
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from tomlkit import TOMLDocument

from monitor.brooding.envelope import COVERS, WALLS, covered_with
from monitor.doorway import THIS_MACHINE
from monitor.measures import length_shown, step_written
from monitor.quantities import BATTERY_LEFT, CONTACT, COVER, POWER, QUANTITIES
from monitor.set_up_form import CONTACT_FORM, Field, Step, StepForm, WrongAnswers
from monitor.settings.file_model import BrooderSettings
from monitor.settings.load import Settings
from monitor.settings.toml_edits import append, holder_of, put, remove, table_named
from monitor.site import SITE_WIDE, Meter, Place, plain
from monitor.units import Unit

MOST_SOURCES = 8
_SPARE_ROWS = 1
Answers = Mapping[str, str]
T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """A change of the document, and a secret that it names by its file."""

    change: Callable[[TOMLDocument], None]
    secret_file: str | None = None
    secret: str = ""


PLACES = (
    (Place.FLOOR, "On the floor, at chick height, at the edge of the heat"),
    (Place.UNDER_HEAT, "Right under a lamp or plate"),
    (Place.COOL_END, "At the cool end"),
    (Place.OUTSIDE, "Outside the box, in the shade"),
)
_WANTS = {
    "all": ("Everything, the morning message and advice too", ("urgent", "warning", "advice")),
    "warning": ("What is urgent, and warnings", ("urgent", "warning")),
    "urgent": ("Only what is urgent", ("urgent",)),
}
_OUT = "out"


NONE_YET = "none yet"
AS_IN_EXAMPLE = ", as in the example"
# Of config/brooder.toml, which a new watch begins with: whoever has it so may never have looked.
_EXAMPLE = {
    Step.SITE: "Hillside, America/Chicago, degrees Fahrenheit",
    Step.BOX: "porch, 5 ft by 5 ft, cover: plywood",
    Step.HEAT: "west lamp 250 W, east lamp 250 W",
}


def as_it_is(step: Step, settings: Settings) -> str:
    """What stands in the file, in words, and whether nobody has made it their own yet."""
    same = _said(step, settings, Unit.FAHRENHEIT) == _EXAMPLE.get(step)
    return _said(step, settings, settings.site.units) + (AS_IN_EXAMPLE if same else "")


def _said(step: Step, settings: Settings, unit: Unit) -> str:
    site = settings.site
    of = {box.name: f"{box.name} " if len(site.brooders) > 1 else "" for box in site.brooders}
    page = settings.file.page
    said = {
        Step.SITE: f"{site.name}, {site.timezone.key}, degrees {unit.value.capitalize()}",
        Step.BOX: "; ".join(
            f"{box.name}, {length_shown(box.length_m, unit)} by {length_shown(box.width_m, unit)}, "
            f"{covered_with(box.cover)}"
            for box in site.brooders
        ),
        Step.HEAT: ", ".join(
            f"{of[box.name]}{source.name} {source.watts:g} W"
            for box in site.brooders
            for source in box.heat
        ),
        Step.PROBES: ", ".join(
            f"{of.get(probe.brooder or '', '')}{probe.name} ({probe.place.value})"
            for probe in site.all_probes
        ),
        Step.METERS: ", ".join(
            m.title
            for m in site.all_meters
            if step_of(m) is Step.METERS and m.quantity is not BATTERY_LEFT
        ),
        Step.CONTACTS: ", ".join(contact.name for contact in settings.file.contacts),
        Step.PAGE: page.public_url
        or ("this machine alone" if page.listen in THIS_MACHINE else "open"),
        Step.BIRDS: " ",
    }[step]
    return said or NONE_YET


def step_of(meter: Meter) -> Step:
    """The step in which this meter is set up."""
    return Step.HEAT if meter.quantity is POWER else Step.METERS


def form_of(step: Step, settings: Settings, about: str = "") -> StepForm:
    """The questions of a step. `about`: a box, a probe's key or a contact; "" where there is one
    alone, or for a new one. Raises WrongAnswers where there is no such thing."""
    ask, _ = _STEPS[step]
    return ask(settings, about)


def edit_of(step: Step, answers: Answers, settings: Settings, about: str = "") -> Edit:
    """The change that the answers ask for; what was left as it was shown stays as it is written.
    Raises WrongAnswers for what can be seen to be wrong before the loader looks."""
    given = {k: v.strip() for k, v in answers.items()}
    shown = form_of(step, settings, about).values
    new = {k: v for k, v in given.items() if v != shown.get(k, "")}
    _, change = _STEPS[step]
    return change(settings, about, given, new)


def _put_all(table: Any, said: Answers, keys: Iterable[str], may_go: Iterable[str] = ()) -> None:
    """Those that were said; an empty one that may go is left out of the file."""
    for key in keys:
        if key in said:
            put(table, key, said[key] or (None if key in may_go else ""))


def _secret_file(stem: str, settings: Settings) -> str:
    """One that is not there yet: another contact's must not be written over."""
    folder = settings.source.parent
    names = (stem, *(f"{stem}-{number}" for number in range(2, 1000)))
    return next(name for name in names if not (folder / name).exists())


def field_of(key: str, form: StepForm) -> str:
    """The question that a fault's key is about; "" none of them."""
    names = {one.name for one in form.fields}
    row = re.search(r"heat\[(\d+)\]\.(\w+)$", key)
    if row is not None:
        return found if (found := f"{int(row[1]) + 1} {row[2]}") in names else ""
    if key.startswith("mains"):
        return "mains value" if key.endswith("value") and "mains value" in names else "mains"
    last = re.sub(r"(_file|_m|_c)$", "", re.split(r"[.\]]", key)[-1])
    return last if last in names else ""


# -- the place


_OF_SITE = ("name", "units", "timezone", "price_per_kwh")


def _site_form(settings: Settings, _about: str) -> StepForm:
    site = settings.file.site
    fields = (
        Field("name", "Name of the place"),
        Field(
            "units",
            "Units",
            options=(
                ("fahrenheit", "Degrees Fahrenheit, feet and inches"),
                ("celsius", "Degrees Celsius, metres"),
            ),
        ),
        Field(
            "timezone",
            "Time zone",
            "Such as America/New_York, America/Chicago, America/Denver, America/Los_Angeles.",
        ),
        Field(
            "price_per_kwh",
            "Price of a kWh, if you like",
            "With its currency, such as 0.17 USD. The record then says what the heat cost.",
        ),
    )
    values = {key: getattr(site, key) or "" for key in _OF_SITE}
    return StepForm(Step.SITE, fields, values)


def _site_edit(_settings: Settings, _about: str, _given: Answers, new: Answers) -> Edit:
    def change(document: TOMLDocument) -> None:
        _put_all(document.setdefault("site", {}), new, _OF_SITE, may_go=("price_per_kwh",))

    return Edit(change=change)


# -- the box


_SIDES = ("length", "width", "height")
_OF_BOX = ("name", *_SIDES, "walls", "cover", "stands")


def _box_form(settings: Settings, about: str) -> StepForm:
    unit = settings.site.units
    box = _box(settings, about)
    example = "Such as 5 ft or 5 ft 6 in." if unit is Unit.FAHRENHEIT else "Such as 1.5 m."
    fields = (
        Field("name", "Name of the box", "As you speak of it: porch, big box."),
        Field("length", "Length inside", example),
        Field("width", "Width inside"),
        Field("height", "Height of the walls"),
        Field("walls", "Walls", options=tuple((name, wall.title) for name, wall in WALLS.items())),
        Field(
            "cover",
            "Cover",
            "As it lies at night. Always leave a gap for fresh air.",
            options=tuple((name, cover.title) for name, cover in COVERS.items()),
        ),
        Field(
            "stands",
            "Where it stands",
            options=(
                ("sheltered", "In a shed or garage, or on a porch out of the wind"),
                ("windy", "Where wind blows on it"),
            ),
        ),
    )
    values = {"walls": "plywood", "cover": "none", "stands": "sheltered"}
    if box is not None:
        values = {
            "name": box.name,
            **{side: length_shown(getattr(box, f"{side}_m"), unit) for side in _SIDES},
            "walls": box.walls,
            "cover": box.cover,
            "stands": box.stands,
        }
    return StepForm(
        Step.BOX, fields, values, box.name if box else "", _boxes(settings, "Another box")
    )


def _box_edit(settings: Settings, about: str, given: Answers, new: Answers) -> Edit:
    old = _box(settings, about)

    def change(document: TOMLDocument) -> None:
        if old is None:
            said = {key: given[key] for key in _OF_BOX if key in given}
            append(document, "brooders", said, indented=False)
            return
        table = holder_of(document, old.name)
        _put_all(table, new, _OF_BOX)
        if "name" in new:
            put(table, "renamed_from", old.name)

    return Edit(change=change)


# -- lamps and plates


_YES_NO = {True: "yes", False: "no", None: ""}
_SAID = {"yes": True, "no": False}
_OF_SOURCE = ("name", "kind", "watts", "thermostat", "topic", "value")


def _heat_form(settings: Settings, about: str) -> StepForm:
    box = _box(settings, about, needed=True)
    kinds = (("lamp", "lamp"), ("plate", "plate"), ("panel", "panel"), ("other", "something else"))
    fields: list[Field] = []
    values: dict[str, str] = {}
    heat = box.heat if box is not None else ()
    for row in range(1, min(len(heat) + _SPARE_ROWS, MOST_SOURCES) + 1):
        fields += [
            Field(
                f"{row} name",
                f"Source {row}",
                "Emptied, it is taken out."
                if row <= len(heat)
                else "Such as west lamp. Left empty, there is none.",
            ),
            Field(f"{row} kind", "What it is", options=kinds, only_with=f"{row} name"),
            Field(f"{row} watts", "Watts", only_with=f"{row} name"),
            Field(
                f"{row} thermostat",
                "Does a thermostat or a dimmer switch it?",
                "If none does, a plug that says 0 W twice is a dead lamp, told at once.",
                options=(("no", "No"), ("yes", "Yes"), ("", "I do not know")),
                only_with=f"{row} name",
            ),
            Field(
                f"{row} topic",
                f"Source {row}: its plug's MQTT topic",
                "If it hangs on one that measures power: a dead lamp is then told at once.",
                technical=True,
                only_with=f"{row} name",
            ),
            Field(
                f"{row} value",
                f"Source {row}: where the watts stand in what its plug sends",
                "Such as /power. Left empty for a bare number.",
                technical=True,
                only_with=f"{row} topic",
            ),
        ]
        values[f"{row} kind"] = "lamp"
    for row, source in enumerate(heat[:MOST_SOURCES], 1):
        values |= {
            f"{row} name": source.name,
            f"{row} kind": source.kind,
            f"{row} watts": f"{source.watts:g}",
            f"{row} thermostat": _YES_NO[source.thermostat],
            f"{row} topic": source.topic or "",
            f"{row} value": source.value or "",
        }
    return StepForm(Step.HEAT, tuple(fields), values, box.name if box else "", _boxes(settings))


def _heat_edit(settings: Settings, about: str, given: Answers, _new: Answers) -> Edit:
    box = _box(settings, about, needed=True)
    assert box is not None
    rows = [
        {key: given.get(f"{row} {key}", "") for key in _OF_SOURCE}
        for row in range(1, MOST_SOURCES + 1)
    ]
    wrong = {}
    for number, row in enumerate(rows, 1):
        if row["name"] or (row["watts"] and number > len(box.heat)):
            if not row["name"]:
                wrong[f"{number} name"] = "Give it a name, such as west lamp."
            if not _number(row["watts"]):
                wrong[f"{number} watts"] = "Its watts as a number, such as 250."
            if row["value"] and not row["topic"]:
                wrong[f"{number} topic"] = "Give the plug's topic too, or leave both empty."
    if wrong:
        raise WrongAnswers(wrong)

    def change(document: TOMLDocument) -> None:
        table = holder_of(document, box.name)
        had = len(box.heat)
        for index, row in enumerate(rows):
            if not row["name"]:
                continue
            values: dict[str, Any] = {key: said or None for key, said in row.items()}
            values["watts"] = _number(row["watts"])
            values["thermostat"] = _SAID.get(row["thermostat"])
            if index < had:
                for key, value in values.items():
                    put(table["heat"][index], key, value)
            else:
                said = {key: value for key, value in values.items() if value is not None}
                append(table, "heat", said, indented=True)
        for index in range(min(had, MOST_SOURCES) - 1, -1, -1):
            if not rows[index]["name"]:
                remove(table, "heat", index)

    return Edit(change=change)


def _number(text: str) -> int | float | None:
    if not re.fullmatch(r"[0-9]{1,6}([.,][0-9]{1,3})?", text):
        return None
    value = float(text.replace(",", "."))
    return int(value) if value.is_integer() else value


# -- probes


_OF_PROBE = ("name", "topic", "place", "unit", "value")


def _probe_form(settings: Settings, about: str) -> StepForm:
    probe = _one(settings.site.all_probes, about, "probe", "key")
    unit = settings.site.units
    boxes = tuple((box.name, box.name) for box in settings.site.brooders)
    places = tuple((place.value, words) for place, words in PLACES)
    fields = [
        Field("name", "Name of the probe", "Such as floor, or under west lamp."),
        Field(
            "place",
            "Where it lies",
            options=places if probe is None else (*places, (_OUT, "Nowhere: take it out")),
        ),
        Field("topic", "Topic", "What it publishes to, with MQTT.", technical=True),
        Field(
            "unit",
            "It sends",
            options=(("celsius", "Celsius"), ("fahrenheit", "Fahrenheit"), ("kelvin", "kelvin")),
        ),
        Field(
            "value",
            "Where in its message",
            "A JSON Pointer such as /temperature; empty where it sends a bare number.",
            technical=True,
        ),
    ]
    if len(boxes) > 1:
        every = (SITE_WIDE, "Every box: it hangs outside")
        fields.insert(1, Field("box", "Of which box", options=(*boxes, every)))
    values = {"place": "floor", "unit": "celsius", "box": boxes[0][0]}
    if probe is not None:
        fields.append(Field("offset", "To add to what it says", "From the ice-water check."))
        values = {
            "name": probe.name,
            "place": probe.place.value,
            "topic": probe.topic,
            "unit": probe.unit.value,
            "value": probe.value_pointer or "",
            "box": probe.brooder or SITE_WIDE,
            "offset": step_written(probe.offset_c, unit),
        }
    return StepForm(Step.PROBES, tuple(fields), values, about)


def _probe_edit(settings: Settings, about: str, given: Answers, new: Answers) -> Edit:
    probe = _one(settings.site.all_probes, about, "probe", "key")
    place = given.get("place", "")
    box = given.get("box") or settings.site.brooders[0].name
    if probe is None and place == Place.OUTSIDE.value and len(settings.site.brooders) == 1:
        box = SITE_WIDE
    if probe is not None:
        box = probe.brooder or SITE_WIDE
    wide = box == SITE_WIDE
    if not wide and box not in [one.name for one in settings.site.brooders]:
        raise WrongAnswers({"box": "Choose one of the boxes."})

    def change(document: TOMLDocument) -> None:
        holder = holder_of(document, None if wide else box)
        if probe is None:
            said = {key: given[key] for key in _OF_PROBE if given.get(key)}
            append(holder, "probes", said, indented=not wide)
        elif place == _OUT:
            names = [one.get("name") for one in holder["probes"]]
            remove(holder, "probes", names.index(probe.name))
        else:
            table = table_named(holder["probes"], probe.name)
            _put_all(table, new, (*_OF_PROBE, "offset"), may_go=("value", "offset"))

    return Edit(change=change)


def offsets_edit(offsets_c: Mapping[str, float], unit: Unit) -> Edit:
    """What a probe check found, by the probe's key."""

    def change(document: TOMLDocument) -> None:
        for key, offset_c in offsets_c.items():
            box, _, name = key.partition("/")
            holder = holder_of(document, None if box == SITE_WIDE else box)
            put(table_named(holder["probes"], name), "offset", step_written(offset_c, unit))

    return Edit(change=change)


# -- what is measured besides

_STATES = (COVER.kind, CONTACT.kind)
_KINDS = tuple(row for row in QUANTITIES.values() if row.of_box and row is not CONTACT)
_MAINS_BY = (
    ("", "Nothing"),
    ("ups", "A UPS, read by Network UPS Tools"),
    ("file", "A file on this board"),
    ("topic", "Something that publishes it by MQTT"),
)


def _of_kind(box: BrooderSettings, kind: str) -> int | None:
    """Which of the box's meters is the first of a kind: a cover's switch may be of two."""
    kinds = _STATES if kind in _STATES else (kind,)
    return next((i for i, one in enumerate(box.meters) if one.kind in kinds), None)


def _meters_form(settings: Settings, about: str) -> StepForm:
    box = _box(settings, about, needed=True)
    assert box is not None
    fields = [
        Field("mains by", "What can tell that the mains is off", options=_MAINS_BY),
        Field(
            "mains",
            "The UPS, the file or the topic",
            "Such as ups@localhost, /sys/class/power_supply/AC/online or home/mains.",
            only_with="mains by",
        ),
        Field(
            "mains value",
            "Where the word stands in what is published",
            "Such as /status. Left empty for a bare word, a UPS or a file.",
            only_with="mains by",
        ),
    ]
    values: dict[str, str] = {"cover says": COVER.kind}
    mains = settings.file.mains
    if mains is not None:
        by = next(key for key in ("ups", "file", "topic") if getattr(mains, key) is not None)
        values |= {"mains by": by, "mains": getattr(mains, by), "mains value": mains.value or ""}
    for row in _KINDS:
        fields += [
            Field(
                f"{row.kind} topic",
                f"{row.title.capitalize()}: its MQTT topic",
                "Left empty, it is not read.",
            ),
            Field(
                f"{row.kind} value",
                f"{row.title.capitalize()}: where it stands in what is sent",
                f"Such as /{row.kind}. Left empty for a bare number or word.",
                only_with=f"{row.kind} topic",
            ),
        ]
        index = _of_kind(box, row.kind)
        if index is not None:
            meter = box.meters[index]
            values |= {f"{row.kind} topic": meter.topic, f"{row.kind} value": meter.value or ""}
            if row is COVER:
                values["cover says"] = meter.kind
    fields.append(
        Field(
            "cover says",
            "What the cover's switch says",
            options=(
                (COVER.kind, "open or closed; true is open"),
                (CONTACT.kind, "whether its contact is made; true is closed"),
            ),
            only_with=f"{COVER.kind} topic",
        )
    )
    return StepForm(Step.METERS, tuple(fields), values, box.name, _boxes(settings))


def _meters_edit(settings: Settings, about: str, given: Answers, _new: Answers) -> Edit:
    box = _box(settings, about, needed=True)
    assert box is not None
    by, named, pointer = (given.get(key, "") for key in ("mains by", "mains", "mains value"))
    old = settings.file.mains
    if by and not named:
        raise WrongAnswers({"mains": "Write which one."})

    def change(document: TOMLDocument) -> None:
        if not by:
            document.pop("mains", None)
        else:
            mains = document.setdefault("mains", {})
            for key in ("ups", "file", "topic"):
                put(mains, key, named if key == by else None)
            put(mains, "value", pointer or None)
            if by != "topic" or old is None or old.topic != named:
                put(mains, "seconds_left", None)
        table = holder_of(document, box.name)
        gone = []
        for row in _KINDS:
            index = _of_kind(box, row.kind)
            kind = given.get("cover says") or row.kind if row is COVER else row.kind
            said = {"kind": kind, **{key: given.get(f"{row.kind} {key}", "") for key in _READ}}
            if not said["topic"]:
                gone += [] if index is None else [index]
            elif index is None:
                append(table, "meters", {k: v for k, v in said.items() if v}, indented=True)
            else:
                for key, value in said.items():
                    put(table["meters"][index], key, value or None)
        for index in sorted(gone, reverse=True):
            remove(table, "meters", index)

    return Edit(change=change)


_READ = ("topic", "value")


# -- who is told


def _contact_form(settings: Settings, about: str) -> StepForm:
    contact = _one(settings.file.contacts, about, "contact")
    options = [(name, words) for name, (words, _) in _WANTS.items()]
    if contact is not None:
        options.append((_OUT, "Nothing any more: take it out"))
    fields = (
        Field("name", "Name", "Such as my phone."),
        Field(
            "url",
            "Address",
            "Left empty, the address stays as it is."
            if contact is not None
            else f"Such as {CONTACT_FORM}. Each kind has its own form: see the examples "
            "(brooder contacts kinds).",
            secret=True,
        ),
        Field("wants", "What it is told", options=tuple(options)),
        Field("after_minutes", "Minutes to wait for another's answer first", "0: told at once."),
    )
    values = {"wants": "all", "after_minutes": "0"}
    if contact is not None:
        wants = set(contact.priorities)
        values = {
            "name": contact.name,
            "wants": next((n for n, (_, told) in _WANTS.items() if set(told) == wants), ""),
            "after_minutes": f"{contact.after_minutes:g}",
        }
    others = tuple((one.name, one.name) for one in settings.file.contacts)
    return StepForm(
        Step.CONTACTS, fields, values, about, (*others, ("", "Another")) if others else ()
    )


def _contact_edit(settings: Settings, about: str, given: Answers, new: Answers) -> Edit:
    contact = _one(settings.file.contacts, about, "contact")
    name, url, wants = given.get("name", ""), given.get("url", ""), given.get("wants", "")
    wrong = {}
    if contact is None and not url:
        wrong["url"] = "Write where the messages go."
    if wants not in _WANTS and not (contact is not None and wants in (_OUT, "")):
        wrong["wants"] = "Choose one of them."
    minutes = _number(given.get("after_minutes") or "0")
    if minutes is None:
        wrong["after_minutes"] = "A number of minutes, such as 0 or 10."
    if wrong:
        raise WrongAnswers(wrong)
    file = _secret_file(f"contact-{plain(name)[:40]}", settings)

    said: dict[str, Any] = {"name": name}
    if url:
        said["url_file"] = file
    if wants in _WANTS and (contact is None or "wants" in new):
        said["priorities"] = list(_WANTS[wants][1])
    if "after_minutes" in new:
        said["after_minutes"] = minutes

    def change(document: TOMLDocument) -> None:
        if contact is None:
            append(document, "contacts", said, indented=False)
            return
        index = [one.get("name") for one in document["contacts"]].index(contact.name)
        if wants == _OUT:
            remove(document, "contacts", index)
            return
        table = document["contacts"][index]
        if url:
            put(table, "url", None)
        for key, value in said.items():
            put(table, key, value)

    return Edit(change=change, secret_file=file if url else None, secret=url)


# -- the page


_NETWORK = "0.0.0.0"  # noqa: S104 - what is written, with a passphrase


def _own_address(settings: Settings) -> str:
    """As most home networks know this board (multicast DNS, RFC 6762)."""
    scheme = "http" if settings.file.page.cert_file is None else "https"
    return f"{scheme}://{socket.gethostname().lower()}.local:{settings.file.page.port}"


def _page_form(settings: Settings, _about: str) -> StepForm:
    page = settings.file.page
    reach = [
        ("127.0.0.1", "Only this machine"),
        (_NETWORK, "Whoever is on the home network and knows the passphrase"),
    ]
    if page.listen not in dict(reach):
        reach.append((page.listen, f"Whoever reaches the address {page.listen}"))
    fields = (
        Field("listen", "Who can open it", options=tuple(reach)),
        Field(
            "passphrase",
            "Passphrase",
            "At least 10 characters."
            + (" Left empty, it stays as it is." if page.passphrase is not None else ""),
            secret=True,
        ),
        Field(
            "public_url",
            "Its address on the phone",
            "Links in messages begin with it. Left empty for the home network: "
            f"{_own_address(settings)}.",
        ),
    )
    return StepForm(Step.PAGE, fields, {"listen": page.listen, "public_url": page.public_url or ""})


def _page_edit(settings: Settings, _about: str, given: Answers, said: Answers) -> Edit:
    word = given.get("passphrase", "")
    file = _secret_file("page-passphrase", settings)

    new: dict[str, str | None] = {}
    listen = given.get("listen", "")
    if listen not in ("127.0.0.1", _NETWORK, settings.file.page.listen):
        raise WrongAnswers({"listen": "Choose one of them."})
    if listen not in THIS_MACHINE and not word and settings.file.page.passphrase is None:
        raise WrongAnswers({"passphrase": "Give it one: it is all that keeps others out."})
    if word and listen in THIS_MACHINE and not settings.file.page.behind_proxy:
        words = "This machine alone needs no passphrase: choose the network, or leave it empty."
        raise WrongAnswers({"listen": words})
    if "listen" in said:
        new["listen"] = listen
    if word:
        new |= {"passphrase": None, "passphrase_file": file}
    public_url = given.get("public_url", "")
    if not public_url and new.get("listen") == _NETWORK:
        public_url = _own_address(settings)
    if re.fullmatch(r"http://[^:/]+/?", public_url) and not settings.file.page.behind_proxy:
        port = f"{public_url.rstrip('/')}:{settings.file.page.port}"
        raise WrongAnswers({"public_url": f"The page is not at that port: write {port}."})
    if "public_url" in said or public_url != given.get("public_url", ""):
        new["public_url"] = public_url or None

    def change(document: TOMLDocument) -> None:
        page = document.setdefault("page", {}) if new else {}
        for key, value in new.items():
            put(page, key, value)

    return Edit(change=change, secret_file=file if word else None, secret=word)


# -- what they share


def _boxes(settings: Settings, more: str = "") -> tuple[tuple[str, str], ...]:
    names = tuple((box.name, box.name) for box in settings.file.brooders)
    return (*names, ("", more)) if more else names if len(names) > 1 else ()


def _box(settings: Settings, about: str, *, needed: bool = False) -> BrooderSettings | None:
    boxes = settings.file.brooders
    if not about and (needed and len(boxes) == 1):
        return boxes[0]
    found = next((box for box in boxes if box.name == about), None)
    if found is None and (about or needed):
        wrong = f"No box is called {about}. " if about else ""
        raise WrongAnswers({"": f"{wrong}Choose a box: {', '.join(box.name for box in boxes)}."})
    return found


def _one(things: Iterable[T], about: str, kind: str, key: str = "name") -> T | None:
    found = next((one for one in things if getattr(one, key) == about), None)
    if about and found is None:
        raise WrongAnswers({"": f"No {kind} is called {about}."})
    return found


# What a step asks, and what its answers change.
_STEPS: dict[
    Step,
    tuple[Callable[[Settings, str], StepForm], Callable[[Settings, str, Answers, Answers], Edit]],
] = {
    Step.SITE: (_site_form, _site_edit),
    Step.BOX: (_box_form, _box_edit),
    Step.HEAT: (_heat_form, _heat_edit),
    Step.PROBES: (_probe_form, _probe_edit),
    Step.METERS: (_meters_form, _meters_edit),
    Step.CONTACTS: (_contact_form, _contact_edit),
    Step.PAGE: (_page_form, _page_edit),
}
