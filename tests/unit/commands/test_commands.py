"""What is typed: each verb has help; a wrong call is one clear line and exit 2; nothing is lost."""

import json
import os
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from monitor import __version__
from monitor.commands import VERBS, build, main
from monitor.commands.probes_try import sample
from monitor.commands.tonight import temperature_or_exit, watts_or_exit
from monitor.commands.watch import announce
from monitor.events import Moment, Reading
from monitor.intake.payload import read
from monitor.service.run import Places
from monitor.settings import load_settings
from monitor.site import Place, Probe
from monitor.units import Unit

RUNNER = CliRunner()
HATCHED, YESTERDAY = (
    (datetime.now(tz=UTC) - timedelta(days=days)).date().isoformat() for days in (2, 1)
)
CONFIG = """
[site]
name = "Hillside"
timezone = "America/Chicago"
[[site.probes]]
name = "shade"
topic = "brooder/outside"
place = "outside"
[[brooders]]
name = "porch"
length_m = 1.5
width_m = 1.5
height_m = 0.56
cover = "plywood"
[[brooders.probes]]
name = "floor"
topic = "brooder/porch/floor"
place = "floor"
[[brooders.heat]]
name = "west lamp"
kind = "lamp"
watts = 250
"""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "brooder.toml"
    path.write_text(CONFIG, encoding="utf-8")
    return path


def call(*words: str | Path) -> tuple[int, str, str]:
    """Exit code, standard output, standard error."""
    done = RUNNER.invoke(build(str(words[0])), [str(w) for w in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.stdout, done.stderr


def test_the_version_is_said() -> None:
    said = RUNNER.invoke(build(), ["--version"])
    assert (said.exit_code, said.output) == (0, f"brooder {__version__}\n")


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_explains_itself(verb: str) -> None:
    code, out, _ = call(verb, "--help")
    assert code == 0
    groups = {
        "flock": ["placed", "loss", "moved", "note", "undo", "list"],
        "contacts": ["try"],
        "mirror": ["status", "fill"],
    }
    for words in groups.get(verb, [""]):
        assert "--config" in call(verb, *words.split(), "--help")[1], "every command takes it"
    assert "Usage:" in out
    assert len(out.split()) > 20


@pytest.mark.parametrize("verb", ["review", "restore"])
def test_a_help_loses_no_word_in_brackets(verb: str) -> None:
    assert "mirror under [influx]" in " ".join(call(verb, "--help")[1].split())


def test_what_a_verb_is_for_is_said_whole_in_the_list_of_verbs() -> None:
    for said in (
        RUNNER.invoke(build(), ["--help"]).stdout,
        call("flock", "--help")[1],
        call("contacts", "--help")[1],
        call("probes", "--help")[1],
    ):
        assert "\nCommands:" in said
        assert "..." not in said.partition("\nCommands:")[2]


def test_tonight_is_answered_for_every_box_and_what_would_change_for_the_one_named(
    tmp_path: Path,
) -> None:
    two = tmp_path / "two.toml"
    shed = CONFIG[CONFIG.index("[[brooders]]") :].replace("porch", "shed")
    two.write_text(CONFIG + shed, encoding="utf-8")
    code, said, _ = call("tonight", "--low", "28F", "--config", two)
    assert re.findall(r"^(\w+): no chicks yet", said, re.MULTILINE) == ["porch", "shed"]
    assert code == 1, "neither holds"
    code, said, _ = call("tonight", "--brooder", "shed", "--heat", "+250W", "--config", two)
    assert "porch" not in said
    assert "it must be one of porch, shed" in call("tonight", "--heat", "+9W", "--config", two)[2]


def test_the_program_lists_its_verbs() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "monitor", "--help"], capture_output=True, text=True, check=True
    )
    for verb in VERBS:
        assert re.search(rf"\b{verb}\b", done.stdout), verb


