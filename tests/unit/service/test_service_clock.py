"""The two clocks: steady time never goes back, a jump of the wall clock is seen once."""

import time

import pytest

from monitor.service.clock import FastClock, LiveClock


class Machine:
    """The machine's clocks, set by hand: what cannot be caused otherwise."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.wall, self.steady = 1_770_000_000.0, 50.0
        monkeypatch.setattr(time, "time", lambda: self.wall)
        monkeypatch.setattr(time, "monotonic", lambda: self.steady)

    def passes(self, seconds: float) -> None:
        self.wall += seconds
        self.steady += seconds


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Machine:
    return Machine(monkeypatch)


def test_wall_and_steady_time_keep_one_distance_between_jumps(machine: Machine) -> None:
    clock = LiveClock()
    before = clock.now()
    machine.passes(123.456)
    after = clock.now()
    assert after.at - before.at == pytest.approx(123.456, abs=1e-3)
    assert after.at - after.tick == before.at - before.tick


@pytest.mark.parametrize("jump", [7200.0, -7200.0, 40.0])
def test_a_jump_is_seen_once_and_moves_wall_time_alone(machine: Machine, jump: float) -> None:
    clock = LiveClock()
    before = clock.now()
    machine.passes(10)
    machine.wall += jump
    assert clock.jump_s() == pytest.approx(jump, abs=1e-3)
    assert clock.jump_s() == 0.0
    after = clock.now()
    assert after.tick - before.tick == pytest.approx(10, abs=1e-3)
    assert after.at == pytest.approx(machine.wall, abs=1e-3)


def test_drift_is_not_a_jump(machine: Machine) -> None:
    clock = LiveClock()
    machine.wall += 0.4
    assert clock.jump_s() == 0.0


def test_a_stale_clock_at_boot_does_not_take_timers_into_the_past(machine: Machine) -> None:
    last_word = machine.wall + 86400
    clock = LiveClock(not_before=last_word)
    assert clock.now().tick >= last_word
    assert clock.now().at == pytest.approx(machine.wall, abs=1e-3)


def test_a_rehearsal_goes_at_its_speed(machine: Machine) -> None:
    clock = FastClock(start_at=1000.0, speed=600.0)
    machine.passes(2)
    assert clock.now().at == pytest.approx(2200.0)
    assert clock.now().tick == clock.now().at


def test_a_rehearsal_waits_where_it_is_told_to_and_goes_on_from_there(machine: Machine) -> None:
    """A machine that stalls for seconds makes no silence of minutes in the night."""
    clock = FastClock(start_at=1000.0, speed=600.0)
    clock.go_on_until(1300.0)
    machine.passes(5)
    assert clock.now().at == pytest.approx(1300.0)
    machine.passes(5)
    clock.go_on_until(9000.0)
    machine.passes(1)
    assert clock.now().at == pytest.approx(1900.0)
