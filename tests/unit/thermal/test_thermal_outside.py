"""The outside of the coming hours: from a named low, a forecast, and the probe's own days."""

import json
from math import cos, pi
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.engine_night import Night, a_brooder, a_site, with_probe

from monitor.events import EntryKind, Moment
from monitor.site import Place, Site
from monitor.thermal.day_course import open_air, sheltered
from monitor.thermal.follow import FLOOR_SHARE
from monitor.thermal.forecast_share import ForecastShare
from monitor.thermal.lateness import Lateness
from monitor.thermal.outside_curve import OutsideCurve, Skies, from_low
from monitor.thermal.outside_heard import OutsideHeard

H = 3600.0
MIDNIGHT_AT = 1_770_940_800.0


def heard(course, hours: float, begins_h: float = 0.0) -> tuple[OutsideHeard, Moment]:
    """Ten-minute readings of `course` (degC by the hours since a midnight) up to now."""
    past = OutsideHeard()
    for ten in range(int(6 * begins_h), int(6 * hours) + 1):
        past.observe(ten * 600.0, course(ten / 6.0), 0.0)
    return past, Moment(MIDNIGHT_AT + hours * H, hours * H)


def skies(past: OutsideHeard, now: Moment, hours: float = 12.0) -> Skies | None:
    return past.skies(now, now.at + hours * H, 0.0)


def tonight(past: OutsideHeard, now: Moment, hours: float = 12.0) -> OutsideCurve:
    """Whatever is likelier."""
    return max(skies(past, now, hours), key=lambda sky: sky.weight)


def test_a_named_low_is_reached_when_it_was_said_to_be():
    now = Moment(1e9, 0.0)
    curve = from_low(now, 12.0, -2.0, 1e9 + 10 * H)
    assert curve.at(1e9) == pytest.approx(12.0)
    assert curve.at(1e9 + 10 * H) == pytest.approx(-2.0)
    assert curve.at(1e9 + 5 * H) < 5.0  # more than half of the fall is over at half time
    assert curve.source == "the low you gave"


@given(st.floats(-30, 40), st.floats(-30, 40), st.floats(0.6, 16))
def test_a_named_low_is_never_undercut(now_c, low_c, hours):
    curve = from_low(Moment(0.0, 0.0), now_c, low_c, hours * H)
    least = min(curve.at(k * 600.0) for k in range(100))
    assert least >= min(now_c, low_c) - 1e-6


# -- a forecast


def followed(place, hours: float = 10.0, days: int = 2) -> tuple[ForecastShare, Moment]:
    """A place whose air is `place(the forecast's hour)`, followed from noon on."""
    share = ForecastShare()
    pairs = [(MIDNIGHT_AT + k * H, sky(k)) for k in range(24 * days)]
    for half in range(24, int(24 + 2 * hours)):
        now = Moment(MIDNIGHT_AT + half * 1800.0, half * 1800.0)
        share.see(now, pairs, None if place is None else place(half / 2), half / 2 % 24)
    return share, now


def sky(hour: float) -> float:
    return 6.0 - 8.0 * cos(2 * pi * (hour - 5.0) / 24.0)


def test_how_much_of_the_open_airs_swing_reaches_the_place_is_learned():
    half, now = followed(lambda hour: 9.0 + 0.5 * sky(hour))
    whole, _ = followed(sky)
    until = MIDNIGHT_AT + 30 * H
    at_five = MIDNIGHT_AT + 29 * H
    assert half.curve(now, until, 0.0).at(at_five) == pytest.approx(9.0 - 1.0, abs=0.8)
    assert whole.curve(now, until, 0.0).at(at_five) == pytest.approx(-2.0, abs=1.2)


def test_a_place_that_follows_late_is_foretold_late():
    late, now = followed(lambda hour: 8.0 + 0.6 * sky(hour - 2.0))
    curve = late.curve(now, MIDNIGHT_AT + 34 * H, 0.0)
    coldest = min(curve.points, key=lambda point: point.temp_c)
    assert coldest.at == pytest.approx(MIDNIGHT_AT + 31 * H, abs=1.1 * H)


def test_after_two_mornings_a_forecast_is_as_late_as_the_place_is():
    """In the small hours much of the night's fall has yet to reach it."""

    def place(hour: float) -> float:
        return 8.0 + 0.7 * sky(hour - 3.0)

    share, now = followed(place, hours=60.0, days=4)
    assert now.at == MIDNIGHT_AT + 71.5 * H
    curve = share.curve(now, MIDNIGHT_AT + 82 * H, 0.0)
    assert curve.at(MIDNIGHT_AT + 80 * H) == pytest.approx(place(80.0), abs=0.7)


