"""Formats against the examples of the documents that define them.

Sources: RFC 8428 "Sensor Measurement Lists (SenML)", 2018, sections 5.1 and 5.2, examples read in
the working group's repository (core-wg/senml-spec, ex1 to ex11); RFC 6901 "JavaScript Object
Notation (JSON) Pointer", 2013, section 5; OASIS "MQTT Version 5.0", 2019, section 4.7; DS18B20
datasheet, temperature/data table (from memory, its arithmetic checked) and 1-Wire checksum;
Linux kernel, Documentation/w1/slaves/w1_therm.rst."""

import json

import pytest
from support.journals import floor_probe as probe

from monitor.events import Moment, Reading
from monitor.intake.payload import read, read_all
from monitor.intake.senml import resolve
from monitor.intake.topics import filter_fault, matches, topic_fault
from monitor.intake.wires import WireFault, crc8, decode

NOW = 1770693330.0


# --- SenML -------------------------------------------------------------------------------------


def test_senml_5_1_1_single_data_point():
    pack = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
    (record,) = resolve(json.loads(pack), NOW)
    assert record[:4] == ("urn:dev:ow:10e2073a01080063", "Cel", 23.1, NOW)
    assert read(pack.encode(), probe(), Moment(NOW, 7.0)) == Reading(NOW, 7.0, "porch/floor", 23.1)


def test_senml_5_1_2_multiple_data_points():
    pack = json.loads(
        '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},'
        '{"n":"current","u":"A","v":1.2}]'
    )
    assert [record[:4] for record in resolve(pack, NOW)] == [
        ("urn:dev:ow:10e2073a01080063:voltage", "V", 120.1, NOW),
        ("urn:dev:ow:10e2073a01080063:current", "A", 1.2, NOW),
    ]


def test_senml_5_1_2_second_example_resolves_as_in_5_1_4():
    pack = json.loads(
        '[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,'
        '"n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},'
        '{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":0.14e1},'
        '{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]'
    )
    resolved = resolve(pack, NOW)
    currents = [(r.unit, r.value, round(r.at, 3)) for r in resolved if r.name.endswith(":current")]
    assert currents == [
        ("A", value, 1276020071.001 + step)
        for step, value in enumerate([1.2, 1.3, 1.4, 1.5, 1.6, 1.7])
    ]
    (voltage,) = [r for r in resolved if r.name.endswith(":voltage")]
    assert (voltage.unit, voltage.value, round(voltage.at, 3)) == ("V", 120.1, 1276020076.001)
    assert [r.at for r in resolved] == sorted(r.at for r in resolved), "resolved: in time order"


def test_senml_5_1_3_base_time_and_base_unit_with_offsets():
    values = [21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7, 21.5, 21.5, 21.5]
    offsets = [0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 91, 92]
    pack: list[dict] = [{"v": v, "t": t} for v, t in zip(values, offsets, strict=True)]
    pack[0] = {"bn": "urn:dev:ow:10e2073a01080063", "bt": 1320067464, "bu": "%RH", "v": 21.2}
    assert [record[:4] for record in resolve(pack, NOW)] == [
        ("urn:dev:ow:10e2073a01080063", "%RH", value, 1320067464 + offset)
        for value, offset in zip(values, offsets, strict=True)
    ]


def test_senml_two_temperatures_with_absolute_times():
    pack = (
        b'[{"bn":"urn:dev:ow:10e2073a01080063","u":"Cel","t":1.276020076e+09,"v":23.5},'
        b'{"u":"Cel","t":1.276020091e+09,"v":23.6}]'
    )
    received = Moment(1276020100.0, 50.0)
    assert read_all(pack, probe(), received) == [
        Reading(1276020076.0, 26.0, "porch/floor", 23.5),
        Reading(1276020091.0, 41.0, "porch/floor", 23.6),
    ]


@pytest.mark.parametrize(
    ("time", "absolute"),
    [
        (2**28, 2**28),  # section 4.5.3: 2**28 and above are absolute
        (2**28 - 1, NOW + 2**28 - 1),
        (0, NOW),
        (-1, NOW - 1),
        (897845.67 - 1, NOW + 897844.67),  # a third party's example, cisco/senml
    ],
)
def test_senml_times_below_two_to_the_28th_count_from_now(time, absolute):
    (record,) = resolve([{"n": "a", "t": time, "v": 1}], NOW)
    assert record.at == pytest.approx(absolute, abs=1e-3)


def test_senml_4_4_labels_that_must_be_understood_and_others():
    assert resolve([{"n": "a", "v": 1, "color": "red"}], NOW)
    with pytest.raises(Exception, match="must_"):
        resolve([{"n": "a", "v": 1, "must_": 1}], NOW)


# --- JSON Pointer ------------------------------------------------------------------------------

RFC_6901_DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_json_pointer_section_5_numbers(pointer, value):
    payload = json.dumps(RFC_6901_DOCUMENT).encode()
    outcome = read(payload, probe(value_pointer=pointer), Moment(NOW, NOW))
    assert outcome == Reading(NOW, NOW, "porch/floor", float(value))


