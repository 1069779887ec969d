"""How warm the floor must be at each age: the built-in schedules as one table, and `target_at`.

Called by the engine (which keeps the answer for some minutes), the page, the review and `check`.

Where the published sources disagree, and what is chosen:

- *What is measured* (first-week figures run from 29 to 36 degC). Spot figures are taken at chick
  height at the edge of the heat; whole-room figures in the air; some on the litter. A target is
  compared only with a probe that lies where the figure was measured, which here is
  `Place.FLOOR`. Tables of room air are not used as targets.
- *weekly*: 95 degF in the first week, 5 degF less each week, to 70 degF: Minnesota and Missouri
  Extension, Florida (IFAS), Oregon State (92-95 degF at placement). Merck's manual starts 2.8
  to 5.6 degC lower, but on the brooder floor of a heated house; Clauer heads a similar column
  "maximum", which is 0 to 1.7 degC below ours in week 1. Mississippi warns that in its climate
  overheating is the commoner fault. We keep the majority's figures and treat them as the middle
  of a band of 2.8 degC (5 degF) either way, so Clauer's and Oregon's ranges lie inside the band,
  and a floor that is too hot alarms as one too cold does.
- *broiler* is the handbook's spot column A (edge of the brooder) by day: 3 degC under *weekly* at
  first and steeper. It was made for houses held at 60-70 % relative humidity. The same handbook
  wants 36 degC at day 0, 32.5 at day 6, 30.2 at day 12 when the air is at 40 %, and a box under
  lamps on a cold porch is that dry: this is *weekly* again within 2.5 degC. So *weekly* is the
  usual schedule of meat chicks in a box, and *broiler* is there for who holds the humidity.
- *pullet* is the layer breeder's table at bird level, read in two editions. Another breeder's
  floor table (from memory) and the extension figures stay 2.5 to 5 degC warmer from day 5 on; an
  unheated box has draughts that a layer house has not, so *weekly* is usual here too.
- *turkey*: figures at birds' height under the brooder; the breeder's whole-room column is 3 degC
  lower in week 2 and agrees within 1.5 degC otherwise.
- *duck*: ducklings need far less heat, by one table from memory and a page that has 86 degF on day
  1 and 81 on day 7. In a straight line the figures are within 3 degC of the
  other sources; in weekly steps the end of a week is up to 6 degC over them, on the warm side.
- *quail*: the published range's middle; its lower edge is meant for summer, its upper for winter,
  and both lie in the band. A second source is 1.4 degC warmer in week 1, 0.8 degC cooler in week 4.
- *guinea*: as *weekly*, with two weeks at 95 degF. Pheasants follow *weekly*; a breeder has them
  1.1 degC cooler at the edge of the heat in the first days (MacFarlane: 93 degF).

Steps: a schedule holds each row until the next. For a table by week that is one step a week, as
growers raise a lamp; a table by day keeps its own days, since holding the figure of day 0 for a
week would keep the chicks 5 degC too warm. `Steps.STRAIGHT` goes from row to row in a straight
line. Before the first row (an empty box being warmed) the first row counts; after the last, the
last."""

from bisect import bisect_right
from dataclasses import dataclass

from monitor.brooding.provenance import Mark, Source
from monitor.site import Brooder, Place, Steps
from monitor.units import Unit, to_celsius


