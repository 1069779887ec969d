"""The shape of a message and how its figures are said. Called by every other part of the wording.

A message is a title and a body; the body's first line says the numbers and the first thing to do,
because a phone's lock screen shows the title and little more."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from monitor.events import Facts
from monitor.measures import span
from monitor.site import Site
from monitor.units import shown, sign, step_shown
from monitor.watch.suppression import PLAIN_S

# Of a night: with more unseen nobody can say that it was never too cold. A restart takes less.
UNSEEN_S = PLAIN_S
TIME_TO_ACT_MIN = 15.0  # to wake, dress and get there
_FAR_MINUTES = 360  # of an estimate: further off than this nobody can say
_SOON_MINUTES = 60.0  # a rise that lasts for longer slackens
_NAME_ROOM = 28  # a longer name of a brooder is cut in titles, so that the numbers still fit


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
        """`02:10`, with the day when that is not the last or the next twelve hours or so, and with
        the zone's name in the hour that the clocks go through twice."""
        then, here = self.local(at), self.local(now)
        twice = then.replace(fold=1 - then.fold).utcoffset() != then.utcoffset()
        text = f"{then:%H:%M %Z}" if twice else f"{then:%H:%M}"
        if then.date() == here.date() or abs(at - now) < 12 * 3600:
            return text
        return f"{text} on {then:%A}"

    def where(self, brooder: str | None) -> str:
        """The brooder's name for a title; the site's where the whole site is meant."""
        name = self.site.name if brooder is None else brooder
        return name if len(name) <= _NAME_ROOM else name[: _NAME_ROOM - 1].rstrip() + "…"


# A box that lost its heat and its cover on a freezing night: 40 K with a time constant of 20 min.
# What is faster moved the probe, or is a jump that a line through the last minutes makes a slope.
FASTEST_C_PER_H = 120.0


# Slower is not worth a word: the noise of a probe gives as much in ten minutes.
STEADY_C_PER_H = 1.0


def pace(voice: Voice, rate_c_per_h: float, by: str = "") -> str:
    """How fast, as a figure where it is one that the air of a box can reach."""
    if abs(rate_c_per_h) > FASTEST_C_PER_H:
        return "very fast"
    return f"{by}{voice.step(rate_c_per_h)} an hour"


def listed(names: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def once_each(said: Sequence[tuple[str, str]], all_boxes: int | None = None) -> list[str]:
    """The lines of (brooder, line), each once and after the brooders that it is about; about all of
    them it needs no name."""
    about: dict[str, list[str]] = {}
    for brooder, line in said:
        about.setdefault(line, []).append(brooder)
    return [
        line if len(brooders) == all_boxes else f"{listed(brooders)}: {line}"
        for line, brooders in about.items()
    ]


def called(name: str) -> str:
    """`the west lamp`, but `lamp-1` and `Lamp B`: what ends in its number takes no article."""
    *_, last = re.split(r"[\s_-]", name)
    return name if last[-1:].isdigit() or len(last) == 1 else f"the {name}"


def sentence(text: str) -> str:
    """A clause from elsewhere as a sentence of its own: capital first, full stop last."""
    text = text.strip()
    if not text:
        return ""
    text = text[0].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."


def chills_in(facts: Facts) -> str | None:
    """`About 45 min to the chill limit.`, for a first line; `, perhaps only 5 min` where whoever
    reads no further would think that there is time."""
    if "minutes_to_chill" not in facts or facts.get("rate_c_per_h", 0.0) > 0:
        return None
    left = facts["minutes_to_chill"]
    if left <= 0 and facts.get("temp_c", 0.0) > facts.get("chill_c", 99.0):
        return "The chill limit is minutes away."  # the probe lags behind the floor
    if left <= 0:
        return "The floor is below the chill limit already."
    low, perhaps = facts.get("minutes_to_chill_low", left), ""
    if low < TIME_TO_ACT_MIN <= left and low < 0.5 * left:
        perhaps = f", perhaps only {'minutes' if low < 1.0 else _rough(low)}"
    return f"About {_rough(left)} to the chill limit{perhaps}."


def overheats_in(facts: Facts) -> str | None:
    """`Dangerously hot in about 12 min.`, for a first line; None: not within the hour."""
    left = facts.get("minutes_to_overheat", _SOON_MINUTES)
    return f"Dangerously hot in about {_rough(left)}." if 1.0 <= left < _SOON_MINUTES else None


def chill_spread(voice: Voice, facts: Facts) -> str | None:
    """Which limit that is, and how sure the time is; for a line of its own."""
    if chills_in(facts) is None or "chill_c" not in facts:
        return None
    likely = _likely(facts)
    limit = voice.temp(facts["chill_c"])
    if likely is None:
        return f"The chill limit is {limit}."
    return f"The chill limit ({limit}) is likely {likely.replace(' if', ' away if', 1)}."


def _likely(facts: Facts) -> str | None:
    low, high = facts.get("minutes_to_chill_low"), facts.get("minutes_to_chill_high")
    if low is None or high is None or facts["minutes_to_chill"] <= 0:
        return None
    least, most = _rough(low), _rough(high)
    if low < 1.0:
        return None if high >= _FAR_MINUTES else f"less than {most} if nothing changes"
    if high >= _FAR_MINUTES:
        return f"{least} or more if nothing changes"
    if " h" not in most:
        least = least.removesuffix(" min")
    return f"{least} to {most} if nothing changes"


def spread(low: float, high: float) -> str:
    """An interval of minutes: `likely 35 to 60`."""
    far = high >= _FAR_MINUTES
    return f"likely {in_minutes(low)} {'or more' if far else f'to {in_minutes(high)}'}"


def in_minutes(minutes: float) -> str:
    """Estimates are not known to the minute: coarser the further off."""
    grain = 1 if minutes < 20 else 5 if minutes < 120 else 15
    return str(max(1, round(minutes / grain) * grain))


def _rough(minutes: float) -> str:
    return span(60.0 * float(in_minutes(minutes)))
