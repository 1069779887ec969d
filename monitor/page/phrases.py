"""Figures and times as the screens say them, at one moment. Called by every screen; pure.

Builds on `tell.wording.words`, so that the page and the messages speak alike."""

from monitor.measures import counted, span
from monitor.site import Place, Site
from monitor.tell.wording.words import Voice
from monitor.units import sign

PLACES = {
    Place.FLOOR: "on the floor, at chick height",
    Place.UNDER_HEAT: "under the heat",
    Place.COOL_END: "at the cool end",
    Place.OUTSIDE: "outside",
}
NIGHT_FROM_HOUR, NIGHT_TO_HOUR = 20, 6  # dark paper for eyes that were asleep. Common practice.


class Phrases(Voice):
    """Says things at one moment. `live`: leaves out ages, which the browser keeps counting."""

    def __init__(self, site: Site, now: float, *, live: bool = False) -> None:
        super().__init__(site)
        self.now = now
        self._live = live

    def temp(self, temp_c: float | None) -> str:
        """`89.2 °F`, or a dash where there is none."""
        return "–" if temp_c is None else super().temp(temp_c)

    def unit(self) -> str:
        """`°F`."""
        return sign(self.site.units)

    def clock(self, at: float, now: float | None = None) -> str:
        """`02:10`, with the day when it is not near."""
        return super().clock(at, self.now if now is None else now)

    def day(self, at: float) -> str:
        """`Tuesday 10 Feb`."""
        local = self.local(at)
        return f"{local:%A} {local.day} {local:%b}"

    def moment(self, at: float) -> str:
        """`Tue 10 Feb, 02:10`: in a ledger's column."""
        local = self.local(at)
        return f"{local:%a} {local.day} {local:%b}, {local:%H:%M}"

    def soon(self, at: float) -> str:
        """A coming day: `tomorrow`, `on Sunday 15 Feb`."""
        days = (self.local(at).date() - self.local(self.now).date()).days
        if days <= 0:
            return f"today, {self.local(at):%H:%M}"
        return "tomorrow" if days == 1 else f"on {self.day(at)}"

    def iso(self, at: float) -> str:
        return self.local(at).isoformat(timespec="seconds")

    def ago(self, at: float) -> str:
        """`12 s ago`."""
        return "" if self._live else f"{span(max(0.0, self.now - at))} ago"

    def span(self, seconds: float) -> str:
        """`9 h`."""
        return span(max(0.0, seconds))

    @property
    def is_night(self) -> bool:
        hour = self.local(self.now).hour
        return hour >= NIGHT_FROM_HOUR or hour < NIGHT_TO_HOUR


def capital(text: str) -> str:
    """A name at the head of a line."""
    return text[:1].upper() + text[1:]


def days_old(days: float) -> str:
    """`9 days old`."""
    whole = int(days)
    if whole < 0:
        return f"hatch in {counted(-whole, 'day')}"
    if whole == 0:
        return "hatched today"
    return f"{counted(whole, 'day')} old"
