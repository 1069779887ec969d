"""Ready for chicks, or what is missing: each thing by its own line."""

from dataclasses import replace
from typing import Any

import pytest
from support.fake_api import NIGHT, brooder, outlook, probe, site

from monitor.brooding.age_limits import AgeLimits
from monitor.site import Brooder, HeatSource, Place, Probe
from monitor.tell.wording.warm_up_words import Verdict, warm_up_verdict
from monitor.tell.wording.words import Voice
from monitor.thermal.diagnosis import Interval, Learned
from monitor.watch.empty_box import WarmUp
from monitor.watch.status import BrooderStatus, MeterStatus
from monitor.watch.switched_off import OwnFall, own_falls

H = 3600.0
PORCH = site().brooders[0]
FAR = Probe(key="porch/far", brooder="porch", name="far", topic="b/far", place=Place.FLOOR)
EAST = replace(PORCH.probes[1], key="porch/east", name="under east lamp", topic="b/east")
BOX = replace(PORCH, probes=(*PORCH.probes, FAR, EAST))
LIMITS = AgeLimits(target_c=35.0, low_c=32.2, high_c=37.8, chill_c=29.4, overheat_c=38.9)
RISE = Learned(floor_c=34.8, rise_k=30.0, rise_sd_k=1.0, time_constant_s=2e3, share=0.6)


def warm(**changes: Any) -> WarmUp:
    return replace(WarmUp(True, LIMITS, NIGHT - 3 * H, outlook()), **changes)


def empty(**changes: Any) -> BrooderStatus:
    under = {"place": Place.UNDER_HEAT}
    probes = (
        probe("porch/floor", 34.8),
        probe("porch/far", 34.0),
        probe("porch/west", 47.0, name="under west lamp", **under),
        probe("porch/east", 45.0, name="under east lamp", **under),
    )
    given: dict[str, Any] = {"temp_c": 34.8, "batch": None, "target_c": None, "probes": probes}
    return brooder(**{**given, "warm_up": warm(), "learned": RISE, **changes})


def asked(box: BrooderStatus, setting: Brooder = BOX, falls: tuple[OwnFall, ...] = ()) -> Verdict:
    found = warm_up_verdict(box, setting, Voice(site()), NIGHT, falls)
    assert found is not None
    return found


def said(verdict: Verdict, right: bool | None) -> str:
    return "\n".join(check.words for check in verdict.checks if check.right is right)


def test_a_box_that_is_warm_and_level_and_will_hold_is_ready() -> None:
    verdict = asked(empty())
    assert (verdict.ready, verdict.answer, verdict.first) == (True, "Ready for chicks", "")
    assert "The floor is 94.6 °F and should be 95.0 °F: right for 3 h." in said(verdict, True)
    assert "it should hold" in said(verdict, True)
    assert "500 W hold the floor 54.0 °F over the outside: 10.8 °F for each 100 W" in said(
        verdict, None
    )


def swapped(box: BrooderStatus, key: str, **changes: Any) -> tuple[Any, ...]:
    return tuple(replace(p, **changes) if p.key == key else p for p in box.probes)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"temp_c": 20.0}, "should be 95.0 °F: give it more time, or more heat"),
        ({"temp_c": 39.0}, "raise the lamps"),
        ({"temp_c": None}, "No floor probe is heard"),
        ({"warm_up": warm(level_since=NIGHT - H)}, "in its band, but for less than 2 h"),
        ({"warm_up": warm(level_since=None)}, "in its band, but for less than 2 h"),
        (
            {"warm_up": warm(outlook=outlook(chance=0.9, mend=("a second layer on the cover",)))},
            "it will not hold without more heat or cover. What would help: a second layer",
        ),
        ({"probes": swapped(empty(), "porch/far", temp_c=30.0)}, "floor is 8.6 °F warmer than far"),
        ({"probes": swapped(empty(), "porch/far", silent=True)}, "The probe far is not heard"),
        ({"probes": swapped(empty(), "porch/far", fault="it is wet")}, "not believed: it is wet"),
        (
            {"probes": swapped(empty(), "porch/east", temp_c=34.9)},
            "under east lamp is no warmer than the floor: is the east lamp lit",
        ),
    ],
)
def test_what_is_missing_is_named_and_no_more_than_that(changes, words) -> None:
    verdict = asked(empty(**changes))
    assert (verdict.ready, verdict.answer) == (False, "Not ready for chicks yet")
    assert words in said(verdict, False)
    assert said(verdict, False).count("\n") <= (1 if changes.get("temp_c") == 39.0 else 0)


