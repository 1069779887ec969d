"""Probes that mislead: each fault on a simulated night, told for the right probe; and what is no
fault."""

from dataclasses import replace
from math import exp, sin, tau
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_probe, a_site, with_probe
from support.scenarios import make
from support.watched import DAY_0, watch

from monitor.events import AlarmName, Cause, Change, ChangeKind, Priority
from monitor.site import Place
from monitor.thermal.diagnosis import FaultKind
from monitor.thermal.neighbours import CHECK_S
from monitor.thermal.probe_health import ProbeHealth
from monitor.thermal.track import Track

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
def test_a_probe_that_fell_out_is_told_as_that_beside_the_cold_it_says_and_is_no_lost_heat(seed):
    """The others say that the floor is well: but nobody can tell from afar."""
    night = make("fell-out", seed, layout="full")
    seen = watch(night)
    assert seen.raised("heat-loss", after=night.event_at) == []
    assert seen.raised("probe-fault", after=night.event_at)
    (chill,) = seen.raised("chill", after=night.event_at) or [None]
    assert chill is None or chill.probe in night.faulty


@pytest.mark.parametrize("seed", SEEDS)
def test_single_wild_readings_raise_no_urgent_alarm(seed):
    night = make("spikes", seed, layout="full")
    assert watch(night).raised("chill", "overheat", "heat-loss", after=night.event_at) == []


@pytest.mark.parametrize(
    "seed", [1105, *(pytest.param(n, marks=pytest.mark.long) for n in (1107, 1109))]
)
@pytest.mark.parametrize("kind", ["quiet", "lamp", "feeding", "raised"])
def test_healthy_probes_are_not_blamed(kind, seed):
    told, _ = found(kind, seed, "full") if kind != "quiet" else _quiet(seed)
    assert told == []


def _quiet(seed: int):
    night = make("quiet", seed, layout="full")
    return watch(night).raised("probe-fault"), night


def _health(*keys: str) -> tuple[ProbeHealth, list[Track]]:
    tracks = [Track(key, Place.FLOOR) for key in keys]
    return ProbeHealth(list(keys)), tracks


def _minutes(
    health: ProbeHealth,
    tracks: list[Track],
    courses,
    minutes: int,
    start: float = 0.0,
    falls=lambda minute: False,
):
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
        health.check(tracks, tick, 5.0, 5.0, falls(minute))
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


def test_what_parts_two_probes_in_a_fall_and_comes_back_by_and_by_is_no_drift():
    """A lamp that goes off and on warms one of them later, time and again."""
    health, tracks = _health("a", "b")
    flat = lambda minute: 32.0  # noqa: E731

    def later(minute: int) -> float:
        since = minute % 240
        return 32.0 - 2.5 * (since / 40 if since < 40 else exp((40 - since) / 60))

    _minutes(health, tracks, (flat, later), 1320, falls=lambda minute: minute % 240 < 40)
    assert health.findings == ()


@pytest.mark.parametrize(("minutes", "lit"), [(3, True), (40, False)])
def test_what_is_too_hot_at_once_lies_in_the_lamps_light_and_what_took_long_is_a_hot_floor(
    minutes, lit
):
    """A lamp that shines on the probe; a thermostat that no longer switches off."""
    health, (floor, cool) = _health("floor", "cool")
    cool.place = Place.COOL_END
    hot = lambda minute: 34.0 + 11.0 * min(1.0, max(0.0, minute - 120) / minutes)  # noqa: E731
    flat = lambda minute: 28.0  # noqa: E731
    _minutes(health, [floor, cool], (hot, flat), 240, falls=lambda minute: minute >= 120)
    found = [f.probe for f in health.findings if f.kind is FaultKind.UNDER_LAMP]
    assert found == (["floor"] if lit else [])


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


def _rounded(temp_c: float, step_c: float) -> float:
    return round(temp_c / step_c) * step_c


def test_a_probe_in_half_degrees_on_a_steady_floor_is_not_stuck_though_the_evening_cools():
    rng = Random(1)
    night = Night(a_site(outside=True))
    for _ in night.until(6 * 3600):
        floor_c = 35 + 0.1 * sin(night.t / 900) + rng.gauss(0, 0.05)
        night.says(_rounded(floor_c, 0.5))
        night.says(15 - night.t / 2400 + rng.gauss(0, 0.1), "site/shade")
    assert "porch/probe-fault" not in night.told()