@dataclass(frozen=True, slots=True)
class Row:
    """From `from_day` (age in days, day of hatch = 0) on, `target_c`, by `source`."""

    from_day: float
    target_c: float
    source: Source


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Targets by age, rising in `from_day`; where they were measured."""

    name: str
    title: str
    measured: str
    rows: tuple[Row, ...]


_MINNESOTA = Source(
    'University of Minnesota Extension, W. Martin, "Raising chickens #3: supplemental heat": '
    "about 95 degF in week 1, 5 degF less each week, at ground level",
    Mark.READ,
    "http://www.extension.umn.edu/food/small-farms/livestock/poultry/supplemental-heat/",
)
_MISSOURI = Source(
    "extension text reposted: day-old 95 degF, 5 degF less each week to 70 degF at 5 weeks "
    '(University of Missouri, "Brooding and Growing Chicks": attribution from memory)',
    Mark.QUOTED,
    "https://www.scribd.com/document/697620619/",
)
_ROSS_SPOT_A = Source(
    "Aviagen, Ross Broiler Management Handbook, 2014/2018, table of brooding temperatures, "
    "spot brooding, column A (edge of brooder)",
    Mark.MEMORY,
)
_LOHMANN = Source(
    "Lohmann Tierzucht, Management Guide, 2017, table 1, desired temperatures at bird level "
    "(middle of the range)",
    Mark.DERIVED,
    "http://www.ltz.de/en/e-guide/management-guide-2017/HTML/12/index.html",
)
_TURKEY_PAGE = "https://poultryproducer.com/category/production/meat-turkeys/page/5"
_TURKEY_BIRD_HEIGHT = Source(
    "Poultry Producer, meat turkeys, handy hints: temperature at birds' height under brooders",
    Mark.READ,
    _TURKEY_PAGE,
)
_TURKEY_WEEK_5 = Source(
    f"{_TURKEY_BIRD_HEIGHT.text}, 21 to 24 degC from week 4 to 5, the middle",
    Mark.DERIVED,
    _TURKEY_PAGE,
)
_TURKEY_ROOM = Source(
    "Poultry Producer, meat turkeys, handy hints: room temperature 21 to 22 degC, the lower end",
    Mark.DERIVED,
    _TURKEY_PAGE,
)
_CORNELL_DUCK = Source(
    "Cornell Duck Research Laboratory, temperatures for ducklings by age", Mark.MEMORY
)
_MISSISSIPPI_QUAIL = Source(
    'Mississippi State University Extension, "Quail Brooding Temperatures", brooding temperature '
    "schedule (middle of summer and winter)",
    Mark.DERIVED,
    "https://extension.msstate.edu/agriculture/livestock/poultry/quail-brooding-temperatures",
)
_MISSISSIPPI_GUINEA = Source(
    "Mississippi State University Extension, guinea fowl: 95 degF for weeks 1 and 2, then 5 degF "
    "less each week to 70 degF",
    Mark.MEMORY,
)
OWN = Source("your own schedule, from the configuration", Mark.PRACTICE)

_EDGE = "chick-back height, 5 cm above the litter, at the edge of the heat"


def _rows(source: Source, *points: tuple[float, float]) -> tuple[Row, ...]:
    return tuple(Row(day, target_c, source) for day, target_c in points)


def _rows_f(source: Source, *points: tuple[float, float]) -> tuple[Row, ...]:
    return _rows(
        source, *((day, to_celsius(target_f, Unit.FAHRENHEIT)) for day, target_f in points)
    )


BUILT_IN: dict[str, Schedule] = {
    schedule.name: schedule
    for schedule in (
        Schedule(
            name="weekly",
            title="weekly step-down",
            measured=_EDGE,
            rows=(
                *_rows_f(_MINNESOTA, (0, 95), (7, 90), (14, 85), (21, 80), (28, 75)),
                *_rows_f(_MISSOURI, (35, 70)),
            ),
        ),
        Schedule(
            name="broiler",
            title="broiler handbook, by day (air at 60-70 % humidity)",
            measured="chick height at the edge of the brooder",
            rows=_rows(
                _ROSS_SPOT_A,
                *((0, 32.0), (3, 30.0), (6, 28.0), (9, 27.0), (12, 26.0)),
                *((15, 25.0), (18, 24.0), (21, 23.0), (24, 22.0), (27, 20.0)),
            ),
        ),
        Schedule(
            name="pullet",
            title="layer breeder's guide, by day",
            measured="bird level",
            rows=_rows(
                _LOHMANN,  # its "day 1" is the day of arrival: age 0
                *((0, 35.5), (2, 33.5), (4, 31.5), (7, 28.5), (14, 26.5), (21, 23.0), (28, 19.0)),
            ),
        ),
        Schedule(
            name="turkey",
            title="turkey poults, weekly",
            measured="birds' height under the brooder",
            rows=(
                *_rows(_TURKEY_BIRD_HEIGHT, (0, 35.0), (7, 32.0), (14, 29.0), (21, 27.0)),
                Row(28, 22.5, _TURKEY_WEEK_5),
                Row(35, 21.0, _TURKEY_ROOM),
            ),
        ),
        Schedule(
            name="duck",
            title="ducklings, weekly",
            measured=_EDGE,
            rows=_rows(
                _CORNELL_DUCK,
                *((0, 30.0), (7, 27.0), (14, 23.0), (21, 19.0), (28, 15.0), (35, 13.0)),
            ),
        ),
        Schedule(
            name="quail",
            title="quail, weekly",
            measured="brooder temperature at chick level",
            rows=_rows_f(
                _MISSISSIPPI_QUAIL,
                *((0, 92.5), (7, 87.5), (14, 82.5), (21, 77.5), (28, 72.5), (35, 70)),
            ),
        ),
        Schedule(
            name="guinea",
            title="guinea keets, weekly after two weeks",
            measured=_EDGE,
            rows=_rows_f(
                _MISSISSIPPI_GUINEA, (0, 95), (14, 90), (21, 85), (28, 80), (35, 75), (42, 70)
            ),
        ),
    )
}


def target_at(schedule: Schedule, age_days: float, steps: Steps, place: Place) -> float | None:
    """The target at an age, or None where schedules do not speak of that place.

    Only the floor at chick height, at the edge of the heat, has one. Under a lamp it is hotter by
    any amount and nobody publishes how much; the cool end is where chicks go to be cooler, and
    published cool figures (3 degC lower at 2 m on day 0, the same from day 15; or 24 degC) are
    not limits: a cool cool-end is no fault while the floor is right."""
    if place is not Place.FLOOR:
        return None
    rows = schedule.rows
    index = bisect_right(rows, age_days, key=lambda row: row.from_day) - 1
    if index < 0:
        return rows[0].target_c
    row = rows[index]
    if steps is Steps.WEEKLY or index + 1 == len(rows):
        return row.target_c
    following = rows[index + 1]
    done = (age_days - row.from_day) / (following.from_day - row.from_day)
    return row.target_c + done * (following.target_c - row.target_c)


def usual_schedule(kind: str) -> str:
    """The name of the schedule that a kind of bird follows unless the configuration says so."""
    return _USUAL.get(kind, "weekly")


_USUAL = {"turkey": "turkey", "duck": "duck", "quail": "quail", "guinea": "guinea"}


def schedule_for(brooder: Brooder, kind: str | None) -> Schedule:
    """The schedule of a box with birds of `kind`: its own, the named one, or the kind's usual one.

    Raises ValueError for a schedule that is not known."""
    if brooder.own_schedule:
        rows = sorted(brooder.own_schedule, key=lambda row: row.from_day)
        return Schedule(
            name="own",
            title="own schedule",
            measured=_EDGE,
            rows=tuple(Row(row.from_day, row.target_c, OWN) for row in rows),
        )
    name = brooder.schedule or usual_schedule(kind or "")
    if name not in BUILT_IN:
        raise ValueError(f"schedule {name!r} is not known; use one of {', '.join(BUILT_IN)}")
    return BUILT_IN[name]
