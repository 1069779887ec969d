"""Faults that no single key shows: the same topic twice, two boxes of one name.

Works on the raw file, so that these are found beside a wrong key and not after it is mended."""

from collections.abc import Iterator
from typing import Any

from monitor.doorway import THIS_MACHINE
from monitor.settings.faults import WrongSetting, shown_value
from monitor.site import SITE_WIDE


def cross_checks(raw: dict[str, Any]) -> list[WrongSetting]:
    """Every fault between keys. Parts of the wrong shape are passed over: the model names them."""
    return [
        *_same_topic(raw),
        *_same_name("brooders", _tables(raw.get("brooders"))),
        *_same_name("contacts", _tables(raw.get("contacts"))),
        *(
            fault
            for key, brooder in _listed(raw, "brooders")
            for part in ("probes", "heat")
            for fault in _same_name(f"{key}.{part}", _tables(brooder.get(part)))
        ),
        *_same_meter(raw),
        *_reserved_name(raw),
        *_old_name_is_free(raw),
        *_site_probes_are_outside(raw),
        *_rows_in_order(raw),
        *_open_broker_needs_accounts(raw),
        *_our_own_topics(raw),
        *_one_port_twice(raw),
        *_with_a_unit_once(raw),
    ]


def _tables(value: object) -> list[dict[str, Any]]:
    return [v for v in value if isinstance(v, dict)] if isinstance(value, list) else []


