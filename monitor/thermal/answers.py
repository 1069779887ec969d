"""What is said of a floor from what `thermal` holds: the diagnosis, what was learned, the minutes
left, the coming night. Questions only; nothing here is changed by being asked."""

from functools import partial
from math import exp, inf

from monitor.brooding.heat_balance import LEAST_RISE_K, BoxChange, Prior
from monitor.events import Cause, Moment
from monitor.site import Brooder
from monitor.thermal import coming_night, harm
from monitor.thermal.causes import Lost, Why
from monitor.thermal.coming_night import LowAt
from monitor.thermal.diagnosis import Diagnosis, Finding, Interval, Learned, Outlook, Warmth
from monitor.thermal.fall import HOLD_S, Fall
from monitor.thermal.floor import Floor
from monitor.thermal.follow import Following
from monitor.thermal.lost_heat import SURE, HeatLoss, LostHeat
from monitor.thermal.model import FloorModel
from monitor.thermal.nights_kept import NightsKept
from monitor.thermal.outside_curve import Skies
from monitor.thermal.rise import Rise

_RECENT_S = 300.0  # how long the steps last that the rate is taken from
_SOON_S = 60.0  # a fall younger than this has no pace yet
_LEARNED_STEPS = 36.0  # of a quarter of an hour: nine hours are as good as a day
_BELOW_REST_K = 1.0  # by so much more it is out of where its thermostat lets it go
_SEEN_SHARE_SD = 0.22  # the share of the outside is known so well once some of its cooling was seen
# Before a night was seen a lesser chance of a front is doubt of the box; a floor so near its band's
# edge needs none. Assumed.
_SURE_OF_FRONT, _NEAR_EDGE_K = 0.85, 1.0
_HOLD_DEPTH_K = 1.0  # a fall that is worth waiting for
_OTHER_CAUSES = {Why.COVER: Cause.COVER_OPEN, Why.PROBE: Cause.SENSOR}  # than lost heat


def hold_until(fall: Fall, *, low_c: float | None, nobody_at_work: bool) -> float | None:
    """An open fall that may be a grower's act: wait and see until that tick. The floor was in the
    band (`low_c`; None: no birds) before."""
    waits = (
        fall.verdict is None
        and not nobody_at_work
        and fall.depth < -_HOLD_DEPTH_K
        and (low_c is None or fall.from_c > low_c)
    )
    return fall.onset + HOLD_S if waits else None


def diagnosis(
    brooder: Brooder,
    *,
    fall: Fall,
    rise: Rise,
    loss: HeatLoss | None,
    held_until: float | None,
    rests_until: float,
    pulses_until: float,
    rate_k_per_h: float,
    findings: tuple[Finding, ...],
    doubted: tuple[str, ...],
    warmth: Warmth,
) -> Diagnosis:
    """What the floor is doing, and why."""
    found = partial(
        Diagnosis,
        rests_until=rests_until,
        pulses_until=pulses_until,
        rate_k_per_h=rate_k_per_h,
        findings=findings,
        doubted=doubted,
        warmth=warmth,
    )
    if rise.overheat:
        return found(cause=Cause.OVERHEAT)
    if loss is not None:
        name, sure, watts = loss.named(brooder)
        return found(
            cause=Cause.HEAT_SOURCE,
            cause_sure=loss.chance > SURE,
            started=loss.started,
            source=name,
            source_sure=sure,
            suspects=tuple(brooder.heat[index].name for index in loss.suspects),
            source_watts=watts,
        )
    cause: Cause | None = None
    if fall.verdict is not None and brooder.heat:  # what is not listed was not weighed
        cause = _OTHER_CAUSES.get(fall.verdict)
    return found(
        cause=cause,
        cause_sure=cause is not Cause.COVER_OPEN or fall.chance > SURE,
        started=fall.onset if fall.open else None,
        hold_until=held_until,
    )


def learned(model: FloorModel, *, floor_c: float, outside_measured: bool) -> Learned:
    """What the estimate has learnt of the box, as numbers."""
    return Learned(
        floor_c=floor_c,
        rise_k=model.bank.rise_k if outside_measured else None,
        rise_sd_k=model.bank.rise_sd_k,
        time_constant_s=model.bank.tau_s,
        share=_share(model.bank.steps),
    )