def test_an_unknown_verb_is_exit_2() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "monitor", "hatch"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "hatch" in done.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["flock", "placed", "115"], "hatch"),
        (["flock", "placed", "0", "--hatched", HATCHED, "--kind", "broiler"], "1 or more"),
        (["flock", "placed", "9", "--hatched", "march", "--kind", "broiler"], "march"),
        (["flock", "placed", "9", "--hatched", HATCHED, "--kind", "ostrich"], "ostrich"),
        (["flock", "placed", "9", "--brooder", "attic"], "it must be one of porch"),
        (["flock", "loss", "1"], "no birds"),
        (["flock", "undo", "7"], "7"),
        (["flock", "note", "x", "--at", "soon"], "write 06:30"),
        (["acknowledge", "warm"], "it must be one of cold"),
        (["shelve", "cold"], "--minutes"),
        (["shelve", "cold", "--minutes", "20"], "--reason"),
        (["tonight", "--low", "chilly"], "write a temperature such as 28F"),
        (["tonight", "--cover", "velvet"], "velvet"),
        (["tonight", "--heat", "lots"], "write watts such as +250W"),
        (["replay", "nowhere.jsonl"], "is no file"),
        (["rehearse", "--speed", "2"], "60 or more"),
        (["probes"], "needs the running service"),
    ],
)
def test_a_wrong_call_is_one_clear_line_and_exit_2(
    config: Path, words: list[str], says: str
) -> None:
    code, _, err = call(*words, "--config", config)
    assert code == 2
    assert says in err
    assert len(err.strip().splitlines()) == 1


def test_what_ends_the_watch_of_a_box_wants_a_yes_from_a_script(config: Path) -> None:
    birds = ("flock", "placed", "9", "--hatched", HATCHED, "--kind", "broiler")
    assert call(*birds, "--config", config)[0] == 0
    code, _, err = call("flock", "moved", "--config", config)
    assert code == 2
    assert "That leaves no birds in porch" in err
    assert "--yes" in err
    assert call("flock", "loss", "1", "--config", config)[0] == 0, "nothing was written before"
    code, said, _ = call("flock", "moved", "--yes", "--config", config)
    assert code == 0
    assert "now holds 0 birds" in said


def test_a_missing_configuration_is_said(tmp_path: Path) -> None:
    code, _, err = call("check", "--config", tmp_path / "none.toml")
    assert code == 2
    assert "there is no such file; copy the example, config/brooder.toml" in err
    assert "`brooder set-up`" in err


def test_the_ledger_is_kept_without_a_running_service_and_can_be_undone(config: Path) -> None:
    placed = ["flock", "placed", "115", "--hatched", HATCHED, "--kind", "broiler"]
    code, out, _ = call(*placed, "--at", f"{HATCHED}T10:00", "--config", config)
    assert (code, "porch now holds 115 birds" in out) == (0, True)
    code, out, _ = call("flock", "loss", "2", "--at", f"{YESTERDAY}T06:30", "--config", config)
    assert "porch now holds 113 birds" in out
    number = re.search(r"Entry (\d+)", out)
    assert number
    assert call("flock", "undo", number[1], "--config", config)[0] == 0
    _, out, _ = call("flock", "list", "--config", config)
    assert "taken back" in out
    code, _, err = call("flock", "loss", "116", "--config", config)
    assert code == 2
    assert "115" in err


@pytest.mark.parametrize(
    "words", [["replay"], ["import"], ["review", "--journal"], ["check", "--config"]]
)
def test_a_name_of_thousands_of_characters_is_one_line(config: Path, words: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "monitor", *words, "x" * 5000],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "BROODER_CONFIG": str(config)},
    )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "Traceback" not in done.stderr


def test_a_folder_in_the_records_place_is_named(config: Path) -> None:
    (config.parent / "state" / "journal.db").mkdir(parents=True)
    code, out, _ = call("check", "--config", config)
    assert code == 1
    assert "journal.db is a folder where a file belongs; move it away" in " ".join(out.split())


