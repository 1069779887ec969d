"""A watch in which nothing happens says so every morning while it has birds."""

from datetime import datetime
from itertools import count
from pathlib import Path
from zoneinfo import ZoneInfo

from support.birds import chicks_in
from support.one_box import settings_of

from monitor.events import Entry, Moment
from monitor.service.core import Core
from monitor.service.rehearsed_night import SITE_FILE

ZONE = ZoneInfo("America/Chicago")
NOON = datetime(2026, 2, 10, 12, tzinfo=ZONE).timestamp()


def moment(at: float) -> Moment:
    return Moment(at, at)


def quiet_days(folder: Path, days: int, *entries: Entry) -> list[str]:
    """What is told where nothing is ever heard but these entries."""
    site = settings_of(folder, SITE_FILE.format(timezone=ZONE.key, units="celsius")).site
    core = Core(site, moment(NOON), next_entry_number=count(1).__next__)
    assert core.next_due is not None
    for entry in entries:
        core.enter(entry, moment(NOON))
    for hour in range(days * 24 + 1):
        core.advance(moment(NOON + 3600.0 * hour))
    return [message.key for message in core.take(moment(NOON)).messages]


def test_every_morning_is_told_where_nothing_ever_happens(tmp_path: Path) -> None:
    told = quiet_days(tmp_path, 3, chicks_in(NOON))
    mornings = [key for key in told if key.startswith("morning:")]
    assert mornings == [f"morning:2026-02-{day}" for day in (11, 12, 13)]


def test_a_box_that_stands_ready_and_is_not_in_use_says_nothing(tmp_path: Path) -> None:
    assert quiet_days(tmp_path, 60) == []
