"""The alarm table holds what the design promises, and nothing is missing."""

from dataclasses import replace

import pytest
from support.engine_night import EVENING, a_brooder, a_site

from monitor.site import Limits
from monitor.watch.alarm_table import TABLE, Family, Scope
from monitor.watch.engine import Engine
from monitor.watch.events import AlarmName, Entry, EntryKind, Facts, Moment, Priority

URGENT = {AlarmName.CHILL, AlarmName.OVERHEAT, AlarmName.HEAT_LOSS, AlarmName.NO_READINGS}
ADVICE = {
    AlarmName.STEP_DOWN,
    AlarmName.CROWDED,
    AlarmName.LOSSES_HIGH,
    AlarmName.READY_TO_MOVE,
}


@pytest.mark.parametrize("name", AlarmName)
def test_every_alarm_has_a_row_with_the_designs_priority(name: AlarmName) -> None:
    rule = TABLE[name]
    expected = (
        Priority.URGENT
        if name in URGENT
        else Priority.ADVICE
        if name in ADVICE
        else Priority.WARNING
    )
    assert rule.priority is expected
    assert rule.says


def test_urgent_alarms_repeat_oftener_than_warnings_and_are_passed_on() -> None:
    urgent = [r for r in TABLE.values() if r.priority is Priority.URGENT]
    warnings = [r for r in TABLE.values() if r.priority is Priority.WARNING]
    assert max(r.repeat_s or 0 for r in urgent) < min(r.repeat_s or 0 for r in warnings)
    assert all(r.escalate_s for r in urgent)
    assert all(r.escalate_s is None for r in warnings)


def test_advice_is_never_repeated() -> None:
    assert all(TABLE[name].repeat_s is None for name in ADVICE)


def test_delays_are_the_brooders_own_limits() -> None:
    limits = Limits(band_delay_s=17.0, harm_delay_s=3.0, clear_delay_s=5.0)
    for name, on_s in ((AlarmName.COLD, 17.0), (AlarmName.HOT, 17.0), (AlarmName.CHILL, 3.0)):
        rule = TABLE[name]
        assert rule.delay_s(rule.on_delay, limits) == on_s
        assert rule.delay_s(rule.off_delay, limits) == 5.0


@pytest.mark.parametrize(
    ("worse", "than"),
    [
        (AlarmName.CHILL, AlarmName.COLD),
        (AlarmName.CHILL, AlarmName.HEAT_LOSS),
        (AlarmName.HEAT_LOSS, AlarmName.COLD),
        (AlarmName.COLD, AlarmName.COLD_NIGHT),
        (AlarmName.OVERHEAT, AlarmName.HOT),
    ],
)
def test_the_worse_form_of_a_trouble_outranks_the_other(worse: AlarmName, than: AlarmName) -> None:
    assert TABLE[worse].family is TABLE[than].family
    assert TABLE[worse].rank > TABLE[than].rank


def test_only_fire_and_the_watchers_own_troubles_need_no_birds() -> None:
    cold_and_hot = [r for r in TABLE.values() if r.family in (Family.COLD, Family.HOT)]
    assert [r.alarm for r in cold_and_hot if not r.needs_batch] == [AlarmName.OVERHEAT]


def test_every_alarm_there_can_be_is_about_what_its_row_says() -> None:
    site = a_site(a_brooder("porch", floors=2), a_brooder("shed"), outside=True)
    engine = Engine(site, Moment(EVENING, EVENING))
    for contact in ("my phone", "the neighbour"):
        facts = Facts(contact=contact)
        engine.fault(AlarmName.DELIVERY_FAULT, True, Moment(EVENING, EVENING), facts)
    later = Moment(EVENING + 3600, EVENING + 3600)
    engine.advance(later)  # the whole site is silent; then everything is put away
    for n, box in enumerate(site.brooders):
        away = Entry(at=later.at, entry=EntryKind.OUT_OF_SERVICE, number=n, brooder=box.name)
        engine.entry(away, later)
        for probe in box.probes:
            engine.entry(replace(away, probe=probe.key), later)
    probes = {p.name for p in site.all_probes} | {p.key for p in site.all_probes}
    seen = set()
    for row in engine.state()["alarms"].values():
        name, brooder, subject = row["place"]
        if subject is not None:
            scope = Scope.PROBE if subject in probes else Scope.CONTACT
        else:
            scope = Scope.SITE if brooder is None else Scope.BROODER
        assert scope in TABLE[AlarmName(name)].scopes
        seen.add((name, scope))
    assert {("no-readings", s) for s in (Scope.PROBE, Scope.BROODER, Scope.SITE)} <= seen
