"""What plugs, switches, UPS and sensors of humidity send, and the words for what cannot be read."""

import json

import pytest
from support.engine_night import a_meter

from monitor.events import Measured, Moment
from monitor.intake.payload import Rejected, read, read_all
from monitor.intake.worth_keeping import WorthKeeping
from monitor.quantities import CONTACT, COVER, HUMIDITY, MAINS, POWER, Quantity
from monitor.site import Meter

NOW = Moment(1770693330.0, 5000.0)


def meter(quantity: Quantity, **given: str) -> Meter:
    known = {"brooder": "porch", "name": None, "topic": "t"}
    return Meter(**(known | given), quantity=quantity)  # type: ignore[arg-type]


def value(payload: bytes | str | object, of: Meter) -> float:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    found = read(raw, of, NOW)
    assert isinstance(found, Measured), found
    assert (found.meter, found.at) == (of.key, NOW.at)
    return found.value


@pytest.mark.parametrize(
    ("quantity", "payload", "said"),
    [
        (POWER, b"243.5", 243.5),
        (POWER, b"243,5 W", 243.5),
        (POWER, b"0", 0.0),
        (HUMIDITY, b"61 %", 61.0),
        (COVER, b"OPEN", 1.0),
        (COVER, b'"closed"', 0.0),
        (COVER, b"false", 0.0),
        (CONTACT, b"true", 1.0),  # made: shut
        (MAINS, b"OL", 1.0),
        (MAINS, b"OL CHRG LB", 1.0),  # charging an empty battery is mains
        (MAINS, b"OB DISCHRG", 0.0),
        (MAINS, b"OB DISCHRG LB", -1.0),
        (MAINS, b"1\n", 1.0),
        (MAINS, b"Discharging", 0.0),
    ],
)
def test_a_bare_word_is_read_as_boards_and_switches_say_it(quantity, payload, said):
    assert value(payload, meter(quantity)) == said


def test_a_pointer_finds_numbers_words_and_truths():
    said = {"power": 243.5, "ups": {"status": "OB LB"}, "contact": False, "open": True, "rh": "61"}
    assert value(said, meter(POWER, value_pointer="/power")) == 243.5
    assert value(said, meter(MAINS, value_pointer="/ups/status")) == -1.0
    assert value(said, meter(CONTACT, value_pointer="/contact")) == 0.0
    assert value(said, meter(COVER, value_pointer="/open")) == 1.0
    assert value(said, meter(HUMIDITY, value_pointer="/rh")) == 61.0


def test_senml_is_known_by_its_unit_and_a_state_by_its_word():
    pack = [
        {"bn": "porch/", "n": "temp", "u": "Cel", "v": 33.4},
        {"n": "air", "u": "%RH", "v": 61},
        {"n": "plug", "u": "W", "v": 243.5},
        {"n": "lid", "vb": True},
        {"n": "ups", "vs": "OB"},
    ]
    assert value(pack, meter(HUMIDITY)) == 61
    assert value(pack, meter(POWER)) == 243.5
    assert value(pack, meter(COVER, senml_name="porch/lid")) == 1.0
    assert value(pack, meter(MAINS, senml_name="porch/ups")) == 0.0
    found = read(json.dumps([*pack, {"n": "b", "u": "W", "v": 2}]).encode(), meter(POWER), NOW)
    assert isinstance(found, Rejected)
    assert "several" in found.reason


@pytest.mark.parametrize(
    ("quantity", "payload", "words"),
    [
        (POWER, b"on", "is \"on\", not a number"),
        (POWER, b"99999", "is 99999 W; power lies from -50 to 10000 W"),
        (HUMIDITY, b"-1", "is -1 %; humidity lies from 0 to 100 %"),
        (COVER, b"ajar", "it must be one of"),
        (COVER, b"0.5", "it must be one of"),
        (MAINS, b"", "is empty"),
        (POWER, b'{"power": 3}', "name the place of the value"),
        (HUMIDITY, b'[{"n": "a", "u": "Cel", "v": 3}]', "holds no humidity (unit %RH)"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_named_with_what_would_be_right(quantity, payload, words):
    (found,) = read_all(payload, meter(quantity), NOW)
    assert isinstance(found, Rejected)
    assert words in found.reason


def test_kept_is_what_differs_the_word_after_it_and_one_a_minute():
    plug = a_meter(POWER, source="west lamp")
    worth = WorthKeeping()
    kept = []
    for second, watts in enumerate([243.0] * 100 + [0.4] * 5 + [243.0] * 80):
        said = Measured(second, second, plug.key, watts)
        if worth.is_it(said, POWER):
            kept.append((second, watts))
    assert kept == [
        (0, 243.0), (1, 243.0), (61, 243.0),
        (100, 0.4), (101, 0.4), (105, 243.0), (106, 243.0), (166, 243.0),
    ]  # fmt: skip
