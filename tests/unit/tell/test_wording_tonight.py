"""The answer about tonight contradicts itself nowhere, and says how sure it is."""

import pytest
from tell_samples import NIGHT, site

from monitor.tell.wording.evening import BoxEvening, evening
from monitor.tell.wording.tonight_words import tonight
from monitor.tell.wording.words import Voice, Words, compose
from monitor.thermal.diagnosis import Interval, Outlook
from monitor.units import Unit


def outlook(**changes: object) -> Outlook:
    given: dict[str, object] = {
        "lowest_c": Interval(29.0, 28.0, 30.0),
        "lowest_at": NIGHT + 4 * 3600,
        "leaves_band_at": None,
        "chance": 0.02,
        "missing_watts": 0.0,
        "outside_low_c": -5.0,
        "outside_from": "forecast",
        "learned": 1.0,
    }
    return Outlook(**{**given, **changes})  # type: ignore[arg-type]


def said(read_at: float | None = NIGHT - 10, **changes: object) -> list[str]:
    return list(tonight(outlook(**changes), Voice(site(Unit.FAHRENHEIT)), NIGHT, read_at))


@pytest.mark.parametrize(
    ("chance", "lead"),
    [
        (0.02, "It should hold. Chance of getting too cold: less than 5 in 100."),
        (0.12, "It should hold. Chance of getting too cold: about 10 in 100."),
        (0.3, "It will probably hold. Chance of getting too cold: about 30 in 100."),
        (0.42, "It may not hold. Chance of getting too cold: about 40 in 100."),
        (0.5, "It is as likely as not to get too cold (about 50 in 100)."),
        (0.6, "It will probably not hold. Chance of getting too cold: about 60 in 100."),
        (0.99, "It will not hold. Chance of getting too cold: more than 95 in 100."),
    ],
)
def test_the_answer_fits_its_chance(chance: float, lead: str) -> None:
    assert said(chance=chance)[0] == lead


def test_when_it_would_leave_the_band_is_said_where_it_is_likely_to() -> None:
    first = said(chance=0.6, leaves_band_at=NIGHT + 1500)[0]
    assert first.endswith(" It would leave the band about 02:45.")


def test_a_floor_below_its_band_is_not_about_to_leave_it() -> None:
    lines = said(chance=0.69, below_now=True, leaves_band_at=NIGHT, missing_watts=38.0)
    assert lines[0] == "It is below its band already."
    assert lines[1] == (
        "It is unlikely to warm up and hold by itself. Chance that it stays or gets cold: "
        "about 70 in 100."
    )
    assert not any("leave the band" in line for line in lines)
    back = said(chance=0.1, below_now=True, leaves_band_at=NIGHT)
    assert back[1].startswith("It should come back and then hold.")


def test_watts_are_what_makes_it_nearly_sure_and_none_within_the_doubt() -> None:
    lines = said(chance=0.35, missing_watts=38.0)
    assert "To hold in 8 nights out of 10, add about 40 W." in lines
    assert not any(" W." in line for line in said(chance=0.22, missing_watts=2.4))


def test_an_old_reading_is_said_to_be_old() -> None:
    assert not any("min old" in line for line in said(read_at=NIGHT - 60))
    assert any("The last floor reading is 14 min old" in line for line in said(NIGHT - 840))
    assert any("no floor reading to believe" in line for line in said(None))


def test_the_first_night_is_not_called_safe() -> None:
    lines = said(chance=0.02, first_night=True)
    assert lines[0].startswith("It looks as if it will hold.")
    assert any("be ready for a colder one" in line for line in lines)
    assert not any("should hold" in line for line in lines)


def test_the_air_that_the_birds_need_is_said() -> None:
    lines = said(open_share=0.3)
    assert any(line.startswith("Leave a third of the top open: the birds") for line in lines)
    assert not any("the air" in line for line in said(open_share=0.01))


def test_at_bedtime_a_box_that_is_too_hot_and_may_not_hold_is_let_cool_first() -> None:
    box = BoxEvening(
        brooder="porch", now_c=38.4, target_c=35.0, outlook=outlook(chance=0.7), too_hot=True
    )
    words = evening([box], [], Voice(site()), NIGHT)
    assert "It is too hot now: let it cool first" in words.body
    assert "add cover or heat before bed" not in words.body


@pytest.mark.parametrize(("now_c", "calm"), [(32.0, False), (32.2, True)])
def test_a_floor_that_is_below_its_band_at_bedtime_is_not_one_with_nothing_to_do(now_c, calm):
    """It may be back in a minute, as the night ahead has it: then a look costs nothing."""
    box = BoxEvening(
        brooder="porch", now_c=now_c, target_c=35.0, low_c=32.2, outlook=outlook(chance=0.02)
    )
    words = evening([box], [], Voice(site()), NIGHT)
    assert words.title.endswith("tonight, nothing to do" if calm else "tonight, look once more")
    assert ("Nothing to do." in words.body) is calm


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"chance": 0.02}, "It should hold."),
        ({"chance": 0.02, "first_night": True}, "It looks as if it will hold."),
        ({"chance": 0.3}, "It will probably hold."),
        ({"chance": 0.42}, "It may not hold: add cover or heat before bed."),
        ({"chance": 0.8}, "It will probably not hold: add cover or heat before bed."),
    ],
)
def test_bedtime_is_as_sure_of_the_night_as_who_asks_is_told(
    given: dict[str, object], says: str
) -> None:
    box = BoxEvening(brooder="porch", now_c=35.0, target_c=35.0, outlook=outlook(**given))
    assert says in evening([box], [], Voice(site()), NIGHT).body
    assert said(**given)[0].startswith(says.partition(":")[0].rstrip("."))


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({}, "It will probably hold. Be ready to add cover or heat."),
        (
            {"mend": ("cover it with plywood, leaving a gap for fresh air", "hang a heat lamp")},
            "Be ready to cover it with plywood, leaving a gap for fresh air.",
        ),
        (
            {"mend": ("hang a heat lamp of 100 W",)},
            "Be ready to hang a heat lamp of 100 W.\nIf you hang a lamp: two separate supports",
        ),
    ],
)
def test_where_a_night_will_only_probably_hold_bedtime_says_what_to_have_ready(
    given: dict[str, object], says: str
) -> None:
    def words(**more: object) -> Words:
        box = BoxEvening(
            brooder="porch", now_c=35.0, target_c=35.0, outlook=outlook(**(given | more))
        )
        return evening([box], [], Voice(site()), NIGHT)

    doubt = words(chance=0.3)
    assert doubt.title.endswith("tonight, be ready for cold")
    assert says in doubt.body
    assert "Nothing to do." not in doubt.body
    assert "Nothing to do." in words(chance=0.05).body
    assert "eady" not in words(chance=0.1).body