def minutes_to(
    limit_c: float,
    tick: float,
    *,
    model: FloorModel,
    fall: Fall,
    lost_heat: LostHeat,
    floor: Floor,
    ambient_c: float,
) -> Interval | None:
    """Minutes until the floor reaches `limit_c`, with an 80 % interval. None: it is not heading
    there, or no probe lies on it. Always a limit somebody set: no time to harm has been published.
    `ambient_c`: what the model's rise is above."""
    if floor.temp_c is None or not floor.measured:
        return None
    seen = fall.lost
    lost = lost_heat.to_come(tick, falls=fall.open) if seen is None else seen
    return harm.minutes_to(
        limit_c,
        floor_c=floor.temp_c,
        heading_c=ambient_c + (model.filter.rise_k if lost is None else lost.rise_k),
        heading_sd_k=model.filter.rise_sd_k,
        tau_s=model.bank.tau_s if seen is None else fall.tau_s,
        lost=lost,
        since_floor_s=max(0.0, tick - floor.stepped),
        tick=tick,
        falls_k_per_h=_seen_to_fall(lost, fall, floor),
    )


def _seen_to_fall(lost: Lost | None, fall: Fall, floor: Floor) -> float:
    """K an hour: over the last minutes, or over all of a shorter fall since heat was lost."""
    falls_k_per_h = max(0.0, -floor.rate_k_per_h)
    if lost is None or not fall.open:
        return falls_k_per_h
    age_s = floor.stepped - (fall.onset if lost.unseen else lost.onset)
    if age_s >= _RECENT_S:
        return falls_k_per_h
    return max(0.0, -3600.0 * fall.now_k / age_s) if age_s >= _SOON_S else 0.0


class ComingNight:
    """The hours asked about, for the box as it is and as it might be. What they have in common is
    worked out once: a cold night is looked at with each thing that might mend it."""

    def __init__(
        self,
        start: Moment,
        until_at: float,
        outside: Skies,
        low_at: LowAt,
        *,
        floor_c: float,
        model: FloorModel | None,
        prior: Prior,
        follows: Following,
        nights: NightsKept,
        lost: bool,
        first_night: bool,
    ) -> None:
        """`low_at`: the edge of the band at a Unix time; `floor_c`: where the floor is now, or is
        again when what passes is over; `nights`: how it kept through those before; `lost`: some
        of its heat is missed."""
        self._prior = prior
        self._rise_k = prior.rise_k
        self._tau_s, self._steps = prior.time_constant_s, 0.0
        if model is not None:
            self._tau_s, self._steps = model.bank.tau_s, model.bank.steps
            if model.outside_known:
                self._rise_k = model.bank.rise_k
        self._first_night = first_night
        self._floor_c = floor_c
        edges = coming_night.edges(start.at, until_at, low_at)
        usual = sum(sky.weight for sky in outside if sky.usual)
        near = floor_c < edges[0][1] + _NEAR_EDGE_K
        known = not first_night or usual < 1.0 - _SURE_OF_FRONT or near
        self._seen = known and not outside[0].by_floor and follows.share_var < _SEEN_SHARE_SD**2
        low_c = nights.last_low_c
        self._was_cold_c = low_c if low_c is not None and low_c < edges[-1][1] else None
        holds = not lost and self._floor_c >= edges[0][1]
        rests_c = nights.rests_c
        if rests_c is None or lost or self._floor_c < rests_c - _BELOW_REST_K:
            rests_c = -inf
        most_c = low_at(start.at) + nights.over_edge_k  # by the lamps as they hang now
        self._ways = [
            (
                sky.weight,
                coming_night.hours(
                    edges,
                    follows=follows,
                    outside=sky,
                    most_c=most_c if holds and sky.usual else None,
                    rests_c=rests_c if sky.by_floor else -inf,
                ),
            )
            for sky in outside
        ]

    def outlook(self, change: BoxChange) -> Outlook:
        """How the coming hours will go, with that change made."""
        ways = [
            (weight, coming_night.look_ahead(self._view(hours, change)))
            for weight, hours in self._ways
        ]
        return coming_night.together(ways)

    def chance(self, change: BoxChange) -> float:
        """Of leaving the band, 0..1."""
        return sum(
            weight * coming_night.chance(self._view(hours, change)) for weight, hours in self._ways
        )

    def _view(self, hours: coming_night.Hours, change: BoxChange) -> coming_night.View:
        rise_k = self._rise_k
        return coming_night.View(
            hours=hours,
            floor_c=self._floor_c,
            brought_k=(change.rise_gain - 1.0) * rise_k,
            rise_per_watt_k=change.rise_per_watt_k * rise_k / max(self._prior.rise_k, LEAST_RISE_K),
            tau_s=self._tau_s * change.time_gain,
            seen=self._seen,
            first_night=self._first_night,
            was_cold_c=self._was_cold_c,
            learned=_share(self._steps),
            open_share=change.open_share,
        )


def _share(steps: float) -> float:
    """Of what can be learned of a box, 0..1, after so many steps."""
    return 1.0 - exp(-steps / _LEARNED_STEPS)