def test_without_an_outside_probe_the_changes_of_a_forecast_are_believed_in_part():
    share, now = followed(None)
    curve = share.curve(now, MIDNIGHT_AT + 30 * H, 0.0)
    fall_k = curve.at(now.at) - curve.at(MIDNIGHT_AT + 29 * H)
    assert 0.5 * (sky(22) - sky(29)) < fall_k < sky(22) - sky(29)
    assert curve.source == "forecast, under an hour old"


@pytest.mark.parametrize(
    "pairs",
    [[], [(1e9, 5.0)], [(1e9 - 9 * H, 5.0), (1e9 + 2 * H, 3.0)], [(1e9 + 9 * H, 1.0)] * 2],
)
def test_a_forecast_that_does_not_reach_into_the_night_is_none(pairs):
    share, now = ForecastShare(), Moment(1e9, 0.0)
    share.see(now, pairs, 5.0, 18.0)
    assert share.curve(now, now.at + 12 * H, 0.0) is None


def test_an_old_forecast_is_believed_less():
    share, now = followed(sky)
    fresh = share.curve(now, now.at + 8 * H, 0.0)
    stale = share.curve(now, now.at + 8 * H, 24 * H)
    assert stale.points[-1].sd_k > fresh.points[-1].sd_k


# -- what the outside probe said


@pytest.mark.parametrize("shape", [open_air, sheltered])
def test_a_night_like_the_nights_before_is_expected(shape):
    def course(hour: float) -> float:
        return 4.0 + 7.0 * shape(hour % 24.0)

    past, now = heard(course, 18.5 + 24.0)
    curve = tonight(past, now)
    errors = [curve.at(now.at + k * H) - course(42.5 + k) for k in range(1, 12)]
    assert max(abs(error) for error in errors) < 1.2


@pytest.mark.parametrize("late_h", [1.0, 2.0, 3.0])
def test_a_place_that_was_coldest_late_goes_on_falling_as_late(late_h):
    """A garage goes on cooling when the open air has begun to warm."""

    def course(hour: float) -> float:
        return 4.0 + 7.0 * sheltered((hour - late_h) % 24.0)

    past, now = heard(course, 26.0 + 48.0)
    curve = tonight(past, now, 8.0)
    errors = [curve.at(now.at + k * H) - course(74.0 + k) for k in range(1, 8)]
    assert max(abs(error) for error in errors) < 0.5


@pytest.mark.parametrize(
    "morning",
    [
        lambda hour: 9.0 - 0.5 * hour,  # a front that falls on until noon
        lambda hour: 9.0,
        lambda hour: 4.0 + 0.5 * hour,  # warm air came at midnight
    ],
)
def test_a_morning_without_a_low_says_nothing_of_how_late_a_place_is(morning):
    place = Lateness()
    mornings(place, morning)
    assert place.hours == 0.0


def mornings(place: Lateness, course, begins_h: float = 0.0, ends_h: float = 12.0) -> None:
    """Each quarter of an hour of one, in the open coldest at six."""
    for quarter in range(int(4 * begins_h), int(4 * ends_h) + 1):
        place.see(quarter / 4.0, course(quarter / 4.0), 6.0)


def test_how_late_a_place_is_follows_its_mornings_the_last_most():
    place = Lateness()
    for half in range(1, 5):
        mornings(place, lambda hour: abs(hour - 8.0))
        assert place.hours == pytest.approx(2.0 * (1.0 - 0.5**half))
    mornings(place, lambda hour: abs(hour - 4.0))
    assert place.hours == 0.0, "never before the open air"


def test_a_morning_that_was_heard_in_part_says_nothing():
    place = Lateness()
    mornings(place, lambda hour: abs(hour - 9.0), begins_h=5.0)
    assert place.hours == 0.0
    mornings(place, lambda hour: abs(hour - 9.0), ends_h=10.0)  # its noon is not heard
    mornings(place, lambda hour: abs(hour - 8.0))
    assert place.hours == 1.0


