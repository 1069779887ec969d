"""What is known of a box and felt by none of its probes: the target, the hour, what the grower did,
what its plugs and switches say. Held by `thermal_watch`, asked by its parts."""

from collections.abc import Iterable
from dataclasses import replace

from monitor.brooding.heat_balance import Prior
from monitor.brooding.night_hours import SLEEP_TO_H
from monitor.kept import NEVER, Kept, Tick, part
from monitor.site import Brooder
from monitor.thermal.diagnosis import HeatKnown

_CHANGED_S = 5400.0  # until the floor has settled by it: two or three time constants of a box
_NIGHT_H = (18.5, 7.5)  # lamps are hung for the night, and for the day. Common practice
_ASLEEP_FROM_H, _ASLEEP_TO_H = 23.0, 5.0  # nobody feeds or raises lamps. Common practice
_ACTED_S = 900.0  # whoever made an entry may still be at the box. Common practice


@part
class BoxKnown(Kept):
    """What the parts of the estimate are told of their box."""

    target_c: float | None = None  # of the floor; None: no birds
    warm_c: float | None = None  # what it is not too warm by: for a while the one before its step
    low_c: float | None = None  # the band's lower edge, above which no heat is missed
    heat: HeatKnown  # measured, not guessed
    acted: Tick = NEVER  # when the grower last did something here
    changed: Tick = NEVER  # when the grower last changed the heat
    midnight: Tick | None = None  # some local midnight

    def __init__(self, brooder: Brooder, prior: Prior) -> None:
        self.brooder = brooder
        self.limits = brooder.limits
        self.watts = tuple(source.watts for source in brooder.heat)
        self.prior = prior  # what it should do from first principles
        self.heat = HeatKnown({}, frozenset(), None)

    def share(self, sources: Iterable[int]) -> float:
        """Of all heat, that of birds too: what these sources give."""
        return sum(self.watts[i] for i in sources) / (sum(self.watts) + self.prior.bird_watts)

    def settling(self, tick: float) -> bool:
        """Has the grower changed the heat so lately that no heat is missed?"""
        return tick - self.changed < _CHANGED_S

    def may_settle(self, tick: float) -> bool:
        """Was the grower here so lately that the heat may hang otherwise, and the floor goes up or
        down until it has settled by it?"""
        return tick - max(self.acted, self.changed) < _CHANGED_S

    def hour(self, tick: float) -> float | None:
        """Of the local clock, 0..24, where it is known."""
        return None if self.midnight is None else ((tick - self.midnight) / 3600.0) % 24.0

    def is_night(self, tick: float) -> bool:
        """Are the lamps hung for the night?"""
        hour = self.hour(tick)
        return hour is not None and (hour >= _NIGHT_H[0] or hour < _NIGHT_H[1])

    def birds_lie(self, tick: float) -> bool:
        """By night, until people are up and the birds with them?"""
        hour = self.hour(tick)
        return hour is not None and (hour >= _NIGHT_H[0] or hour < SLEEP_TO_H)

    def hangs(self, tick: float) -> bool:
        """By night, has the floor settled by how the heat was hung for it?"""
        hour = self.hour(tick)
        hung_h = _NIGHT_H[0] + _CHANGED_S / 3600.0
        settled = hour is not None and (hour >= hung_h or hour < _ASLEEP_TO_H)
        return settled and not self.may_settle(tick)

    def acted_lately(self, tick: float) -> bool:
        """Did the grower do something here within minutes, as an entry says?"""
        return tick - self.acted < _ACTED_S

    def nobody_at_work(self, tick: float) -> bool:
        """By its cover's switch, else by the hour; and no entry says otherwise."""
        hour = self.hour(tick)
        if self.heat.cover_open is not None:
            undisturbed = not self.heat.cover_open
        else:
            undisturbed = hour is not None and (hour >= _ASLEEP_FROM_H or hour < _ASLEEP_TO_H)
        return undisturbed and not self.acted_lately(tick)

    def resume(self) -> None:
        """Sources that are no longer configured drop out."""
        known, count = self.heat, len(self.watts)
        self.heat = replace(
            known,
            lit={i: tick for i, tick in known.lit.items() if i < count},
            out=frozenset(i for i in known.out if i < count),
        )
