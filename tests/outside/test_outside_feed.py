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
