"""Each form a probe may send, and the words for each that cannot be read."""

import json

import pytest
from jsonpointer import JsonPointerException, resolve_pointer
from support.journals import floor_probe as probe

from monitor.events import BadValue, Moment, Reading
from monitor.intake.payload import Rejected, read, read_all
from monitor.units import Unit

NOW = Moment(1770693330.0, 5000.0)  # 2026-02-10T03:15:30Z


@pytest.mark.parametrize(
    ("payload", "temp_c"),
    [
        (b"33.4", 33.4),
        (b" 33,4 \r\n", 33.4),
        (b"+33.4", 33.4),
        (b"-4", -4.0),
        (b".5", 0.5),
        (b"334e-1", 33.4),
        (b'"33.4"', 33.4),
        (b"33.4\x00", 33.4),
        (b"\xef\xbb\xbf33.4", 33.4),
        ("33.4 °C".encode(), 33.4),
        (b"33.4C", 33.4),
    ],
)
def test_a_bare_number_is_read_as_people_and_boards_write_it(payload, temp_c):
    assert read(payload, probe(), NOW) == Reading(NOW.at, NOW.tick, "porch/floor", temp_c)


@pytest.mark.parametrize(
    ("unit", "payload", "temp_c"),
    [(Unit.FAHRENHEIT, b"95", 35.0), (Unit.KELVIN, b"308.15", 35.0), (Unit.FAHRENHEIT, b"95F", 35)],
)
def test_the_probes_unit_is_turned_into_celsius_and_its_offset_added(unit, payload, temp_c):
    outcome = read(payload, probe(unit=unit, offset_c=0.3), NOW)
    assert isinstance(outcome, Reading)
    assert outcome.temp_c == pytest.approx(temp_c + 0.3)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "is empty"),
        (b"\xff\xfe", "is not text (wrong UTF-8)"),
        (b"warm", 'is "warm", not a number'),
        (b"nan", "is nan: the probe itself knows no temperature"),
        (b"-Infinity", "is -Infinity: the probe itself knows no temperature"),
        (b"1e999", "is not a finite number"),
        (b"1_0", 'is "1_0", not a number'),
        (b"92.1 F", 'says "92.1 F", but the probe is configured as celsius'),
        (
            b'{"temperature":33.4}',
            'is a JSON object; name the place of the value, such as value = "/temperature"',
        ),
        (b"\x1b[2J", 'is "\\u001b[2J", not a number'),
    ],
)
def test_what_is_not_a_number_is_refused_in_words(payload, reason):
    assert read(payload, probe(), NOW) == Rejected(NOW.at, NOW.tick, "porch/floor", reason)


@pytest.mark.parametrize(
    ("document", "reason"),
    [
        ("{", "is not JSON (Expecting property name enclosed in double quotes at character 1)"),
        ('{"humidity":50}', 'has no value at "/temperature"'),
        ('{"temperature":null}', "value at /temperature is null, not a number"),
        ('{"temperature":true}', "value at /temperature is true, not a number"),
        ('{"temperature":[1]}', "value at /temperature is a list, not a number"),
        ('{"temperature":"hot"}', 'value at /temperature is "hot", not a number'),
        ('{"temperature":NaN}', "holds NaN, which is not JSON"),
        ('{"temperature":1e999}', "value at /temperature is not a finite number"),
        ('{"temperature":' + "9" * 400 + "}", "value at /temperature is too large for a number"),
        ('{"temperature":' + "9" * 5000 + "}", "holds a number of thousands of digits"),
        ("[" * 60_000, "is nested too deeply"),
    ],
)
def test_json_without_a_number_at_the_pointer_is_refused_in_words(document, reason):
    refused = read(document.encode(), probe(value_pointer="/temperature"), NOW)
    absent = reason.startswith("has no value")
    assert refused == Rejected(NOW.at, NOW.tick, "porch/floor", reason, absent)


