"""What is measured beside temperature: one table, one row a kind.

To add a kind (carbon dioxide, say) is to add its row here: `[[brooders.meters]]` then takes it,
and it is read, kept, exported, mirrored, shown and, with `bounds`, advised on (`air`). What more
the watch concludes from a kind stands in `watch.box_meters` (power, cover) and `watch.mains`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """From this day of age on, what is published as right. `mark` as in `brooding.provenance`."""

    from_day: float
    low: float
    high: float
    source: str
    mark: str
    where: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One kind. `column` is its name wherever it is kept, with the unit in it."""

    kind: str
    column: str
    title: str  # in a sentence: "humidity"
    least: float
    most: float
    step: float = 0.0  # a smaller change is not worth keeping: noise
    senml: str | None = None  # unit by RFC 8428 (section 12.1); None: a state, which has none
    sign: str = ""
    per_sign: float = 1.0  # of its unit in what the sign stands for: 60 s in a minute
    # Of a state: what a payload may say, and how a grower reads it. (No mapping can be hashed.)
    words: Mapping[str, float] = field(default_factory=dict, hash=False)
    states: Mapping[float, str] = field(default_factory=dict, hash=False)
    bounds: tuple[Bounds, ...] = ()  # by age, in order
    below: str = ""  # what too little of it does, and what to do: two sentences
    above: str = ""
    of_box: bool = True  # may stand under [[brooders.meters]]

    def __reduce__(self) -> tuple[Any, ...]:
        """Also from a child process it comes as the row itself: who asks which it is compares."""
        return _row, (self.kind,)

    @property
    def is_state(self) -> bool:
        """Is it one of a few states, said when it changes, and not a quantity said every minute?"""
        return bool(self.states)

    def right_at(self, age_days: float) -> Bounds | None:
        """What is right at an age; None: nothing is published."""
        return next((row for row in reversed(self.bounds) if row.from_day <= age_days), None)

    def shown(self, value: float) -> str:
        """As a grower reads it: `62 %`, `238 W`, `open`."""
        if self.is_state:
            return self.states.get(value, f"{value:g}")
        return f"{value / self.per_sign:.0f} {self.sign}"

    def state(self, said: Any) -> float | None:
        """The state that a payload's word (or JSON true, false, 1, 0) stands for; None: it stands
        for none. Of several words the first counts, and a worse one beside a bad one: `OB DISCHRG
        LB` is a battery nearly empty, `OL CHRG LB` is mains."""
        if isinstance(said, bool):
            return self.words.get("true" if said else "false")
        if isinstance(said, int | float):
            return float(said) if float(said) in self.states else None
        if not isinstance(said, str):
            return None
        word = " ".join(said.strip().strip('"').lower().replace("_", " ").split())
        if word in self.words:
            return self.words[word]
        found = [self.words[part] for part in word.split() if part in self.words]
        return found[0] if found and found[0] > 0.0 else min(found, default=None)


ON_MAINS, ON_BATTERY, NEARLY_EMPTY = 1.0, 0.0, -1.0
_YES, _NO = ("1", "true", "on"), ("0", "false", "off")
_OPEN, _SHUT = ("open", "opened"), ("closed", "close", "shut")

POWER = Quantity(
    kind="power", column="power_w", title="power", senml="W", sign="W",
    least=-50.0, most=10000.0, step=3.0, of_box=False,
)  # fmt: skip
MAINS = Quantity(
    kind="mains",
    column="mains_on",
    title="mains power",
    least=NEARLY_EMPTY,
    most=ON_MAINS,
    # OL, OB, LB: the status words of Network UPS Tools (networkupstools.org, ups.status). The rest
    # is what boards say of their supply (Linux, Documentation/ABI/testing/sysfs-class-power).
    words=MappingProxyType(
        dict.fromkeys(("ol", *_YES, "online", "mains", "charging", "full"), ON_MAINS)
        | dict.fromkeys(("ob", *_NO, "battery", "discharging"), ON_BATTERY)
        | {"lb": NEARLY_EMPTY, "not charging": ON_MAINS, "on battery": ON_BATTERY}
    ),
    states=MappingProxyType(
        {ON_MAINS: "on", ON_BATTERY: "off", NEARLY_EMPTY: "off, battery nearly empty"}
    ),
    of_box=False,
)
BATTERY_LEFT = Quantity(
    kind="battery-left", column="battery_left_s", title="battery lasts", senml="s",
    sign="min", per_sign=60.0,
    least=0.0, most=30 * 86400.0, step=60.0, of_box=False,
)  # fmt: skip
# Publishers disagree: one wants 60 to 70 % at every age, another 30 to 50 at first. Advice begins
# where it is outside of what any of them wants.
_DRY = "Cobb Broiler Management Guide, 2012, humidity by age"
_DAMP = "shed humidity 60 to 75 % (Lohmann GB, in Farmers Weekly)"
_FWI = (
    "https://www.fwi.co.uk/livestock/poultry/ear-thermometer-useful-for-monitoring-chicken-"
    "temperature"
)
HUMIDITY = Quantity(
    kind="humidity",
    column="humidity_percent",
    title="humidity",
    senml="%RH",
    sign="%",
    least=0.0,
    most=100.0,
    step=1.0,
    bounds=tuple(
        Bounds(
            from_day=day, low=low, high=75.0, source=f"{_DRY}; {_DAMP}", mark="from memory",
            where=_FWI,
        )
        for day, low in ((0.0, 30.0), (7.0, 40.0), (28.0, 50.0))
    ),
    below="Dry air dries chicks out and raises dust. Give them more places to drink, and less "
    "draught.",
    above="Damp air makes litter wet, and wet litter gives off ammonia. Take out what is wet, and "
    "let more air through under the cover, out of the wind.",
)  # fmt: skip
COVER = Quantity(
    kind="cover",
    column="cover_open",
    title="cover",
    least=0.0,
    most=1.0,
    words=MappingProxyType(
        dict.fromkeys((*_OPEN, *_YES), 1.0) | dict.fromkeys((*_SHUT, *_NO), 0.0)
    ),
    states=MappingProxyType({1.0: "open", 0.0: "closed"}),
)
# A magnet switch that says whether its contact is made: true is closed.
CONTACT = Quantity(
    kind="contact",
    column="contact_made",
    title="cover",
    least=0.0,
    most=1.0,
    words=MappingProxyType(
        dict.fromkeys((*_SHUT, *_YES), 1.0) | dict.fromkeys((*_OPEN, *_NO), 0.0)
    ),
    states=MappingProxyType({1.0: "closed", 0.0: "open"}),
)

QUANTITIES: dict[str, Quantity] = {
    row.kind: row for row in (POWER, MAINS, BATTERY_LEFT, HUMIDITY, COVER, CONTACT)
}


def _row(kind: str) -> Quantity:
    return QUANTITIES[kind]
