"""What is kept about junk stays small however much junk comes."""

import tomllib
import tracemalloc

import pytest

from monitor.events import Moment
from monitor.intake.guessing import guess
from monitor.intake.inbox import AckToken, Inbox, MqttMessage
from monitor.intake.refused import RefusedRecord, excerpt
from monitor.intake.topics import Router
from monitor.intake.unclaimed import Unclaimed, suggest
from monitor.site import Place, Probe


def test_ten_thousand_junk_topics_keep_the_latest_two_hundred():
    unclaimed = Unclaimed()
    for number in range(10_000):
        unclaimed.add(f"junk/{number}", b"x" * 5000, float(number))
    heard = unclaimed.latest()
    assert [one.topic for one in heard] == [f"junk/{n}" for n in range(9999, 9799, -1)]


def test_junk_does_not_grow_memory():
    unclaimed, refused = Unclaimed(), RefusedRecord()

    def flood(first: int) -> None:
        for number in range(first, first + 3000):
            unclaimed.add(f"junk/{number}" * 100, b"x" * 60_000, 0.0)
            refused.add(f"junk/{number}" * 100, f"reason {number}", b"x" * 60_000, 0.0)

    flood(0)
    tracemalloc.start()
    flood(10_000)
    grown, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert grown < 2_000_000, "entries are replaced, not added"


def test_refusals_are_counted_by_topic_and_kind_of_reason():
    record = RefusedRecord()
    assert record.add("t", "is 70000 bytes long", b"\x1b[31mred", 1.0).count == 1
    assert record.add("t", "is 80000 bytes long", b"b", 2.0).count == 2
    record.add("u", "is empty", b"", 3.0)
    latest = record.latest()
    assert [(k.topic, k.count, k.first_at, k.last_at) for k in latest] == [
        ("u", 1, 3.0, 3.0),
        ("t", 2, 1.0, 2.0),
    ]
    assert latest[1].reason == "is 80000 bytes long"


def test_an_excerpt_is_one_safe_line():
    shown = excerpt(b"\x1b[2J\r\nhello\x00" + "°".encode() + b"\xff" * 200)
    assert shown.isprintable()
    assert "hello" in shown
    assert len(shown) <= 81


UNSAFE = "yard/\x1b]0;owned\x07\x1b[2J\x9b31m\u202eLLEW LLA/t"


def test_a_topic_that_speaks_to_the_terminal_is_shown_without_what_it_says_to_it():
    unclaimed, refused = Unclaimed(), RefusedRecord()
    unclaimed.add(UNSAFE, b"21.5", 1.0)
    (heard,) = unclaimed.latest()
    assert heard.topic == "yard/·]0;owned··[2J·31m·LLEW LLA/t"
    assert suggest(heard, "porch") == "", "lines that would claim another topic"
    assert refused.add(UNSAFE, "is empty", b"", 1.0).topic == heard.topic
    unclaimed.add("Küche/temperatur °C", b"21.5", 2.0)
    assert unclaimed.latest()[0].topic == "Küche/temperatur °C"
    assert suggest(unclaimed.latest()[0], "porch")


def test_a_topic_that_is_cut_short_is_not_offered_to_be_claimed():
    unclaimed = Unclaimed()
    unclaimed.add("yard/" + "x" * 300, b"21.5", 1.0)
    assert suggest(unclaimed.latest()[0], "porch") == ""


def test_a_full_inbox_drops_and_counts_and_never_blocks():
    inbox = Inbox(most_waiting=3)
    kept = [inbox.put(MqttMessage("t", b"1", Moment(0, 0), AckToken(1, n))) for n in range(5)]
    assert kept == [True, True, True, False, False]
    assert inbox.dropped == 2
    assert [d.token.mid for d in inbox.take(2, 0) if d.token] == [0, 1]
    assert len(inbox) == 1


def test_a_woken_reader_returns_with_nothing():
    inbox = Inbox()
    inbox.wake()
    assert inbox.take(10, 60) == []


def floor(name: str, topic: str, pointer: str | None) -> Probe:
    return Probe(
        key=f"porch/{name}",
        brooder="porch",
        name=name,
        topic=topic,
        place=Place.FLOOR,
        value_pointer=pointer,
    )


def test_several_probes_read_different_places_of_one_topic():
    probes = [floor("a", "t", "/a"), floor("b", "t", "/b"), floor("c", "u", None)]
    router = Router(probes)
    assert [p.name for p in router.route("t")] == ["a", "b"]
    assert router.route("T") == ()


@pytest.mark.parametrize(
    ("payload", "pointer", "unit"),
    [
        (b"33.4", None, "celsius"),
        (b"33,4", None, "celsius"),
        (b"92.3", None, "fahrenheit"),
        (b'{"battery":80,"temperature":93.2,"humidity":44}', "/temperature", "fahrenheit"),
        (b'{"wires":{"first":{"id":"01","Temp":31.2}}}', "/wires/first/Temp", "celsius"),
        (b'{"temp_f":40.1,"rssi":-60}', "/temp_f", "fahrenheit"),
        (b'{"a/b":{"t~":"31.2"}}', "/a~1b/t~0", "celsius"),
        (b'[{"n":"x","u":"Cel","v":31.2}]', None, "celsius"),
    ],
)
def test_the_place_of_a_temperature_is_guessed(payload, pointer, unit):
    best = guess(payload)[0]
    assert (best.pointer, best.unit) == (pointer, unit)


@pytest.mark.parametrize(
    "payload", [b"", b"on", b'{"state":"ON"}', b"[" * 5000, b"\xff", b'{"rssi":-60}', b"true"]
)
def test_nothing_is_guessed_where_nothing_is(payload):
    assert guess(payload) == ()


def test_an_unclaimed_topic_comes_with_the_lines_that_would_claim_it():
    unclaimed = Unclaimed()
    unclaimed.add('yard/porch "west" lamp', b'{"temperature":93.2}', 1.0)
    (heard,) = unclaimed.latest()
    assert suggest(heard, "porch").splitlines() == [
        "[[brooders.probes]]",
        'name = "porch \\"west\\" lamp"',
        'topic = "yard/porch \\"west\\" lamp"',
        'place = "under-heat"',
        'unit = "fahrenheit"',
        'value = "/temperature"',
    ]
    (claimed,) = tomllib.loads(suggest(heard, None))["site"]["probes"]
    assert claimed["topic"] == heard.topic


def test_our_own_topics_are_nothing_to_claim_and_words_are_no_temperature() -> None:
    unclaimed = Unclaimed(ours=lambda topic: topic == "brooder/siren")
    unclaimed.add("brooder/siren", b"on", 0.0)
    unclaimed.add("porch/door", b"open", 0.0)
    (heard,) = unclaimed.latest()
    assert heard.topic == "porch/door"
    assert suggest(heard, "porch") == ""
