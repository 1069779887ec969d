"""The list of what is missing for tonight names each thing once, with the one thing to do."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from support import fake_api
from support.engine_night import a_meter, plugged
from support.fake_api import NIGHT, alarm, brooder, probe, status

from monitor.events import Priority
from monitor.quantities import MAINS
from monitor.service.configured import on_battery
from monitor.set_up_form import Step
from monitor.site import Site
from monitor.tell.contact import Contact
from monitor.tell.missing import Machine, Missing, missing
from monitor.watch.empty_box import ExpectedBirds
from monitor.watch.status import MeterStatus, SiteStatus

SITE = fake_api.site()
PHONE = Contact(name="my phone", url="json://a")
READY = Machine(page_open=True, on_battery=None)


def found(
    what: Site = SITE,
    contacts: tuple[Contact, ...] = (PHONE,),
    shown: SiteStatus | None = None,
    machine: Machine = READY,
) -> list[Missing]:
    return missing(what, contacts, shown or status(), machine)


def test_a_box_that_is_watched_with_a_phone_that_was_reached_lacks_nothing() -> None:
    assert found() == []


def test_where_nothing_runs_that_is_said_first() -> None:
    first, *_ = missing(SITE, (), None, READY)
    assert (first.subject, first.words) == ("the watch", "is not running")


unheard = probe("porch/floor", None, None)
silent = probe("porch/floor", 31.0, NIGHT - 7200, silent=True)
PORCH = SITE.brooders[0]
CASES: dict[str, tuple[list[Missing], Step | None]] = {
    "nobody will be told": (found(contacts=()), Step.CONTACTS),
    "no floor probe has been heard yet": (
        found(shown=status(brooder(probes=(unheard,)))),
        Step.PROBES,
    ),
    "heard, but its own time stamps are 20 min old": (
        found(shown=status(brooder(probes=(replace(unheard, stamps_old_s=1200.0),)))),
        Step.PROBES,
    ),
    "no floor probe has been heard since Tue 00:00": (
        found(shown=status(brooder(probes=(silent,)))),
        Step.PROBES,
    ),
    "has no probe on the floor": (
        found(replace(SITE, brooders=(replace(PORCH, probes=()),))),
        Step.PROBES,
    ),
    "no chicks are entered": (found(shown=status(brooder(batch=None))), Step.BIRDS),
    "is not set": (found(shown=replace(status(), clock_sure=False)), None),
    "runs on its battery": (found(machine=replace(READY, on_battery=True)), None),
    "none of them wants what is urgent": (
        found(contacts=(replace(PHONE, priorities=frozenset({Priority.ADVICE})),)),
        None,
    ),
    "heat-loss, urgent, since": (found(shown=status(brooder(alarms=(alarm(),)))), None),
}


def test_chicks_that_come_another_day_are_not_missing_tonight() -> None:
    night = datetime.fromtimestamp(NIGHT, SITE.timezone).date()
    for days, essential in ((0, True), (2, False)):
        expected = ExpectedBirds(night + timedelta(days=days), 100, None)
        [one] = found(shown=status(brooder(batch=None, expected=expected)))
        assert (one.step, one.essential) == (Step.BIRDS, essential)


@pytest.mark.parametrize("words", CASES)
def test_what_is_essential_is_named_with_what_to_do(words: str) -> None:
    [one], step = CASES[words]
    assert words in one.words
    assert one.essential
    assert one.do.endswith(".")
    assert one.step is step


LESSER: dict[str, list[Missing]] = {
    "leads nowhere on the phone": found(machine=replace(READY, page_open=False)),
    "no message has reached it": found(machine=replace(READY, unreached=("my phone",))),
    "nothing measures it": found(replace(SITE, probes=()), shown=replace(status(), probes=())),
    "no lamp or plate is entered": found(replace(SITE, brooders=(replace(PORCH, heat=()),))),
    "heard only every 70 minutes": found(
        shown=status(brooder(probes=(probe("porch/floor", 31.8, usual_gap_s=4200.0),)))
    ),
    "the probe west is heard, but its own time stamps are 6 h old": found(
        shown=status(
            brooder(
                probes=(
                    probe("porch/floor", 31.8),
                    replace(probe("porch/west", None, None), stamps_old_s=6 * 3600.0),
                )
            )
        )
    ),
    "the probe west was never heard": found(
        shown=status(brooder(probes=(probe("porch/floor", 31.8), probe("porch/west", None, None))))
    ),
}


@pytest.mark.parametrize("words", LESSER)
def test_what_only_helps_is_named_and_is_no_fault(words: str) -> None:
    [one] = LESSER[words]
    assert words in one.words
    assert not one.essential


def test_an_alarm_that_was_answered_is_still_no_quiet_night_and_advice_is() -> None:
    advice = alarm(priority=Priority.ADVICE)
    assert found(shown=status(brooder(alarms=(advice,)))) == []


@pytest.mark.parametrize(
    ("state", "scope", "expected"),
    [
        ("Discharging", None, True),
        ("Charging", None, False),
        ("Full", "System", False),
        ("Discharging", "Device", None),
    ],
)
def test_a_battery_is_read_as_the_kernel_tells_it(
    tmp_path: Path, state: str, scope: str | None, expected: bool | None
) -> None:
    for name, kind in (("mains", "Mains"), ("BAT0", "Battery")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "type").write_text(f"{kind}\n")
    (tmp_path / "BAT0" / "status").write_text(f"{state}\n")
    if scope is not None:
        (tmp_path / "BAT0" / "scope").write_text(f"{scope}\n")
    assert on_battery(tmp_path) is expected
    assert on_battery(tmp_path / "none") is None


def test_a_plug_whose_thermostat_is_not_said_is_asked_about_once_a_box() -> None:
    box = plugged(PORCH)
    [one] = found(replace(SITE, brooders=(box,)))
    assert (
        "nobody has said whether a thermostat switches the west lamp or the east lamp" in one.words
    )
    assert (one.essential, one.step) == (False, Step.HEAT)
    said = replace(box, heat=tuple(replace(s, thermostat=False) for s in box.heat))
    assert found(replace(SITE, brooders=(said,))) == []


def test_mains_that_this_board_reads_itself_is_looked_for_on_the_board() -> None:
    """Whoever had misspelt the file was sent to look for a topic."""
    mains = replace(a_meter(MAINS, None), local=True)
    unread = MeterStatus(
        key=mains.key, title="mains power", kind="mains", value=None, at=None, silent=False
    )
    shown = replace(status(), meters=(unread,))
    [here] = found(replace(SITE, meters=(mains,)), shown=shown)
    assert here.words == "the mains power cannot be read on this board"
    assert "the file or the UPS" in here.do
    [afar] = found(replace(SITE, meters=(replace(mains, local=False),)), shown=shown)
    assert "publishes its topic" in afar.do
