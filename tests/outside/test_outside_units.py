"""Temperature conversion against fixed points that hold by definition or by standard."""

import pytest

from monitor.units import (
    Unit,
    from_celsius,
    shown,
    step_from_celsius,
    step_shown,
    to_celsius,
)

# degC, degF, K. Exact by definition: BIPM, The International System of Units, 9th edition 2019,
# 2.3.1 (K = degC + 273.15); NIST SP 811, 2008, B.8 (degF = 1.8 degC + 32).
POINTS = [
    (-273.15, -459.67, 0.0),  # absolute zero
    (-40.0, -40.0, 233.15),  # where the two scales meet
    (-17.777777777777779, 0.0, 255.37222222222223),
    (0.0, 32.0, 273.15),  # ice point
    (0.01, 32.018, 273.16),  # triple point of water, ITS-90
    (29.7646, 85.57628, 302.9146),  # melting gallium, ITS-90
    (100.0, 212.0, 373.15),
    (35.0, 95.0, 308.15),  # first week
    (37.0, 98.6, 310.15),
]


@pytest.mark.parametrize(("celsius", "fahrenheit", "kelvin"), POINTS)
def test_fixed_points_both_ways(celsius, fahrenheit, kelvin):
    assert to_celsius(fahrenheit, Unit.FAHRENHEIT) == pytest.approx(celsius, abs=1e-9)
    assert to_celsius(kelvin, Unit.KELVIN) == pytest.approx(celsius, abs=1e-9)
    assert to_celsius(celsius, Unit.CELSIUS) == celsius
    assert from_celsius(celsius, Unit.FAHRENHEIT) == pytest.approx(fahrenheit, abs=1e-9)
    assert from_celsius(celsius, Unit.KELVIN) == pytest.approx(kelvin, abs=1e-9)


@pytest.mark.parametrize(("kelvins", "degrees_f"), [(2.8, 5.04), (5.6, 10.08), (0.5, 0.9)])
def test_a_difference_has_no_offset(kelvins, degrees_f):
    # NIST SP 811, B.8: an interval of 1 K is 1 degC and 1.8 degF
    assert step_from_celsius(kelvins, Unit.FAHRENHEIT) == pytest.approx(degrees_f)
    assert step_from_celsius(kelvins, Unit.CELSIUS) == kelvins
    assert step_from_celsius(kelvins, Unit.KELVIN) == kelvins


@pytest.mark.parametrize(
    ("celsius", "unit", "text"),
    [
        (35.0, Unit.FAHRENHEIT, "95.0 °F"),
        (32.222222, Unit.FAHRENHEIT, "90.0 °F"),
        (31.84, Unit.CELSIUS, "31.8 °C"),
        (-0.04, Unit.CELSIUS, "0.0 °C"),  # never "-0.0"
        (-17.78, Unit.FAHRENHEIT, "0.0 °F"),
        (21.05, Unit.KELVIN, "294.2 K"),
    ],
)
def test_as_a_grower_reads_it(celsius, unit, text):
    # SI brochure 5.4.3: a space between number and sign
    assert shown(celsius, unit) == text


def test_a_step_of_the_schedule_reads_as_five_degrees_fahrenheit():
    assert step_shown(5 / 1.8, Unit.FAHRENHEIT) == "5.0 °F"
    assert step_shown(2.8, Unit.CELSIUS) == "2.8 °C"