def test_a_probe_in_whole_degrees_flutters_and_then_stands_without_being_stuck():
    rng = Random(1)
    night = Night()
    for _ in night.until(12 * 3600):
        floor_c = 35 + 0.5 * sin(night.t / 6000) + rng.gauss(0, 0.12)
        night.says(_rounded(floor_c, 1.0))
    assert "porch/probe-fault" not in night.told()


def test_a_probe_in_half_degrees_is_stuck_where_another_on_the_floor_cools_by_two():
    rng = Random(1)
    night = Night(a_site(a_brooder(floors=2)))
    for _ in night.until(5 * 3600):
        cooled = max(0.0, night.t - 2 * 3600) / 5400
        night.says(_rounded(35 + rng.gauss(0, 0.2), 0.5) if cooled == 0 else 35.0)
        night.says(35 - cooled + rng.gauss(0, 0.05), "porch/far floor")
    (fault,) = [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT]
    assert fault.probe == "porch/floor"
    assert fault.facts["reason"] == "its value has not changed while others moved"


def test_a_slow_probe_in_half_degrees_is_not_stuck_beside_a_quick_one_that_a_thermostat_swings():
    """It shows nothing of what the other goes up and down by every few minutes."""
    rng = Random(1)
    night = Night(a_site(a_brooder(floors=2)))
    for _ in night.until(8 * 3600, 60):
        slow_c = 34.0 if night.t % 5400 > 1200 else 34.0 + rng.gauss(0, 0.4)
        night.says(_rounded(slow_c, 0.5))
        swings_k = 1.8 * sin(tau * night.t / 660)
        night.says(35 + swings_k + rng.gauss(0, 0.05), "porch/far floor")
    assert "porch/probe-fault" not in night.told()


def test_a_probe_that_never_said_anything_else_is_told_before_the_night_is_over():
    night = Night(a_site(outside=True))
    for _ in night.until(7 * 3600):
        night.says(35.0)
        night.says(15 - night.t / 3600, "site/shade")
    (fault,) = [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT]
    assert fault.at - night.start <= 6.1 * 3600


@pytest.mark.parametrize("step_k", [0.25, 0.5, 1.0])
def test_a_coarse_probe_that_stands_while_the_lamp_over_it_dies_is_stuck_and_the_box_is_blind(
    step_k: float,
):
    """Every other probe is a witness, coarse or not."""
    rng = Random(1)
    box = with_probe(a_brooder(), "under", Place.UNDER_HEAT)
    night = Night(a_site(box))
    for _ in night.until(6 * 3600):
        dead = night.t > 4 * 3600
        night.says(35.0 if dead else _rounded(35 + rng.gauss(0, 0.6 * step_k), step_k))
        under_c = 18 + 27 * exp(-(night.t - 4 * 3600) / 1800) if dead else 45.0
        night.says(under_c + rng.gauss(0, 0.1), "porch/under")
    blind = [c for c in night.changes if c.alarm is AlarmName.NO_READINGS]
    assert blind
    assert (blind[0].priority, blind[0].probe) == (Priority.URGENT, None)
    assert blind[0].at - night.start <= 5 * 3600


def test_a_floor_probe_that_stands_while_its_only_neighbour_is_away_for_minutes_is_not_stuck():
    """Whom it is held against is another one then: nothing has moved."""
    rng = Random(1)
    box = with_probe(a_brooder(), "under", Place.UNDER_HEAT)
    night = Night(a_site(box, outside=True))
    while night.t < 4 * 3600:
        steady_s = night.t - 3 * 3600
        night.says(35.0 if steady_s > 0 else _rounded(35 + rng.gauss(0, 0.05), 0.1))
        if not 300 < steady_s < 1100:
            night.says(_rounded(31.5 + rng.gauss(0, 0.1), 0.05), "porch/under")
        night.says(9 + rng.gauss(0, 0.1), "site/shade")
        night.t += 60
        if steady_s > 2100:
            break
    assert night.told() == []


def test_two_wild_readings_within_seconds_are_no_temperature_and_a_leap_that_stays_is():
    track = Track("porch/floor", Place.FLOOR)
    steady, wild = [34.0] * 4, [50.6, 50.5]
    believed = [track.add(13.0 * n, c) for n, c in enumerate([*steady, *wild, *steady])]
    assert believed == [True] * 4 + [False] * 2 + [True] * 4
    assert [track.add(200.0 + 13.0 * n, 50.0) for n in range(4)] == [False, False, True, True]


