"""The alarm log on a terminal and in the report. Called by the command and the report."""

from rich.console import Console
from rich.table import Table

from monitor.review.alarm_log import Occurrence
from monitor.review.figure_text import clock, moment, plural
from monitor.review.record import Record
from monitor.tell.wording.words import span
from monitor.watch.measures import (
    ACCEPTABLE_A_DAY,
    CHATTER_COUNT,
    CHATTER_WINDOW_S,
    FLOOD_BEGINS,
    FLOOD_WINDOW_S,
    MOST_A_DAY,
    MOST_FLOOD_SHARE,
    SOURCE,
    STALE_S,
    WANTED_SHARES,
    measure,
)

HEADS = ("raised", "alarm", "priority", "probe", "cause", "acknowledged", "over", "lasted")
NARROW = 104
_WIDE = ("priority", "probe", "cause")  # left out on a narrow terminal


def cells(alarm: Occurrence, record: Record) -> tuple[str, ...]:
    """One occurrence under HEADS."""
    zone = record.site.timezone
    answered = "" if alarm.acknowledged is None else clock(alarm.acknowledged, zone)
    if alarm.acknowledged is not None and alarm.by:
        answered += f" by {alarm.by}"
    over = "not over" if alarm.over is None else moment(alarm.over, zone)
    if alarm.put_aside is not None:
        over = f"put aside {over}"
    lasted = "" if alarm.over is None else span(alarm.over - alarm.raised)
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


def measure_words(record: Record) -> list[str]:
    """The alarm standards' measures of this span, in sentences, and where they stand."""
    got = measure(record.changes, record.start, record.stop)
    lines = [
        f"{plural(got.alarms, 'alarm')} told in "
        # A rate of less than a day says nothing of a day.
        + (
            f"{got.days:.1f} days, {got.a_day:.1f} a day"
            if got.days >= 1
            else span(record.stop - record.start)
        )
        + (f"; {got.folded} more were part of one told already" if got.folded else ""),
        f"answered: {got.acknowledged}"
        + (
            f", {'half of them ' if got.acknowledged > 1 else ''}within {span(got.median_answer_s)}"
            if got.median_answer_s is not None
            else ""
        ),
    ]
    if got.most_frequent:
        often = ", ".join(f"{_named(place)} {count}" for place, count in got.most_frequent[:5])
        lines.append(f"most frequent: {often}")
    chattering = ", ".join(map(_named, got.chattering)) or "none"
    lines.append(f"chattering ({CHATTER_COUNT} or more in {CHATTER_WINDOW_S:.0f} s): {chattering}")
    floods = ", ".join(
        f"{moment(flood.from_at, record.site.timezone)} ({flood.alarms} alarms)"
        for flood in got.floods
    )
    lines.append(
        f"floods ({FLOOD_BEGINS} in {FLOOD_WINDOW_S / 60:.0f} min): {floods or 'none'}; "
        f"most in {FLOOD_WINDOW_S / 60:.0f} min: {got.most_in_10_min}; in a flood "
        f"{_percent(got.flood_share)} of the time (standard: below {_percent(MOST_FLOOD_SHARE)})"
    )
    stale = ", ".join(f"{_named(place)} {span(lasted)}" for place, lasted in got.stale)
    lines.append(f"stale (longer than {STALE_S / 3600:.0f} h): {stale or 'none'}")
    if got.alarms:
        shares = ", ".join(
            f"{priority} {_percent(got.shares[priority])} ({_percent(wanted)})"
            for priority, wanted in WANTED_SHARES.items()
        )
        lines.append(f"of each priority (standard: about): {shares}")
    lines.append(
        f"Source: {SOURCE}. Its limit of about {ACCEPTABLE_A_DAY} a day, {MOST_A_DAY} at most, is "
        "meant for a manned control room; one sleeping person can stand far fewer."
    )
    return lines


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _named(place: tuple[str | None, str, str | None]) -> str:
    _brooder, alarm, probe = place
    return f"{alarm} ({probe.rpartition('/')[2]})" if probe else alarm


def print_alarms(console: Console, record: Record) -> None:
    """The log, oldest first, and the measures."""
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
    console.print()
    console.print("How the alarms behaved", style="bold")
    for line in measure_words(record):
        console.print(line)
