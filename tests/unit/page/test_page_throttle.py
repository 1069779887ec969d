"""Guessing the passphrase is slow, from one address and from many."""

import pytest

from monitor.page.sign_in import (
    ALL_BURST,
    EACH_BURST,
    EACH_REFILL_S,
    MOST_ADDRESSES,
    Throttle,
)


def guesses_until_stopped(throttle: Throttle, addresses: list[str]) -> int:
    for count, address in enumerate(addresses):
        if throttle.wait_s(address, 100.0) > 0:
            return count
        throttle.wrong(address, 100.0)
    return len(addresses)


def test_one_address_is_stopped_after_a_few_wrong_guesses():
    assert guesses_until_stopped(Throttle(), ["192.0.2.7"] * 50) == EACH_BURST


def test_it_may_try_again_once_the_time_it_was_told_is_over():
    throttle = Throttle()
    guesses_until_stopped(throttle, ["192.0.2.7"] * 50)
    wait_s = throttle.wait_s("192.0.2.7", 100.0)
    assert 0 < wait_s <= EACH_REFILL_S
    assert throttle.wait_s("192.0.2.7", 100.0 + wait_s - 1) > 0
    assert throttle.wait_s("192.0.2.7", 100.0 + wait_s + 0.001) == 0


def test_another_address_is_not_held_up_by_it():
    throttle = Throttle()
    guesses_until_stopped(throttle, ["192.0.2.7"] * 50)
    assert throttle.wait_s("192.0.2.8", 100.0) == 0


def test_many_addresses_together_are_stopped_too():
    many = [f"192.0.2.{n}" for n in range(200)]
    assert guesses_until_stopped(Throttle(), many) == ALL_BURST


@pytest.mark.parametrize("grower", ["192.0.2.1", "127.0.0.1", "::1"])
def test_strangers_guesses_do_not_lock_out_who_signed_in_before_or_is_at_the_board(grower: str):
    throttle = Throttle()
    throttle.wrong("192.0.2.1", 50.0)
    throttle.right("192.0.2.1")
    guesses_until_stopped(throttle, [f"198.51.100.{n}" for n in range(200)])
    assert throttle.wait_s("203.0.113.5", 100.0) > 0
    assert throttle.wait_s(grower, 100.0) == 0
    assert guesses_until_stopped(throttle, [grower] * 50) == EACH_BURST


def test_all_addresses_of_one_ipv6_household_count_as_one():
    many = [f"2001:db8:1:2::{n:x}" for n in range(1, 50)]
    assert guesses_until_stopped(Throttle(), many) == EACH_BURST


def test_the_right_passphrase_wipes_the_slate():
    throttle = Throttle()
    for _ in range(EACH_BURST - 1):
        throttle.wrong("192.0.2.7", 100.0)
    throttle.wrong("192.0.2.7", 100.0)
    throttle.right("192.0.2.7")
    assert guesses_until_stopped(throttle, ["192.0.2.7"] * 50) == EACH_BURST


def test_its_memory_is_bounded():
    throttle = Throttle()
    for n in range(3 * MOST_ADDRESSES):
        throttle.wait_s(f"10.0.{n // 250}.{n % 250}", 100.0)
    assert len(throttle._each) == MOST_ADDRESSES  # memory: seen in nothing that it answers
