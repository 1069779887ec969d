"""The log of alarms: what is one row of it."""

import pytest
from support.review_journal import at
from support.short_record import placed, recorded

from monitor.events import AlarmName, Cause, Change, ChangeKind, Priority
from monitor.review.alarm_text import HEADS, rows

HOUR_S = 3600.0
DATES = {"start": "2026-02-08 12:00", "stop": "2026-02-12 12:00"}


def pulses(alarm: AlarmName, every_s: float, answered: int | None = None) -> list[Change]:
    """Four times out of the band, for ten minutes each."""
    found = []
    for number in range(4):
        began = at("2026-02-09 13:00") + every_s * number
        kinds = [(began, ChangeKind.RAISED), (began + 600.0, ChangeKind.CLEARED)]
        if number == answered:
            kinds.insert(1, (began + 300.0, ChangeKind.ACKNOWLEDGED))
        found += [
            Change(at=when, brooder="porch", alarm=alarm, change=kind,
                   priority=Priority.ADVICE, cause=Cause.UNKNOWN, probe="porch/east",
                   occurrence=f"porch/{alarm.value}/{number}", facts={})
            for when, kind in kinds
        ]  # fmt: skip
    return found


@pytest.mark.parametrize(
    ("alarm", "every_s", "answered", "said"),
    [
        (AlarmName.HOT, 0.75 * HOUR_S, None, [("hot, 4 times", "9 Feb 15:25", "40 min")]),
        (AlarmName.HOT, 0.75 * HOUR_S, 3, [("hot, 3 times", "9 Feb 14:40", "30 min"),
                                           ("hot", "9 Feb 15:25", "10 min")]),
        (AlarmName.HOT, 2 * HOUR_S, None, [("hot", f"9 Feb {hour}:10", "10 min")
                                           for hour in (13, 15, 17, 19)]),
        (AlarmName.CHILL, 0.75 * HOUR_S, None, [("chill", f"9 Feb {hour}", "10 min")
                                                for hour in ("13:10", "13:55", "14:40", "15:25")]),
    ],
)  # fmt: skip
def test_a_floor_that_a_thermostat_swings_out_of_its_band_is_one_row(
    tmp_path, alarm, every_s, answered, said
):
    """A wide one filled the log, a row for each of its pulses. What somebody answered, and what
    harms, is told by itself."""
    story = pulses(alarm, every_s, answered)
    warm = {"porch/west": lambda _t: 34.5, "porch/east": lambda _t: 34.5}
    with recorded(tmp_path, warm, placed("2026-02-08 12:00"), changes=story, **DATES) as record:
        shown = [dict(zip(HEADS, row, strict=True)) for _, row in rows(record)]
    assert [(row["alarm"], row["over"], row["lasted"]) for row in shown] == said
