"""The ledger from the order to the empty box, as it is typed."""

import time
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from typer.testing import CliRunner

from monitor.commands import build

RUNNER = CliRunner()
BOX = """
[[brooders]]
name = "{name}"
length_m = 1.5
width_m = 1.5
[[brooders.probes]]
name = "floor"
topic = "brooder/{name}/floor"
place = "floor"
"""
SITE = '[site]\nname = "Hillside"\ntimezone = "America/Chicago"\nunits = "celsius"\n'
# An evening there, when it is tomorrow already in UTC.
TODAY = datetime(2026, 3, 10, 20, 30, tzinfo=ZoneInfo("America/Chicago"))
YESTERDAY = (TODAY - timedelta(days=1)).date().isoformat()
HATCHED = (TODAY - timedelta(days=8)).date().isoformat()


@pytest.fixture(autouse=True)
def _no_midnight_comes_between(monkeypatch: pytest.MonkeyPatch) -> None:
    ahead_s = TODAY.timestamp() - time.monotonic()
    monkeypatch.setattr(time, "time", lambda: ahead_s + time.monotonic())


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "brooder.toml"
    path.write_text(SITE + BOX.format(name="porch") + BOX.format(name="shed"), encoding="utf-8")
    return path


def say(config: Path, *words: str) -> str:
    done = RUNNER.invoke(build(words[0]), [*words, "--config", str(config)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.output


def test_a_batch_is_split_weighed_seen_and_ended_as_one(config: Path) -> None:
    porch = ("--brooder", "porch")
    placed = ("flock", "placed", "115", "--hatched", HATCHED, "--kind", "broiler")
    say(config, *placed, *porch, "--at", f"{YESTERDAY}T00:00")
    say(config, "flock", "placed", "1", *porch)
    say(config, "flock", "loss", "6", *porch)
    said = say(config, "flock", "moved", "50", "--to", "shed", *porch)
    assert "shed now holds 50 birds" in said, "and no hatch date was typed again"
    assert "terms" in say(config, "flock", "dead-on-arrival", "2", *porch)
    assert "They are too cold." in say(config, "flock", "seen", "huddled", *porch)
    a_week_old = ("--at", f"{YESTERDAY}T00:05")  # at whatever hour this runs
    said = say(config, "flock", "weighed", "4", "840 g", *porch, *a_week_old)
    assert "100 % of it. That is well." in said
    assert "That is behind." in say(config, "flock", "weighed", "4", "400 g", *porch)
    said = say(config, "flock", "weighed", "1", "4 kg", *porch)
    assert "Check the count, the weight and its unit" in said
    assert "well" not in said
    assert "The watch sleeps" in say(config, "flock", "end", "--yes")
    listed = say(config, "flock", "list")
    assert "None" not in listed, "one that came later was of the same hatch"
    for word in ("huddled", "210 g", "dead-on-arrival", "end"):
        assert word in listed
    assert "no batch to end" in say(config, "flock", "end", "--yes")


def test_a_split_is_refused_and_taken_back_as_one(config: Path) -> None:
    """Of one that could not go into the second box the first half was kept, and of one that was
    taken back the other half: birds were gone, or there twice."""
    ducks = ("--hatched", HATCHED, "--kind", "duck")
    say(config, "flock", "placed", "9", *ducks, "--brooder", "shed")
    broilers = ("--hatched", HATCHED, "--kind", "broiler")
    say(config, "flock", "placed", "115", *broilers, "--brooder", "porch")
    split = ("flock", "moved", "50", "--to", "shed", "--brooder", "porch")
    assert "one box has one target" in say(config, *split)
    none = ("flock", "moved", "0", "--to", "shed", "--brooder", "porch")
    assert "It must be 1 or more" in say(config, *none), "and not all of them"
    assert "moved" not in say(config, "flock", "list")
    say(config, "flock", "undo", "1", "--yes")
    assert "shed now holds 50 birds" in say(config, *split)
    said = say(config, "flock", "undo", "4", "--yes")
    assert "entry 5 is taken back" in said
    assert "entry 4 is taken back" in said
    assert "porch now holds 114 birds" in say(config, "flock", "loss", "1", "--brooder", "porch")


def test_of_a_split_that_cannot_be_taken_back_neither_half_is(config: Path) -> None:
    """Others were placed since in the box that they came from."""
    broilers = ("--hatched", HATCHED, "--kind", "broiler")
    say(config, "flock", "placed", "60", *broilers, "--brooder", "porch")
    say(config, "flock", "moved", "60", "--to", "shed", "--brooder", "porch", "--yes")
    say(config, "flock", "placed", "40", *broilers, "--kind", "duck", "--brooder", "porch")
    said = say(config, "flock", "undo", "2", "--yes")
    assert "while entry 4 rests on it" in said
    assert "is taken back" not in said
    assert "shed now holds 59 birds" in say(config, "flock", "loss", "1", "--brooder", "shed")


def test_where_one_box_alone_has_birds_nobody_needs_to_name_it(config: Path) -> None:
    assert "--brooder is missing" in say(config, "flock", "loss", "1")
    placed = ("flock", "placed", "115", "--hatched", HATCHED, "--kind", "broiler")
    assert "--brooder is missing" in say(config, *placed)
    say(config, *placed, "--brooder", "shed", "--at", f"{YESTERDAY}T00:00")
    assert "shed now holds 113 birds" in say(config, "flock", "loss", "2")
    assert "weighed" in say(config, "flock", "weighed", "4", "400 g")
    assert "--brooder is missing" in say(config, "flock", "note", "new litter")


def test_birds_of_a_day_to_come_are_expected_and_the_list_for_that_day_is_printed(
    config: Path,
) -> None:
    day = (TODAY + timedelta(days=9)).date().isoformat()
    said = say(
        config, "flock", "placed", "115", "--kind", "broiler", "--at", day, "--brooder", "porch"
    )
    assert "expected 115" in said
    assert "[ ] Dip each beak in the water" in said
    assert day in say(config, "flock", "list")


def test_cleaning_out_puts_aside_what_the_page_puts_aside(config: Path) -> None:
    say(
        config,
        "flock",
        "placed",
        "9",
        "--hatched",
        HATCHED,
        "--kind",
        "broiler",
        "--brooder",
        "porch",
    )
    said = say(config, "shelve", "cleaning-out", "--minutes", "45", "--brooder", "porch")
    assert "porch: cleaning-out is shelved for 45 minutes (cleaning out)." in said


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("flock", "seen", "sleepy"), "must be one of spread, huddled"),
        (("flock", "weighed", "4", "heavy"), "write it with its unit"),
        (("flock", "moved", "4", "--to", "porch"), "where they are already"),
        (("flock", "weighed", "4", "100 g"), "no birds"),
    ],
)
def test_what_cannot_be_is_named(config: Path, words: tuple[str, ...], says: str) -> None:
    assert says in say(config, *words, "--brooder", "porch")


