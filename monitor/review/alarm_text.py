"""The alarm log on a terminal and in the report. Called by the command and the report."""

from rich.console import Console
from rich.table import Table

from monitor.review.alarm_log import Occurrence
from monitor.review.record import Record
from monitor.review.saying import clock, moment, span_words

HEADS = ("raised", "alarm", "priority", "probe", "cause", "acknowledged", "over", "lasted")
NARROW = 104
_WIDE = ("priority", "probe", "cause")  # left out on a narrow terminal


def cells(alarm: Occurrence, record: Record) -> tuple[str, ...]:
    """One occurrence under HEADS."""
    zone = record.site.timezone
    answered = "" if alarm.acknowledged is None else clock(alarm.acknowledged, zone)
    if alarm.acknowledged is not None and alarm.by:
        answered += f" by {alarm.by}"
    over = "not over" if alarm.cleared is None else moment(alarm.cleared, zone)
    lasted = "" if alarm.cleared is None else span_words(alarm.cleared - alarm.raised)
    return (
        moment(alarm.raised, zone),
        alarm.alarm.value,
        alarm.priority.value,
        (alarm.probe or "").rpartition("/")[2],
        alarm.cause.value,
        answered,
        over,
        lasted,
    )


def print_alarms(console: Console, record: Record) -> None:
    """The log, oldest first."""
    if not record.alarms:
        console.print("No alarm in this time.")
        return
    shown = [n for n, head in enumerate(HEADS) if console.width >= NARROW or head not in _WIDE]
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
    for number in shown:
        table.add_column(HEADS[number], no_wrap=True)
    for alarm in record.alarms:
        row = cells(alarm, record)
        table.add_row(*(row[number] for number in shown))
    console.print(table)
