"""SenML JSON packs (RFC 8428) to resolved records. Pure; called by intake.payload.

Base fields are folded in, relative times made absolute, records put in time order. Only what a
thermometer or a switch needs: text comes out as it is, data values with value None."""

import math
from typing import Any, NamedTuple

RELATIVE_BELOW = 2**28  # section 4.5.3: a smaller time is relative to now
VERSION = 10  # section 4.4: of this specification; a higher bver must be refused
MAX_RECORDS = 5000

_BASE = {"bn": str, "bt": float, "bu": str, "bv": float, "bs": float, "bver": float}
_FIELDS = {"n": str, "u": str, "vs": str, "v": float, "s": float, "t": float, "ut": float}


class PackRefused(Exception):
    """Not a SenML pack that can be used; the message is the reason."""


class SenmlRecord(NamedTuple):
    """One resolved record. `value` is None for all but numbers."""

    name: str
    unit: str | None
    value: float | None
    at: float  # Unix seconds
    text: str | None = None  # of a record with `vs`
    flag: bool | None = None  # of a record with `vb`

    @property
    def said(self) -> float | str | bool | None:
        return next((v for v in (self.value, self.text, self.flag) if v is not None), None)


def resolve(pack: Any, now: float) -> list[SenmlRecord]:
    """The pack's records in time order. Raises PackRefused."""
    if not isinstance(pack, list):
        raise PackRefused("is not a list of records")
    if not pack:
        raise PackRefused("is an empty pack")
    if len(pack) > MAX_RECORDS:
        raise PackRefused(f"has {len(pack)} records; at most {MAX_RECORDS} are read")
    base: dict[str, Any] = {"bn": "", "bt": 0.0, "bu": None, "bv": 0.0}
    records: list[SenmlRecord] = []
    for number, raw in enumerate(pack):
        if not isinstance(raw, dict):
            raise PackRefused(f"record {number} is not an object")
        fields = _checked(raw, number)
        base.update({label: value for label, value in fields.items() if label in _BASE})
        if base.get("bver", VERSION) > VERSION:
            raise PackRefused(f"is version {base['bver']:g}; {VERSION} is known")
        if not any(label in raw for label in ("v", "vs", "vb", "vd", "s")):
            continue  # base fields only
        records.append(_record(fields, base, number, now))
    return sorted(records, key=lambda record: record.at)


def _record(fields: dict[str, Any], base: dict[str, Any], number: int, now: float) -> SenmlRecord:
    name = base["bn"] + fields.get("n", "")
    if not name:
        raise PackRefused(f"record {number} has no name")
    time = base["bt"] + fields.get("t", 0.0)
    value = fields["v"] + base["bv"] if "v" in fields else None
    if not math.isfinite(time) or (value is not None and not math.isfinite(value)):
        raise PackRefused(f"record {number} has a number that is not finite")
    return SenmlRecord(
        name=name,
        unit=fields.get("u", base["bu"]),
        value=value,
        at=now + time if time < RELATIVE_BELOW else time,
        text=fields.get("vs"),
        flag=fields.get("vb"),
    )


def _checked(raw: dict[str, Any], number: int) -> dict[str, Any]:
    """The known fields with their right types. An unknown label is ignored, one that ends in an
    underscore must be understood and is refused (section 4.4)."""
    fields: dict[str, Any] = {}
    for label, value in raw.items():
        want = _BASE.get(label) or _FIELDS.get(label)
        if want is None:
            if label == "vb" and isinstance(value, bool):
                fields[label] = value
            if label.endswith("_"):
                raise PackRefused(f"record {number} needs {label[:40]!r}, which is not known")
            continue
        if want is str:
            if not isinstance(value, str):
                raise PackRefused(f"record {number} has a {label} that is not text")
            fields[label] = value
            continue
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise PackRefused(f"record {number} has a {label} that is not a number")
        try:
            fields[label] = float(value)
        except OverflowError:
            raise PackRefused(f"record {number} has a {label} too large for a number") from None
    return fields
