"""Whatever comes over the air becomes readings or reasons, and never an exception."""

import json
import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.journals import floor_probe as probe

from monitor.events import BadValue, Moment, Reading
from monitor.intake.payload import MAX_PAYLOAD_BYTES, Rejected, read, read_all
from monitor.intake.plausible import HIGHEST_C, LOWEST_C
from monitor.site import Probe
from monitor.units import Unit, from_celsius

NOW = Moment(1770693330.0, 5000.0)


BARE = probe()
PROBES = [
    BARE,
    probe(unit=Unit.FAHRENHEIT),
    probe(unit=Unit.KELVIN, offset_c=-0.5),
    probe(value_pointer="/temperature"),
    probe(value_pointer="/a/0/b", time_pointer="/time"),
    probe(value_pointer="", time_pointer="/t"),
    probe(senml_name="urn:dev:ow:10e2073a01080063"),
]

json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["33.4", "33,4", "nan", "2026-02-10T02:15:30Z", "10000-01-01"]),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["temperature", "a", "b", "t", "time", "n", "bn", "bt", "v", "u", "bu"])
            | st.text(max_size=4),
            inner,
            max_size=5,
        )
    ),
    max_leaves=12,
)
payloads = (
    st.binary(max_size=200)
    | st.text(max_size=60).map(str.encode)
    | json_values.map(lambda value: json.dumps(value).encode())
    | st.floats().map(lambda value: repr(value).encode())
    | st.from_regex(rb"\A[ \t]*[-+]?[0-9]{0,3}[.,]?[0-9]{0,3} ?[CFK]?[ \n]*\Z")
)

# Kept for ever: what breaks decoders in general, and what the search below came upon.
FOUND = [
    b"",
    b" ",
    b"\x00",
    b"\xff\xfe33.4",
    b"nan",
    b"-Infinity",
    b"1e999",
    b"-2e255",
    b"1_000",
    b"0x21",
    "٣٣".encode(),
    b"true",
    b"null",
    b'"33.4"',
    b"[" * 60_000,
    b'{"a":' * 10_000,
    b"9" * 5000,
    b'{"temperature":' + b"9" * 5000 + b"}",
    b'{"temperature":NaN}',
    b'{"temperature":1e999}',
    b'{"temperature":true}',
    b'{"temperature":{"x":1}}',
    b'{"temperature":"33.4","time":"0000-00-00T00:00:00Z"}',
    b'{"a":[{"b":1}],"time":1e300}',
    b'{"a":[{"b":1}],"time":"9999-12-31T23:59:59-23:59"}',
    b'{"a":[{"b":1}],"time":"0001-01-01T00:00:00+23:59"}',
    b'{"a":{"-":1}}',
    b'[{"n":"a","v":1e308,"bv":1e308}]',
    b'[{"bn":1}]',
    b'[{"n":"a","u":"Cel","v":true}]',
    b'[{"n":"a","u":"Cel","t":1e308,"bt":1e308,"v":1}]',
    b"1" + b" " * 60_000 + b"x",
]


def check(payload: bytes, one: Probe) -> None:
    newest = read(payload, one, NOW)
    outcomes = read_all(payload, one, NOW)
    assert outcomes
    for outcome in (newest, *outcomes):
        assert isinstance(outcome, Reading | Rejected | BadValue)
        assert outcome.probe == one.key
        assert math.isfinite(outcome.at)
        assert math.isfinite(outcome.tick)
        assert outcome.at <= NOW.at, "nothing was measured in the future"
        if isinstance(outcome, Reading):
            assert LOWEST_C <= outcome.temp_c - one.offset_c <= HIGHEST_C
        else:
            assert outcome.reason
            assert outcome.reason.isprintable(), "a reason goes to a terminal"
            assert len(outcome.reason) < 300
    assert newest == outcomes[-1], "the short way and the long way agree"
    assert [o.at for o in outcomes] == sorted(o.at for o in outcomes)


@pytest.mark.parametrize("one", PROBES, ids=range(len(PROBES)))
@pytest.mark.parametrize("payload", FOUND, ids=range(len(FOUND)))
def test_every_case_ever_found_becomes_a_reading_or_a_reason(payload, one):
    check(payload, one)


@settings(max_examples=600, deadline=None)
@given(payload=payloads, one=st.sampled_from(PROBES))
@example(payload=b"33,4 ", one=BARE)
def test_any_payload_becomes_readings_or_a_reason(payload, one):
    check(payload, one)


@settings(max_examples=300, deadline=None)
@given(temp_c=st.floats(-50, 84), unit=st.sampled_from(Unit), comma=st.booleans())
def test_a_written_temperature_reads_back_as_itself_in_every_unit(temp_c, unit, comma):
    text = f"{from_celsius(temp_c, unit):.6f}"
    payload = (text.replace(".", ",") if comma else text).encode()
    outcome = read(payload, probe(unit=unit), NOW)
    assert isinstance(outcome, Reading)
    assert outcome.temp_c == pytest.approx(temp_c, abs=2e-6)


@settings(max_examples=200, deadline=None)
@given(age_s=st.floats(-1e6, 1e7, allow_nan=False))
def test_a_stamp_is_believed_exactly_when_it_is_of_the_past_week(age_s):
    stamp = NOW.at - age_s
    payload = json.dumps({"temperature": 33.4, "t": stamp}).encode()
    (outcome,) = read_all(payload, probe(value_pointer="/temperature", time_pointer="/t"), NOW)
    assert isinstance(outcome, Reading)
    if 0 <= age_s <= 7 * 86400:
        assert outcome.at == stamp
        assert outcome.tick == pytest.approx(NOW.tick - age_s)
    else:
        assert (outcome.at, outcome.tick) == NOW


def test_a_payload_just_over_the_limit_is_refused_and_just_under_is_not():
    room = MAX_PAYLOAD_BYTES - len(b"33.4")
    assert isinstance(read(b"33.4" + b" " * room, BARE, NOW), Reading)
    refused = read(b"33.4" + b" " * (room + 1), BARE, NOW)
    assert isinstance(refused, Rejected)
    assert refused.reason == "is 65537 bytes long; at most 65536 are read"