def test_probes_that_are_not_heard_are_said_once() -> None:
    deaf = tuple(replace(p, temp_c=None, silent=True) for p in empty().probes)
    verdict = asked(empty(temp_c=None, probes=deaf))
    assert said(verdict, False).split("\n") == [
        "No floor probe is heard: see that it has power and sends.",
        "The probe under west lamp is not heard.",
        "The probe under east lamp is not heard.",
    ]
    assert "No probe lies under" not in said(verdict, None)


def test_a_probe_that_speaks_with_old_time_stamps_is_not_sent_for_its_power() -> None:
    late = swapped(empty(), "porch/floor", temp_c=None, silent=True, stamps_old_s=6 * H)
    deaf = tuple(replace(p, temp_c=None, silent=True) for p in late)
    behind = "The probe floor is heard, but its own time stamps are 6 h old: too old to count. Set"
    assert said(asked(empty(temp_c=None, probes=deaf)), False).startswith(behind)
    alone = swapped(empty(), "porch/far", temp_c=None, silent=True, stamps_old_s=6 * H)
    assert behind.replace("floor", "far") in said(asked(empty(probes=alone)), False)


def test_a_plug_that_draws_nothing_is_a_lamp_that_is_not_on() -> None:
    plug = MeterStatus(
        key="k", title="west lamp", kind="power", value=0.0, at=NIGHT, silent=False, out=True
    )
    assert "The west lamp draws nothing" in asked(empty(meters=(plug,))).first


def test_without_heat_or_a_probe_beneath_it_says_so() -> None:
    assert "No lamp or plate is entered." in said(asked(empty(), replace(BOX, heat=())), False)
    plate = HeatSource(name="plate", kind="plate", watts=60)
    more = asked(empty(), replace(BOX, heat=(*BOX.heat, plate)))
    assert "No probe lies under the plate." in said(more, None)
    assert more.ready


def test_nothing_is_said_of_the_watts_before_it_is_level_nor_of_a_night_that_nobody_knows() -> None:
    soon = asked(empty(warm_up=warm(level_since=NIGHT - H, outlook=None)))
    assert " W hold" not in said(soon, None)
    assert "How cold tonight gets is not known" in said(soon, None)


def test_the_night_is_not_judged_by_what_was_just_tried() -> None:
    cold = outlook(chance=1.0, lowest_c=Interval(20, 18, 22))
    for since in (None, NIGHT - 0.9 * H):
        soon = asked(empty(warm_up=warm(level_since=since, outlook=cold)))
        assert "judged once the floor has been in its band for 1 h" in said(soon, None)
    later = asked(empty(warm_up=warm(level_since=NIGHT - 1.1 * H, outlook=cold)))
    assert "it will not hold" in said(later, False)


def test_birds_in_the_box_are_judged_elsewhere() -> None:
    assert warm_up_verdict(brooder(), BOX, Voice(site()), NIGHT) is None


COLUMN_S = 300.0
FIRST = int(NIGHT // COLUMN_S)


def columns(**temps: list[float]) -> dict[str, dict[int, tuple[float, float]]]:
    return {
        f"porch/{name}": {FIRST + n: (temp_c, temp_c) for n, temp_c in enumerate(said)}
        for name, said in temps.items()
    }


def test_a_lamp_switched_off_shows_which_probe_lies_beneath_it() -> None:
    day = columns(
        floor=[35, 35, 34.8, 34.2, 34, 34.5, 35, 35],
        west=[47, 47, 41, 36, 44, 47, 47, 47],
        east=[45, 45, 45, 44.5, 44.5, 45, 45, 45],
    )
    [fall] = own_falls(BOX, day, COLUMN_S)
    assert (fall.probe, fall.fell_k) == (PORCH.probes[1].name, 11.0)
    verdict = asked(empty(), falls=(fall,))
    assert "under west lamp fell alone by 19.8 °F" in said(verdict, True)
    assert "switch each off for ten minutes" in said(verdict, None)


def test_a_cover_that_is_lifted_shows_nothing_of_the_kind() -> None:
    fell = [35.0, 35.0, 30.0, 24.0, 24.0, 30.0]
    day = columns(floor=fell, west=[t + 10 for t in fell], east=[t + 9 for t in fell])
    assert own_falls(BOX, day, COLUMN_S) == ()