def test_two_that_send_on_the_only_probes_topic_are_no_readings_and_urgent():
    night = Night()
    night.holds(35.0, for_s=3600, every_s=30)
    for _ in range(60):
        night.says(35.0)
        night.t += 30
        night.says(8.0)
        night.t += 30
    assert "porch/no-readings" in night.told()
    blind = next(c for c in night.changes if c.alarm is AlarmName.NO_READINGS)
    assert blind.priority is Priority.URGENT
    assert "to and fro" in blind.facts["reason"]
    assert blind.at - night.start <= 3600 + 1800


def test_what_differs_while_a_box_warms_up_accuses_nobody_for_the_rest_of_the_night():
    rng = Random(1)
    night = Night(a_site(a_brooder(floors=2)))
    for _ in night.until(12 * 3600):
        warm = 1 - exp(-night.t / 2400)
        night.says(10 + 25 * warm + rng.gauss(0, 0.06))
        night.says(10 + 22 * warm + rng.gauss(0, 0.06), "porch/far floor")
    assert "porch/probe-fault" not in night.told()


def warm_day(outside_from_c: float = 23.8, *, outside_until_s: float = 1e9) -> Night:
    """Birds of four weeks on a warm day: floor right at 24.6, outside as warm, the probe beneath
    the lamp ten above."""
    rng = Random(1)
    box = with_probe(a_brooder(), "under", Place.UNDER_HEAT)
    night = Night(a_site(box, outside=True), start=Night.evening("2026-03-09"), batch=False)
    night.placed(hatched="2026-02-08")
    for _ in night.until(4 * 3600):
        night.says(24.6 + rng.gauss(0, 0.1))
        night.says(34.0 + rng.gauss(0, 0.2), "porch/under")
        if night.t < outside_until_s:
            night.says(outside_from_c + rng.gauss(0, 0.1), "site/shade")
    return night


def test_a_floor_as_warm_as_a_warm_day_did_not_fall_out_of_the_box():
    assert "porch/probe-fault" not in warm_day().told()


def test_a_probe_that_falls_out_on_a_warm_day_is_told():
    night = warm_day(outside_from_c=14.0)
    rng = Random(2)
    out = night.t
    for _ in night.until(out + 1800):
        fallen_c = 14.0 + 10.6 * exp(-(night.t - out) / 90)
        night.says(fallen_c + rng.gauss(0, 0.1))
        night.says(34.0 + rng.gauss(0, 0.2), "porch/under")
        night.says(14.0 + rng.gauss(0, 0.1), "site/shade")
    (fault,) = [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT]
    assert "wet, buried or moved" in fault.facts["reason"]  # at first, and then
    (status,) = [p for p in night.box().probes if p.fault]
    assert status.fault == "it reads like the outside"
    assert fault.at - night.start - out <= 900


def test_a_probe_that_fell_out_stays_told_while_a_breeze_blows_on_it():
    """What it says and what the outside probe says come apart now and then."""
    rng = Random(3)
    night = Night(a_site(a_brooder(floors=2), outside=True))
    night.holds(35.0, for_s=60, every_s=30, probes=("porch/floor", "porch/far floor"))
    for _ in night.until(4 * 3600):
        out = night.t > 7200
        gust_k = 2.2 if out and night.t % 1800 < 300 else 0.0
        night.says(35 + rng.gauss(0, 0.1))
        night.says((20.0 - gust_k if out else 35.0) + rng.gauss(0, 0.1), "porch/far floor")
        night.says(20.0 + rng.gauss(0, 0.1), "site/shade")
    faults = [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT]
    assert [(c.change, c.probe) for c in faults] == [(ChangeKind.RAISED, "porch/far floor")]


def test_a_probe_forgotten_outside_from_the_start_is_told():
    rng = Random(4)
    night = Night(a_site(a_brooder(floors=2), outside=True))
    for _ in night.until(3600):
        night.says(35 + rng.gauss(0, 0.1))
        night.says(5 + rng.gauss(0, 0.1), "porch/far floor")
        night.says(5 + rng.gauss(0, 0.1), "site/shade")
    (fault,) = [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT]
    assert (fault.probe, fault.facts["reason"]) == ("porch/far floor", "it reads like the outside")


