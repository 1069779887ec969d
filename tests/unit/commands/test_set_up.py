"""`brooder set-up` asks, shows the change, and writes it when told to; the rest stays."""

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from monitor.commands import build
from monitor.settings import load_settings

EXAMPLE = Path(__file__).parents[3] / "config" / "brooder.toml"


@pytest.fixture
def config(tmp_path: Path) -> Path:
    return Path(shutil.copy(EXAMPLE, tmp_path / "brooder.toml"))


def typed(config: Path, *lines: str, step: str | None = None) -> Result:
    words = ["set-up", *([step] if step else []), "--config", str(config)]
    return CliRunner().invoke(build("set-up"), words, input="\n".join(lines) + "\n")


def test_a_step_is_asked_shown_and_written_after_a_yes(config: Path) -> None:
    said = typed(config, "1", "", "6 ft", "5", "22 in", "", "foam", "", "5 ft", "y", step="box")
    assert 'It is "5", of which unit?' in said.output
    assert '-length = "5 ft"' in said.output
    assert '+cover = "foam"' in said.output
    box = load_settings(config, {}).site.brooders[0]
    assert (round(box.length_m, 2), box.cover) == (1.83, "foam")
    assert said.exit_code == 1, "nothing watches yet, and nobody is told"
    assert "! the watch: is not running." in said.output
    assert "! contacts: there are none" in said.output


def test_after_a_wrong_answer_enter_keeps_what_stood_there(config: Path) -> None:
    said = typed(config, "1", "", "five", "", "", "", "", "", "", step="box")
    assert said.output.count("Length inside [5 ft]") == 2
    assert "Nothing changes." in said.output


def test_without_the_yes_nothing_is_written(config: Path) -> None:
    typed(config, "Ridge", "", "", "n", step="site")
    assert config.read_text() == EXAMPLE.read_text()


def test_what_a_source_that_is_none_would_be_like_is_not_asked(config: Path) -> None:
    """A - takes the second lamp out; an empty third row ends the step."""
    said = typed(config, "", "", "", "", "", "-", "", "y", step="heat")
    assert "Source 2: its plug" not in said.output
    assert said.output.count("Watts") == 1
    heat = load_settings(config, {}).site.brooders[0].heat
    assert [source.name for source in heat] == ["west lamp"]


def test_where_a_meter_that_is_none_stands_is_not_asked(config: Path) -> None:
    said = typed(config, "", "", "home/cover", "", "2", "y", step="meters")
    assert "The UPS, the file" not in said.output
    assert "Humidity: where" not in said.output
    assert 'kind = "contact"' in said.output


def test_every_step_can_be_left_and_a_secret_is_not_printed(config: Path) -> None:
    answers = [
        "n",
        "n",
        "n",
        "n",
        "n",
        "y",
        "my phone",
        "json://127.0.0.1:9/secret-word",
        "",
        "",
        "y",
    ]
    said = typed(config, *answers, "y", "2", "twelve chicks", "", "y")
    assert "secret-word" not in said.output.replace(answers[7], "")
    assert "url_file" in said.output
    file = load_settings(config, {}).file
    assert [c.name for c in file.contacts] == ["my phone"]
    assert file.page.listen != "127.0.0.1"
    assert file.page.public_url is not None
    assert f"open {file.page.public_url}" in said.output


def test_what_it_cannot_do_is_one_line(config: Path) -> None:
    assert 'the step is "roof"; it must be one of site, box' in typed(config, step="roof").output
    config.write_text(config.read_text().replace("length", "lenght"))
    said = typed(config, step="box")
    assert said.exit_code == 2
    assert "lenght is not a setting; write length" in said.output
