"""The probe check: offsets against the ice point or the median."""

import re
from dataclasses import replace

import pytest
from support.fake_api import NIGHT, FakeApi, brooder, probe, site, status
from support.served import Served
from support.visitor import Visitor

from monitor.events import EntryKind
from monitor.page.probe_check import LASTS_S, Method, ProbeCheck, ProbeCheckResult
from monitor.settings import load_settings
from monitor.watch.status import SiteStatus

FLOOR, WEST, SHADE = "porch/floor", "porch/west", "site/shade"


def shown_at(at: float, floor: float, west: float, shade: float) -> SiteStatus:
    return status(
        brooder(probes=(probe(FLOOR, floor, at), probe(WEST, west, at))),
        probes=(probe(SHADE, shade, at),),
        at=at,
    )


def run(method: Method, floor: float, west: float, shade: float, drift: float = 0.0) -> ProbeCheck:
    """Warm at first, then settled; `drift` is what the floor probe still moves a minute."""
    check = ProbeCheck(method=method, keys=(SHADE, FLOOR, WEST), started=NIGHT)
    for second in range(0, int(LASTS_S) + 60, 20):
        warm = max(0.0, 20.0 - second / 10)
        moving = drift * second / 60
        shown = shown_at(NIGHT + second, floor + warm + moving, west + warm, shade + warm)
        check.take(shown)
        check.take(shown)  # looked at twice, counted once
    return check


def by_key(check: ProbeCheck) -> dict[str, ProbeCheckResult]:
    return {finding.key: finding for finding in check.findings(site())}


def test_in_ice_water_each_probes_own_offset_shows():
    found = by_key(run(Method.ICE, 0.4, -0.25, 0.0))
    assert found[FLOOR].offset_c == pytest.approx(-0.4)
    assert found[WEST].offset_c == pytest.approx(0.25)
    assert found[SHADE].offset_c == pytest.approx(0.0)
    assert all(finding.doubt is None for finding in found.values())


def test_at_one_spot_each_is_set_against_the_median():
    found = by_key(run(Method.SPOT, 21.5, 21.0, 20.25))
    assert found[FLOOR].offset_c == pytest.approx(-0.5)
    assert found[WEST].offset_c == pytest.approx(0.0)
    assert found[SHADE].offset_c == pytest.approx(0.75)


def test_an_offset_that_is_already_configured_is_added_to():
    check = run(Method.ICE, 0.4, 0.0, 0.0)
    porch = site().brooders[0]
    corrected = replace(porch.probes[0], offset_c=0.3)
    here = site(brooders=(replace(porch, probes=(corrected, porch.probes[1])),))
    found = {finding.key: finding for finding in check.findings(here)}
    assert found[FLOOR].offset_c == pytest.approx(-0.1)


def test_a_probe_that_is_not_in_the_water_is_doubted():
    found = by_key(run(Method.ICE, 18.0, 0.1, 0.0))
    assert "not in the ice water" in (found[FLOOR].doubt or "")


def test_a_probe_that_still_moves_is_doubted():
    found = by_key(run(Method.ICE, 0.0, 0.0, 0.0, drift=0.2))
    assert "still moving" in (found[FLOOR].doubt or "")


def test_a_probe_that_said_little_is_not_judged():
    check = ProbeCheck(method=Method.ICE, keys=(FLOOR,), started=NIGHT)
    check.take(shown_at(NIGHT + 590, 0.1, 0.0, 0.0))
    (finding,) = check.findings(site())
    assert finding.offset_c is None
    assert "too few readings" in (finding.doubt or "")


def test_nothing_from_before_or_after_counts():
    check = ProbeCheck(method=Method.ICE, keys=(FLOOR,), started=NIGHT)
    check.take(shown_at(NIGHT - 5, 30.0, 0.0, 0.0))
    check.take(shown_at(NIGHT + LASTS_S + 5, 30.0, 0.0, 0.0))
    assert check.readings.get(FLOOR, []) == []


def test_the_page_puts_alarms_aside_runs_the_check_and_corrects_the_probes():
    now = [NIGHT]
    api = FakeApi(shown=shown_at(NIGHT, 0.4, 0.0, 0.0))
    with Served(api, clock=lambda: now[0]) as served:
        visitor = Visitor(served.port)
        visitor.get("/set-up/probes")
        nothing = visitor.send("/set-up/probes", method="ice")
        assert nothing.status == 422
        assert "Choose the probes" in nothing.words
        started = visitor.send("/set-up/probes", method="ice", **{f"probe {FLOOR}": "yes"})
        assert started.status == 303
        assert {e.entry for e in api.submitted} == {EntryKind.SHELVE}
        assert {e.brooder for e in api.submitted} == {"porch"}
        assert "10 min to go" in visitor.get("/set-up/probes").words
        # Its readings come by the live updates, of which a test has no ten minutes.
        check = next(
            route.endpoint.__self__ for route in served.app.routes if route.path == "/set-up/probes"
        )._check
        for second in range(400, 600, 20):
            check.take(shown_at(NIGHT + second, 0.4, 0.0, 0.0))
        now[0] = NIGHT + 601
        done = visitor.get("/set-up/probes")
        assert "Correct them" in done.words
        shown = visitor.send("/set-up/probes/correct")
        assert '+ offset = "-0.72 F"' in shown.words
        mark = re.search(r'name="mark" value="([^"]+)"', shown.body)
        assert mark is not None
        assert "It is in force" in visitor.send("/set-up/write", mark=mark[1], step="probes").words
        assert load_settings(api.config, {}).site.brooders[0].probes[0].offset_c == pytest.approx(
            -0.4
        )
        assert visitor.send("/set-up/probes/end").status == 303
        assert "They are in: start" in visitor.get("/set-up/probes").words