@pytest.mark.parametrize("word", ["null", "true", "12", "1e999", "[]", "{}", '"off"'])
def test_a_word_where_json_was_expected_is_the_probes_own_fault_and_no_other_sensors_message(word):
    refused = read(word.encode(), probe(value_pointer="/temperature"), NOW)
    assert isinstance(refused, Rejected)
    assert not refused.absent


@pytest.mark.parametrize("value", [33.4, "33.4", "33,4 "])
def test_json_is_read_at_its_pointer(value):
    payload = json.dumps({"inside": [{"temperature": value}]}).encode()
    outcome = read(payload, probe(value_pointer="/inside/0/temperature"), NOW)
    assert outcome == Reading(NOW.at, NOW.tick, "porch/floor", 33.4)


@pytest.mark.parametrize(
    "stamp",
    [
        "2026-02-10T02:15:30Z",
        "2026-02-10T02:15:30+00:00",
        "2026-02-09T20:15:30-06:00",
        1770689730,
        "1770689730",
        1770689730000,
    ],
)
def test_a_stamped_reading_bears_its_own_time_on_both_clocks(stamp):
    payload = json.dumps({"c": 33.4, "t": stamp}).encode()
    outcome = read(payload, probe(value_pointer="/c", time_pointer="/t"), NOW)
    assert outcome == Reading(1770689730.0, NOW.tick - 3600, "porch/floor", 33.4)


@pytest.mark.parametrize(
    "stamp",
    [
        "tomorrow",
        "2026-02-10T02:15:30",  # of which zone?
        "0001-01-01T00:00:00+14:00",  # before the first year
        None,
        {},
        10**400,
        4102444800,  # in the future
        946684800,  # more than a week old
    ],
)
def test_a_reading_with_a_bad_stamp_is_still_a_reading(stamp):
    payload = json.dumps({"c": 33.4, "t": stamp}).encode()
    (outcome,) = read_all(payload, probe(value_pointer="/c", time_pointer="/t"), NOW)
    assert outcome == Reading(NOW.at, NOW.tick, "porch/floor", 33.4)


def test_a_stamp_in_a_message_that_the_broker_held_is_judged_by_its_arrival():
    """The likely time of sending is a guess; the probe's own stamp is not."""
    likely = Moment(NOW.at - 3600, NOW.tick - 3600)
    stamped = probe(value_pointer="/c", time_pointer="/t")
    payload = json.dumps({"c": 33.4, "t": NOW.at - 600}).encode()
    outcome = read(payload, stamped, likely, arrived=NOW)
    assert outcome == Reading(NOW.at - 600, NOW.tick - 600, "porch/floor", 33.4)
    assert read(b"33.4", probe(), likely, arrived=NOW) == Reading(*likely, "porch/floor", 33.4)


@pytest.mark.parametrize(
    ("unit", "payload", "words"),
    [
        (Unit.CELSIUS, b"85", "power-up value"),
        (Unit.CELSIUS, b"85.000", "power-up value"),
        (Unit.FAHRENHEIT, b"185.0", "power-up value"),
        (Unit.CELSIUS, b"-127", "no sensor answers"),
        (Unit.FAHRENHEIT, b"-196.6", "no sensor answers"),
        (Unit.CELSIUS, b"127.94", "too weak"),
        (Unit.CELSIUS, b"127.9375", "too weak"),
        (Unit.KELVIN, b"0", "colder than any sensor"),
        (Unit.CELSIUS, b"400", "hotter than any brooder"),
        (Unit.CELSIUS, b"1e300", "far beyond any temperature"),
    ],
)
def test_what_no_floor_can_be_is_a_bad_value_with_a_reason(unit, payload, words):
    outcome = read(payload, probe(unit=unit, offset_c=0.5), NOW)
    assert isinstance(outcome, BadValue)
    assert words in outcome.reason


@pytest.mark.parametrize("payload", [b"84.9375", b"85.0625", b"127.9", b"-40", b"60", b"149"])
def test_a_hot_or_cold_but_possible_value_is_taken(payload):
    assert isinstance(read(payload, probe(), NOW), Reading)


