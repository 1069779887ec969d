"""What hatcheries and feed makers print about the day chicks come, beside what is told here."""

from monitor.brooding.arrival import BEFORE, CLAIM_SOURCE, MAIL_ADVICE, STEPS
from monitor.brooding.calendar import MAIL_DAYS
from monitor.brooding.provenance import COMMON_PRACTICE

TEXT = {step.name: step.text for step in (*BEFORE, *STEPS)}


def test_chicks_live_on_the_yolk_for_about_three_days() -> None:
    # http://sunrisefarmtx.com/tips_for_chick_care/ : about three days;
    # https://starmilling.com/mail-order-chicks-and-eggs/ : up to three days
    assert "about three days" in TEXT["post"]
    assert MAIL_DAYS == (1, 3)
    assert [advice.from_days for advice in MAIL_ADVICE][-1] == 3


def test_sugar_in_the_water_after_a_rough_trip() -> None:
    # https://starmilling.com/mail-order-chicks-and-eggs/ : 3 tablespoons of sugar to 1 quart of
    # water, for a day or two
    assert "3 tablespoons of sugar to a quart (1 litre)" in MAIL_ADVICE[0].text
    assert "for a day or two" in MAIL_ADVICE[0].text
    assert 0.9 < 0.946352946 < 1.0  # a US liquid quart in litres (NIST SP 811, appendix B.8)


def test_a_claim_is_wanted_within_a_day_or_two_with_numbers_and_a_photograph() -> None:
    # https://www.thechickhatchery.com/how-to-order/hatchery-policies/hatchery-guarantees/ : 24 h;
    # https://chesapeake-hatchery.com/10034-2/ : 24 h, a photograph, the numbers;
    # https://www.mypetchicken.com/blogs/faqs/what-if-one-of-my-chicks-dies-on-the-way-to-me : 48 h
    assert "24 hours" in CLAIM_SOURCE.text
    assert "or 48" in CLAIM_SOURCE.text


def test_each_step_says_where_it_is_from() -> None:
    for step in (*BEFORE, *STEPS):
        assert step.source is COMMON_PRACTICE or step.source.where
