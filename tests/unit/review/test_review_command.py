"""`brooder review` and `brooder sources` as they are called."""

import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from monitor.brooding.bibliography import figures
from monitor.commands import build

CONFIG = """
[site]
name = "Hillside"
timezone = "America/Chicago"
units = "fahrenheit"

[[brooders]]
name = "porch"
length_m = 1.5
width_m = 1.5
height_m = 0.56
  [[brooders.probes]]
  name = "west"
  topic = "b/west"
  place = "floor"
"""


@pytest.fixture
def run(tmp_path, journal_path, monkeypatch):
    (tmp_path / "brooder.toml").write_text(CONFIG)
    shutil.copy(journal_path, tmp_path / "journal.db")
    monkeypatch.setenv("COLUMNS", "100")
    app = build()

    def call(*words: str, journal: str = "journal.db"):
        options = ["--config", str(tmp_path / "brooder.toml"), "--journal", str(tmp_path / journal)]
        return CliRunner().invoke(app, ["review", *options, *words], catch_exceptions=False)

    call.app, call.folder = app, tmp_path  # type: ignore[attr-defined]
    return call


def test_the_sheet_tells_the_night_to_someone_new(run):
    answer = run()
    assert answer.exit_code == 0
    for words in ("Hillside, porch", "coldest floor 66.6 °F at 11 Feb 05:12, target 95.0 °F",
                  "4 h 15 min below the band", "10-11 Feb", "new bulb",
                  "first urgent alarm 11 Feb 02:04 (heat-loss), answered 05:02",
                  "Lost in the first week: 3 of 100"):  # fmt: skip
        assert words in answer.output, words


def test_values_that_no_floor_can_have_are_named_with_their_probe_and_time(run):
    said = " ".join(run().output.split())
    assert (
        "left out of porch/east, 30 times, 8 Feb 20:50 to 8 Feb 21:19: the sensor sends 85.0 °C "
        "(185.0 °F), its power-up value"
    ) in said
    assert "left out of" not in run("--from", "2026-02-10").output


def test_a_span_of_local_times_is_reviewed(run):
    answer = run("--from", "2026-02-10T18:00", "--to", "2026-02-11T08:00")
    assert "10 Feb 18:00 to 11 Feb 08:00" in answer.output
    assert "2 birds lost" in answer.output


def test_a_date_alone_as_the_end_includes_that_day(run):
    answer = run("--from", "2026-02-11", "--to", "2026-02-11", "--days", "midnight")
    assert "11 Feb " in answer.output
    assert "2 lost: piled in the corner" in answer.output
    assert "*" not in answer.output.split("Notes")[0].split("week 1")[0]


def test_losses_and_alarms_are_looked_at_when_asked(run):
    answer = run("--losses", "--alarms")
    assert "Cold is the first thing to suspect" in answer.output
    assert "Told 3 times in this batch, answered 3 times." in answer.output


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--brooder", "barn"], '--brooder is "barn"; the configuration has porch'),
        (["--batch", "7"], "--batch is 7; porch has had 1, counted from 1"),
        (["--from", "yesterday"], '--from is "yesterday"; write 06:30, a date like 2026-02-10'),
        (["--to", "2026-02-30"], '--to is "2026-02-30"; write 06:30, a date like'),
        (["--from", "2026-02-12", "--to", "2026-02-10"], "--to 2026-02-10 is not after --from"),
        (["--from", "2031-01-01"], "nothing of porch is recorded in that span"),
        (["--picture", "night.gif"], "--picture is night.gif; the name must end in .png, .svg"),
        (["--picture", "no/such/folder/night.svg"], "cannot be written: No such file"),
    ],
)
def test_a_call_that_cannot_be_answered_gets_one_line_and_exit_2(run, words, line):
    answer = run(*words)
    assert answer.exit_code == 2
    assert line in answer.output
    assert len(answer.output.strip().splitlines()) == 1


def test_a_journal_that_is_not_there_or_is_none_is_said(run):
    missing = run(journal="none.db")
    assert missing.exit_code == 2
    assert "there is no journal at" in missing.output
    Path(run.folder / "text.db").write_text("at,temperature\n" * 500)
    other = run(journal="text.db")
    assert other.exit_code == 2
    assert "text.db: " in other.output
    assert len(other.output.strip().splitlines()) == 1


def test_pictures_and_report_are_written_where_asked(run):
    for name, begins in (("night.png", b"\x89PNG"), ("night.svg", b"<svg"),
                         ("night.html", b"<!doctype html>")):  # fmt: skip
        path = run.folder / name
        answer = run("--picture", str(path))
        assert answer.exit_code == 0, answer.output
        assert path.read_bytes().startswith(begins)
    path = run.folder / "report.html"
    answer = run("--report", str(path))
    assert answer.output == f"Written: {path}\n"
    assert "Record sheet" in path.read_text()


def test_every_figure_is_printed_with_its_source(run):
    answer = CliRunner().invoke(run.app, ["sources"])
    assert answer.exit_code == 0
    for figure in figures():
        assert figure.subject.split(":")[0].upper() in answer.output
        assert figure.source in answer.output
        assert figure.where in map(str.strip, answer.output.splitlines())  # unbroken
    none = CliRunner().invoke(run.app, ["sources", "moonlight"])
    assert none.exit_code == 2
    assert 'no figure is about "moonlight"' in none.output


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["GFCI"], "GFCI outlet, ground-fault device: cuts off a deadly shock"),
        (["heat", "lamps"], "heat lamp, the largest  250 W  read [1]"),
        (["cover"], "cover: a gap for fresh air, always  common practice"),
        (["weekly", "day 7"], "weekly from day 7  90.0 °F  read [1]"),
        (["band"], "band, either side of target  5.0 °F  common practice"),
        (["floor"], "broiler, layer, guinea: from day 0  0.25 sq ft  read [1]"),
        (["day-old", "sensible"], "day-old chick at 95.0 °F, sensible  2.4 W/lb  read [1]"),
        (["losses"], "in one day  2 %  common practice"),
        (["Schirtzinger", "largest"], "heat lamp, the largest  250 W  read [1]"),
    ],
)
def test_a_figure_is_found_by_the_words_people_use_in_the_sites_units(run, tmp_path, words, line):
    config = tmp_path / "hillside.toml"
    config.write_text(CONFIG)
    answer = CliRunner().invoke(run.app, ["sources", *words, "--config", str(config)])
    assert answer.exit_code == 0, answer.output
    # a figure is one line, whatever the columns are wide
    lines = {"  ".join(re.split(r"\s{2,}", one.strip())) for one in answer.output.splitlines()}
    squeezed = {re.sub(r"\s+", " ", one) for one in lines}
    assert any(re.sub(r"\s+", " ", line) in one for one in squeezed), answer.output


def test_another_journal_than_the_sites_ends_where_it_ends(run, reader, monkeypatch):
    """Of a night rehearsed this morning nobody asks how silent the rest of the day was."""
    _, last = reader.span()
    monkeypatch.setattr("monitor.commands.review.time.time", lambda: last + 15 * 3600)
    ended = run("--from", "2026-02-11T00:00").output.splitlines()[0]
    (run.folder / "brooder.toml").write_text(
        CONFIG + f'\n[journal]\nfolder = "{run.folder}"\n', encoding="utf-8"
    )
    goes_on = run("--from", "2026-02-11T00:00").output.splitlines()[0]
    assert "to 13 Feb" in ended
    assert "to 14 Feb" in goes_on
