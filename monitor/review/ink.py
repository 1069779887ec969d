"""Colours, dashes, shapes and sizes of the chart. One place, so that every form looks alike.

Line colours are of the set by M. Okabe and K. Ito, "Color Universal Design" (2002, revised 2008),
chosen there to differ for every common colour blindness. No meaning hangs on colour alone: each
line has its own dash and symbol and its name beside it, each alarm its own row, and priorities
differ in thickness and lightness, so that a grey print and a photocopy say the same."""

from dataclasses import dataclass
from typing import Any

from monitor.events import Priority

Spec = dict[str, Any]  # a part of a Vega-Lite description
FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
SMALL_PX = 12  # the least that reads well on a phone held at arm's length
TITLE_PX = 14
ALARM_THICK_PX = {Priority.URGENT: 10, Priority.WARNING: 7, Priority.ADVICE: 4}
CHECK = "M-1,0.1L-0.35,0.75L1,-0.8"  # a tick mark; no font needed

_BLUE, _VERMILION, _GREEN = "#0072B2", "#D55E00", "#009E73"
_PURPLE, _ORANGE, _SKY, _YELLOW = "#CC79A7", "#E69F00", "#56B4E9", "#F0E442"


@dataclass(frozen=True, slots=True)
class Ink:
    """How one line is told from the others."""

    colour: str
    dash: tuple[int, ...]
    shape: str


_DASHES = ((), (7, 3), (2, 2), (9, 3, 2, 3), (12, 4), (4, 4))
_SHAPES = ("circle", "square", "triangle-up", "diamond", "triangle-down", "cross")


def _inks(*colours: str) -> tuple[Ink, ...]:
    """Each colour with the next dash and symbol."""
    return tuple(
        Ink(*look) for look in zip(colours, _DASHES[: len(colours)], _SHAPES, strict=False)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    paper: str
    text: str
    quiet: str  # target, chill limit, second lines
    grid: str
    frame: str
    band: str
    marks: str  # losses, notes, ticks
    floor: tuple[Ink, ...]
    elsewhere: tuple[Ink, ...]
    outside: tuple[Ink, ...]
    alarm: dict[Priority, str]


LIGHT = Palette(
    paper="#ffffff",
    text="#222222",
    quiet="#555555",
    grid="#e3e3e3",
    frame="#bbbbbb",
    band="#dfe8d8",  # lightness 91 %: behind every line, also in grey
    marks="#000000",
    floor=_inks(_BLUE, _VERMILION, "#000000", _GREEN, _PURPLE, _ORANGE),
    elsewhere=_inks(_VERMILION, _BLUE, _GREEN, "#000000"),
    outside=_inks("#444444", "#444444"),
    alarm={Priority.URGENT: "#A11D00", Priority.WARNING: "#E08A00", Priority.ADVICE: "#8FB8D8"},
)

DARK = Palette(
    paper="#16181b",
    text="#e8e8e8",
    quiet="#b0b0b0",
    grid="#33373c",
    frame="#666666",
    band="#2c382b",
    marks="#ffffff",
    floor=_inks(_SKY, _ORANGE, "#ffffff", "#33C99A", _PURPLE, _YELLOW),
    elsewhere=_inks(_ORANGE, _SKY, "#33C99A", "#ffffff"),
    outside=_inks("#c8c8c8", "#c8c8c8"),
    alarm={Priority.URGENT: "#FF6A4D", Priority.WARNING: "#E0A030", Priority.ADVICE: "#4E7899"},
)
