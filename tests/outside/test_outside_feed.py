"""Feed, water and weight beside what others publish, each with its source."""

import pytest

from monitor.brooding import feed
from monitor.brooding.bird_kinds import mass_kg

POUND_KG = 0.45359237

# A feed mill's rule for Ross 308, as printed: "7 days: 30g", "15 days: 65g", "125g in 26 days",
# "35 days 175g". https://www.richimachinery.com/customer-guide/
# what-is-the-daily-feed-intake-of-chickens-layers-and-broilers.html (read)
MILL = {1: 6.0, 7: 30.0, 15: 65.0, 26: 125.0, 35: 175.0}


@pytest.mark.parametrize(("day", "grams"), MILL.items())
def test_feed_of_a_meat_bird_is_the_mills(day: int, grams: float) -> None:
    assert feed.meat_bird_g(day) == grams


def test_the_first_weeks_feed_is_near_the_universitys() -> None:
    """C. Mou and M. Czarick, University of Georgia, Zootecnica International, November 2021: about
    0.33 lb by the end of the first week (read)."""
    eaten = sum(feed.meat_bird_g(day) for day in range(1, 8)) / 1000
    assert eaten == pytest.approx(0.33 * POUND_KG, rel=0.2)


def test_a_houses_feed_on_day_four_is_near_ours() -> None:
    """University of Georgia, poultry housing tips 1997: 24,000 four-day-old birds eat about a
    thousand pounds a day and drink close to a ton (read)."""
    day = feed.needs("broiler", 4, 24_000)
    assert day is not None
    assert day.feed_kg == pytest.approx(1000 * POUND_KG, rel=0.15)
    assert day.water_l == pytest.approx(2000 * POUND_KG, rel=0.15)


def test_water_is_between_the_published_ratios() -> None:
    """Pesti, Amato and Minear, Poultry Science 64 (1985) 803-808: 1.77 g to a gram of feed (read);
    another sheet: 2 litres to a kilogram (https://galesagroproducts.com/?p=19401, read)."""
    day = feed.needs("broiler", 20, 100)
    assert day is not None
    assert 1.77 <= day.water_l / day.feed_kg <= 2.0


def test_pullets_eat_two_pounds_in_six_weeks() -> None:
    """Feeding sheet: chick starter, weeks 1 to 6, 2 lb a bird
    (https://www.scribd.com/document/465376071/Feeding-Management-2-pdf, read)."""
    eaten = feed.feed_until_kg("layer", 43, 1)
    assert eaten == pytest.approx(2 * POUND_KG, rel=0.1)


def test_the_weight_a_week_old_meat_bird_is_held_against_can_be_reached() -> None:
    """D. Swysgood, Broiler Management: 180 g at 7 days is achievable and can be exceeded
    (https://www.slideshare.net/abdelrahmanyousef/broiler-management-david-swygood, read)."""
    assert 0.180 <= mass_kg("broiler", 7) <= 0.220
    assert feed.weight_share("broiler", 7, 180) > feed.LIGHT_SHARE


def test_no_feed_is_made_up_for_a_kind_without_a_table() -> None:
    assert feed.needs("duck", 7, 100) is None
    assert feed.feed_until_kg("duck", 28, 100) is None


# The same mill's rule on both sides of each of its bounds, worked out by hand from its words.
MEAT_ROWS = {0: 6, 10: 42, 11: 45, 20: 90, 21: 100, 30: 145, 31: 155, 40: 200, 50: 200}
PULLET_ROWS = {0: 2, 10: 12, 11: 12, 20: 21, 21: 21, 50: 50, 60: 50}


def test_the_mills_rule_row_by_row() -> None:
    assert {day: feed.meat_bird_g(day) for day in MEAT_ROWS} == MEAT_ROWS
    assert {day: feed.pullet_g(day) for day in PULLET_ROWS} == PULLET_ROWS


def test_water_is_three_times_the_feed_for_three_days_and_then_twice() -> None:
    """University of Georgia, both sources in `feed` (read)."""
    per_feed = {
        day: day_needs.water_l / day_needs.feed_kg
        for day in (0, 3, 4, 20)
        if (day_needs := feed.needs("broiler", day, 100)) is not None
    }
    assert per_feed == pytest.approx({0: 3.0, 3: 3.0, 4: 2.0, 20: 2.0})


def test_the_day_of_hatch_counts_as_that() -> None:
    of_hatch = feed.needs("layer", 0.4, 1000)
    assert of_hatch is not None
    assert of_hatch.feed_kg == pytest.approx(2.0)


def test_a_bird_of_its_kinds_weight_is_on_its_way() -> None:
    assert feed.weight_share("broiler", 21, 1000.0 * mass_kg("broiler", 21)) == pytest.approx(1.0)