def test_check_says_what_is_well_and_names_what_is_not(config: Path) -> None:
    config.write_text(
        CONFIG.replace('place = "floor"', 'place = "under-heat"') + "[built_in_broker]\nport = 0\n",
        encoding="utf-8",
    )
    code, out, _ = call("check", "--config", config)
    assert code == 1
    assert "NOT WELL" in out
    assert "has no probe on the floor" in out
    assert "journal" in out


@pytest.mark.parametrize(("watts", "warned"), [(250, False), (375, True)])
def test_check_warns_of_a_lamp_stronger_than_fire_guidance_allows(
    config: Path, watts: int, warned: bool
) -> None:
    text = CONFIG.replace("watts = 250", f"watts = {watts}") + "[built_in_broker]\nport = 0\n"
    config.write_text(text, encoding="utf-8")
    code, out, _ = call("check", "--config", config)
    said = " ".join(out.split())
    assert code == 1, "nothing watches, and nobody is told"
    assert "NOT WELL the watch: is not running. Start it" in said
    assert "NOT WELL contacts: there are none" in said
    assert "NOT WELL porch" not in said, "worth knowing, as an overloaded circuit is"
    assert ("porch: west lamp has 375 W; fire guidance allows" in said) == warned
    assert "250 W at most" in said or not warned


def lines_of_a_cold_morning() -> list[dict[str, object]]:
    said: list[dict[str, object]] = [
        {
            "at": "2026-02-10T00:00:00Z",
            "entry": "placed",
            "brooder": "porch",
            "count": 100,
            "hatched": "2026-02-08",
            "kind": "broiler",
        }
    ]
    for minute in range(60):
        temp = 35.0 if minute < 30 else 24.0
        at = f"2026-02-10T02:{minute:02d}:00Z"
        said.append({"at": at, "topic": "brooder/porch/floor", "payload": str(temp)})
    return said


def test_replay_writes_every_change_with_its_words(config: Path, tmp_path: Path) -> None:
    recorded = tmp_path / "night.jsonl"
    recorded.write_text(
        "".join(json.dumps(line) + "\n" for line in lines_of_a_cold_morning()), encoding="utf-8"
    )
    events = tmp_path / "events.jsonl"
    code, out, err = call("replay", recorded, "--events", events, "--config", config)
    assert (code, err) == (0, "")
    assert "60 messages" in out
    assert re.search(r"^(Mon 09|Tue 10) Feb \d\d:\d\d  URGENT  porch: ", out, re.M), "which Monday"
    changes = [json.loads(line) for line in events.read_text(encoding="utf-8").splitlines()]
    keys = {
        "at",
        "brooder",
        "alarm",
        "change",
        "priority",
        "cause",
        "probe",
        "text",
        "told",
        "incident",
    }
    assert all(set(change) == keys for change in changes)
    chill = next(c for c in changes if c["alarm"] == "chill")
    assert (chill["change"], chill["priority"], chill["brooder"]) == ("raised", "urgent", "porch")
    assert "2026-02-10T02:30:30Z" <= chill["at"] <= "2026-02-10T02:36:00Z"
    assert "porch" in chill["text"]
    cold = next(c for c in changes if c["alarm"] == "cold")
    assert (chill["told"], cold["told"]) == (True, False), "one trouble, one message"
    assert chill["incident"] == cold["incident"]