@pytest.mark.parametrize("shape", [open_air, sheltered])
def test_the_first_evening_cools_as_evenings_do_and_not_along_a_line(shape):
    def course(hour: float) -> float:
        return 4.0 + 7.0 * shape(hour % 24.0)

    past, now = heard(course, 22.0, begins_h=18.0)
    curve = tonight(past, now, 8.0)
    coldest_c = curve.at(now.at + 8 * H)
    assert coldest_c == pytest.approx(4.0, abs=1.6)
    line_c = course(22.0) + 8.0 * (course(22.0) - course(20.0)) / 2.0
    assert coldest_c > line_c + 1.0


def test_a_front_that_is_seen_is_carried_on_and_left_open_how_far():
    def front(hour: float) -> float:
        return 8.0 + 4.0 * open_air(hour % 24.0) - 1.6 * max(0.0, hour - 19.0)

    past, now = heard(front, 23.0, begins_h=17.0)
    curve = tonight(past, now, 6.0)
    calm, _ = heard(lambda hour: 8.0 + 4.0 * open_air(hour % 24.0), 23.0, begins_h=17.0)
    usual = tonight(calm, now, 6.0)
    (in_3_h_c, sd_k), (_, usual_sd_k) = (one.expected(now.at + 3 * H) for one in (curve, usual))
    assert in_3_h_c < front(23.0) - 1.5
    assert sd_k > 1.5 * usual_sd_k


def test_a_front_is_foretold_by_all_that_was_heard_until_now():
    """Not only by the quarters of an hour that are over."""

    def course(hour: float) -> float:
        return 12.0 - 2.5 * max(0.0, hour - 21.0)

    def weight(last_h: float) -> float:
        past = OutsideHeard()
        for minute in range(18 * 60, int(last_h * 60) + 1):
            past.observe(minute * 60.0, course(minute / 60.0), 0.0)
        now = Moment(MIDNIGHT_AT + last_h * H, last_h * H)
        before = past.kept()
        found = next(sky.weight for sky in skies(past, now) if sky.front)
        assert past.kept() == before, "who looks changes nothing"
        return found

    over, later = weight(21.5), weight(21.5 + 14.0 / 60.0)
    assert later > over + 0.2


def test_air_that_goes_on_falling_after_midnight_is_a_front():
    """As fast as at ten, six hours on: no evening does that, however little it is."""

    def falls(hour: float) -> float:
        return 9.0 - 0.9 * max(0.0, hour - 21.0)

    past, now = heard(falls, 25.5, begins_h=18.0)
    quiet, front = skies(past, now, 5.0)
    assert front.weight > 0.9
    assert front.at(now.at + 3 * H) < falls(25.5) - 1.2
    assert quiet.usual
    assert not front.usual


def test_an_evening_that_cools_as_evenings_do_is_no_front():
    for shape in (open_air, sheltered):
        past, now = heard(lambda hour, s=shape: 6.0 + 6.0 * s(hour % 24.0), 24.0, begins_h=18.0)
        _, front = skies(past, now, 5.0)
        assert front.weight < 0.1


def test_a_front_may_yet_begin_in_one_night_of_seven_and_towards_morning_hardly():
    """Until it does it is an evening as any; by morning it leaves open how cold."""

    def course(hour: float) -> float:
        return 6.0 + 6.0 * open_air(hour % 24.0)

    past, now = heard(course, 18.5 + 24.0)
    quiet, front = skies(past, now)
    assert front.weight == pytest.approx(1.0 / 7.0, abs=0.03)
    in_an_hour, by_morning = now.at + H, now.at + 12 * H
    assert front.at(in_an_hour) == pytest.approx(quiet.at(in_an_hour), abs=0.8)
    assert front.at(by_morning) < quiet.at(by_morning) - 2.0
    assert front.expected(by_morning)[1] > 2.0 * quiet.expected(by_morning)[1]
    late, now = heard(course, 4.0 + 48.0)
    assert skies(late, now, 2.5)[1].weight < 0.05


def test_what_the_sun_did_to_the_probe_is_no_cooling_at_dusk():
    """A probe in the afternoon sun reads 9 K too much until five, then what the air is."""

    def shaded(hour: float) -> float:
        return 6.0 + 3.0 * sheltered(hour % 24.0)

    def sunlit(hour: float) -> float:
        return shaded(hour) + (9.0 if 13.0 <= hour % 24.0 < 17.0 else 0.0)

    lit, now = heard(sunlit, 19.0, begins_h=10.0)
    low_c = min(point.temp_c for point in tonight(lit, now, 11.0).points)
    assert low_c == pytest.approx(6.0, abs=2.0)


def test_nothing_is_expected_of_an_outside_that_was_not_heard_lately():
    past, now = heard(lambda hour: 8.0, 20.0)
    assert skies(past, Moment(now.at + 4 * H, now.tick + 4 * H)) is None
    assert skies(OutsideHeard(), now) is None