def test_an_outside_last_heard_in_the_night_makes_nobody_think_of_a_fallen_probe():
    """The box is aired at noon: its floor comes down to what the outside said hours ago."""
    night = warm_day(outside_from_c=14.0, outside_until_s=3600)
    rng = Random(2)
    aired = night.t
    for _ in night.until(aired + 1800):
        night.says(14.0 + 10.6 * exp(-(night.t - aired) / 300) + rng.gauss(0, 0.1))
        beneath_c = 31.0 + 3.0 * exp(-(night.t - aired) / 300)
        night.says(beneath_c + rng.gauss(0, 0.2), "porch/under")
    assert not [
        c for c in night.changes if c.probe == "porch/floor" and c.alarm is AlarmName.PROBE_FAULT
    ]


def a_box(*others: tuple[str, Place]) -> Night:
    """One floor probe and others, three quiet hours old."""
    box = a_brooder()
    night = Night(
        a_site(replace(box, probes=(*box.probes, *(a_probe("porch", *o) for o in others))))
    )
    goes(night, 3 * 3600, others)
    return night


USUAL_C = {
    Place.FLOOR: 35.0,
    Place.COOL_END: 28.0,
    Place.UNDER_HEAT: 42.0,
    Place.OUTSIDE: 15.0,
}


def goes(
    night: Night,
    for_s: float,
    others,
    *,
    from_c: float = 35.0,
    to_c: float = 35.0,
    low_k: float = 0.0,
    lag_s: float = 120.0,
    every_s: float = 30.0,
) -> None:
    """The floor probe heads there as one in its sleeve does; the others come down by `low_k`."""
    rng, began = Random(1), night.t
    for _ in night.until(began + for_s):
        share = 1.0 - exp(-(night.t - began) / lag_s)
        if (night.t - began) % every_s == 0.0:
            night.says(from_c + share * (to_c - from_c) + rng.gauss(0, 0.05))
        for name, place in others:
            usual_c = USUAL_C[place]
            night.says(usual_c - share * low_k + rng.gauss(0, 0.05), f"porch/{name}")


ONE_MORE = pytest.mark.parametrize(
    "other", [("under west lamp", Place.UNDER_HEAT), ("far", Place.COOL_END)]
)


def _named_beside_its_cold(night: Night) -> dict[AlarmName, Change]:
    told = {c.alarm: c for c in night.changes if c.change is ChangeKind.RAISED}
    assert "wet, buried or moved" in told[AlarmName.PROBE_FAULT].facts["reason"]
    assert AlarmName.CHILL in told
    ends = [c for c in night.changes if c.alarm is AlarmName.CHILL]
    assert ends[-1].change is not ChangeKind.CLEARED
    return told


@ONE_MORE
def test_a_probe_that_cools_alone_as_no_floor_can_is_wet_buried_or_moved(other):
    """The cold that it says is told all the same; the lamp is not blamed."""
    night = a_box(other)
    goes(night, 1800, [other], to_c=22.0)
    assert AlarmName.HEAT_LOSS not in _named_beside_its_cold(night)


@ONE_MORE
@pytest.mark.parametrize(
    ("to_c", "lag_s", "low_k", "named"),
    [(9.0, 60.0, 0.0, True), (26.0, 600.0, 0.0, False), (9.0, 60.0, 6.0, False)],
)
def test_so_it_is_of_one_that_speaks_every_six_minutes(other, to_c, lag_s, low_k, named):
    """Of a porch at 9 °C all night long "check the lamps first" was said. A lamp that dies over one
    end of the box brings that down by six degrees in as long."""
    night = a_box(other)
    goes(night, 3 * 3600, [other], every_s=360.0)
    goes(night, 1800, [other], to_c=to_c, lag_s=lag_s, low_k=low_k, every_s=360.0)
    if named:
        _named_beside_its_cold(night)
    else:
        assert "porch/probe-fault" not in night.told()


def test_a_silence_makes_no_sense_of_a_probe_that_cooled_alone():
    other = ("far floor", Place.FLOOR)
    night = a_box(other)
    goes(night, 1800, [other], to_c=9.0)
    goes(night, 2 * 3600, [other], from_c=9.0, to_c=9.0, every_s=1500.0)
    assert "porch/probe-fault" not in night.told(ChangeKind.CLEARED)


@ONE_MORE
def test_however_long_ago_a_probe_cooled_alone_it_is_not_taken_for_a_floor_again(other):
    """For hours the rest of the box holds: no cold night beside which the heat cannot keep up."""
    night = a_box(other)
    goes(night, 8 * 3600, [other], to_c=18.0)
    assert "porch/probe-fault" not in night.told(ChangeKind.CLEARED)
    causes = [c.cause for c in night.changes if c.alarm is AlarmName.CHILL]
    assert causes[-1] is Cause.SENSOR
    goes(night, 1800, [other], from_c=18.0, to_c=35.0)
    assert "porch/probe-fault" in night.told(ChangeKind.CLEARED)


