"""The whole engine on a few dozen simulated nights with fixed, held-back (odd) seeds: the bounded
form of bench_detection. Correctness only; how quick the watch is on average is the benchmark's
to say."""

from statistics import median

import pytest
from support.scenarios import make
from support.watched import DAY_0, Watched, outlook_at, plain_alarm, watch

SEEDS = (1001, 1003, pytest.param(1005, marks=pytest.mark.long))
TWO_HOURS = 7200.0


def seen(kind: str, seed: int, layout: str | None = None) -> Watched:
    return watch(make(kind, seed, layout=layout))


def after_event(watched: Watched, *names: str) -> list[str]:
    """Alarms raised from the event on."""
    at = watched.night.event_at or watched.night.watch_from
    return [change.alarm.value for change in watched.raised(*names, after=at)]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", ["lamp", "all"])
def test_a_dead_source_is_told_with_its_cause(kind, seed):
    watched = seen(kind, seed, "full")
    night = watched.night
    told = watched.raised("heat-loss", after=night.event_at)
    below = night.first_below(night.low_c, night.event_at)
    if below is None and not told:
        return  # the rest of the heat is enough and nothing had to be told
    assert told, f"{kind} {seed}: lost {night.lost} and nothing told"
    assert told[0].cause.value == "heat-source"
    assert told[0].at - DAY_0 - night.event_at <= 3600.0
    assert not watched.raised("heat-loss", after=night.watch_from, until=night.event_at)


def test_most_dead_weak_sources_are_told_too():
    """A tenth to a quarter of the heat: sometimes it looks like a lamp hung a little higher."""
    told = mattered = 0
    for seed in range(1001, 1017, 2):
        watched = seen("weak", seed, "full")
        night = watched.night
        if night.first_below(night.low_c, night.event_at) is not None:
            mattered += 1
            told += bool(watched.raised("heat-loss", after=night.event_at))
    assert mattered >= 4
    assert told >= 0.7 * mattered


def test_dead_lamps_are_told_before_the_plain_alarm_in_most_nights():
    leads = []
    for seed in range(1011, 1027, 2):
        watched = seen("lamp", seed)
        night = watched.night
        plain = plain_alarm(night, night.event_at)
        told = watched.first("heat-loss", after=night.event_at)
        if plain is not None:
            leads.append(plain - told if told is not None else -1e9)
    assert len(leads) >= 5
    assert sum(lead > 0.0 for lead in leads) >= 0.7 * len(leads), leads


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", ["quiet", "feeding", "raised", "litter", "gap"])
def test_what_growers_do_is_no_loss_of_heat_while_the_floor_is_in_its_band(kind, seed):
    """Where one takes the floor out of the band and on towards harm, it is told as harm is."""
    watched = seen(kind, seed)
    assert after_event(watched, "overheat", "no-readings") == []
    losses = watched.raised("heat-loss", after=watched.night.event_at or watched.night.watch_from)
    assert all(loss.facts["temp_c"] < watched.night.low_c for loss in losses)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_chick_on_the_probe_of_a_young_batch_raises_nothing(seed):
    watched = seen("chick", seed, "two floor")
    assert after_event(watched, "heat-loss", "chill", "overheat", "probe-fault") == []


@pytest.mark.parametrize("seed", SEEDS)
def test_a_slipped_lamp_is_told_once_three_readings_out_of_the_band_bear_it_out(seed):
    """Every 30 s one of each probe, the first a jump that waits for the next."""
    watched = seen("overheat", seed, "full")
    night = watched.night
    high_c = night.target_c + night.brooder.limits.band_c
    floors = {p.key for p in night.brooder.probes if p.place.value == "floor"}
    left = next(
        t for t, key, c in night.run.samples if t > night.event_at and key in floors and c > high_c
    )
    told = watched.raised("hot", "overheat", after=night.event_at)
    assert told[0].priority.value != "advice"
    assert told[0].at - DAY_0 - left <= 150.0


def test_cold_nights_with_a_forecast_are_told_two_hours_ahead():
    told = cold = 0
    for seed in range(1031, 1061, 2):
        night = make("cold-night", seed)
        below = night.first_below(night.low_c, night.watch_from)
        if not night.forecast or below is None or below - night.watch_from < TWO_HOURS:
            continue
        cold += 1
        warned = watch(night).first("cold-night", after=night.watch_from - 3 * 3600.0)
        told += warned is not None and below - warned >= TWO_HOURS
    assert cold >= 4
    assert told >= 0.8 * cold


def test_nights_that_hold_are_not_called_cold():
    wrong = held = 0
    for seed in range(1031, 1047, 2):
        night = make("mild-night", seed)
        if night.first_below(night.low_c + 0.3, night.watch_from) is not None:
            continue
        held += 1
        wrong += bool(watch(night).raised("cold-night", after=night.watch_from))
    assert held >= 4
    assert wrong <= 0.15 * held + 0.5


def test_tonights_interval_holds_most_nights_and_is_no_wider_than_the_night():
    held = asked = 0
    unforeseen = []  # without a forecast a front may go on or end: wide, not sure
    for seed in range(1061, 1109, 2):
        night = make("cold-night" if seed % 4 == 1 else "mild-night", seed)
        got = outlook_at(night, night.watch_from + 2 * 3600.0)
        if got is None:
            continue
        outlook, truth = got
        asked += 1
        held += outlook.lowest_c.low <= truth <= outlook.lowest_c.high
        width_k = outlook.lowest_c.high - outlook.lowest_c.low
        if outlook.outside_from.startswith("forecast"):
            assert width_k < 8.0
        else:
            unforeseen.append(width_k)
    assert median(unforeseen) < 8.0
    assert asked >= 8
    assert held >= 0.6 * asked
