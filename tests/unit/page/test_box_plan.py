"""The box from above: to scale, each thing in its place, each place with how warm it is."""

from dataclasses import replace

from support.fake_api import NIGHT, brooder, probe, site

from monitor.page.box_plan import BoxPlan, box_plan
from monitor.page.phrases import Phrases
from monitor.site import Place

HERE = site()
PORCH = HERE.brooders[0]


def plan(**probes: float | None) -> BoxPlan:
    shown = tuple(
        replace(probe(f"porch/{name}", temp_c), name=name.replace("_", " "), place=place)
        for (name, temp_c), place in zip(
            probes.items(), (Place.FLOOR, Place.UNDER_HEAT, Place.COOL_END), strict=False
        )
    )
    return box_plan(brooder(probes=shown), PORCH, Phrases(HERE, NIGHT))


def test_it_is_to_scale_and_says_how_large_the_box_is():
    flat = replace(PORCH, length_m=3.0, width_m=2.0)
    drawn = box_plan(brooder(), flat, Phrases(HERE, NIGHT))
    assert drawn.high / drawn.wide == 213 / 320
    assert drawn.words == "9 ft 10 in by 6 ft 7 in"


def test_a_probe_under_a_lamp_lies_on_it_and_west_is_left_of_east():
    drawn = plan(floor=31.8, under_east_lamp=41.0)
    heat = {spot.name: spot.x for spot in drawn.spots if spot.kind == "heat"}
    assert heat["west lamp"] < heat["east lamp"]
    (under,) = [spot for spot in drawn.spots if spot.name == "under east lamp"]
    assert under.x == heat["east lamp"]


def test_each_place_says_how_warm_it_is_and_only_the_floor_is_judged():
    kinds = {spot.name: spot.kind for spot in plan(floor=27.0, under_west_lamp=24.0).spots}
    assert (kinds["floor"], kinds["under west lamp"]) == ("cold", "untold")
    assert {spot.kind for spot in plan(floor=36.0).spots} == {"heat", "hot"}
    assert {spot.kind for spot in plan(floor=None).spots} == {"heat", "unknown"}
