"""A commit is due before the broker's window is full, and never late."""

from monitor.journal.pacing import Pacing


def test_a_nearly_full_window_is_committed_at_once() -> None:
    pacing = Pacing(window=20)
    assert not pacing.due(pending=17, oldest_age_s=1.0)
    assert pacing.due(pending=18, oldest_age_s=1.0)


def test_messages_already_waiting_share_the_commit_but_not_beyond_the_window() -> None:
    pacing = Pacing(window=20)
    assert not pacing.due(pending=18, oldest_age_s=1.0, more_waiting=True)
    assert pacing.due(pending=20, oldest_age_s=1.0, more_waiting=True)


def test_an_alarm_or_an_entry_does_not_wait() -> None:
    assert Pacing().due(pending=0, oldest_age_s=0.0, urgent=True)


def test_a_lone_message_waits_no_longer_than_stated() -> None:
    pacing = Pacing(longest_s=25.0)
    assert not pacing.due(pending=1, oldest_age_s=24.9)
    assert pacing.due(pending=1, oldest_age_s=25.0)
    assert pacing.wait_s(pending=1, oldest_age_s=20.0) == 5.0
    assert pacing.wait_s(pending=18, oldest_age_s=0.0) == 0.0


def test_a_probe_that_waits_itself_is_not_held_back_for_longer_than_it_lives_with() -> None:
    pacing = Pacing(longest_s=60.0, hold_s=15.0)
    assert not pacing.due(pending=1, oldest_age_s=14.9)
    assert pacing.due(pending=1, oldest_age_s=15.0)
    assert pacing.wait_s(pending=1, oldest_age_s=10.0) == 5.0
    assert not pacing.due(pending=0, oldest_age_s=15.0), "nobody waits for these"
    assert Pacing(longest_s=5.0, hold_s=15.0).due(pending=1, oldest_age_s=5.0)


def test_a_narrower_window_at_the_broker_is_learned_so_that_a_backlog_flows() -> None:
    """A broker that sends four ahead: without learning each four would take 25 s."""
    pacing = Pacing(window=20, longest_s=25.0)
    tick, waited, backlog = 0.0, 0.0, 400
    while backlog:
        pacing.arrived(tick, 4)  # at once after the acknowledgement
        age = 0.0
        while not pacing.due(pending=4, oldest_age_s=age):
            age += 1.0
        tick += age + 0.01
        waited += age
        backlog -= 4
        pacing.committed(tick, acknowledged=4, by_age=age >= 25.0)
    assert waited <= 50.0


def test_a_slow_trickle_is_not_taken_for_a_narrow_window() -> None:
    pacing = Pacing(window=20, longest_s=25.0)
    for n in range(50):  # eight probes, each once a minute: a few pending when the time is up
        tick = n * 25.0
        for k in range(3):
            pacing.arrived(tick + 6.0 * (k + 1))
        pacing.committed(tick + 25.0, acknowledged=3, by_age=True)
    assert pacing.full_at == 18


def test_a_reading_just_after_one_that_waited_alone_is_chance() -> None:
    """For an hour every message would cost a commit."""
    pacing = Pacing(window=20, hold_s=15.0)
    pacing.committed(0.0, acknowledged=1, by_age=True)
    for n in range(12):  # eight probes, every ten seconds
        pacing.arrived(0.1 + 1.25 * n)
    assert pacing.full_at == 18
    pacing.committed(15.1, acknowledged=12, by_age=True)
    pacing.committed(30.0, acknowledged=1, by_age=True)
    pacing.arrived(30.1)
    assert pacing.full_at == 18


def test_a_window_of_one_at_the_broker_is_learned_at_the_second_wait() -> None:
    pacing = Pacing(window=20)
    for n in range(2):
        assert pacing.full_at == 18
        pacing.committed(25.0 * n, acknowledged=1, by_age=True)
        pacing.arrived(25.0 * n + 0.01)
    assert pacing.full_at == 1


def test_a_learned_window_is_tried_at_full_width_again() -> None:
    pacing = Pacing(window=20)
    pacing.committed(0.0, acknowledged=4, by_age=True)
    pacing.arrived(0.1, 4)
    assert pacing.full_at == 3
    pacing.arrived(4000.0)
    assert pacing.full_at == 18


def test_a_window_of_one_is_committed_message_by_message() -> None:
    assert Pacing(window=1).due(pending=1, oldest_age_s=0.0)


def quick(pacing: Pacing, tick: float, count: int) -> float:
    """That many messages, 4 ms apart; when the last one came."""
    for _ in range(count):
        tick += 0.004
        pacing.arrived(tick)
    return tick


def test_a_quick_stream_that_stops_at_the_usual_window_waits_one_second_not_longest():
    pacing = Pacing(window=100)
    quick(pacing, 0.0, 200)  # it takes some messages to know the pace
    assert not pacing.due(pending=20, oldest_age_s=0.9)
    assert pacing.wait_s(pending=20, oldest_age_s=0.9) <= 0.1 + 1e-9
    assert pacing.due(pending=20, oldest_age_s=1.0)
    pacing.committed(2.0, acknowledged=20, by_age=True)
    quick(pacing, 2.0, 20)
    assert pacing.full_at == 18  # the broker's window is known now


def test_a_forgotten_window_is_found_again_within_a_second_too():
    pacing = Pacing(window=100)
    tick = quick(pacing, 0.0, 200)
    pacing.committed(tick, acknowledged=50, by_age=True)
    tick = quick(pacing, tick, 50)
    assert pacing.full_at == 45
    tick = quick(pacing, tick + 3601.0, 50)
    assert pacing.full_at == 90
    assert pacing.due(pending=50, oldest_age_s=1.0)


def test_a_slow_stream_is_never_taken_for_a_stalled_one():
    pacing = Pacing(window=100)
    for n in range(60):
        pacing.arrived(n * 1.0)
        pending = n % 25 + 1
        assert not pacing.due(pending=pending, oldest_age_s=pending - 1.0)
