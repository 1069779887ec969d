"""Journal lines: the contract's examples, out and in, and what is said of a wrong one."""

from dataclasses import replace
from pathlib import Path

import pytest
from support.journals import T0, floor_probe, site

from monitor.events import Entry, EntryKind
from monitor.journal.bringing_in import Arrivals, Sort
from monitor.journal.forms import csv_form, export_lines, lines
from monitor.journal.forms.lines import LineFault, ProbeMessage
from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal
from monitor.site import Place, Probe
from monitor.units import Unit

CONTRACT = """\
{"at":"2026-02-10T02:15:30Z","topic":"brooder/porch/floor","payload":"33.4"}
{"at":"2026-02-08T18:00:00Z","entry":"placed","brooder":"porch","count":100,"hatched":"2026-02-08","kind":"broiler"}
{"at":"2026-02-11T06:30:00Z","entry":"loss","brooder":"porch","count":2,"note":"piled in the corner"}
{"at":"2026-03-02T16:00:00Z","entry":"moved","brooder":"porch","count":98}
{"at":"2026-02-11T07:00:00Z","entry":"note","brooder":"porch","note":"new litter"}
{"at":"2026-02-11T07:05:00Z","entry":"acknowledge","alarm":"cold","brooder":"porch"}
"""  # noqa: E501


def exported(path: Path, *probes: Probe, arrivals: Arrivals) -> list[str]:
    with Journal.open(path) as journal:
        journal.know(site(*probes).all_probes)
        journal.bring_in(arrivals)
        with JournalReader(path) as reader:
            return "".join(export_lines.chunks(reader)).splitlines()


def test_every_line_of_the_contract_is_understood() -> None:
    said = [line for _, line in lines.read(CONTRACT.splitlines())]
    assert said[0] == ProbeMessage(1770689730.0, "brooder/porch/floor", "33.4")
    assert said[2] == Entry(
        at=1770791400.0,
        entry=EntryKind.LOSS,
        brooder="porch",
        count=2,
        note="piled in the corner",
    )
    assert [line.entry.value for line in said[1:] if isinstance(line, Entry)] == [
        "placed", "loss", "moved", "note", "acknowledge",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("33.4", 'is not a JSON object; write one such as {"at":...,"topic":...}'),
        ("{", "is not one JSON object"),
        ('{"topic":"a","payload":"1"}', "at is missing; it must be a time with its zone"),
        ('{"at":"2026-02-10T02:15:30","topic":"a"}', 'at is "2026-02-10T02:15:30"; it must be'),
        ('{"at":"2026-02-10T02:15:30Z"}', "has neither a topic nor an entry"),
        ('{"at":"2026-02-10T02:15:30Z","topic":"a"}', "payload is missing; it must be a text"),
        ('{"at":"2026-02-10T02:15:30Z","entry":"died"}', 'entry is "died"; it must be one of'),
        ('{"at":"2026-02-10T02:15:30Z","entry":"loss","count":"2"}', 'count is "2"; it must be a'),
        ('{"at":"2026-02-10T02:15:30Z","entry":"acknowledge","alarm":"colt"}', 'alarm is "colt"'),
        ('{"at":"2026-02-10T02:15:30Z","entry":"placed","hatched":"May"}', 'hatched is "May"; it'),
    ],
)
def test_a_wrong_line_is_named_with_what_would_be_right(text: str, words: str) -> None:
    with pytest.raises(LineFault) as caught:
        list(lines.read(["", text]))
    assert str(caught.value).startswith("line 2: " + words)


def test_probes_of_one_topic_come_back_in_one_payload(path: Path) -> None:
    """One message held both values; it is one line again."""
    both = [
        floor_probe(key=f"porch/{n}", name=n, topic="box", value_pointer=f"/{n}", place=Place.FLOOR)
        for n in ("east", "west")
    ]
    arrivals = Arrivals()
    arrivals.add("porch/east", T0, 33.5)
    arrivals.add("porch/west", T0, 21.0)
    arrivals.add("porch/west", T0 + 10, 22.0)
    assert exported(path, *both, arrivals=arrivals) == [
        '{"at":"2026-02-10T01:00:00Z","topic":"box","payload":"{\\"east\\":33.5,\\"west\\":21}"}',
        '{"at":"2026-02-10T01:00:10Z","topic":"box","payload":"{\\"west\\":22}"}',
    ]


