"""The alarm log on a terminal and in the report. Called by the command and the report."""

from rich.console import Console
from rich.table import Table

from monitor.measures import span
from monitor.review.alarm_log import Occurrence, gathered
from monitor.review.figure_text import clock_after, moment
from monitor.review.record import Record

HEADS = ("raised", "alarm", "priority", "probe", "cause", "acknowledged", "over", "lasted")
NARROW = 104
_WIDE = ("priority", "probe", "cause")  # left out on a narrow terminal


def rows(record: Record) -> list[tuple[float, tuple[str, ...]]]:
    """Under HEADS, each with when it was raised."""
    return [(row[0].raised, _cells(row, record)) for row in gathered(record.alarms)]


def _cells(row: list[Occurrence], record: Record) -> tuple[str, ...]:
    zone, began, alarm = record.site.timezone, row[0].raised, row[-1]
    answered = ""
    if alarm.acknowledged is not None:
        answered = clock_after(alarm.acknowledged, alarm.raised, zone)
        answered += f" by {alarm.by}" if alarm.by else ""
    over = "not over" if alarm.over is None else moment(alarm.over, zone)
    if alarm.put_aside is not None:
        over = f"put aside {over}"
    spells_s = [one.over - one.raised for one in row if one.over is not None]
    return (
        moment(began, zone),
        alarm.alarm.value if len(row) == 1 else f"{alarm.alarm.value}, {len(row)} times",
        alarm.priority.value,
        (alarm.probe or "").rpartition("/")[2],
        alarm.cause.value,
        answered,
        over,
        span(sum(spells_s)) if spells_s else "",
    )


def told_words(record: Record) -> str:
    """`Told 5 times in this batch, answered once.` What was part of an alarm told already is no
    telling of its own."""
    told = [alarm for alarm in record.alarms if alarm.told]
    answered = [alarm for alarm in told if alarm.acknowledged is not None]
    where = "in this time" if record.batch is None else "in this batch"
    if not told:
        return f"The record has no alarm {where}."  # one that was imported never has
    times = ["once" if count == 1 else f"{count} times" for count in (len(told), len(answered))]
    return f"Told {times[0]} {where}, answered {times[1]}."


def print_alarms(console: Console, record: Record) -> None:
    """The log, oldest first, and how often somebody was told and answered."""
    if not record.alarms:
        console.print("No alarm in this time.")
        return
    shown = [n for n, head in enumerate(HEADS) if console.width >= NARROW or head not in _WIDE]
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
    for number in shown:
        table.add_column(HEADS[number], no_wrap=True)
    for _, row in rows(record):
        table.add_row(*(row[number] for number in shown))
    console.print(table)
    console.print()
    console.print(told_words(record))
