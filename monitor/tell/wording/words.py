"""The shape of a message and how its figures are said. Called by every other part of the wording.

A message is a title and a body; the body's first line says the numbers and the first thing to do,
because a phone's lock screen shows the title and little more."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from monitor.events import Facts
from monitor.site import Site
from monitor.units import shown, sign, step_shown

LOCK_SCREEN = 110  # characters of title and body that a locked phone shows for certain
UNSEEN_S = 60.0  # of a night: with more of it unseen nobody can say that it was never too cold
_FAR_MINUTES = 360  # of an estimate: further off than this nobody can say
_NAME_ROOM = 28  # a longer name of a brooder is cut in titles, so that the numbers still fit
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@dataclass(frozen=True, slots=True)
class Words:
    """What a person reads. `short` is one line: the lock screen, the log, an event's `text`.
    `brief` is a body for somebody who has had the whole before: the figures alone."""

    title: str
    body: str
    short: str
    brief: str


Line = str | None  # None: left out


def compose(title: str, first: str, *rest: Line, figures: Iterable[Line] = ()) -> Words:
    """A message from its title, its first line, its figures and further lines."""
    brief = [first, *(line for line in figures if line)]
    body = [*brief, *(line for line in rest if line)]
    return Words(title, "\n".join(body), f"{title}. {first}", "\n".join(brief))


class Voice:
    """Says figures in the site's units and clock."""

    def __init__(self, site: Site) -> None:
        self.site = site

    def temp(self, temp_c: float) -> str:
        """`31.8 °C`."""
        return shown(temp_c, self.site.units)

    def figure(self, temp_c: float) -> str:
        """`31.8`: after a temperature that bore its sign."""
        return self.temp(temp_c).removesuffix(f" {sign(self.site.units)}")

    def step(self, step_c: float) -> str:
        """A difference: `2.8 °C`."""
        return step_shown(abs(step_c), self.site.units)

    def local(self, at: float) -> datetime:
        """Wall time at the site."""
        return datetime.fromtimestamp(at, self.site.timezone)

    def clock(self, at: float, now: float) -> str:
        """`02:10`, with the day when that is not the last or the next twelve hours or so."""
        then, here = self.local(at), self.local(now)
        text = f"{then:%H:%M}"
        if then.date() == here.date() or abs(at - now) < 12 * 3600:
            return text
        return f"{text} on {_DAYS[then.weekday()]}"

    def where(self, brooder: str | None) -> str:
        """The brooder's name for a title; the site's where the whole site is meant."""
        name = self.site.name if brooder is None else brooder
        return name if len(name) <= _NAME_ROOM else name[: _NAME_ROOM - 1].rstrip() + "…"


# A box that lost its heat and its cover on a freezing night: 40 K with a time constant of 20 min.
# What is faster moved the probe, or is a jump that a line through the last minutes makes a slope.
FASTEST_C_PER_H = 120.0


def pace(voice: Voice, rate_c_per_h: float, by: str = "") -> str:
    """How fast, as a figure where it is one that the air of a box can reach."""
    if abs(rate_c_per_h) > FASTEST_C_PER_H:
        return "very fast"
    return f"{by}{voice.step(rate_c_per_h)} an hour"


def span(seconds: float) -> str:
    """How long, as one says it: `40 s`, `38 min`, `3 h 5 min`, `2 days 4 h`."""
    if seconds < 90:
        return f"{max(0, round(seconds))} s"
    minutes = round(seconds / 60)
    if minutes < 90:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    days, left = divmod(hours, 24)
    return f"{days} days {left} h" if left else f"{days} days"


def listed(names: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def sentence(text: str) -> str:
    """A clause from elsewhere as a sentence of its own: capital first, full stop last."""
    text = text.strip()
    if not text:
        return ""
    text = text[0].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."


def minutes_left(voice: Voice, facts: Facts) -> str | None:
    """How long until harm, which always means until the configured chill limit, and says so."""
    if "minutes_to_chill" not in facts or facts.get("rate_c_per_h", 0.0) > 0:
        return None
    left = facts["minutes_to_chill"]
    limit = f" ({voice.temp(facts['chill_c'])})" if "chill_c" in facts else ""
    if left <= 0:
        return f"The floor is below the chill limit{limit} already."
    low, high = facts.get("minutes_to_chill_low"), facts.get("minutes_to_chill_high")
    likely = f", {spread(low, high)}" if low and high else ""
    return f"About {in_minutes(left)} min to the chill limit{limit}{likely} if nothing changes."


def spread(low: float, high: float) -> str:
    """An interval of minutes: `likely 35 to 60`."""
    far = high >= _FAR_MINUTES
    return f"likely {in_minutes(low)} {'or more' if far else f'to {in_minutes(high)}'}"


def in_minutes(minutes: float) -> str:
    """Estimates are not known to the minute: coarser the further off."""
    grain = 1 if minutes < 20 else 5 if minutes < 120 else 15
    return str(max(1, round(minutes / grain) * grain))
