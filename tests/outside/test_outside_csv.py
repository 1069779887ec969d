"""CSV as RFC 4180 says it, in the RFC's own words, and SenML as RFC 8428 does, read by others."""

import csv
import io
import json
import re
from pathlib import Path

from support.journals import T0, floor_probe, site

from monitor.events import Entry, EntryKind, Moment
from monitor.intake import senml
from monitor.journal.bringing_in import Arrivals
from monitor.journal.forms import csv_form, senml_form
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.units import Unit

NOTE = 'said "cold", then\r\nwent away, ok'


def filled(path: Path) -> JournalReader:
    arrivals = Arrivals()
    for n in range(5):
        arrivals.add("porch/floor", T0 + n / 4, 33.0625 + n)
    with Journal.open(path) as journal:
        journal.know(site().all_probes)
        journal.bring_in(arrivals)
        entry = Entry(at=T0, entry=EntryKind.NOTE, brooder="porch", number=1, note=NOTE)
        journal.commit(Commit(inputs=[Entered(entry, Moment(T0, T0))]))
    return JournalReader(path)


def test_lines_end_with_crlf_and_all_have_as_many_fields(tmp_path: Path) -> None:
    """RFC 4180 section 2: 1. each record on a line of its own, delimited by CRLF; 3. an optional
    header; 4. each line has the same number of fields."""
    with filled(tmp_path / "journal.db") as reader:
        text = "".join(csv_form.readings(reader, Unit.FAHRENHEIT))
    records = text.split("\r\n")
    assert records[-1] == ""
    assert all("\n" not in record and "\r" not in record for record in records)
    assert {record.count(",") for record in records[:-1]} == {4}
    assert records[0] == "time (UTC),brooder,probe,place,temperature (°F)"
    assert records[1] == "2026-02-10T01:00:00Z,porch,floor,floor,91.5125"


def test_quotes_breaks_and_commas_are_enclosed_and_quotes_doubled(tmp_path: Path) -> None:
    """RFC 4180 section 2: 6. fields with line breaks, double quotes and commas are enclosed in
    double quotes; 7. a double quote inside is escaped by another."""
    with filled(tmp_path / "journal.db") as reader:
        text = "".join(csv_form.ledger(reader, 0, T0 * 2))
    assert '"said ""cold"", then\r\nwent away, ok"' in text
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert rows[0]["note"] == NOTE


def test_the_rfcs_own_examples_are_read() -> None:
    """RFC 4180 section 2, items 1 to 7: the same records with and without a last line break, quoted
    and not, with an escaped quote (the words are the RFC's, in our columns)."""
    columns = csv_form.Columns(
        time="t", temperature="temp", probe_column="name", unit=Unit.CELSIUS, names={'b"bb': "a/b"}
    )
    for text in (
        't,name,temp\r\n100,"b""bb",33.5\r\n',
        't,name,temp\r\n"100","b""bb","33.5"',
    ):
        rows = list(csv_form.read(io.StringIO(text, newline=""), columns))
        assert rows == [(2, csv_form.CsvReading(100.0, "a/b", 33.5))]


def test_a_senml_export_is_a_pack_of_valid_names_and_resolves_to_the_record(
    tmp_path: Path,
) -> None:
    """RFC 8428 section 4.5.1: a name has only A-Z a-z 0-9 - : . / _ and begins with a letter or
    digit; section 4.6: resolved by adding base values."""
    with filled(tmp_path / "journal.db") as reader:
        pack = json.loads("".join(senml_form.readings(reader)))
    records = senml.resolve(pack, now=0.0)
    assert [(r.at, r.value, r.unit) for r in records] == [
        (T0 + n / 4, 33.0625 + n, "Cel") for n in range(5)
    ]
    legal = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
    assert all(legal.fullmatch(record.name) for record in records)
    for odd in ("hen house/floor", "/x", "-a/b", "scheune/küken"):
        assert legal.fullmatch(senml_form.name(odd))
    assert floor_probe().key == records[0].name