def test_the_warm_up_is_asked_before_the_birds_and_no_longer_once_they_are_in(config: Path) -> None:
    said = say(config, "warm-up", "--brooder", "porch")
    assert said.startswith("porch: Not ready for chicks yet.")
    assert "[ ] No floor probe is heard" in said
    assert "[ ] No lamp or plate is entered." in said
    day = ("--hatched", YESTERDAY, "--kind", "broiler", "--brooder", "porch")
    say(config, "flock", "placed", "60", *day)
    assert "60 birds are in porch" in say(config, "warm-up", "--brooder", "porch")


@pytest.mark.parametrize("zone", ["Etc/GMT+12", "Pacific/Kiritimati"])
def test_a_day_to_come_is_one_at_the_site_whatever_day_it_is_on_the_board(
    config: Path, zone: str
) -> None:
    """In the evening tomorrow's chicks could not be entered: on a board in UTC it was tomorrow."""
    config.write_text(config.read_text().replace("America/Chicago", zone))
    today = TODAY.astimezone(ZoneInfo(zone))
    at = [(today + timedelta(days=days)).date().isoformat() for days in (1, 0)]
    ordered = ("flock", "placed", "100", "--kind", "broiler", "--brooder", "porch")
    assert "expected 100" in say(config, *ordered, "--at", at[0])
    assert "placed 100" in say(config, *ordered, "--days-in-mail", "2", "--at", at[1])


def test_the_day_they_come_is_ticked_counted_and_put_on_one_sheet(config: Path) -> None:
    porch = ("--brooder", "porch")
    tomorrow = (TODAY + timedelta(days=1)).date().isoformat()
    ordered = ("flock", "placed", "100", "--kind", "broiler", "--at", tomorrow, *porch)
    assert "holds 0 birds" not in say(config, *ordered)
    assert "no birds have come" in say(config, "flock", "arrival-sheet", *porch)
    say(config, "flock", "checked", "warm", "water", *porch)
    assert "ticked already" in say(config, "flock", "checked", "warm", *porch)
    assert '"beak" is no step' in say(config, "flock", "checked", "beak", *porch)
    say(config, "flock", "dead-on-arrival", "2", *porch)
    placed = ("flock", "placed", "97", "--kind", "broiler", "--days-in-mail", "3", *porch)
    assert "the yolk is used up" in say(config, *placed)
    listed = say(config, "flock", "arrival", *porch)
    assert "[x] warm: " in listed
    assert "[ ] beaks: Dip each beak" in listed
    sheet = say(config, "flock", "arrival-sheet", *porch)
    assert "Ordered: 100 meat chicks (1 fewer came)" in sheet
    assert "Arrived: 99: 97 alive, 2 dead on arrival" in sheet
    assert "Under way: 3 days in the mail; hatched" in sheet
    assert "Box when they came: not read" in sheet
    assert say(config, "flock", "list").count(" checked") == 2
