"""Senders have turns: whoever floods waits behind its own messages, nobody behind them."""

from threading import Thread

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.patience import LEAST_S

from monitor.events import Moment
from monitor.intake import inbox as inbox_module
from monitor.intake.inbox import GATHERED, MOST_BYTES_OF_ONE, AckToken, Inbox, MqttMessage


def message(sender: str, number: int, size: int = 4, *, acknowledged: bool = True) -> MqttMessage:
    return MqttMessage(
        f"brooder/{sender}",
        number.to_bytes(4, "big") + bytes(max(0, size - 4)),
        Moment(0, 0),
        AckToken(1, number + 1) if acknowledged else None,
        origin=sender,
    )


def test_who_had_nothing_waiting_comes_before_a_backlog_of_packs():
    inbox = Inbox()
    for number in range(60):
        inbox.put(message("mad", number, 45_000))
    assert [m.origin for m in inbox.take(500, 0)] == ["mad"], "one pack is enough for a round"
    inbox.put(message("floor", 0))
    assert inbox.take(500, 0)[0].origin == "floor"


def test_two_that_flood_and_one_that_trickles_have_turns_alike():
    inbox = Inbox()
    for number in range(30):
        inbox.put(message("mad", number, 45_000))
        inbox.put(message("madder", number, 45_000))
    waited = []
    for number in range(10):
        inbox.put(message("floor", number))
        rounds = 1
        while "floor" not in [m.origin for m in inbox.take(500, 0)]:
            rounds += 1
        waited.append(rounds)
    assert max(waited) <= 3


def test_one_sender_cannot_fill_it():
    inbox = Inbox()
    size = 60_000
    kept = [inbox.put(message("mad", n, size)) for n in range(2 * MOST_BYTES_OF_ONE // size)]
    assert not all(kept)
    assert sum(kept) * size <= MOST_BYTES_OF_ONE
    assert inbox.put(message("floor", 0))


def test_all_together_cannot_fill_the_memory_and_what_is_acknowledged_has_places_of_its_own():
    inbox = Inbox()
    for sender in range(400):
        inbox.put(message(f"junk {sender}", 0, 60_000, acknowledged=False))
    waiting = sum(len(m.payload) for _ in range(400) for m in inbox.take(1, 0))
    assert waiting < 16 << 20
    for sender in range(400):
        inbox.put(message(f"junk {sender}", 0, 60_000, acknowledged=False))
    assert inbox.put(message("floor", 0))


@given(
    st.lists(
        st.one_of(st.tuples(st.sampled_from("abc"), st.integers(4, 40_000)), st.integers(1, 60))
    )
)
def test_nothing_is_lost_and_each_senders_messages_keep_their_order(steps):
    inbox = Inbox()
    put, taken = [], []
    for number, step in enumerate(steps):
        if isinstance(step, int):
            taken += inbox.take(step, 0)
        else:
            one = message(step[0], number, step[1])
            assert inbox.put(one)
            put.append(one)
        assert len(inbox) == len(put) - len(taken)
    while inbox:
        taken += inbox.take(500, 0)
    for sender in "abc":
        assert [m for m in taken if m.origin == sender] == [m for m in put if m.origin == sender]
    assert inbox._bytes == 0, "what was counted as it came is counted off again"


@pytest.fixture
def taken(monkeypatch: pytest.MonkeyPatch) -> tuple[Inbox, Thread, list[MqttMessage]]:
    """An inbox, whoever takes from it once in a thread, and what was taken. It gathers for long."""
    monkeypatch.setattr(inbox_module, "GATHER_S", 600.0)
    inbox, found = Inbox(), []
    return inbox, Thread(target=lambda: found.extend(inbox.take(500, 600.0)), daemon=True), found


def test_what_comes_in_quick_succession_is_taken_together(taken):
    inbox, reader, found = taken
    reader.start()
    for number in range(GATHERED):
        inbox.put(message("floor", number))
    reader.join(LEAST_S)
    assert len(found) == GATHERED


def test_who_is_woken_takes_what_there_is(taken):
    inbox, reader, found = taken
    inbox.put(message("floor", 0))
    reader.start()
    inbox.wake()
    reader.join(LEAST_S)
    assert len(found) == 1
