"""A message that is in the journal is not counted again; any other is."""

from monitor.events import Moment
from monitor.intake.inbox import AckToken, MqttMessage
from monitor.intake.redelivered import EVERY, MARK_BYTES, RedeliveryMemory
from monitor.journal import tidying


def delivery(
    mid: int, payload: bytes = b"33.4", *, dup: bool = False, **more: object
) -> MqttMessage:
    kept = {"topic": "brooder/porch/floor", "origin": ""} | more
    return MqttMessage(
        payload=payload, received=Moment(0, 0), token=AckToken(1, mid), dup=dup, **kept
    )


def test_a_redelivery_of_a_journaled_message_is_recognised_after_a_restart():
    before = RedeliveryMemory()
    assert not before.already_journaled(delivery(7))
    after = RedeliveryMemory(before.since_last())
    assert after.already_journaled(delivery(7, dup=True))


def test_a_redelivery_of_a_message_that_never_reached_the_journal_is_counted():
    after = RedeliveryMemory(b"")
    assert not after.already_journaled(delivery(7, dup=True))


def test_same_identifier_with_another_payload_or_topic_or_client_is_another_message():
    memory = RedeliveryMemory()
    memory.already_journaled(delivery(7))
    for other in (
        delivery(7, b"33.5", dup=True),
        delivery(8, dup=True),
        delivery(7, dup=True, origin="another probe"),
    ):
        assert not memory.already_journaled(other)
    assert not memory.already_journaled(delivery(7, dup=True, topic="brooder/porch/lamp"))


def test_a_reused_identifier_forgets_the_message_that_had_it_before():
    """Same number, same value, but new: lost on the way, its redelivery must be counted."""
    memory = RedeliveryMemory()
    memory.already_journaled(delivery(7, b"33.4"))
    memory.since_last()
    # The identifier comes round again with another value ...
    assert not memory.already_journaled(delivery(7, b"30.0"))
    # ... so a redelivery with the first value cannot be the first message.
    assert not memory.already_journaled(delivery(7, b"33.4", dup=True))


def test_an_identical_message_without_dup_is_new():
    memory = RedeliveryMemory()
    assert not memory.already_journaled(delivery(7))
    assert not memory.already_journaled(delivery(7))


def test_in_a_session_that_began_anew_a_number_is_a_new_messages():
    """A board that was started anew: its first message is number 1 again, and the first copy of it
    was lost."""
    memory = RedeliveryMemory()
    memory.already_journaled(delivery(1, origin="board", session=3))
    memory.already_journaled(delivery(1, origin="another board", session=4))
    assert not memory.already_journaled(delivery(1, dup=True, origin="board", session=9))
    assert memory.already_journaled(delivery(1, dup=True, origin="board", session=9))
    assert memory.already_journaled(delivery(1, dup=True, origin="another board", session=4))


def test_that_a_session_began_anew_is_known_after_a_restart_too():
    before = RedeliveryMemory()
    before.already_journaled(delivery(1, origin="board", session=3))
    before.already_journaled(delivery(2, b"33.5", origin="board", session=9))
    after = RedeliveryMemory(before.since_last())
    assert not after.already_journaled(delivery(1, dup=True, origin="board"))
    assert after.already_journaled(delivery(2, b"33.5", dup=True, origin="board"))


def test_a_session_that_nobody_knows_the_age_of_goes_on():
    before = RedeliveryMemory()
    before.already_journaled(delivery(1, origin="board", session=3))
    after = RedeliveryMemory(before.since_last())
    assert after.already_journaled(delivery(1, dup=True, origin="board", session=0))


def test_qos_0_is_never_taken_for_a_redelivery():
    memory = RedeliveryMemory()
    plain = MqttMessage("t", b"1", Moment(0, 0), None)
    assert not memory.already_journaled(plain)
    assert not memory.already_journaled(plain)


def test_marks_are_eight_bytes_each_and_given_once():
    memory = RedeliveryMemory()
    for mid in range(1, 11):
        memory.already_journaled(delivery(mid))
    assert len(memory.since_last()) == 10 * MARK_BYTES == 80
    assert memory.since_last() == b""


def test_the_memory_is_bounded_and_keeps_the_newest():
    memory = RedeliveryMemory(kept=20)
    for mid in range(1, 101):
        memory.already_journaled(delivery(mid, origin="board"))
    assert memory.already_journaled(delivery(100, dup=True, origin="board"))
    assert memory.already_journaled(delivery(81, dup=True, origin="board"))
    assert not memory.already_journaled(delivery(80, dup=True, origin="board"))


def test_however_much_a_broker_hands_out_beyond_the_window_it_is_known_after_a_kill():
    """Mosquitto 2.0 did so with 1,197 deliveries of a resumed session. There are no more than
    identifiers."""
    before = RedeliveryMemory()
    for mid in range(1, EVERY):
        before.already_journaled(delivery(mid))
    marks = before.since_last()
    assert len(marks) <= tidying.MARK_BYTES, "they all stay in the journal"
    after = RedeliveryMemory(marks)
    assert all(after.already_journaled(delivery(mid, dup=True)) for mid in range(1, EVERY))


def test_with_a_session_of_the_brokers_that_began_anew_all_its_numbers_are_new():
    before = RedeliveryMemory()
    before.already_journaled(delivery(1, session=3))
    before.already_journaled(delivery(2, session=9))
    after = RedeliveryMemory(before.since_last())
    assert not after.already_journaled(delivery(1, dup=True))
    assert after.already_journaled(delivery(2, dup=True))


def test_marks_cut_off_in_the_middle_are_read_as_far_as_they_go():
    memory = RedeliveryMemory()
    for mid in (1, 2):
        memory.already_journaled(delivery(mid))
    cut = RedeliveryMemory(memory.since_last()[:-3])
    assert cut.already_journaled(delivery(1, dup=True))
    assert not cut.already_journaled(delivery(2, dup=True))