@pytest.mark.parametrize(
    ("pointer", "words"),
    [
        ("", "is an object"),  # the whole document
        ("/foo", "is a list"),
        ("/foo/0", 'is "bar"'),
        ("/foo/2", "has no value"),
        ("/foo/-", "is an object"),  # section 4: the element after the last, which is not there
        ("/foo/00", "has no value"),  # section 4: no leading zeros
    ],
)
def test_json_pointer_section_4_and_5_that_lead_to_no_number(pointer, words):
    payload = json.dumps(RFC_6901_DOCUMENT).encode()
    outcome = read(payload, probe(value_pointer=pointer), Moment(NOW, NOW))
    assert not isinstance(outcome, Reading)
    assert words in outcome.reason


# --- MQTT topics -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pattern", "topic", "fits"),
    [
        # 4.7.1.2, multi-level wildcard
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
        ("sport/#", "sport", True),
        ("#", "anything/at/all", True),
        # 4.7.1.3, single-level wildcard
        ("sport/tennis/+", "sport/tennis/player1", True),
        ("sport/tennis/+", "sport/tennis/player2", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
        ("+/tennis/#", "sport/tennis/x", True),
        ("+/+", "/finance", True),
        ("/+", "/finance", True),
        ("+", "/finance", False),
        # 4.7.2, topics beginning with $
        ("#", "$SYS/monitor/Clients", False),
        ("+/monitor/Clients", "$SYS/monitor/Clients", False),
        ("$SYS/#", "$SYS/monitor/Clients", True),
        ("$SYS/monitor/+", "$SYS/monitor/Clients", True),
        # 4.7.3, topic semantics
        ("ACCOUNTS", "Accounts", False),
        ("Accounts payable", "Accounts payable", True),
        ("/finance", "finance", False),
    ],
)
def test_mqtt_4_7_topic_filters(pattern, topic, fits):
    assert matches(pattern, topic) is fits


@pytest.mark.parametrize(
    ("pattern", "valid"),
    [
        ("#", True),
        ("sport/tennis/#", True),
        ("sport/tennis#", False),
        ("sport/tennis/#/ranking", False),
        ("+", True),
        ("+/tennis/#", True),
        ("sport+", False),
        ("sport/+/player1", True),
        ("", False),
    ],
)
def test_mqtt_4_7_1_which_filters_are_valid(pattern, valid):
    assert (filter_fault(pattern) is None) is valid


@pytest.mark.parametrize(
    "topic", ["brooder/+/floor", "brooder/#", "", "a\0b", "$SYS/x", "x" * 65536]
)
def test_mqtt_4_7_3_what_is_no_topic_name_to_publish_on(topic):
    assert topic_fault(topic) is not None


# --- DS18B20 -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "temp_c"),
    [
        (0x07D0, 125.0),
        (0x0550, 85.0),
        (0x0191, 25.0625),
        (0x00A2, 10.125),
        (0x0008, 0.5),
        (0x0000, 0.0),
        (0xFFF8, -0.5),
        (0xFF5E, -10.125),
        (0xFE6F, -25.0625),
        (0xFC90, -55.0),
    ],
)
def test_ds18b20_temperature_data_table(data, temp_c):
    # Byte 6 after a real conversion at 12 bits: sixteen less the fraction.
    body = bytes([data & 0xFF, data >> 8, 0x4B, 0x46, 0x7F, 0xFF, 0x10 - (data & 0xF), 0x10])
    crc = crc8(body)
    text = " ".join(f"{byte:02x}" for byte in body + bytes([crc]))
    assert decode(f"{text} : crc={crc:02x} YES\n{text} t=0\n") == temp_c


@pytest.mark.parametrize(
    ("line", "temp_c"),
    [
        ("72 01 4b 46 7f ff 0e 10 57 : crc=57 YES", 23.125),
        ("91 01 4b 46 7f ff 0f 10 25 : crc=25 YES", 25.0625),
        ("5e ff 4b 46 7f ff 02 10 b6 : crc=b6 YES", -10.125),
    ],
)
def test_w1_slave_lines_with_their_checksums(line, temp_c):
    scratchpad = bytes.fromhex(line[:26])
    assert crc8(scratchpad[:8]) == scratchpad[8]
    assert decode(f"{line}\n{line[:26]} t=0\n") == temp_c


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("50 05 4b 46 7f ff 0c 10 1c : crc=1c YES", "power-up"),
        ("00 00 00 00 00 00 00 00 00 : crc=00 YES", "shorted"),
        ("ff ff ff ff ff ff ff ff ff : crc=c9 NO", "nothing answers"),
        ("72 01 4b 46 7f ff 0e 11 57 : crc=8d NO", "checksum"),
    ],
)
def test_w1_slave_lines_that_are_no_temperature(line, words):
    with pytest.raises(WireFault, match=words):
        decode(f"{line}\n{line[:26]} t=23125\n")


def test_one_wire_checksum_of_the_application_notes_example():
    """ROM code 02 1C B8 01 00 00 00, checksum A2 (Maxim application note 27; from memory)."""
    assert crc8(bytes.fromhex("021cb801000000")) == 0xA2
