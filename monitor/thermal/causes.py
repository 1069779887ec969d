"""Why the floor falls: competing explanations weighed against the shape of the fall. Called by
`fall` once the floor has come down by more than is usual for it.

Each explanation is a normal prior on two amplitudes of the departure

    d(t) = -(quick (1 - exp(-t / quick_s)) + slow (1 - exp(-t / tau)))

where the quick part is the light a lamp no longer throws on the probe, or the air that an open
cover let out, and the slow part is box and litter cooling after it. With a linear model and normal
errors the weight of each explanation has a closed form (G. E. P. Box, G. C. Tiao, Bayesian
Inference in Statistical Analysis, 1973, chapter 2); the onset is taken where it explains best, as
in the generalised likelihood ratio test (D. Siegmund, E. S. Venkatraman, Ann. Statist. 23 (1995)
255-271). The shape tells how much was lost; which of two it was is told by other probes, so far as
there are any, and else by what is usual."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import exp, hypot, log
from typing import NamedTuple

from monitor.kept import Tick
from monitor.thermal.slope import CORRELATED_S

QUICK_S = 110.0  # light on a probe in its sleeve, or the air of an open box: about two minutes
_QUICK_S = (70.0, 150.0)  # quicker and slower sleeves, both tried
# How likely it is that a cover is off for good, or a probe moved, for each source that fails.
# Common practice.
_COVER_ASLEEP, _COVER_AWAKE, _PROBE = 0.1, 0.6, 0.05
# What goes of a source's step with its light, and as the box cools: means.
QUICK_SHARE, SLOW_SHARE = 0.15, 0.75
_MODEL_ERROR = 0.06  # of the departure: no box is this simple


class Why(StrEnum):
    """What may be behind a fall."""

    LAMP = "lamp"  # one or more heat sources went out
    COVER = "cover"  # opened by the grower, or by the wind
    PROBE = "probe"  # it has left the box, or lies wet or buried: it falls alone


@dataclass(frozen=True, slots=True)
class Explanation:
    """One way to explain a fall: mean and spread of both amplitudes (K), and its prior weight."""

    why: Why
    quick_k: float
    quick_sd: float
    slow_k: float
    slow_sd: float
    log_prior: float
    sources: tuple[int, ...] = ()  # which heat sources went out


class Lost(NamedTuple):
    """What the floor loses (K) with the light, and as the box cools; since when; and how far above
    outside it was held until then. `more_k`: what other sources may take with it; `unseen`: no fall
    has shown how much it is."""

    quick_k: float
    slow_k: float
    onset: Tick
    rise_k: float
    more_k: float = 0.0
    unseen: bool = False


@dataclass(frozen=True, slots=True)
class Weighed:
    """An explanation after seeing the fall."""

    explanation: Explanation
    log_weight: float
    quick_k: float
    slow_k: float
    onset: Tick


def explanations(
    watts: Sequence[float],
    other_watts: float,
    rise_k: float,
    rise_sd_k: float,
    *,
    doubt_k: float,
    nobody_at_work: bool,
) -> list[Explanation]:
    """All that is weighed for a box with these heat sources (`other_watts`: birds), whose floor is
    held `rise_k` (+/- `rise_sd_k`) above outside and foretold to within `doubt_k`. A source's step
    is its share of all heat; some of it goes at once with the light, the rest follows as the box
    cools. `nobody_at_work`: who could leave the cover off is not there."""
    r = rise_k
    # An open cover lets the air out in two minutes and the litter's heat in twenty, so its slow
    # part may look like any number of lamps; the shape alone tells the two apart only roughly.
    found = [
        Explanation(
            Why.COVER,
            0.16 * r,
            0.11 * r,
            0.45 * r,
            hypot(0.35 * r, doubt_k),
            log(_COVER_ASLEEP if nobody_at_work else _COVER_AWAKE),
        ),
        Explanation(Why.PROBE, 0.95 * r, 0.10 * r, 0.0, hypot(0.05 * r, doubt_k), log(_PROBE)),
    ]
    total = sum(watts) + other_watts
    if total <= 0.0 or not watts:
        return found
    groups: list[tuple[int, ...]] = [(index,) for index in range(len(watts))]
    if len(watts) > 1:
        groups.append(tuple(range(len(watts))))
    for group in groups:
        step_k = sum(watts[index] for index in group) / total * r
        found.append(
            Explanation(
                Why.LAMP,
                QUICK_SHARE * step_k,
                hypot(0.12 * step_k + 0.15, 0.15 * step_k * rise_sd_k / r),
                SLOW_SHARE * step_k,
                hypot(0.25 * step_k + 0.3, step_k * rise_sd_k / r, doubt_k),
                -log(len(groups)),
                group,
            )
        )
    return found


def weigh(
    candidates: Sequence[Explanation],
    times: Sequence[float],
    departures: Sequence[float],
    *,
    onsets: Sequence[float],
    tau_s: float,
    noise_sd: float,
    witness: Sequence[float],
) -> list[Weighed]:
    """Each candidate's weight given departures (K, measured minus foretold) at `times`, with the
    best of `onsets` for each, and what other probes add to each (`witness`). Heaviest first."""
    best: dict[int, Weighed] = {}
    for onset in onsets:
        s_dd, last = 0.0, onset - CORRELATED_S
        seen: list[tuple[float, float, float, float]] = []
        for at, departure in zip(times, departures, strict=True):
            # readings close together say less; what the model leaves out grows with the fall
            share = min(1.0, (at - last) / CORRELATED_S)
            share /= noise_sd * noise_sd + (_MODEL_ERROR * departure) ** 2
            last = at
            s_dd += share * departure * departure
            if (since := at - onset) > 0.0:
                seen.append((share, since, 1.0 - exp(-since / tau_s), -departure))
        for quick_s in _QUICK_S:
            s_qq = s_qs = s_ss = s_qd = s_sd = 0.0
            for share, since, slow, fall in seen:
                quick = 1.0 - exp(-since / quick_s)
                s_qq += share * quick * quick
                s_qs += share * quick * slow
                s_ss += share * slow * slow
                s_qd += share * quick * fall
                s_sd += share * slow * fall
            for index, one in enumerate(candidates):
                v_q = one.quick_sd**-2
                v_s = one.slow_sd**-2
                a = v_q + s_qq
                b = s_qs
                c = v_s + s_ss
                h_q = v_q * one.quick_k + s_qd
                h_s = v_s * one.slow_k + s_sd
                det = a * c - b * b
                quick_k = (c * h_q - b * h_s) / det
                slow_k = (a * h_s - b * h_q) / det
                fit = 0.5 * (
                    h_q * quick_k
                    + h_s * slow_k
                    - v_q * one.quick_k**2
                    - v_s * one.slow_k**2
                    - s_dd
                    + log(v_q * v_s / det)
                )
                weight = one.log_prior + witness[index] + fit
                if index not in best or weight > best[index].log_weight:
                    best[index] = Weighed(one, weight, quick_k, slow_k, onset)
    return sorted(best.values(), key=lambda weighed: -weighed.log_weight)


def chances(weighed: Sequence[Weighed]) -> dict[Why, float]:
    """The chance of each kind of explanation, all given."""
    top = max(one.log_weight for one in weighed)
    sums = dict.fromkeys(Why, 0.0)
    for one in weighed:
        sums[one.explanation.why] += exp(one.log_weight - top)
    total = sum(sums.values())
    return {why: value / total for why, value in sums.items()}
