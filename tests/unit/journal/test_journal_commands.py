"""The commands as a grower calls them: what they print, and exit codes."""

import json
from pathlib import Path

import pytest
from support.journals import T0, batch, reading
from typer.testing import CliRunner, Result

from monitor.commands import build
from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal

CONFIG = """
[site]
name = "Hillside"
timezone = "America/Chicago"
units = "fahrenheit"

[[brooders]]
name = "porch"
length_m = 1.5
width_m = 1.5

  [[brooders.probes]]
  name = "floor"
  topic = "brooder/porch/floor"
  place = "floor"
"""
NIGHT = """\
{"at":"2026-02-08T18:00:00Z","entry":"placed","brooder":"porch","count":100,"hatched":"2026-02-08"}
{"at":"2026-02-10T02:15:30Z","topic":"brooder/porch/floor","payload":"33.4"}
{"at":"2026-02-10T02:15:40Z","topic":"brooder/porch/floor","payload":"33.0625"}
"""


@pytest.fixture
def here(tmp_path: Path) -> Path:
    (tmp_path / "brooder.toml").write_text(CONFIG)
    (tmp_path / "night.jsonl").write_text(NIGHT)
    return tmp_path


def run(here: Path, verb: str, *words: str) -> Result:
    own = [] if verb == "salvage" else ["--config", str(here / "brooder.toml")]
    return CliRunner().invoke(build(verb), [verb, *words, *own])


def brought_in(here: Path) -> Path:
    journal = here / "journal.db"
    done = run(here, "import", str(here / "night.jsonl"), "--journal", str(journal))
    assert done.exit_code == 0, done.output
    assert "2 readings and 1 entry of the ledger imported." in done.output
    return journal


def test_what_is_exported_imports_into_another_journal_and_exports_the_same(here: Path) -> None:
    journal = brought_in(here)
    out = here / "out.jsonl"
    assert run(here, "export", str(out), "--journal", str(journal)).exit_code == 0
    other = here / "other.db"
    assert run(here, "import", str(out), "--journal", str(other)).exit_code == 0
    again = run(here, "export", "--journal", str(other))
    assert again.stdout == out.read_text()
    assert [json.loads(line).get("payload") for line in again.stdout.splitlines()] == [
        None, "33.4", "33.0625",
    ]  # fmt: skip


def test_importing_twice_adds_nothing(here: Path) -> None:
    journal = brought_in(here)
    done = run(here, "import", str(here / "night.jsonl"), "--journal", str(journal))
    assert (
        "0 readings and 0 entries of the ledger imported; 2 and 1 were there already."
        in done.output
    )


def test_a_csv_export_imports_without_any_option(here: Path) -> None:
    journal = brought_in(here)
    table = here / "table.csv"
    run(here, "export", str(table), "--form", "csv", "--journal", str(journal))
    done = run(here, "import", str(table), "--journal", str(journal))
    assert "0 readings and 0 entries of the ledger imported; 2 and 0 were there" in done.output


def test_a_fault_in_the_last_line_leaves_the_journal_as_it_was(here: Path) -> None:
    journal = brought_in(here)
    wrong = here / "wrong.jsonl"
    wrong.write_text(NIGHT.replace("33.4", "30.1") + '{"at":"2026-02-10T02:15:50Z","topic":"x"}\n')
    done = run(here, "import", str(wrong), "--journal", str(journal))
    assert done.exit_code == 2
    assert "wrong.jsonl: line 4: payload is missing" in done.output
    assert "Nothing was imported." in done.output
    with JournalReader(journal) as reader:
        assert reader.readings("porch/floor")[1].tolist() == [33.4, 33.0625]


def test_an_unclaimed_topic_is_named_and_may_be_left_out(here: Path) -> None:
    extra = here / "extra.jsonl"
    extra.write_text(NIGHT + '{"at":"2026-02-10T02:15:50Z","topic":"shed","payload":"3"}\n')
    journal = str(here / "j.db")
    done = run(here, "import", str(extra), "--journal", journal)
    assert done.exit_code == 2
    assert 'no probe of the configuration has the topic "shed"' in done.output
    done = run(here, "import", str(extra), "--journal", journal, "--skip-unclaimed")
    assert "1 left out that belong to no probe" in done.output


def test_a_running_service_keeps_its_journal_to_itself(here: Path) -> None:
    with Journal.open(here / "journal.db"):
        done = run(here, "import", str(here / "night.jsonl"), "--journal", str(here / "journal.db"))
    assert done.exit_code == 2
    assert "another brooder service is using" in done.output


