"""The journal's own numbers for probes as they are configured. Owned by `store`, which undoes what
a failed transaction registered.

A probe whose unit, topic or offset was changed gets another number, so that an export can rebuild
the payloads of then."""

import json
import sqlite3
from collections.abc import Iterable
from typing import Any

from monitor.journal import rows, schema
from monitor.journal.records import KnownProbe
from monitor.site import SITE_WIDE, Meter, Probe

_AS_CONFIGURED = ", ".join(KnownProbe._fields[1:])


class Probes:
    """The table `probes`, in memory. Whatever registers one must be within a transaction."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        # The newest of a probe's numbers counts.
        self._numbers: dict[str, int] = {
            key: int(number)
            for number, key in connection.execute("SELECT id, key FROM probes ORDER BY id")
        }

    def number(self, key: str, place: str | None = None) -> int:
        """A probe's number, registered if nobody configured it: a journal made by hand, or another
        board's, which may tell the place."""
        return self._numbers.get(key) or self._register(key, place)

    def know(self, probes: Iterable[Probe]) -> None:
        known = {
            row[1:]: int(row[0])
            for row in self._connection.execute(
                f"SELECT id, {_AS_CONFIGURED} FROM probes ORDER BY id DESC"  # noqa: S608
            )
        }
        for probe in probes:
            self._know(probe, known)
        if len(self._numbers) > schema.MANY_PROBES:
            self._connection.execute(
                f"CREATE INDEX IF NOT EXISTS {schema.BY_PROBE} ON readings (probe_id)"
            )

    def know_meters(self, meters: Iterable[Meter]) -> None:
        """Takes the meters as they are configured now; those of before stay known."""
        known = rows.meters(self._connection)
        for m in meters:
            known[m.key] = KnownProbe(
                0, m.key, m.brooder, m.topic, m.quantity.kind, m.quantity.senml or m.quantity.kind,
                m.value_pointer, m.time_pointer, m.senml_name, 0.0,
            )  # fmt: skip
        said = json.dumps(list(known.values()))
        self._connection.execute(
            "INSERT INTO meta (name, value) VALUES ('meters', ?) ON CONFLICT DO UPDATE"
            " SET value = excluded.value WHERE value != excluded.value",
            (said,),
        )

    def so_far(self) -> dict[str, int]:
        """What is registered now, for `back_to`."""
        return dict(self._numbers)

    def back_to(self, numbers: dict[str, int]) -> None:
        """A probe registered in a transaction undone is not known."""
        self._numbers = numbers

    def _know(self, probe: Probe, known: dict[tuple[Any, ...], int]) -> None:
        said = (
            probe.key, probe.brooder, probe.topic, probe.place.value, probe.unit.value,
            probe.value_pointer, probe.time_pointer, probe.senml_name, probe.offset_c,
        )  # fmt: skip
        number = known.get(said)
        if number is None:
            row = self._connection.execute(
                f"INSERT INTO probes ({_AS_CONFIGURED}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"  # noqa: S608
                " RETURNING id",
                said,
            ).fetchone()
            number = int(row[0])
        self._numbers[probe.key] = number

    def _register(self, key: str, place: str | None) -> int:
        box = key.rpartition("/")[0]
        brooder = None if place is None or box == SITE_WIDE else box
        row = self._connection.execute(
            "INSERT INTO probes (key, brooder, topic, place, offset_c) VALUES (?, ?, ?, ?, 0)"
            " RETURNING id",
            (key, brooder, key, place),
        ).fetchone()
        number = self._numbers[key] = int(row[0])
        return number
