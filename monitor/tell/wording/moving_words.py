"""When may they move out? A dated answer, for the morning message and `brooder tonight`."""

from datetime import date

from monitor.brooding.calendar import at_age
from monitor.brooding.moving import Moving, Stage
from monitor.tell.wording.words import Voice


def moving_line(moving: Moving, hatched: date, voice: Voice) -> str | None:
    """One line; None: they are too young for the question."""
    if moving.stage is Stage.TOO_YOUNG:
        return None
    bear = f"can stand nights down to {voice.temp(moving.borne_c)}"
    if moving.stage is Stage.READY:
        if moving.coldest_c is None:
            return f"Old enough to move out. They {bear}: look at a forecast first."
        return (
            f"Ready to move out on a dry, mild day. They {bear}; the coldest expected is "
            f"{voice.temp(moving.coldest_c)}."
        )
    cold = _cold(moving, voice)
    if moving.stage is Stage.HARDEN_OFF:
        feathered = _day(at_age(hatched, moving.row.feathered_days, voice.site.timezone), voice)
        after = f" Ahead: {cold}." if cold else ""
        return (
            f"Not out yet: feathered on {feathered}, and then they {bear}. "
            "Harden them off from now: out by day in mild, dry weather, back to the heat at "
            f"night.{after}"
        )
    return f"Not out yet: {cold}, and they {bear}. Let them out by day in mild, dry weather."


def _cold(moving: Moving, voice: Voice) -> str | None:
    """`nights of 39 °F until Thursday 5 March`, where they are too cold."""
    if moving.coldest_c is None or moving.coldest_c >= moving.borne_c:
        return None
    nights = f"nights of {voice.temp(moving.coldest_c)}"
    if moving.warmer_from is None:
        return nights
    least = "at least " if moving.to_the_last else ""
    return f"{nights} {least}until {_day(moving.warmer_from, voice)}"


def _day(at: float, voice: Voice) -> str:
    then = voice.local(at)
    return f"{then:%A} {then.day} {then:%B}"
