"""The review's answers as plain data, for the Record screen. Runs only in the child process of
`review_child`: it brings numpy and the drawing library, which the daemon must not carry."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from monitor.journal.reader import JournalReader
from monitor.measures import span
from monitor.page.review_worker import Question
from monitor.review import batches, draw, loss_review, loss_words, sheet_text
from monitor.review.alarm_text import told_words
from monitor.review.boxes import open_family
from monitor.review.chart import PAPER_PX, describe
from monitor.review.days import Cut
from monitor.review.exposure import Exposure
from monitor.review.for_vet import for_vet
from monitor.review.record import Asked, Record, open_record
from monitor.review.report import report
from monitor.review.scenes import scene, story
from monitor.review.sheet import DayRow, sheet
from monitor.units import shown

_TOLD_S = 60.0  # out of the band for less is no line in a list of nights
_GAP_S = 600.0


def sheet_of(question: Question) -> dict[str, Any]:
    """The record sheet of a batch, cell by cell, and what is usual."""
    with _record(question) as record:
        whole = sheet(record, Cut.NOON)
        columns = sheet_text.columns(record, Cut.NOON)
        return {
            "heads": [column.head.split("\n") for column in columns],
            "weeks": [
                {
                    "rows": [
                        {
                            "cells": [column.day(row) for column in columns],
                            "start": row.day.start,
                            "stop": row.day.stop,
                            "urgent": row.urgent,
                            "words": _night_words(row, record),
                            "bad": row.exposure.below_s >= _TOLD_S
                            or row.exposure.above_s >= _TOLD_S,
                        }
                        for row in week.rows
                    ],
                    "cells": [column.week(week) for column in columns],
                    "words": _figures(week.exposure, week.lost, record),
                    "start": week.rows[0].day.start,
                    "stop": week.rows[-1].day.stop,
                }
                for week in whole.weeks
            ],
            "foot": sheet_text.foot(record, whole, []),
            "told": told_words(record),
            "usual": [sheet_text.comparison_words(c) for c in whole.comparisons],
            "notes": [(note.at, note.text) for row in whole.rows for note in row.notes],
            "start": record.start,
            "stop": record.stop,
        }


def _night_words(row: DayRow, record: Record) -> str:
    age = "" if row.age_days is None else f"day {row.age_days}: "
    return age + _figures(row.exposure, row.flock.lost if row.flock else 0, record)


def _figures(exposure: Exposure, lost: int, record: Record) -> str:
    unit = record.site.units
    if exposure.low_c is None:
        return "not read"
    said = [f"lowest {shown(exposure.low_c, unit)}"]
    if exposure.below_s >= _TOLD_S:
        said.append(f"{span(exposure.below_s)} too cold")
    if exposure.above_s >= _TOLD_S:
        said.append(f"{span(exposure.above_s)} too hot")
    if exposure.gap_s >= _GAP_S:
        said.append(f"{span(exposure.gap_s)} silent")
    if lost:
        said.append(f"{lost} lost")
    return ", ".join(said)


def batch_figures_of(question: Question) -> dict[str, Any] | None:
    with _batch(question) as records:
        one = batches.figures(records, 0)
        site = question.site
        if one is None:
            return None
        return {
            "rows": batches.rows(one, site),
            "heat": batches.heat_words([one], site.price_per_kwh),
        }


def report_of(question: Question) -> str:
    """A batch in all its boxes as one file, to print."""
    with _batch(question) as records:
        return report(records, Cut.NOON, now=question.now)


def vet_page_of(question: Question) -> str:
    """What the birds of a batch lived through, on one page."""
    with _batch(question) as records:
        return for_vet(records, now=question.now)


def loss_of(question: Question) -> dict[str, Any] | None:
    """What the record can and cannot say of the loss written down at `stop`."""
    with _record(question, whole_batch=True) as record:
        at = question.stop or 0.0
        loss = next((one for one in loss_review.losses(record) if abs(one.at - at) < 1), None)
        if loss is None:
            return None
        return {
            **loss_words.in_parts(loss, record),
            "causes": loss_words.other_causes([loss]),
            "cannot": list(loss_words.CANNOT),
            "ask": loss_words.ASK,
        }


def story_of(question: Question) -> list[str]:
    """A span in a few lines: what the picture shows, for who cannot see it."""
    with _record(question) as record:
        return story(record, *_span(record, question))[1:]  # the screen has its own title


def moving_chart(question: Question) -> bytes:
    """The chart description of a span, as JSON, for the interactive view."""
    with _record(question) as record:
        shown = scene(record, *_span(record, question))
        spec = describe(shown, wide_px=PAPER_PX, moving=True, dark=question.dark)
        spec.pop("title", None)  # the screen says it, in letters that grow with the reader's
        spec["config"]["background"] = "transparent"  # the paper is the page's
        return json.dumps(spec).encode()


def drawing_script() -> bytes:
    """The drawing library's own script, out of the installed package."""
    return draw.script_bundle()


@contextmanager
def _batch(question: Question) -> Iterator[list[Record]]:
    with JournalReader(question.journal) as kept:
        yield open_family(
            kept, question.site, question.brooder, question.batch or 1, now=question.now
        )


@contextmanager
def _record(question: Question, *, whole_batch: bool = False) -> Iterator[Record]:
    asked = Asked(
        brooder=question.brooder,
        batch=question.batch,
        start=None if whole_batch else question.start,
        stop=None if whole_batch else question.stop,
    )
    with JournalReader(question.journal) as kept:
        yield open_record(kept, question.site, asked, now=question.now)


def _span(record: Record, question: Question) -> tuple[float, float]:
    start = record.start if question.start is None else question.start
    stop = record.stop if question.stop is None else question.stop
    return start, stop
