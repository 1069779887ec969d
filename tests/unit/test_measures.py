"""Measures are read as growers write them, and shown in the grower's own system alone."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from monitor.commands import build
from monitor.measures import in_units, length_m, length_shown, step_c, temp_c
from monitor.units import Unit

# NIST SP 811, 2008, appendix B.8: 1 ft = 0.3048 m, 1 in = 2.54 cm.
LENGTHS = {
    "5 ft": 1.524,
    "5 ft 6 in": 1.6764,
    "5'6\"": 1.6764,
    "5feet 6 inches": 1.6764,
    "60 in": 1.524,
    "2.5 ft": 0.762,
    "1.5 m": 1.5,
    "1,5 m": 1.5,
    "150cm": 1.5,
    "560 mm": 0.56,
}


@pytest.mark.parametrize("text", LENGTHS)
def test_a_length_is_read_with_its_unit(text: str) -> None:
    assert length_m(text) == pytest.approx(LENGTHS[text])


@pytest.mark.parametrize(
    "text", ["", " ", "5", "ft", "5 ft 6", "6 in 5 ft", "-5 ft", "5 yd", "wide"]
)
def test_what_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="unit with it"):
        length_m(text)


def test_temperatures_are_read_in_either_unit() -> None:
    assert temp_c("95 F") == temp_c("95°F") == pytest.approx(35.0)
    assert temp_c("-3.5 °C") == -3.5
    assert step_c("5 F") == pytest.approx(5 / 1.8)
    assert step_c("2.8 celsius") == 2.8
    for wrong in ("95", "F", "95 K", "warm"):
        with pytest.raises(ValueError, match="unit with it"):
            temp_c(wrong)


def test_a_length_is_shown_to_the_inch_or_the_centimetre() -> None:
    assert length_shown(1.5, Unit.FAHRENHEIT) == "4 ft 11 in"
    assert length_shown(1.524, Unit.FAHRENHEIT) == "5 ft"
    assert length_shown(0.56, Unit.FAHRENHEIT) == "1 ft 10 in"
    assert length_shown(0.2, Unit.FAHRENHEIT) == "8 in"
    assert length_shown(1.524, Unit.CELSIUS) == "1.52 m"
    assert in_units("plywood, 1/2 in", Unit.CELSIUS) == "plywood, 13 mm"
    assert in_units("75 mm of litter at 20 degC", Unit.FAHRENHEIT) == "3 in of litter at 68.0 °F"


# What a source itself is called is as it was printed: those lines begin with their number.
_OTHER_SYSTEM = {
    "fahrenheit": r"[0-9 ](m|cm|mm|m2|m3|m3/h|kg|g|°C|degC|K|W/kg|[A-Z]/m[23]\.K)(?=[ ,.)]|$)",
    "celsius": r"[0-9] (in|ft|sq ft|°F|lb|oz|cfm|R)(?=[ ,.)]|$)",
}


@pytest.mark.parametrize("units", _OTHER_SYSTEM)
def test_no_figure_is_shown_in_the_other_system(tmp_path: Path, units: str) -> None:
    file = tmp_path / "brooder.toml"
    box = '[[brooders]]\nname = "porch"\nlength = "5 ft"\nwidth = "5 ft"\n'
    file.write_text(f'[site]\nunits = "{units}"\n{box}', encoding="utf-8")
    said = CliRunner().invoke(build("sources"), ["sources", "--config", str(file)]).output
    said = re.sub(r"\d+ m \(\d+ ft\)", "", said)  # a caution that says both
    figures = [line for line in said.splitlines() if not re.match(r"\s+(\[\d+\]|http)", line)]
    assert len(figures) > 200
    strange = [line for line in figures if re.search(_OTHER_SYSTEM[units], line.split("  [")[0])]
    assert strange == []