def test_replay_writes_what_was_foretold_each_half_hour(config: Path, tmp_path: Path) -> None:
    recorded = tmp_path / "night.jsonl"
    said = lines_of_a_cold_morning()
    said.append({"at": "2026-02-10T04:10:00Z", "topic": "brooder/porch/floor", "payload": "24"})
    recorded.write_text("".join(json.dumps(line) + "\n" for line in said), encoding="utf-8")
    file = tmp_path / "foretold.jsonl"
    code, _, err = call("replay", recorded, "--foretold", file, "--config", config)
    assert (code, err) == (0, "")
    rows = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    rows = rows[-4:]  # the birds came two hours before
    assert [row["at"] for row in rows] == [
        f"2026-02-10T{when}:00Z" for when in ("02:30", "03:00", "03:30", "04:00")
    ]
    keys = "at brooder temp target outside cause source lowest lowest_at chance minutes"
    assert all(list(row) == keys.split() for row in rows)
    assert (rows[0]["brooder"], rows[0]["temp"], rows[0]["target"]) == ("porch", 35.0, 35.0)
    assert rows[1]["temp"] == 24.0


def test_a_pause_in_the_record_is_told_in_the_words_of_its_time(
    config: Path, tmp_path: Path
) -> None:
    said = lines_of_a_cold_morning()
    said.append({"at": "2026-02-13T18:00:00Z", "entry": "note", "brooder": "porch", "note": "x"})
    recorded = tmp_path / "night.jsonl"
    recorded.write_text("".join(json.dumps(line) + "\n" for line in said), encoding="utf-8")
    code, out, _ = call("replay", recorded, "--config", config)
    assert code == 0
    mornings = [part.partition("\nTue")[0] for part in out.split("good morning")[1:]]
    assert [re.findall(r"(\d+) days old", part)[0] for part in mornings] == ["2", "3", "4", "5"]
    chills = re.findall(r"dangerously cold \(reminder \d+\)\n    (Now|Last) 75\.2", out)
    assert (chills[0], chills[-1]) == ("Now", "Last"), "no floor probe has been heard for days"


def test_a_database_is_not_taken_for_journal_lines(config: Path, tmp_path: Path) -> None:
    database = tmp_path / "journal.db"
    database.write_bytes(b"SQLite format 3\0" + bytes(100))
    for verb in ("replay", "import"):
        code, _, err = call(verb, database, "--config", config)
        assert code == 2
        assert "is a journal's database; brooder export FILE --journal" in err


def test_replay_names_the_line_it_cannot_read(config: Path, tmp_path: Path) -> None:
    recorded = tmp_path / "night.jsonl"
    recorded.write_text('{"at":"2026-02-10T02:15:30Z","topic":"t","payload":"1"}\n{"at":"noon"}\n')
    code, _, err = call("replay", recorded, "--config", config)
    assert code == 2
    assert "line 2: at is" in err


def test_replay_goes_on_after_an_entry_that_cannot_be(config: Path, tmp_path: Path) -> None:
    recorded = tmp_path / "night.jsonl"
    loss = {"at": "2026-02-10T02:15:30Z", "entry": "loss", "brooder": "porch", "count": 2}
    recorded.write_text(json.dumps(loss) + "\n")
    code, out, err = call("replay", recorded, "--config", config)
    assert code == 0
    assert "line 1: There are no birds" in err
    assert "1 entries" in out


@pytest.mark.parametrize(
    ("text", "temp_c"), [("28F", -2.2222), ("-2C", -2.0), ("32", 0.0), ("-1,5 °C", -1.5)]
)
def test_a_temperature_is_read_as_a_grower_writes_it(text: str, temp_c: float) -> None:
    assert temperature_or_exit(text, Unit.FAHRENHEIT, "--low") == pytest.approx(temp_c, abs=1e-3)


