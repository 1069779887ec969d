"""Is an empty box ready for chicks? Each thing that was looked at in a line, what is missing first
of all. For the page, `brooder warm-up` and the evening before they come."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from monitor.measures import span
from monitor.site import Brooder, Place
from monitor.tell.wording import first_aid
from monitor.tell.wording.silence_words import clock_behind
from monitor.tell.wording.tonight_words import SETTLED_S
from monitor.tell.wording.words import Voice, called, sentence
from monitor.thermal.coming_night import CLEAR_CHANCE, WARN_CHANCE
from monitor.thermal.witness import beneath
from monitor.watch.empty_box import WarmUp
from monitor.watch.status import BrooderStatus, ProbeStatus
from monitor.watch.switched_off import OwnFall

LEVEL_S = 2 * 3600.0  # litter and walls warm more slowly than a thermometer. Common practice
UNDER_HEAT_K = 2.0  # a probe beneath a source that is lit is warmer than the floor by more. Assumed
_PER_W = 100.0


class Check(NamedTuple):
    """One thing that was looked at. `right` None: it says something, and decides nothing."""

    words: str
    right: bool | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer, and what it rests on."""

    checks: tuple[Check, ...]

    @property
    def ready(self) -> bool:
        """Is nothing missing?"""
        return not self._wrong

    @property
    def answer(self) -> str:
        """`Ready for chicks`."""
        return "Ready for chicks" if self.ready else "Not ready for chicks yet"

    @property
    def first(self) -> str:
        """What is missing first of all, and how much else."""
        more = f" ({len(self._wrong) - 1} more below)" if len(self._wrong) > 1 else ""
        return f"{self._wrong[0]}{more}" if self._wrong else ""

    @property
    def _wrong(self) -> list[str]:
        return [check.words for check in self.checks if check.right is False]


def warm_up_verdict(
    box: BrooderStatus, setting: Brooder, voice: Voice, now: float, falls: Sequence[OwnFall] = ()
) -> Verdict | None:
    """None: birds are in, or no target is known for chicks of a day."""
    warm = box.warm_up
    if warm is None:
        return None
    return Verdict(
        (
            _floor(box, warm, voice, now),
            _tonight(warm, voice, now),
            *_probes(box, setting, voice),
            *_sources(box, setting, falls, voice, now),
            *_per_watt(box, warm, setting, voice, now),
        )
    )


def _floor(box: BrooderStatus, warm: WarmUp, voice: Voice, now: float) -> Check:
    limits, floor_c = warm.limits, box.temp_c
    if floor_c is None:
        floors = [p for p in box.probes if p.place is Place.FLOOR and not p.out_of_service]
        return _unheard(floors, "No floor probe is heard: see that it has power and sends.")
    stands = f"The floor is {voice.temp(floor_c)} and should be {voice.temp(limits.target_c)}"
    if floor_c < limits.low_c:
        return Check(f"{stands}: give it more time, or more heat.", right=False)
    if floor_c > limits.high_c:
        return Check(f"{stands}: raise the lamps.", right=False)
    held_s = 0.0 if warm.level_since is None else now - warm.level_since
    if held_s < LEVEL_S:
        return Check(
            f"{stands}: in its band, but for less than {span(LEVEL_S)}. Wait: litter and walls "
            "warm slowly.",
            right=False,
        )
    return Check(f"{stands}: right for {span(held_s)}.", right=True)


def _tonight(warm: WarmUp, voice: Voice, now: float) -> Check:
    outlook = warm.outlook
    if outlook is None:
        return Check(
            "How cold tonight gets is not known here: give the low that you expect under "
            '"Will it hold tonight?" (brooder tonight --low).',
            right=None,
        )
    if warm.level_since is None or now - warm.level_since < SETTLED_S:
        # Before, litter and walls take heat yet, and what was just tried counts as the box's own.
        return Check("Tonight is judged once the floor has been in its band for 1 h.", right=None)
    low = (
        f"Tonight likely down to {voice.temp(outlook.lowest_c.mid)} about "
        f"{voice.clock(outlook.lowest_at, now)}"
    )
    if outlook.by_floor:
        low += ", by its floor alone (look at a forecast too)"
    else:
        low += f", outside {voice.temp(outlook.outside_low_c)}"
    if outlook.chance < CLEAR_CHANCE:
        return Check(f"{low}: it should hold.", right=True)
    if outlook.chance < WARN_CHANCE:
        return Check(f"{low}: it will probably hold. Have more cover ready.", right=True)
    mend = f" {first_aid.would_help(outlook.mend)}" if outlook.mend else ""
    return Check(f"{low}: it will not hold without more heat or cover.{mend}", right=False)