def test_bad_values_unsure_clocks_and_stamps_are_kept(path: Path) -> None:
    stamped = floor_probe(value_pointer="/v", time_pointer="/when", unit=Unit.FAHRENHEIT)
    arrivals = Arrivals()
    arrivals.add("porch/floor", T0, 35.0)
    arrivals.add("porch/floor", T0 + 1.5, 85.0, sort=Sort.BAD)
    arrivals.add("porch/floor", T0 + 2, 33.0, sort=Sort.UNSURE)
    found = exported(path, stamped, arrivals=arrivals)
    assert found == [
        '{"at":"2026-02-10T01:00:00Z","topic":"brooder/porch/floor",'
        '"payload":"{\\"v\\":95,\\"when\\":1770685200.0}"}',
        '{"at":"2026-02-10T01:00:01.500Z","topic":"brooder/porch/floor",'
        '"payload":"{\\"v\\":185,\\"when\\":1770685201.5}"}',
        '{"at":"2026-02-10T01:00:02Z","topic":"brooder/porch/floor",'
        '"payload":"{\\"v\\":91.4,\\"when\\":1770685202.0}","clock":"unsure"}',
    ]


def test_entries_stand_among_the_readings_by_their_time(path: Path) -> None:
    arrivals = Arrivals(entries=[line for _, line in lines.read(CONTRACT.splitlines()[1:])])  # type: ignore[misc]
    for n in range(3):
        arrivals.add("porch/floor", 1770791400.0 - 4 + 4 * n, 30.0)
    found = exported(path, arrivals=arrivals)
    times = [line[7:27] for line in found]
    assert times == sorted(times)
    assert len(found) == 8


def test_an_undo_follows_its_entry_to_another_journal(path: Path, tmp_path: Path) -> None:
    """Numbers are a journal's own: the same ledger brought into one that has entries already."""
    ledger = [
        Entry(at=T0, entry=EntryKind.LOSS, brooder="porch", count=3, number=1),
        Entry(at=T0 + 1, entry=EntryKind.UNDO, undoes=1, number=2),
    ]
    with Journal.open(path) as journal, JournalReader(path) as reader:
        journal.bring_in(Arrivals(entries=[Entry(at=T0 - 9, entry=EntryKind.NOTE, note="x")]))
        done = journal.bring_in(Arrivals(entries=ledger))
        assert (done.entries, done.entries_known) == (2, 0)
        assert [(e.number, e.undoes) for e in reader.entries()] == [(1, None), (2, None), (3, 2)]
        done = journal.bring_in(Arrivals(entries=ledger))
        assert (done.entries, done.entries_known) == (0, 2)


def test_foreign_csv_is_read_by_its_own_headings() -> None:
    text = "Datum;Sonde;Temp (°C)\n10.02.2026;x;33,5\n"
    columns = csv_form.Columns(
        time="Datum", temperature="Temp (°C)", probe_column="Sonde", names={"x": "porch/floor"}
    )
    with pytest.raises(LineFault, match=r'line 2: the time is "10\.02\.2026"; it must be ISO'):
        list(csv_form.read(text.splitlines(keepends=True), columns))
    good = text.replace("10.02.2026", "2026-02-10 01:00:00")
    want = [(2, csv_form.CsvReading(T0, "porch/floor", 33.5))]
    assert list(csv_form.read(good.splitlines(keepends=True), columns)) == want
    theirs = text.replace("10.02.2026", "10.02.2026 1:00")
    columns = replace(columns, time_form="%d.%m.%Y %H:%M")
    assert list(csv_form.read(theirs.splitlines(keepends=True), columns)) == want


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time (UTC),b\n1,2\n", "line 1: no heading begins with temperature"),
        ("a,temperature\n1,2\n", 'line 1: no column is called "time (UTC)"; name one'),
        ("time (UTC),temperature\n1,2\n", "says no unit such as"),
        ("time (UTC),probe,temperature (°C)\n1,x,warm\n", 'line 2: the temperature is "warm"'),
        ("time (UTC),probe,temperature (°C)\n1,x,2,3\n", "line 2: has 4 columns"),
        ("time (UTC),probe,temperature (°C)\n1,x" + "y" * 200_000 + ",2\n", "line 2: is not CSV"),
    ],
)
def test_a_csv_that_cannot_be_used_is_told_why(text: str, words: str) -> None:
    with pytest.raises(LineFault) as caught:
        list(csv_form.read(text.splitlines(keepends=True), csv_form.Columns()))
    assert words in str(caught.value)