@ONE_MORE
def test_a_probe_that_litter_slows_is_named_once_it_is_at_rest(other):
    """Buried, it takes minutes longer than in the air: no floor without heat is at rest so soon."""
    night = a_box(other)
    goes(night, 1800, [other], to_c=26.5, lag_s=240.0)
    _named_beside_its_cold(night)


def test_so_it_is_where_a_thermostats_rest_had_brought_the_floor_down_before():
    """The fall is reckoned from its own beginning."""
    under = ("under west lamp", Place.UNDER_HEAT)
    box = a_brooder()
    lamp = replace(box.heat[0], name="west lamp")
    probes = (*box.probes, a_probe("porch", *under))
    night = Night(a_site(replace(box, heat=(lamp,), probes=probes)))
    goes(night, 3 * 3600, [under])
    goes(night, 900, [under], to_c=33.4, lag_s=300.0)
    goes(night, 1800, [under], from_c=33.4, to_c=25.2, lag_s=240.0)
    _named_beside_its_cold(night)


def test_a_probe_found_to_lie_elsewhere_is_the_cause_of_its_cold_and_the_lamp_no_longer():
    """A lamp was said to be out before its probe was found at rest."""
    under = ("under west lamp", Place.UNDER_HEAT)
    night = a_box(under)
    goes(night, 2 * 3600, [under], to_c=26.5, lag_s=240.0)
    causes = [c.cause for c in night.changes if c.alarm is AlarmName.CHILL]
    assert Cause.HEAT_SOURCE in causes
    assert causes[-1] is Cause.SENSOR


@ONE_MORE
def test_a_floor_that_cools_slowly_alone_is_cold_and_no_probes_fault(other):
    """A lamp that no probe lies beneath may have died over it."""
    night = a_box(other)
    goes(night, 3600, [other], to_c=25.0, lag_s=600.0)
    assert "porch/probe-fault" not in night.told()


def test_the_only_probe_of_all_is_named_where_it_falls_further_than_any_floor_within_minutes():
    night = a_box()
    goes(night, 1800, [], to_c=16.0, lag_s=90.0)
    _named_beside_its_cold(night)


def test_a_floor_that_cools_with_its_box_is_not_taken_for_a_wet_probe():
    other = ("far", Place.COOL_END)
    night = a_box(other)
    goes(night, 1800, [other], to_c=22.0, low_k=5.0)
    assert "porch/probe-fault" not in night.told()


def test_a_lone_probe_that_cools_faster_than_any_floor_is_named_beside_the_cold_it_says():
    """Nothing else is in the box, but the outside is known: litter slid over it, or it fell out."""
    night = a_box(("outside", Place.OUTSIDE))
    goes(night, 1800, [("outside", Place.OUTSIDE)], to_c=22.0)
    told = {c.alarm: c for c in night.changes if c.change is ChangeKind.RAISED}
    assert told[AlarmName.PROBE_FAULT].facts["reason"].endswith("can: wet, buried or moved")
    assert AlarmName.CHILL in told


@pytest.mark.parametrize("to_c", [29.5, 22.0])
def test_a_lone_probe_on_a_floor_that_loses_all_heat_is_not_blamed(to_c):
    """Ten minutes for most of the way: as fast as thin litter with its cover off in a wind."""
    night = a_box(("outside", Place.OUTSIDE))
    goes(night, 1800, [("outside", Place.OUTSIDE)], to_c=to_c, lag_s=600.0)
    assert "porch/probe-fault" not in night.told()


BENEATH = (("under west lamp", Place.UNDER_HEAT), ("under east lamp", Place.UNDER_HEAT))


def test_a_probe_that_went_down_a_little_alone_is_named_for_the_morning():
    """Drawn aside by a bird, wet, or with litter on it: every source is seen to work."""
    night = a_box(*BENEATH)
    goes(night, 1800, BENEATH, to_c=32.5)
    (told,) = (c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT)
    assert told.priority is Priority.ADVICE
    assert "wet, covered by litter or moved" in told.facts["reason"]


def test_a_floor_that_went_down_a_little_with_its_lamp_names_no_probe():
    night = a_box(*BENEATH)
    goes(night, 1800, BENEATH, to_c=32.5, low_k=1.0)
    assert "porch/probe-fault" not in night.told()