@settings(deadline=None, max_examples=30)
@given(st.floats(-1e6, 1e6), st.integers(8, 200))
def test_a_restart_with_any_shift_gives_the_same_curve(shift_s, tens):
    rng = Random(tens)
    past, now = heard(lambda hour: 10.0 - 0.3 * (hour % 24.0) + rng.gauss(0, 0.1), tens / 6.0)
    other = OutsideHeard()
    other.restore(json.loads(json.dumps(past.kept())), shift_s)
    shifted = Moment(now.at, now.tick + shift_s)
    both = zip(skies(past, now), other.skies(shifted, now.at + 12 * H, shift_s), strict=True)
    for one, two in both:
        numbers = [[sky.weight, *(n for p in sky.points for n in p[1:])] for sky in (one, two)]
        assert numbers[1] == pytest.approx(numbers[0], abs=1e-5)


def porch_and_shed() -> Site:
    """The porch has its own outside probe, out of the wind; the shed goes by the site's."""
    porch = with_probe(a_brooder("porch"), "eaves", Place.OUTSIDE)
    return a_site(porch, a_brooder("shed"), outside=True)


def outsides(night: Night) -> dict[str, float | None]:
    return {b.name: b.outside_c for b in night.engine.status(night.now()).brooders}


def test_a_box_goes_by_its_own_outside_probe_and_the_others_by_the_sites():
    night = Night(porch_and_shed())
    for _ in range(20):
        night.says(6.0, "porch/eaves")
        night.says(-2.0, "site/shade")
        night.says(35.0, "porch/floor")
        night.says(35.0, "shed/floor")
        night.t += 30
    assert outsides(night) == {"porch": 6.0, "shed": -2.0}
    night.holds(-3.0, for_s=1800, every_s=30, probes=["site/shade"])  # the own one falls silent
    assert outsides(night) == {"porch": 6.0, "shed": -3.0}


def test_a_box_whose_own_outside_probe_is_not_in_use_goes_by_the_sites():
    night = Night(porch_and_shed())
    night.says(6.0, "porch/eaves")
    night.entry(EntryKind.OUT_OF_SERVICE, probe="porch/eaves")
    night.says(-2.0, "site/shade")
    night.says(7.0, "porch/eaves")
    assert outsides(night) == {"porch": -2.0, "shed": -2.0}


def test_when_a_floor_is_coldest_says_nothing_of_how_late_the_air_is():
    """The grower comes in the morning, and the birds get up."""
    past = OutsideHeard()
    for minute in range(2 * 24 * 60):
        past.stand_in(minute * 60.0, 30.0 + abs(minute / 60.0 % 24.0 - 9.0), 0.0)
    assert past._late.hours == 0.0


def coldest_by_floor(course) -> float:
    """The floor's lowest, as far as its own course foretells it at midnight, degC, likelier way."""
    past = OutsideHeard()
    for minute in range(20 * 60, 24 * 60 + 1):
        past.stand_in(minute * 60.0, course(minute / 60.0), 0.0)
    sky = tonight(past, Moment(MIDNIGHT_AT + 24 * H, 24 * H), hours=7.0)
    return FLOOR_SHARE * min(point.temp_c for point in sky.points)


def test_a_floor_that_was_let_down_at_once_is_no_front_and_one_that_falls_on_is():
    let_down = coldest_by_floor(lambda hour: 35.0 if hour < 23.0 else 33.6)
    falling = coldest_by_floor(lambda hour: 35.0 - 0.9 * max(0.0, hour - 22.0))
    assert let_down > 33.6 - 1.5
    assert falling < 33.2 - 2.0


def test_what_hands_and_sun_do_to_a_floor_by_day_foretells_no_cold_night():
    """It comes down by two kelvins in the afternoon; by night the same would be a front."""

    def likely(from_h: float) -> float:
        past = OutsideHeard()
        for minute in range(int(from_h * 60) - 180, int(from_h * 60) + 181):
            past.stand_in(minute * 60.0, 34.0 - 0.7 * max(0.0, minute / 60.0 - from_h), 0.0)
        now = Moment(MIDNIGHT_AT + (from_h + 3.0) * H, (from_h + 3.0) * H)
        return next(sky.weight for sky in skies(past, now, hours=7.0) if sky.front)

    assert likely(14.0) < 0.45
    assert likely(21.0) > 0.8
