"""Laws of the journal: what goes in comes out, tidied or not, exported or not."""

import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from support.journals import T0, floor_probe, site

from monitor.events import Moment, Reading
from monitor.intake.payload import read
from monitor.journal.bringing_in import Arrivals
from monitor.journal.forms import csv_form, export_lines, lines
from monitor.journal.forms.lines import LineFault
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit
from monitor.journal.resolution import kept_at, kept_temp_c
from monitor.journal.store import Journal
from monitor.units import Unit

COMMON = settings(max_examples=60, deadline=None)
TEMPS = st.floats(-60, 150, allow_nan=False).map(kept_temp_c)
TIMES = st.floats(T0 - 7200, T0 + 7200).map(kept_at)
READINGS = st.builds(
    lambda at, temp, key, sure, late: Reading(at, kept_at(at + late), key, temp, sure),
    TIMES,
    TEMPS,
    st.sampled_from(["porch/floor", "porch/cool", "site/shade"]),
    st.booleans(),
    st.sampled_from([0.0, 3600.0, 3e6, 1e8]),
)


@contextmanager
def corner() -> Iterator[Path]:
    folder = Path(tempfile.mkdtemp())
    try:
        yield folder / "journal.db"
    finally:
        shutil.rmtree(folder)


@COMMON
@given(st.lists(st.lists(READINGS, min_size=1, max_size=6), min_size=1, max_size=12), st.data())
def test_readings_come_back_in_order_and_tidying_changes_none(
    batches: list[list[Reading]], data: st.DataObject
) -> None:
    snapshot_at = data.draw(st.integers(0, len(batches) - 1))
    with corner() as path, Journal.open(path) as journal, JournalReader(path) as reader:
        for n, readings in enumerate(batches):
            snapshots = {"engine": {"n": n}} if n == snapshot_at else {}
            journal.commit(
                Commit(inputs=list(readings), snapshots=snapshots, advanced_to=Moment(T0, T0))
            )
        everything = [one for readings in batches for one in readings]
        assert list(reader.inputs_since(0)) == everything
        for _ in range(2):
            for key in {one.probe for one in everything}:
                want = sorted((one.at, one.temp_c) for one in everything if one.probe == key)
                for at, temp in (reader.readings(key), reader.readings_plain(key, 0, 4e9)):
                    assert at.tolist() == sorted(at.tolist())
                    assert sorted(zip(at.tolist(), temp.tolist(), strict=True)) == want
            journal.tidy(T0 + 9e8)
        snapshot = reader.snapshot("engine")
        assert snapshot is not None
        after = [one for readings in batches[snapshot_at + 1 :] for one in readings]
        assert list(reader.inputs_since(snapshot.mark)) == after


@COMMON
@given(
    st.lists(st.tuples(TIMES, st.decimals(-40, 80, places=3)), min_size=1, max_size=30),
    st.sampled_from(list(Unit)),
    st.sampled_from([None, "", "/t", "/a~1b/0/c"]),
    st.sampled_from([0.0, 0.5, -1.25]),
)
def test_an_export_reads_back_to_the_same_under_the_same_configuration(
    said: list[tuple[float, object]], unit: Unit, pointer: str | None, offset: float
) -> None:
    probe = floor_probe(unit=unit, value_pointer=pointer, offset_c=offset)
    home = site(probe)
    arrivals = Arrivals()
    for at, number in said:
        temp_c = float(str(number)) + offset
        arrivals.add(probe.key, at, temp_c)
    with corner() as path, Journal.open(path) as journal, JournalReader(path) as reader:
        journal.know(home.all_probes)
        journal.bring_in(arrivals)
        at, temp = reader.readings(probe.key)
        again = []
        for _, line in lines.read("".join(export_lines.chunks(reader)).splitlines()):
            assert isinstance(line, lines.ProbeMessage)
            one = read(line.payload.encode(), probe, Moment(line.at, line.at))
            assert isinstance(one, Reading), (line, one)
            again.append((kept_at(one.at), kept_temp_c(one.temp_c)))
        kept = list(zip(at.tolist(), temp.tolist(), strict=True))
        assert sorted(again) == sorted(kept)


JSONISH = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner),
)
KEYS = st.sampled_from(
    ["at", "topic", "payload", "entry", "count", "number", "minutes", "hatched", "brooder", "clock"]
)
VALUES = st.sampled_from(["2026-02-10T02:15:30Z", "placed", "undo", "33.4", 3]) | JSONISH


def fault_in(text: list[str]) -> LineFault | None:
    try:
        list(lines.read(text))
    except LineFault as fault:
        return fault
    return None


@COMMON
@given(st.dictionaries(KEYS, VALUES))
def test_any_line_is_read_or_refused_with_its_number(said: dict[str, object]) -> None:
    fault = fault_in(["", json.dumps(said)])
    if fault is not None:
        assert str(fault).startswith("line 2: ")
        assert "\n" not in str(fault)


@COMMON
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    fault = fault_in(text.split("\n"))
    assert fault is None or fault.number >= 1


CELLS = st.sampled_from(
    ["time (UTC)", "probe", "temperature (°C)", '"', ";", ",", "1e400", "33,5", "a\rb", "\0"]
)


@COMMON
@given(st.lists(st.lists(CELLS | st.text(max_size=9), max_size=5), max_size=6), st.booleans())
def test_any_csv_is_read_or_refused_with_its_line(table: list[list[str]], own_head: bool) -> None:
    head = ["time (UTC),brooder,probe,temperature (°C)\r\n"] if own_head else []
    text = head + [",".join(cells) + "\r\n" for cells in table]
    try:
        rows = list(csv_form.read(text, csv_form.Columns()))
    except LineFault as fault:
        rows = [(fault.number, None)]  # type: ignore[list-item]
    assert all(number >= 1 for number, _ in rows)
