"""The sheet for the hatchery: who, when, how many were ordered, came and came dead, how long they
were under way, how warm their box was. Nothing else. For the page and `brooder flock`."""

from datetime import date

from monitor.brooding.arrival import Arrival
from monitor.brooding.bird_kinds import kind_of
from monitor.brooding.entries import mailed
from monitor.measures import counted
from monitor.tell.wording.words import Voice

SHEET_TITLE = "Chicks on arrival"
BLANK = "_" * 30
_NOT_SAID = "not written down"


def sheet_rows(
    arrival: Arrival, floor_c: tuple[float, float] | None, voice: Voice
) -> list[tuple[str, str]]:
    """What stands on it, label and words. `floor_c`: lowest and highest when they came."""
    kind = "chicks" if arrival.kind is None else kind_of(arrival.kind).many
    came = arrival.alive + arrival.dead
    ordered = _NOT_SAID if arrival.ordered is None else f"{arrival.ordered} {kind}"
    if arrival.ordered is not None and came and came != arrival.ordered:
        more = came - arrival.ordered
        ordered += f" ({abs(more)} {'more' if more > 0 else 'fewer'} came)"
    return [
        ("Who", f"{voice.site.name}, box {arrival.brooder}; name: {BLANK}"),
        ("Order number", BLANK),
        ("Came", _NOT_SAID if arrival.at is None else _moment(arrival.at, voice)),
        ("Ordered", ordered),
        ("Arrived", f"{came}: {arrival.alive} alive, {arrival.dead} dead on arrival"),
        ("Under way", _under_way(arrival, voice)),
        ("Box when they came", _box(floor_c, voice)),
    ]


def _under_way(arrival: Arrival, voice: Voice) -> str:
    age = arrival.age_days(voice.site.timezone)
    said = [] if arrival.mail_days is None else [mailed(arrival.mail_days)]
    if arrival.hatched is not None and age is not None:
        said.append(f"hatched {_day(arrival.hatched)}, {counted(age, 'day')} before")
    return "; ".join(said) or _NOT_SAID


def _box(floor_c: tuple[float, float] | None, voice: Voice) -> str:
    if floor_c is None:
        return "not read"
    low_c, high_c = floor_c
    return f"floor {voice.temp(low_c)} to {voice.temp(high_c)} within a quarter of an hour of that"


def _moment(at: float, voice: Voice) -> str:
    local = voice.local(at)
    return f"{_day(local.date())}, {local:%H:%M}"


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"