def _listed(table: object, name: str, at: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """The tables of a list, each with its key."""
    for index, one in enumerate(_tables(table.get(name) if isinstance(table, dict) else None)):
        yield f"{at}{name}[{index}]", one


def _of_boxes(raw: dict[str, Any], name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """As `_listed`, of the list of that name in every box."""
    for key, box in _listed(raw, "brooders"):
        yield from _listed(box, name, f"{key}.")


def _probes(raw: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    yield from _listed(raw.get("site"), "probes", "site.")
    yield from _of_boxes(raw, "probes")


def _sensors(raw: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Probes, and what measures something else."""
    yield from _probes(raw)
    for key, source in _of_boxes(raw, "heat"):
        yield key, {**source, "kind": "power"}
    yield from _of_boxes(raw, "meters")
    if isinstance(mains := raw.get("mains"), dict):
        yield "mains", mains


def _same_topic(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    seen: dict[str, list[tuple[str, dict[str, Any]]]] = {}
    for key, probe in _sensors(raw):
        topic = probe.get("topic")
        if not isinstance(topic, str):
            continue
        for other_key, other in seen.get(topic, []):
            both_outside = probe.get("place") == other.get("place") == "outside"
            differ = _reads(probe) != _reads(other)
            if not both_outside and not differ:
                yield WrongSetting(
                    f"{key}.topic",
                    f'is "{topic}", which {other_key} already reads; give each a topic of '
                    "its own, or a different value (JSON Pointer) of the same payload.",
                )
                break
        seen.setdefault(topic, []).append((key, probe))


def _reads(probe: dict[str, Any]) -> tuple[object, object, object]:
    return probe.get("value"), probe.get("senml_name"), probe.get("kind")


def _same_name(key: str, tables: list[dict[str, Any]]) -> Iterator[WrongSetting]:
    seen: set[str] = set()
    for index, table in enumerate(tables):
        name = table.get("name")
        if not isinstance(name, str):
            continue
        if name.casefold() in seen:
            yield WrongSetting(
                f"{key}[{index}].name",
                f"is {shown_value(name)}, the name of another one too; "
                "give each a name of its own.",
            )
        seen.add(name.casefold())


def _same_meter(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    """Two of one kind are told apart by their names."""
    seen: set[tuple[str, ...]] = set()
    for key, one in _of_boxes(raw, "meters"):
        box = key.partition(".")[0]
        what = (box, str(one.get("kind")), str(one.get("name")).casefold())
        if what in seen:
            yield WrongSetting(
                key, f"is a second {one.get('kind')} of that name; give each a name of its own."
            )
        seen.add(what)


def _reserved_name(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    for key, brooder in _listed(raw, "brooders"):
        if brooder.get("name") == SITE_WIDE:
            yield WrongSetting(
                f"{key}.name",
                'is "site", which stands for the whole site; choose another name.',
            )


def _old_name_is_free(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    boxes = _tables(raw.get("brooders"))
    names = [box.get("name") for box in boxes]
    old = [box.get("renamed_from") for box in boxes]
    for index, name in enumerate(old):
        if name is not None and (name in names or name in old[:index]):
            yield WrongSetting(
                f"brooders[{index}].renamed_from",
                f"is {shown_value(name)}, which another brooder has as its name; "
                "write the name that this box had before, or leave it out.",
            )


def _site_probes_are_outside(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    for key, probe in _listed(raw.get("site"), "probes", "site."):
        place = probe.get("place")
        if isinstance(place, str) and place != "outside":
            yield WrongSetting(
                f"{key}.place",
                f'is "{place}"; a probe of the whole site must be outside: '
                "write outside, or list it under its brooder.",
            )


def _open_broker_needs_accounts(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    own = raw.get("built_in_broker")
    if not isinstance(own, dict) or raw.get("broker") is not None or own.get("accounts_file"):
        return
    listen = own.get("listen")
    if isinstance(listen, str) and listen not in THIS_MACHINE:
        yield WrongSetting(
            "built_in_broker.listen",
            f'is "{listen}", which opens the broker to the network; that needs accounts_file '
            '(brooder probes add NAME --network sets both), or write listen = "127.0.0.1".',
        )


# As tell.status_topics has them; the settings know nothing of it.
_OURS = frozenset({"acknowledge", "alarms", "siren", "status", "told"})


def _our_own_topics(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    """A probe there would be taken for a command, or drowned by what we say ourselves."""
    tell, forecast = raw.get("tell"), raw.get("forecast")
    prefix = tell.get("topic_prefix") if isinstance(tell, dict) else None
    prefix = prefix if isinstance(prefix, str) else "brooder"
    named = [(f"{key}.topic", probe.get("topic")) for key, probe in _sensors(raw)]
    if isinstance(forecast, dict):
        named.append(("forecast.topic", forecast.get("topic")))
    for key, topic in named:
        before, found, rest = topic.partition(f"{prefix}/") if isinstance(topic, str) else ("",) * 3
        if found and not before and rest.partition("/")[0] in _OURS:
            yield WrongSetting(
                key,
                f'is "{topic}", on which the monitor itself speaks or takes commands; choose '
                "another topic.",
            )


def _one_port_twice(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    """The page and the built-in broker, on one address or on all of them."""
    page, own = raw.get("page", {}), raw.get("built_in_broker", {})
    if not isinstance(page, dict) or not isinstance(own, dict) or raw.get("broker") is not None:
        return
    ports = page.get("port", 8420), own.get("port", 1883)
    where = {page.get("listen", "127.0.0.1"), own.get("listen", "127.0.0.1")}
    alike = len(where) == 1 or where & {"0.0.0.0", "::"}  # noqa: S104 - compared, not bound
    if page.get("enabled", True) and str(ports[0]) == str(ports[1]) != "0" and alike:
        yield WrongSetting(
            "page.port",
            f"is {ports[0]}, the port of built_in_broker too; give each a port of its own.",
        )


# A key without a unit in its name has the unit in its value: `length = "5 ft"`. A test holds this
# against the model.
WITH_UNIT = {
    "length": "length_m",
    "width": "width_m",
    "height": "height_m",
    "offset": "offset_c",
    "band": "band_c",
    "harm": "harm_c",
    "overheat": "overheat_c",
    "fire": "fire_c",
    "dead_band": "dead_band_c",
    "target": "target_c",
}
_DIFFERENCES = ("offset", "band", "harm", "dead_band")


def _with_a_unit_once(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    tables = [*_probes(raw), *_listed(raw, "brooders"), *_of_boxes(raw, "own_schedule")]
    for key, box in _listed(raw, "brooders"):
        tables += [(f"{key}.limits", one) for one in _tables([box.get("limits")])]
    for where, table in tables:
        for plain, older in WITH_UNIT.items():
            if plain not in table:
                continue
            example = '"95 F" or "35 C"'
            if older.endswith("_m"):
                example = '"5 ft 6 in" or "1.5 m"'
            elif plain in _DIFFERENCES:
                example = '"5 F" or "2.8 C"'
            if older in table:
                yield WrongSetting(
                    f"{where}.{older}", f"says again what {plain} says; leave it out."
                )
            if not str(table[plain]).strip(" .0123456789+-") and table[plain] != "":
                yield WrongSetting(
                    f"{where}.{plain}",
                    f"is {shown_value(table[plain])}, of which unit? Write it with its unit, such "
                    f"as {example}.",
                )


def _rows_in_order(raw: dict[str, Any]) -> Iterator[WrongSetting]:
    for key, brooder in _listed(raw, "brooders"):
        days = [row.get("from_day") for row in _tables(brooder.get("own_schedule"))]
        numbers = [d for d in days if isinstance(d, int | float) and not isinstance(d, bool)]
        if numbers and len(numbers) == len(days):
            if numbers != sorted(set(numbers)):
                yield WrongSetting(
                    f"{key}.own_schedule",
                    f"has from_day {numbers}; the days must rise from row to row.",
                )
            if numbers[0] != 0:
                yield WrongSetting(
                    f"{key}.own_schedule[0].from_day",
                    f"is {numbers[0]}; the first row must start at day 0, the hatch day.",
                )