def test_with_a_lamp_unseen_a_few_degrees_may_be_the_lamp():
    night = a_box(BENEATH[0])
    goes(night, 1800, [BENEATH[0]], to_c=32.5)
    assert "porch/probe-fault" not in night.told()


def test_one_that_is_lifted_off_its_litter_is_named_for_the_morning():
    """By a bird, into the air of the box: the cool end goes on as before."""
    other = ("far", Place.COOL_END)
    night = a_box(other)
    goes(night, 2400, [other], to_c=30.2)
    (told,) = (c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT)
    assert told.priority is Priority.ADVICE
    assert "moved" in told.facts["reason"]


@pytest.mark.parametrize("minutes", [40, 45, 50])
def test_a_probe_that_is_warm_again_at_once_makes_no_new_message_of_cold(minutes):
    """It is doubted for some minutes, and what stood as its cause is no longer found."""
    other = ("far", Place.COOL_END)
    night = a_box(other)
    goes(night, minutes * 60, [other], to_c=1.0, lag_s=1.0)
    back = night.start + night.t
    goes(night, 1800, [other], to_c=35.9, lag_s=1.0)
    cold = (AlarmName.CHILL, AlarmName.COLD)
    told = [c for c in night.changes if c.alarm in cold and c.at >= back]
    assert {c.change for c in told} == {ChangeKind.CLEARED}