def _probes(box: BrooderStatus, setting: Brooder, voice: Voice) -> Iterator[Check]:
    inside = [p for p in box.probes if p.place is not Place.OUTSIDE and not p.out_of_service]
    for probe in inside:
        if box.temp_c is None and probe.place is Place.FLOOR and probe.fault is None:
            continue  # said above of all of them
        if probe.fault is not None:
            yield Check(f"The probe {probe.name} is not believed: {probe.fault}.", right=False)
        elif probe.silent or probe.temp_c is None:
            yield _unheard([probe], f"The probe {probe.name} is not heard.")
    floor = [p for p in inside if p.place is Place.FLOOR and _speaks(p)]
    if len(floor) < 2:
        return
    low, high = min(floor, key=_temp), max(floor, key=_temp)
    apart_k = _temp(high) - _temp(low)
    if apart_k > setting.limits.band_c:
        yield Check(
            f"{high.name} is {voice.step(apart_k)} warmer than {low.name}: move the heat so that "
            "the floor is even, or hold both in ice water to see which is wrong (Set-up, Probes).",
            right=False,
        )
    else:
        yield Check(f"The floor probes agree within {voice.step(apart_k)}.", right=True)


def _sources(
    box: BrooderStatus, setting: Brooder, falls: Iterable[OwnFall], voice: Voice, now: float
) -> Iterator[Check]:
    if not setting.heat:
        yield Check("No lamp or plate is entered.", right=False)
    fell = {fall.probe: fall for fall in falls}
    out = {meter.title for meter in box.meters if meter.out}
    under = {p.name: p for p in box.probes if p.place is Place.UNDER_HEAT}
    untried = []
    for index, source in enumerate(setting.heat):
        name = next((each for each in under if beneath(setting, each) == index), None)
        if source.name in out:
            yield Check(sentence(f"{called(source.name)} draws nothing: is it on?"), right=False)
        elif name is None:
            yield Check(f"No probe lies under {called(source.name)}.", right=None)
        elif not _speaks(under[name]):
            continue  # said above
        elif box.temp_c is not None and _temp(under[name]) < box.temp_c + UNDER_HEAT_K:
            yield Check(
                f"{name} is no warmer than the floor: is {called(source.name)} lit, and the probe "
                "beneath it?",
                right=False,
            )
        elif name in fell:
            fall = fell[name]
            yield Check(
                f"{name} fell alone by {voice.step(fall.fell_k)} at {voice.clock(fall.at, now)}: "
                f"if that was {called(source.name)} switched off, it lies right.",
                right=True,
            )
        else:
            untried.append(source.name)
            yield Check(f"{name} is warm.", right=True)
    if untried:
        yield Check(
            "To know which lies under which, switch each off for ten minutes: the probe beneath "
            "it must fall, and no other.",
            right=None,
        )


def _per_watt(
    box: BrooderStatus, warm: WarmUp, setting: Brooder, voice: Voice, now: float
) -> Iterator[Check]:
    """Only once it is level: before that, litter and walls still take their share."""
    known, watts = box.learned, setting.watts
    level = warm.level_since is not None and now - warm.level_since >= LEVEL_S
    if known is None or known.rise_k is None or not watts or not level:
        return
    yield Check(
        f"{watts:.0f} W hold the floor {voice.step(known.rise_k)} over the outside: "
        f"{voice.step(known.rise_k * _PER_W / watts)} for each {_PER_W:.0f} W. The chicks' own "
        "warmth comes on top.",
        right=None,
    )


def _unheard(probes: Iterable[ProbeStatus], silent: str) -> Check:
    behind = clock_behind(probes)
    words = silent if behind is None else f"{sentence(behind[0])} {behind[1]}"
    return Check(words, right=False)


def _speaks(probe: ProbeStatus) -> bool:
    return not probe.silent and probe.temp_c is not None


def _temp(probe: ProbeStatus) -> float:
    return 0.0 if probe.temp_c is None else probe.temp_c