@pytest.mark.parametrize(("text", "watts"), [("+250W", 250), ("-100w", -100), ("60", 60)])
def test_watts_are_read_as_a_grower_writes_them(text: str, watts: float) -> None:
    assert watts_or_exit(text) == watts


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ("nonsense", '"nonsense" is no command; it must be one of watch, set-up'),
        ("flock nix", 'brooder flock: "nix" is no command; it must be one of placed, loss'),
        ("flock placed many", 'brooder flock placed: count is "many"; it must be a whole number'),
        ("flock placed", "flock placed: count is missing; write brooder flock placed COUNT"),
        ("salvage x.db", "saved is missing; write brooder salvage DAMAGED SAVED"),
        ("tonight --low", "--low needs a value after it"),
        ("export --form xml", '--form is "xml"; it must be one of lines, csv, senml'),
        ("flock --config x.toml placed --count 9", "brooder flock: put --config after placed"),
        ("flock --config x.toml", "brooder flock: put --config after a command such as placed"),
        ("watch --foo", "brooder watch: --foo is no option; known here: "),
        ("flock loss -3", "brooder flock loss: -3 is below zero; write 1 or more"),
        ("backup", "file is missing; write brooder backup FILE"),
        ("backup a b", '"b" is one word too many'),
        ("probes extra", '"extra" is no command; it must be one of add, try'),
        ("read-wires --every abc", '--every is "abc"; it must be a number'),
    ],
)
def test_a_call_that_cannot_be_understood_is_one_line_with_what_would_be_right(
    words: str, line: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "argv", ["brooder", *words.split()])
    with pytest.raises(SystemExit) as ended:
        main()
    said = capsys.readouterr()
    assert ended.value.code == 2
    assert said.out == ""
    [only] = said.err.splitlines()
    assert only.startswith("brooder")
    assert line in only


@pytest.mark.parametrize("verb", ["contacts", "flock", "mirror"])
def test_a_verb_that_lacks_its_command_shows_its_help(
    verb: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "argv", ["brooder", verb])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert capsys.readouterr().err.startswith(f"Usage: brooder {verb} ")


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ("flock moved 54 --to barn", '--to is "barn"; it must be one of porch'),
        ("import /", "/ is no file; name one that brooder export wrote"),
        ("salvage / /new", "/ is no file; the service names"),
        ("rehearse --journal /not/there", "/not is no folder; name a file in a folder that is"),
        ("tonight --low 200F", '--low is "200F"; it must be from -76.0 °F to 122.0 °F'),
        ("probes try floor 300F", 'READING is "300F"; it must be from -67.0 °F to 257.0 °F'),
        ("set-up box --about barn", "No box is called barn. Choose a box: porch."),
    ],
)
def test_what_is_refused_is_named_as_it_is(words: str, line: str, config: Path) -> None:
    code, _, err = call(*words.split(), "--config", config)
    assert code == 2
    assert line in err


def test_brackets_in_a_note_are_shown_as_they_were_written(config: Path) -> None:
    assert call("flock", "note", "[red]loud[/red] [x]", "--config", config)[0] == 0
    assert "[red]loud[/red] [x]" in call("flock", "list", "--config", config)[1]


def test_what_the_start_says_to_type_needs_nothing_that_is_not_there_yet(
    capsys: pytest.CaptureFixture[str],
) -> None:
    announce(
        load_settings(Path(__file__).parents[3] / "config/brooder.toml", {}),
        Places(heard_at=lambda: None),
    )
    said = capsys.readouterr().out
    assert "Try it:  brooder probes try porch/floor 92F" in said
    assert re.match(r"Watching Hillside, where it is \d\d:\d\d \(America/Chicago\)\.", said)


@pytest.mark.parametrize("pointer", [None, "/temperature", "/a~1b/0/t", ""])
@pytest.mark.parametrize("unit", list(Unit))
def test_the_payload_to_try_a_probe_with_is_one_it_can_read(
    pointer: str | None, unit: Unit
) -> None:
    probe = Probe(
        key="porch/floor",
        brooder="porch",
        name="floor",
        topic="t",
        place=Place.FLOOR,
        unit=unit,
        value_pointer=pointer,
    )
    taken = read(sample(probe, 33.4).encode(), probe, Moment(0.0, 0.0))
    assert isinstance(taken, Reading)
    assert taken.temp_c == pytest.approx(33.4, abs=0.06)
