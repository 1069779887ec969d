"""Where a figure comes from. Every table of `brooding` carries one of these beside each row;
`brooding.bibliography` prints them and the tests under tests/outside check against others."""

from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    """How well a figure is known."""

    READ = "read"  # the value itself was seen on the page named
    QUOTED = "read where quoted"  # seen on a page that quotes the source; the source not seen
    MEMORY = "from memory"  # recalled, to be checked before it decides anything alone
    DERIVED = "derived"  # computed from the figures named
    PRACTICE = "common practice"  # what the trade does, without a source
    ASSUMED = "assumed"  # a working figure of this project, argued beside it


@dataclass(frozen=True, slots=True)
class Source:
    """A publication, as a reader would look it up."""

    text: str  # publisher, title, year, table
    mark: Mark
    where: str = ""  # address, DOI or ISBN

    def __str__(self) -> str:
        """One line: `Publisher, "Title", year, table (from memory)`."""
        if self.mark in (Mark.READ, Mark.PRACTICE):
            return self.text
        return f"{self.text} ({self.mark})"


COMMON_PRACTICE = Source("common practice", Mark.PRACTICE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number that the tool gives or decides by, or a caution, for `brooder sources`."""

    subject: str  # "target temperature", "floor area", ...
    name: str
    value: float | None  # None: a caution, which has no number
    unit: str  # "degC", "m2", "g", ...
    source: str
    mark: Mark
    where: str = ""


def figure(subject: str, name: str, value: float | None, unit: str, source: Source) -> Figure:
    return Figure(
        subject=subject,
        name=name,
        value=value,
        unit=unit,
        source=source.text,
        mark=source.mark,
        where=source.where,
    )
