"""What would another cover, another lamp or half the box do tonight? The answer is the heat
balance's, birds and their fresh air included, for any box, age, cover and lamp."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from support.engine_night import EVENING, ZONE, Night, a_brooder, a_site

from monitor.brooding.calendar import age_days
from monitor.brooding.envelope import COVERS, WALLS, open_share
from monitor.brooding.heat_balance import Flock, balance, changed, gap, with_watts
from monitor.site import Brooder, HeatSource
from monitor.thermal.coming_night import CLEAR_CHANCE
from monitor.thermal.diagnosis import Outlook
from monitor.thermal.mending import left_open

SHADE = "site/shade"
HATCHED = datetime.fromtimestamp(EVENING, ZONE).date()
KINDS = ("broiler", "layer", "turkey", "duck")

heat_sources = st.builds(
    lambda kind, watts, number: HeatSource(name=f"{kind} {number}", kind=kind, watts=watts),
    st.sampled_from(("lamp", "plate", "panel", "other")),
    st.sampled_from((70.0, 100.0, 175.0, 250.0)),
    st.integers(1, 9),
)
boxes = st.builds(
    lambda length, width, height, walls, cover, heat: replace(
        a_brooder(),
        length_m=length,
        width_m=width,
        height_m=height,
        walls=walls,
        cover=cover,
        heat=tuple(heat),
    ),
    st.floats(0.8, 3.0),
    st.floats(0.8, 2.0),
    st.floats(0.4, 0.8),
    st.sampled_from(sorted(WALLS)),
    st.sampled_from(sorted(COVERS)),
    st.lists(heat_sources, min_size=1, max_size=3),
)
covers = st.sampled_from(sorted(COVERS))
flocks = st.builds(
    lambda kind, age, heads: Flock(kind=kind, age_days=float(age), head_count=heads),
    st.sampled_from(KINDS),
    st.integers(0, 41),
    st.integers(1, 150),
)


def asked(
    box: Brooder, birds: Flock, *, cover: str | None, watts: float
) -> tuple[Outlook, Flock] | None:
    """`brooder tonight --low 2C --cover .. --heat ..` of a watch that has just begun, on a floor
    that is where the balance has it; and the birds as the watch counts them."""
    hatched = HATCHED - timedelta(days=int(birds.age_days))
    night = Night(a_site(box, outside=True), batch=False)
    night.placed(count=birds.head_count, hatched=str(hatched), kind=birds.kind)
    as_counted = replace(birds, age_days=age_days(hatched, EVENING, ZONE))
    night.says(2.0, SHADE)
    night.t += 1
    night.says(balance(box, as_counted, outside_c=2.0).floor_c)
    outlook = night.engine.tonight(
        "porch", night.now(), low_c=2.0, cover=cover, extra_watts=watts
    ).outlook
    return None if outlook is None else (outlook, as_counted)


@settings(max_examples=60, deadline=None)
@given(boxes, flocks, st.none() | covers, st.sampled_from((-100.0, 0.0, 60.0, 175.0, 250.0)))
def test_what_if_is_what_the_balance_says_of_that_box(box, birds, cover, watts):
    said = asked(box, birds, cover=cover, watts=watts)
    assume(said is not None)
    outlook, as_counted = said
    wished = with_watts(replace(box, cover=cover or box.cover), watts)
    by_balance = balance(wished, as_counted, outside_c=0.0).floor_c
    by_morning_c, _ = outlook.ways[0][1][-1]
    assert by_morning_c - 2.0 == pytest.approx(by_balance, abs=0.3, rel=0.02)
    if COVERS[wished.cover].closed:
        assert outlook.open_share == pytest.approx(gap(wished, as_counted))


def test_a_cover_that_the_balance_finds_too_little_is_not_said_to_hold():
    """A hundred chicks of 17 days breathe more than any cover of 2.25 m2 lets through."""
    box = replace(a_brooder(), cover="none")
    birds = Flock(age_days=17.0, head_count=100)
    outlook, as_counted = asked(box, birds, cover="boards", watts=0.0)
    covered = balance(replace(box, cover="boards"), as_counted, outside_c=2.0)
    assert covered.floor_c < 26.6  # the edge of its band
    assert outlook.chance > 0.5
    assert left_open(outlook.open_share) == "a quarter"


@settings(deadline=None)
@given(boxes, flocks, covers)
def test_a_cover_never_closes_the_air_that_the_birds_need(box, birds, cover):
    covered = replace(box, cover=cover)
    bare = replace(box, cover="none")
    assert gap(covered, birds) <= 1.0
    if (
        gap(covered, birds) == 1.0 and changed(bare, bare, birds).rise_gain == 1.0
    ):  # all of it must be open: then it keeps in nothing
        assert changed(bare, covered, birds).rise_gain == pytest.approx(1.0)
    opened = [open_share(covered, fresh_air_m3_h=need) for need in (0.0, 20.0, 80.0, 400.0)]
    assert opened == sorted(opened)
    assert opened[0] == (0.0 if COVERS[cover].closed else 1.0)


@settings(deadline=None)
@given(boxes, flocks, st.sampled_from((100.0, 175.0, 250.0)))
def test_one_more_lamp_never_makes_a_box_colder(box, birds, watts):
    change = changed(box, with_watts(box, watts), birds)
    assert change.rise_gain >= 1.0
    assert change.rise_per_watt_k > 0.0


@pytest.mark.parametrize("cover", ["none", "plywood"])
@pytest.mark.parametrize("age", [1, 8, 17, 27])
def test_what_is_said_to_mend_the_night_holds_when_asked_for(cover, age):
    """Each lamp and cover that is offered, asked for as a what-if, holds."""
    box = replace(a_brooder(), cover=cover)
    birds = Flock(age_days=float(age), head_count=60)
    outlook, _ = asked(box, birds, cover=None, watts=0.0)
    for clause in outlook.mend:
        watts = next((w for w in (100.0, 175.0, 250.0) if f"lamp of {w:.0f} W" in clause), 0.0)
        lid = next((n for n, c in COVERS.items() if f"cover it with {c.title}," in clause), None)
        if (watts == 0.0 and lid is None) or "halve" in clause:
            continue
        held, _ = asked(box, birds, cover=lid, watts=watts)
        assert held.chance < CLEAR_CHANCE, clause