@pytest.mark.parametrize(
    ("given", "title"),
    [
        ({"chance": 0.05}, "tonight, nothing to do"),
        ({"chance": 0.1}, "tonight, it should hold"),
        ({"chance": 0.05, "first_night": True}, "tonight, it looks as if it will hold"),
    ],
)
def test_a_night_whose_doubt_reaches_the_bands_edge_is_not_one_with_nothing_to_do(
    given: dict[str, object], title: str
) -> None:
    box = BoxEvening(brooder="porch", now_c=35.0, target_c=35.0, outlook=outlook(**given))
    words = evening([box], [], Voice(site()), NIGHT)
    assert words.title.endswith(title)
    sure = title.endswith("nothing to do")
    assert ("Nothing to do." in words.body, "perhaps 28.0," in words.body) == (sure, not sure)


@pytest.mark.parametrize(
    ("chance", "title", "says"),
    [
        (0.05, "nothing to do", "It should hold."),
        (0.15, "look once more", "Last night it went down to about 30.2 °C. Add cover or heat"),
        (0.4, "look once more", "Last night it went down to about 30.2 °C. It may not hold: add"),
        (0.6, "add cover or heat", "It will probably not hold: add cover or heat before bed."),
    ],
)
def test_a_night_that_may_go_as_the_last_one_which_was_too_cold_is_to_be_seen_to(
    chance: float, title: str, says: str
) -> None:
    given = outlook(chance=chance, was_cold_c=30.2)
    box = BoxEvening(brooder="porch", now_c=35.0, target_c=35.0, outlook=given)
    words = evening([box], [], Voice(site()), NIGHT)
    assert words.title.endswith(title)
    assert says in words.body


@pytest.mark.parametrize(("was_cold_c", "count"), [(30.2, 1), (None, 0)])
def test_a_cold_night_at_bedtime_says_how_cold_the_last_one_was(
    was_cold_c: float | None, count: int
) -> None:
    ahead = compose("porch: cold night ahead", "Likely down to 29.0 °C.", "Cover it.")
    box = BoxEvening(
        brooder="porch", now_c=35.0, outlook=outlook(chance=0.8, was_cold_c=was_cold_c), cold=ahead
    )
    words = evening([box], [], Voice(site()), NIGHT)
    assert words.title == ahead.title
    assert words.body.count("\nLast night it went down to about 30.2 °C.\n") == count


def test_a_calm_evening_says_what_cannot_be_foreseen_without_a_probe_outside() -> None:
    def said_of(by_floor: bool) -> str:
        box = BoxEvening(
            brooder="porch", now_c=35.0, target_c=35.0, outlook=outlook(by_floor=by_floor)
        )
        return evening([box], [], Voice(site()), NIGHT).body

    assert "Nothing measures the outside: sudden cold comes unforeseen." in said_of(True)
    assert "outside" not in said_of(False)


def test_an_evening_of_which_nothing_is_foretold_is_not_one_with_nothing_to_do() -> None:
    voice = Voice(site())
    words = evening([BoxEvening(brooder="porch", now_c=35.2, target_c=35.0)], [], voice, NIGHT)
    assert words.title.endswith("tonight, look at a forecast")
    assert "How cold tonight gets is not known here: look at a forecast." in words.body
    assert "othing to do" not in words.title + words.body


@pytest.mark.parametrize(
    ("steps", "said"),
    [
        ((None, None), []),
        ((32.2, None), ["porch: Tomorrow the target goes down to 32.2 °C: raise the lamps"]),
        (
            (32.2, 29.4),
            [
                "porch: Tomorrow the target goes down to 32.2 °C: raise the lamps",
                "shed: Tomorrow the target goes down to 29.4 °C: turn the heat down",
            ],
        ),
    ],
)
def test_of_two_boxes_it_is_said_whose_target_goes_down_tomorrow(steps, said):
    """Nobody is to raise the lamps over the younger chicks. The shed has a plate."""
    boxes = [
        BoxEvening(brooder=name, now_c=35.0, target_c=35.0, outlook=outlook(), next_target_c=step)
        for name, step in zip(("porch", "shed"), steps, strict=True)
    ]
    body = evening(boxes, [], Voice(site()), NIGHT).body.splitlines()
    assert [line for line in body if "Tomorrow" in line] == [
        f"{line} in the morning, not tonight." for line in said
    ]
