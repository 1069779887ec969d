"""Documents fail a test when they lie: every key, verb and alarm is where a reader would look."""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from monitor.brooding.schedules import BUILT_IN
from monitor.commands import VERBS
from monitor.events import AlarmName
from monitor.settings.document import every_key
from monitor.settings.file_model import FileSettings

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
ENGINEERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_file_of_every_key_is_the_one_the_program_prints() -> None:
    kept = (ROOT / "config" / "every-key.toml").read_text(encoding="utf-8")
    assert kept == every_key(), "renew it: brooder check --keys > config/every-key.toml"


def test_every_table_of_the_model_is_in_it() -> None:
    text = every_key()
    for name in FileSettings.model_fields:
        assert re.search(rf"\[{name}\]", text), name


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_is_in_the_readme(verb: str) -> None:
    assert re.search(rf"(brooder|start\.sh) {verb}\b", README) or f"`{verb}`" in README


@pytest.mark.parametrize("alarm", [a.value for a in AlarmName])
def test_every_alarm_is_in_the_readme(alarm: str) -> None:
    assert f"`{alarm}`" in README


def test_the_readme_begins_with_the_job_and_two_commands() -> None:
    assert README.index("sh deploy/start.sh") < README.index("sh tests/run.sh") < 2500


def test_the_readme_says_that_a_lamp_through_the_night_is_at_odds_with_published_advice() -> None:
    fire = README[README.index("## Fire first") : README.index("## Parts")]
    assert "never to leave a heat lamp unattended overnight" in fire
    assert "heat plate" in fire


@pytest.mark.parametrize("text", [README, ENGINEERS], ids=["README", "DEVELOPERS"])
def test_every_file_that_is_named_exists(text: str) -> None:
    named = re.findall(r"\]\(((?!http)[^)#]+)\)", text)
    named += re.findall(r"`((?:monitor|deploy|tests|config)/[\w./-]+)`", text)
    assert named
    for name in named:
        assert (ROOT / name).exists() or (ROOT / f"{name}.py").exists(), name


def test_every_test_that_proves_a_promise_exists() -> None:
    begin = ENGINEERS.index("## What happens when")
    table = ENGINEERS[begin : ENGINEERS.index("\n## ", begin)]
    named = re.findall(r"`(tests/[\w/]+\.py|\.\.\.)(?:::(\w+))?`", table)
    assert len(named) > 10
    file = ""
    for name, function in named:
        file = file if name == "..." else name  # of the test named before
        assert f"def {function}" in (ROOT / file).read_text(encoding="utf-8"), function


def test_the_map_names_modules_that_exist() -> None:
    rooms = [ROOT, *(ROOT / room for room in ("monitor", "tests", "deploy"))]
    inside = {file.name for room in rooms[1:] for file in room.rglob("*.py")}
    named = re.findall(r"`([\w/]+\.py|\w+/\w+/)`", ENGINEERS)
    assert len(named) > 60
    for name in named:
        assert name in inside or any((room / name).exists() for room in rooms), name


def test_the_example_configuration_is_toml_that_names_a_built_in_schedule() -> None:
    text = (ROOT / "config" / "brooder.toml").read_text(encoding="utf-8")
    tomllib.loads(text)
    (named,) = re.findall(r'# schedule = "(\w+)"', text)
    assert named in BUILT_IN


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-test.lock"])
def test_the_lock_holds_what_the_program_asks_for(lock: str) -> None:
    text = (ROOT / "deploy" / lock).read_text(encoding="utf-8")
    locked = dict(re.findall(r"^([\w.-]+)==(\S+)", text, re.MULTILINE))
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    for line in project["dependencies"]:
        wanted = Requirement(line)
        assert locked[wanted.name] in wanted.specifier, line


def test_the_top_level_holds_what_the_layout_says() -> None:
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "monitor",
        "config",
        "deploy",
        "tests",
    }
    ignored = {"state", "build"}
    ignored |= {"night.db", "night.png", "batch.html", "page.html"}  # what README's examples write
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    found = {name for name in found if not name.endswith(".egg-info")} - ignored
    assert found == allowed
