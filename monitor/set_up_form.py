"""The guided set-up's steps as forms: what is asked, with which words. The terminal and the page
show the same. Plain data; made by `settings.set_up_steps`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Step(StrEnum):
    """A part of the set-up, in the order in which it is gone through."""

    SITE = "site"
    BOX = "box"
    HEAT = "heat"
    PROBES = "probes"
    METERS = "meters"
    CONTACTS = "contacts"
    PAGE = "page"
    BIRDS = "birds"


@dataclass(frozen=True, slots=True)
class Field:
    """One question. With `options` (value, words) one of them is chosen. `only_with`: the question
    without whose answer this one means nothing; the terminal then leaves it out."""

    name: str
    label: str
    hint: str = ""
    options: tuple[tuple[str, str], ...] = ()
    secret: bool = False
    technical: bool = False  # seldom changed: folded away on the page
    only_with: str = ""


@dataclass(frozen=True, slots=True)
class StepForm:
    """What a step asks about one thing. `values` are as they stand in the file; `hidden` go along
    unchanged. `others` are the things of this kind that can be asked about instead ("": a new
    one)."""

    fields: tuple[Field, ...]
    values: Mapping[str, str]
    about: str = ""
    others: tuple[tuple[str, str], ...] = ()  # name, words
    step: Step = Step.SITE
    title: str = ""
    why: str = ""
    hidden: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """A change that has passed the checks. `mark` is how it is written, once."""

    mark: str
    difference: str  # lines with + and -, secrets hidden; empty: nothing changes
    notes: tuple[str, ...] = ()  # worth knowing before it is written


class WrongAnswers(Exception):
    """By field what is wrong; "" is about the whole."""

    def __init__(self, by_field: Mapping[str, str]) -> None:
        super().__init__("; ".join(by_field.values()))
        self.by_field = dict(by_field)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepStands:
    """A step in the list of them, and what stands in the file."""

    step: Step
    title: str
    why: str
    now: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardProbe:
    """A probe that is heard now, configured (`key`) or not."""

    key: str | None
    topic: str
    temp_c: float
    at: float  # Unix s
    rise_c: float = 0.0  # in the last minutes
    in_hand: bool = False  # it rises, and no other does
    unit: str = "celsius"
    value: str = ""  # JSON Pointer; "" a bare number
