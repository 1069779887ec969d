"""`brooder sources` leaves nothing out: each table that decides has its figures listed."""

import re
from pathlib import Path

from monitor.brooding import birds_heat, lamp_safety, losses, moving, space
from monitor.brooding.bibliography import figures
from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.envelope import COVERS, WALLS
from monitor.brooding.heat_balance import SHARES
from monitor.brooding.provenance import Mark
from monitor.brooding.schedules import BUILT_IN

ALL = list(figures())


def values(subject: str) -> list[float]:
    return [one.value for one in ALL if one.subject == subject]


def test_every_row_of_every_schedule_is_listed():
    rows = [row.target_c for schedule in BUILT_IN.values() for row in schedule.rows]
    listed = [one.value for one in ALL if one.subject.startswith("target temperature: ")]
    assert listed == rows


def test_every_weight_rule_space_loss_and_moving_figure_is_listed():
    assert values("body mass") == [g for kind in KINDS.values() for _, g in kind.grams]
    heat = values("birds' heat")
    assert all(rule.watts in heat for rule in birds_heat.RULES.values())
    wanted = [row.wanted_m2 for rows in space.FLOOR.values() for row in rows]
    assert values("floor a bird, wanted") == wanted
    assert [row.feeder_cm for row in space.TROUGH] == values("feeder edge a chick")
    assert {percent for _, percent, _ in losses.USUAL} <= set(values("usual losses"))
    assert {row.night_c for row in moving.MOVE.values()} <= set(values("moving out"))


def test_every_material_and_source_kind_is_listed():
    names = {one.name for one in ALL if one.subject == "resistance"}
    used = {layer.name for wall in WALLS.values() for layer in wall.layers}
    used |= {layer.name for cover in COVERS.values() for layer in cover.layers}
    assert used <= {name.removeprefix("wall or cover of ") for name in names}
    heat = {one.name.split(":")[0] for one in ALL if one.subject == "heat source"}
    assert set(SHARES) <= heat


def test_every_kind_of_bird_has_a_row_in_every_table():
    for table in (birds_heat.RULES, space.FLOOR, moving.MOVE):
        assert set(table) == set(KINDS)


def test_every_figure_names_its_source_unit_and_mark_and_stands_once():
    assert all(one.source and (one.unit or one.value is None) and one.name for one in ALL)
    for one in ALL:
        if one.mark in (Mark.READ, Mark.QUOTED, Mark.DERIVED):
            assert one.where, one
        assert (one.source == "common practice") == (one.mark is Mark.PRACTICE), one
    keys = [(one.subject, one.name) for one in ALL]
    assert len(set(keys)) == len(keys)


def test_the_advice_on_lamps_is_quoted_as_strictly_as_it_was_given():
    """S. Schirtzinger, Ohio State University Extension, 2022: two points, not one for the other."""
    said = str(lamp_safety.OHIO)
    assert "a smoke alarm that is heard at the house" in said
    assert "never left unattended overnight" in said
    assert "overnight without" not in said


def test_every_figure_of_the_readme_about_fire_has_its_source_and_every_caution_too():
    fire = Path("README.md").read_text().split("## Fire first")[1].split("## Parts")[0]
    found = re.findall(r"(?:(\d+) to )?(\d+(?:\.\d+)?) (cm|in|m|ft|W|%)(?!\w)", fire)
    said = {(float(value), unit) for *values, unit in found for value in values if value}
    known = set()
    for one in ALL:
        if one.subject == "fire safety" and one.value is not None:
            known |= {(round(one.value), "W"), (round(one.value), "%"), (round(one.value, 1), "cm")}
            known |= {(round(one.value / 2.54), "in"), (round(one.value / 30.48), "ft")}
            known |= {(round(one.value / 100, 1), "m")}
    rounded = {(45.0, "cm"), (50.0, "cm")}  # 18 and 20 in
    assert len(said) >= 9
    assert said - rounded <= known
    words = " ".join(one.name for one in ALL if one.subject == "fire safety: cautions")
    for caution in (
        *("two independent supports", "guard", "porcelain", "GFCI", "AFCI", "extension cord"),
        *("smoke alarm", "extinguisher", "unattended overnight", "gap for fresh air"),
    ):
        assert caution in " ".join(fire.split())
        assert caution in words


def test_every_figure_that_an_alarm_of_the_readme_names_is_listed():
    table = Path("README.md").read_text().split("| alarm | when |")[1].split("\n\n")[0]
    said = {float(value) for value in re.findall(r"(\d+(?:\.\d+)?) °C", table)}
    assert {2.8, 5.6, 39.0, 34.4, 50.0} <= said
    assert said <= {one.value for one in ALL if one.unit in ("K", "degC")}