def senml(*records: dict) -> bytes:
    return json.dumps(records).encode()


def test_a_pack_of_a_days_buffer_gives_every_reading_in_time_order():
    payload = senml(
        {"bn": "floor", "bt": NOW.at, "bu": "Cel", "v": 33.0},
        {"t": -60, "v": 32.0},
        {"t": -30, "v": 32.5},
    )
    outcomes = read_all(payload, probe(), NOW)
    assert [(o.at - NOW.at, o.temp_c) for o in outcomes if isinstance(o, Reading)] == [
        (-60, 32.0),
        (-30, 32.5),
        (0, 33.0),
    ]
    assert read(payload, probe(), NOW) == outcomes[-1]


def test_a_senml_unit_outweighs_the_configured_one():
    outcome = read(senml({"n": "a", "u": "K", "v": 308.15}), probe(unit=Unit.FAHRENHEIT), NOW)
    assert isinstance(outcome, Reading)
    assert outcome.temp_c == pytest.approx(35.0)


def test_of_several_quantities_the_temperature_is_taken():
    payload = senml({"bn": "x:", "n": "t", "u": "Cel", "v": 33.4}, {"n": "h", "u": "%RH", "v": 55})
    outcome = read(payload, probe(), NOW)
    assert isinstance(outcome, Reading)
    assert outcome.temp_c == 33.4


def test_of_several_temperatures_one_must_be_named():
    payload = senml({"n": "in", "u": "Cel", "v": 33.4}, {"n": "out", "u": "Cel", "v": 5})
    refused = read(payload, probe(), NOW)
    assert isinstance(refused, Rejected)
    assert refused.reason == 'SenML pack holds several temperatures ("in", "out"); name one of them'
    assert read(payload, probe(senml_name="out"), NOW) == Reading(
        NOW.at, NOW.tick, "porch/floor", 5.0
    )


@pytest.mark.parametrize(
    ("pack", "reason"),
    [
        ("[]", "SenML: is an empty pack"),
        ("[1]", "SenML: record 0 is not an object"),
        ('[{"v":1}]', "SenML: record 0 has no name"),
        ('[{"n":"a","v":"1"}]', "SenML: record 0 has a v that is not a number"),
        ('[{"n":"a","bver":11,"v":1}]', "SenML: is version 11; 10 is known"),
        ('[{"n":"a","must_":1,"v":1}]', "SenML: record 0 needs 'must_', which is not known"),
        ('[{"n":"a","u":"W","v":1}]', "SenML pack holds no temperature (unit Cel or K)"),
    ],
)
def test_a_pack_that_cannot_be_used_is_refused_in_words(pack, reason):
    refused = read(pack.encode(), probe(), NOW)
    assert isinstance(refused, Rejected)
    assert refused.reason == reason


def test_a_probe_that_tells_its_fault_in_words_gives_a_bad_value():
    outcome = read(senml({"n": "28-0", "vs": "the bus is shorted"}), probe(), NOW)
    assert outcome == BadValue(
        NOW.at, NOW.tick, "porch/floor", 'the probe says: "the bus is shorted"', None
    )


@pytest.mark.parametrize(
    "pointer",
    [
        "/a/0/t",
        "/a/1/t",
        "/a/01/t",
        "/a/-/t",
        "/a/2/t",
        "/a/0/t/0",
        "/b/0",
        "/b/00",
        "/c",
        "/0",
        "",
    ],
)
def test_a_pointer_leads_where_the_library_of_the_standard_says(pointer: str) -> None:
    document = {"a": [{"t": 20.5}, {"t": [31.5]}], "b": {"0": 33.5, "00": 34.5}, "c": [1.5]}
    try:
        found = resolve_pointer(document, pointer)
    except JsonPointerException:
        found = None
    said = read(json.dumps(document).encode(), probe(value_pointer=pointer), NOW)
    if isinstance(found, float):
        assert isinstance(said, Reading)
        assert said.temp_c == found
    else:
        assert isinstance(said, Rejected)