@pytest.mark.parametrize("every", [3, 8])
def test_a_probe_that_leaps_and_stays_and_leaps_back_is_named_within_the_hour(every):
    night = a_box()
    for step in range(120):
        night.says(44.0 if step // every % 2 else 35.0)
        night.t += 30.0
    assert "porch/probe-fault" in night.told()


def for_hours(goes_k_per_h: dict[str, float], hours: float = 4.0) -> Night:
    """A quiet box from which each probe goes off at its own pace, after three hours."""
    others = (("under west lamp", Place.UNDER_HEAT), ("outside", Place.OUTSIDE))
    night = a_box(*others)
    rng, began = Random(1), night.t
    usual_c = {"floor": 35.0, "under west lamp": 42.0, "outside": 15.0}
    for _ in night.until(began + hours * 3600.0):
        for name, temp_c in usual_c.items():
            gone_k = goes_k_per_h.get(name, 0.0) * (night.t - began) / 3600.0
            night.says(temp_c + gone_k + rng.gauss(0, 0.05), f"porch/{name}")
    return night


def faults(night: Night) -> list[tuple[str | None, Priority]]:
    return [
        (c.probe, c.priority)
        for c in night.changes
        if c.alarm is AlarmName.PROBE_FAULT and c.change is ChangeKind.RAISED
    ]


@pytest.mark.parametrize("k_per_h", [1.0, -1.0])
@pytest.mark.parametrize("name", ["floor", "under west lamp"])
def test_a_probe_that_goes_its_own_way_for_hours_is_named_in_the_morning(name, k_per_h):
    """With no other on its place: what warms or cools a floor is felt beside it too."""
    assert faults(for_hours({name: k_per_h})) == [(f"porch/{name}", Priority.ADVICE)]


@pytest.mark.parametrize(("begins_h", "named"), [(8, 0), (22, 1)])
def test_a_cool_end_that_goes_its_own_way_is_named_by_night_alone(begins_h, named):
    """By day birds and sun come and go there."""
    others = [("far", Place.COOL_END)]
    night = a_box(*others)
    goes(night, (begins_h - 21) % 24 * 3600, others)
    goes(night, 5 * 3600, others, low_k=-9.0, lag_s=8 * 3600)
    assert len(faults(night)) == named


@pytest.mark.parametrize("with_it", [{"outside": -0.6}, {"under west lamp": -0.4}])
def test_a_floor_that_goes_where_something_else_goes_names_no_probe(with_it):
    assert faults(for_hours({"floor": -1.0, **with_it})) == []


def test_what_stands_apart_from_one_minute_to_the_next_is_no_drift():
    night = for_hours({}, hours=1.0)
    for _ in range(4 * 120):
        night.says(32.4)
        night.says(42.0, "porch/under west lamp")
        night.t += 30.0
    assert not [c for c in night.changes if "own way" in c.facts.get("reason", "")]


@pytest.mark.parametrize("place", [Place.UNDER_HEAT, Place.FLOOR])
def test_a_probe_that_leaps_and_is_at_rest_at_once_is_named_wherever_it_lies(place):
    """A sheath beneath a lamp that goes off and on cools by and by."""
    assert _leaping(place, tail_k=0.1) >= 3.0


def test_a_probe_beneath_a_lamp_that_goes_off_and_on_is_not_taken_for_a_leaping_one():
    assert _leaping(Place.UNDER_HEAT, tail_k=1.5) == 0.0


def _leaping(place: Place, tail_k: float) -> float:
    """Its score after it was twelve degrees lower three times, for two minutes each."""
    track, tick = Track("one", place), 0.0
    for _ in range(3):
        for far_k in (0.0, 0.0, 0.0, 12.0, 12.0 + tail_k, 12.0 + tail_k, 12.0 + tail_k):
            track.add(tick, 42.0 - far_k)
            tick += 30.0
        for short_k in (tail_k, 0.0):
            track.add(tick, 42.0 - short_k)
            tick += 30.0
    return track.spike_score


@pytest.mark.parametrize("period_s", [150.0, 170.0, 210.0, 290.0])
@pytest.mark.parametrize(("place", "swings_k"), [(Place.FLOOR, 1.7), (Place.UNDER_HEAT, 6.0)])
def test_a_quick_thermostat_under_a_probe_that_speaks_seldom_is_no_loose_wire(
    place, swings_k, period_s
):
    """It is heard now at the top of a pulse and now at its bottom, and seldom in between."""
    assert not any(_swings(place, swings_k, period_s))


@pytest.mark.parametrize(("swings_k", "wild_k"), [(1.7, 14.0), (0.1, 4.0)])
def test_what_is_wild_beside_all_that_a_probe_goes_through_is_a_loose_wire(swings_k, wild_k):
    assert any(_swings(Place.FLOOR, swings_k, 170.0, wild_k=wild_k))


def _swings(place: Place, swings_k: float, period_s: float, wild_k: float = 0.0) -> list[bool]:
    """At each reading of nine hours: does it jump? `wild_k`: each ninth is so far off."""
    track, rng, turned, found = Track("one", place), Random(1), 0.0, []
    for n in range(400):
        turned += 80.0 / period_s * rng.uniform(0.9, 1.1)
        wild = wild_k * (n % 9 == 8)
        track.add(80.0 * n, 33.0 + swings_k * sin(tau * turned) + rng.gauss(0, 0.05) - wild)
        track.forget(80.0)
        found.append(track.jumps)
    return found


def test_a_probe_that_wanders_from_another_waits_for_the_morning():
    night = Night(a_site(a_brooder(floors=2)))
    rng = Random(1)
    for step in range(10 * 120):
        far_c = 35.0 - max(0.0, (step - 360) / 120 * 1.2)
        night.says(35.0 + rng.gauss(0, 0.05), "porch/floor")
        night.says(max(32.5, far_c) + rng.gauss(0, 0.05), "porch/far floor")
        night.t += 30.0
    told = [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT]
    assert [c.priority for c in told if c.change is ChangeKind.RAISED] == [Priority.ADVICE]


def in_sixteenths(level_c: float, minutes: int) -> list[float]:
    """A sensor as it reports a great mass that cools slowly: it flutters between two sixteenths of
    a degree, then stands, for longer and longer."""
    stands = (10, 14, 20, 27, 36, 48, 63, 80)
    said = [level_c + 0.0625 * (n % 2) for n in range(60)]
    for step, stand in enumerate(stands):
        said += [level_c - 0.0625 * step] * stand + [
            level_c - 0.0625 * (step + n % 2) for n in range(6)
        ]
    return said[:minutes]


@pytest.mark.parametrize("beside", ["porch/far floor", "site/shade"])
def test_a_fine_probe_that_stands_longer_and_longer_on_a_great_mass_is_not_stuck(beside):
    """Beside one that goes up and down by a degree, and while the evening outside cools."""
    night = Night(a_site(a_brooder(floors=2 if "far" in beside else 1), outside="shade" in beside))
    for minute, said_c in enumerate(in_sixteenths(35.0, 350)):
        night.says(said_c)
        night.says((35 if "far" in beside else 12) + 0.8 * sin(minute / 40), beside)
        night.t += 60
    assert night.told() == []


def test_a_fine_probe_that_fluttered_is_stuck_when_another_moves_by_a_degree_meanwhile():
    night = Night(a_site(a_brooder(floors=2)))
    for _ in night.until(3 * 3600):
        dead = night.t > 2 * 3600
        night.says(35.0 if dead else 35.0 + 0.0625 * (night.t // 60 % 3))
        night.says(35 + (0.9 * sin((night.t - 7200) / 1500) if dead else 0.0), "porch/far floor")
    (fault,) = [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT]
    assert (fault.probe, fault.at - night.start <= 2.75 * 3600) == ("porch/floor", True)


def test_a_probe_that_stands_for_minutes_at_times_is_told_within_the_hour_when_it_stands_for_good():
    """Nothing else in the box moves, so nothing else bears witness."""
    night = Night(a_site(a_brooder(floors=2)))
    for _ in night.until(4 * 3600):
        dead = night.t > 3 * 3600
        night.says(35.0 if dead else 35.0 + 0.0625 * (night.t // 540 % 2))
        night.says(35.0 + 0.0625 * (night.t // 60 % 2), "porch/far floor")
    (fault,) = [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT]
    assert fault.probe == "porch/floor"
    assert fault.facts["reason"] == "its value has not changed while others moved"


@pytest.mark.parametrize("beside", ["porch/far floor", "site/shade", None])
def test_a_probe_that_says_after_a_silence_what_it_said_before_is_not_stuck(beside):
    """Nobody heard that it stood still meanwhile."""
    floors = 2 if beside == "porch/far floor" else 1
    night = Night(a_site(a_brooder(floors=floors), outside=beside == "site/shade"))
    silent_s, again_s = 3 * 3600, 4.5 * 3600
    for _ in night.until(5 * 3600):
        if not silent_s <= night.t < again_s:
            flutters = 0.0625 * (night.t // 60 % 2)
            stands = silent_s - 120 < night.t < again_s + 240
            night.says(35.0 if stands else 35.0 + flutters)
            if beside:
                night.says((35.0 if floors == 2 else 9.0) + flutters + night.t / 9000, beside)
    assert [c for c in night.changes if c.alarm is AlarmName.PROBE_FAULT] == []


def beneath_a_lamp(wild: bool) -> Night:
    """A sheath that says whole degrees twice a minute, its lamp switched each few minutes."""
    rng = Random(4)
    night = Night(a_site(with_probe(a_brooder(), "u", Place.UNDER_HEAT)))
    sheath_c = 33.0
    for _ in night.until(4 * 3600):
        lit = night.t % (210 + 30 * rng.randrange(2)) < 60
        sheath_c += ((46.0 if lit else 32.0) - sheath_c) * 0.45
        night.says(35.0 + 0.06 * rng.randrange(3))
        said_c = 35.0 + 0.1 * rng.randrange(3) if wild else _rounded(sheath_c, 1.0)
        night.says(48.0 if wild and rng.random() < 0.1 else said_c, "porch/u")
    return night


def test_a_quick_probe_beneath_a_lamp_that_goes_off_and_on_has_no_loose_wire():
    assert "porch/probe-fault" not in beneath_a_lamp(wild=False).told()
    assert "porch/probe-fault" in beneath_a_lamp(wild=True).told(), "one whose readings jump has"


def test_a_coarse_probe_does_not_stand_still_while_nothing_is_heard_of_it():
    """Every 400 s in half degrees; one reading is lost while its like goes up and down."""
    night = Night(a_site(a_brooder(floors=2)))
    rises, stands = [34.5, 35.0, 35.5, 35.5, 35.0, 34.5, 35.0], [35.5, 35.5, 35.5, 35.5, None]
    for floor_c in 3 * [*rises, *stands, 34.5]:
        if floor_c is not None:
            night.says(floor_c)
        for half in range(20):
            night.says(35.0 + 1.2 * sin(night.t / 400) + 0.05 * (half % 2), "porch/far floor")
            night.t += 20
    assert "porch/probe-fault" not in night.told()


def test_a_coarse_probe_heard_each_ten_minutes_that_says_the_same_five_times_is_not_stuck():
    """It lies deep in the litter; its like swings by a degree."""
    night = Night(a_site(a_brooder(floors=2)))
    for said_c in 4 * [35.0, 35.25, 35.5, 35.5, 35.5, 35.5, 35.5, 35.25, 35.0, 34.75]:
        night.says(said_c)
        for half in range(29):
            night.says(35.0 + 1.3 * sin(night.t / 900) + 0.05 * (half % 2), "porch/far floor")
            night.t += 20
    assert "porch/probe-fault" not in night.told()