def test_a_backup_restores_what_was_lost_and_keeps_what_was_there(here: Path) -> None:
    journal = brought_in(here)
    copy = here / "copy.db"
    done = run(here, "backup", str(copy), "--journal", str(journal))
    assert done.exit_code == 0
    assert "checked" in done.output
    with Journal.open(journal) as opened:
        opened.commit(batch(reading(T0 + 86_400)))
    done = run(here, "restore", str(copy), "--journal", str(journal))
    assert done.exit_code == 0
    assert "is kept as journal.db.replaced-" in done.output
    with JournalReader(journal) as reader:
        assert reader.readings("porch/floor")[1].tolist() == [33.4, 33.0625]


def test_salvage_says_what_it_saved_and_never_overwrites(here: Path) -> None:
    journal = brought_in(here)
    saved = here / "saved.db"
    done = run(here, "salvage", str(journal), str(saved))
    assert done.exit_code == 0, done.output
    assert "Saved 2 readings, 1 ledger entries" in done.output
    done = run(here, "salvage", str(journal), str(saved))
    assert done.exit_code == 2
    assert "is there already" in done.output
    (here / "noise.db").write_bytes(b"noise" * 999)
    done = run(here, "salvage", str(here / "noise.db"), str(here / "none.db"))
    assert done.exit_code == 2
    assert not (here / "none.db").exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--journal", "nowhere.db"], "there is no journal at nowhere.db"),
        (["--from", "yesterday"], '--from is "yesterday"; write 06:30, a date like 2026-02-10'),
        (["--from", "2026-02-11", "--to", "2026-02-10"], "is not before --to"),
        (["--what", "ledger"], "--what ledger is only for --form csv"),
    ],
)
def test_a_wrong_export_call_is_told_in_one_line(here: Path, words: list[str], told: str) -> None:
    journal = brought_in(here)
    own = [] if "--journal" in words else ["--journal", str(journal)]
    done = run(here, "export", *words, *own)
    assert done.exit_code == 2
    assert told in done.output
    assert done.output.count("\n") == 1


def test_restore_wants_one_source(here: Path) -> None:
    assert run(here, "restore").exit_code == 2
    done = run(here, "restore", "--from-influx", "--journal", str(here / "j.db"))
    assert done.exit_code == 2
    assert "has no [influx]" in done.output


METERED = (
    CONFIG
    + """
  [[brooders.heat]]
  name = "west lamp"
  kind = "lamp"
  watts = 250
  topic = "plug/west"
  value = "/power"

  [[brooders.meters]]
  kind = "humidity"
  topic = "brooder/porch/air"

  [[brooders.meters]]
  kind = "cover"
  topic = "brooder/porch/lid"
"""
)
METERED_NIGHT = """\
{"at":"2026-02-10T02:15:30Z","topic":"brooder/porch/floor","payload":"33.4"}
{"at":"2026-02-10T02:15:30Z","topic":"plug/west","payload":"{\\"power\\":243.5}"}
{"at":"2026-02-10T02:15:31Z","topic":"brooder/porch/air","payload":"61"}
{"at":"2026-02-10T04:15:31Z","topic":"brooder/porch/lid","payload":"1"}
"""


def test_what_meters_said_is_exported_imported_and_exported_the_same(here: Path) -> None:
    (here / "brooder.toml").write_text(METERED)
    (here / "night.jsonl").write_text(METERED_NIGHT)
    for name in ("one.db", "two.db"):
        for _ in range(2):  # the second time there is nothing new
            done = run(here, "import", str(here / "night.jsonl"), "--journal", str(here / name))
            assert done.exit_code == 0, done.output
        told = run(here, "export", str(here / "night.jsonl"), "--journal", str(here / name))
        assert told.exit_code == 0, told.output
        assert (here / "night.jsonl").read_text() == METERED_NIGHT
    with JournalReader(here / "one.db") as reader:
        assert reader.samples("porch", "west lamp power_w")[1].tolist() == [243.5]
    pack = json.loads(run(here, "export", "--form", "senml", "--journal", str(here / name)).stdout)
    assert [(one["n"], one.get("u", "Cel"), one["v"]) for one in pack] == [
        ("porch/floor", "Cel", 33.4),
        ("porch/west_lamp_power_w", "W", 243.5),
        ("porch/humidity_percent", "%RH", 61),
        ("porch/cover_open", "/", 1),
    ]
    words = ("export", "--form", "csv", "--what", "measures", "--journal", str(here / name))
    assert run(here, *words).stdout.splitlines() == [
        "time (UTC),brooder,measured,value",
        "2026-02-10T02:15:30Z,porch,west lamp power_w,243.5",
        "2026-02-10T02:15:31Z,porch,humidity_percent,61",
        "2026-02-10T04:15:31Z,porch,cover_open,1",
    ]
