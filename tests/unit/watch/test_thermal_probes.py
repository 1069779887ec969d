"""Probes that mislead: each fault on a simulated night, told for the right probe; and what is no
fault."""

import pytest
from support.scenarios import make
from support.watched import DAY_0, watch

from monitor.site import Place
from monitor.watch.diagnosis import FaultKind
from monitor.watch.probe_health import CHECK_S, ProbeHealth
from monitor.watch.track import Track

SEEDS = (1101, 1103)


def found(kind: str, seed: int, layout: str):
    """The night's probe-fault alarms from the event on, and the night."""
    night = make(kind, seed, layout=layout)
    return watch(night).raised("probe-fault", after=night.event_at), night


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("kind", "within_min"), [("spikes", 40), ("stuck", 120), ("fell-out", 20), ("swapped", 20)]
)
def test_a_misleading_probe_is_told_by_name(kind, within_min, seed):
    told, night = found(kind, seed, "full")
    assert told, f"{kind} {seed}: nothing told"
    assert told[0].probe in night.faulty
    assert (told[0].at - DAY_0 - night.event_at) / 60.0 <= within_min


@pytest.mark.parametrize("seed", SEEDS)
def test_a_probe_that_fell_out_is_no_chill(seed):
    """The others say that the floor is well."""
    night = make("fell-out", seed, layout="full")
    seen = watch(night)
    assert seen.raised("chill", "heat-loss", after=night.event_at) == []


@pytest.mark.parametrize("seed", SEEDS)
def test_single_wild_readings_raise_no_urgent_alarm(seed):
    night = make("spikes", seed, layout="full")
    assert watch(night).raised("chill", "overheat", "heat-loss", after=night.event_at) == []


@pytest.mark.parametrize("kind", ["quiet", "lamp", "feeding", "raised"])
def test_healthy_probes_are_not_blamed(kind):
    for seed in (1105, 1107, 1109):
        told, _ = found(kind, seed, "full") if kind != "quiet" else _quiet(seed)
        assert told == []


def _quiet(seed: int):
    night = make("quiet", seed, layout="full")
    return watch(night).raised("probe-fault"), night


def _health(*keys: str) -> tuple[ProbeHealth, list[Track]]:
    tracks = [Track(key, Place.FLOOR) for key in keys]
    return ProbeHealth(list(keys)), tracks


def _minutes(health: ProbeHealth, tracks: list[Track], courses, minutes: int, start: float = 0.0):
    """Let each track follow its course (a function of the minute), one reading a half minute."""
    tick = start
    for minute in range(minutes):
        for half in range(2):
            for track, course in zip(tracks, courses, strict=True):
                # a healthy probe's last bit flickers
                flicker = 0.0 if course.__name__ == "dead" else 0.0625 * ((minute + half) % 2)
                track.add(tick, course(minute) + flicker)
                track.take(30.0)
            tick += 30.0
        health.check(tracks, tick, 5.0, 5.0, False)
    assert CHECK_S == 60.0
    return tick


def test_a_drift_is_told_of_the_one_that_moved():
    health, tracks = _health("a", "b", "c")
    flat = lambda minute: 32.0  # noqa: E731
    drifting = lambda minute: 32.0 + max(0.0, minute - 120) / 120.0  # noqa: E731
    _minutes(health, tracks, (flat, drifting, flat), 720)
    assert [(f.probe, f.kind) for f in health.findings] == [("b", FaultKind.DRIFT)]


def test_a_step_is_no_drift():
    """Somebody moved a probe or a lamp."""
    health, tracks = _health("a", "b", "c")
    flat = lambda minute: 32.0  # noqa: E731
    moved = lambda minute: 32.0 if minute < 120 else 36.0  # noqa: E731
    _minutes(health, tracks, (flat, moved, flat), 600)
    assert health.findings == ()


def test_all_falling_together_is_no_fault():
    health, tracks = _health("a", "b")
    cooling = lambda minute: 32.0 - minute / 60.0  # noqa: E731
    _minutes(health, tracks, (cooling, cooling), 600)
    assert health.findings == ()


def test_a_dead_probe_is_told_though_it_has_no_neighbour():
    health, tracks = _health("a")

    def alive(minute: int) -> float:
        return 32.0

    def dead(minute: int) -> float:
        return 32.0

    at = _minutes(health, tracks, (alive,), 240)
    assert health.findings == ()
    _minutes(health, tracks, (dead,), 180, at)
    assert [f.kind for f in health.findings] == [FaultKind.STUCK]
