"""Colours, dashes, shapes and sizes of the chart. One place, so that every form looks alike.

Line colours are of the set by M. Okabe and K. Ito, "Color Universal Design" (2002, revised 2008),
chosen there to differ for every common colour blindness. No meaning hangs on colour alone: each
line has its own dash and symbol and its name beside it, each alarm its own row, and priorities
differ in thickness and lightness, so that a grey print and a photocopy say the same."""

from dataclasses import dataclass

from monitor.watch.events import Priority

FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
SMALL_PX = 11  # the least that reads well on a phone held at arm's length
TITLE_PX = 14
TEXT = "#222222"
QUIET = "#555555"
GRID = "#e3e3e3"
BAND = "#dfe8d8"  # lightness 91 %: behind every line, also in grey
BLACK = "#000000"


@dataclass(frozen=True, slots=True)
class Ink:
    """How one line is told from the others."""

    colour: str
    dash: tuple[int, ...]
    shape: str


FLOOR = (
    Ink("#0072B2", (), "circle"),
    Ink("#D55E00", (7, 3), "square"),
    Ink("#000000", (2, 2), "triangle-up"),
    Ink("#009E73", (9, 3, 2, 3), "diamond"),
    Ink("#CC79A7", (12, 4), "triangle-down"),
    Ink("#E69F00", (4, 4), "cross"),
)
ELSEWHERE = (
    Ink("#D55E00", (), "circle"),
    Ink("#0072B2", (7, 3), "square"),
    Ink("#009E73", (2, 2), "triangle-up"),
    Ink("#000000", (9, 3, 2, 3), "diamond"),
)
OUTSIDE = (Ink("#444444", (), "circle"), Ink("#444444", (7, 3), "square"))

ALARM = {Priority.URGENT: "#A11D00", Priority.WARNING: "#E08A00", Priority.ADVICE: "#8FB8D8"}
ALARM_THICK_PX = {Priority.URGENT: 10, Priority.WARNING: 7, Priority.ADVICE: 4}
CHECK = "M-1,0.1L-0.35,0.75L1,-0.8"  # a tick mark; no font needed
