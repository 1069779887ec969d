"""Every form of an answer that a button board may publish."""

from types import SimpleNamespace

import pytest

from monitor.events import Entry, EntryKind, Moment
from monitor.intake.inbox import MqttMessage
from monitor.service.commands_by_mqtt import obey

NOW = Moment(1770693330.0, 50.0)
TOPIC = "brooder/acknowledge"


def answered(payload: bytes) -> tuple[list[Entry], list[str]]:
    """What was entered, and why it was refused."""
    entered: list[Entry] = []
    refused: list[str] = []
    core = SimpleNamespace(
        enter=lambda entry, _now: entered.append(entry),
        hearing=SimpleNamespace(refuse=lambda _topic, why, _payload, _at: refused.append(why)),
    )
    assert obey(core, "brooder", MqttMessage(TOPIC, payload, NOW, None), NOW)  # type: ignore[arg-type]
    return entered, refused


@pytest.mark.parametrize(
    ("payload", "brooder", "alarm", "by"),
    [
        (b"", None, None, "mqtt"),
        (b"porch", "porch", None, "mqtt"),
        (b"porch/cold", "porch", "cold", "mqtt"),
        (b"{}", None, None, "mqtt"),
        (b'{"brooder": "porch"}', "porch", None, "mqtt"),
        (b'{"brooder": "porch", "alarm": "cold", "by": "door"}', "porch", "cold", "door"),
    ],
)
def test_an_answer_comes_as_words_or_as_json(payload, brooder, alarm, by):
    said = Entry(at=NOW.at, entry=EntryKind.ACKNOWLEDGE, brooder=brooder, alarm=alarm, by=by)
    assert answered(payload) == ([said], [])


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"porch/wet", '"wet" is no alarm'),
        (b"{porch", "is not JSON"),
        (b'{"brooder": 7}', '"brooder" must be text'),
        (b"\xff", "utf-8"),
    ],
)
def test_what_is_no_answer_is_refused_and_the_reason_is_kept(payload, why):
    entered, (said,) = answered(payload)
    assert not entered
    assert why in said
