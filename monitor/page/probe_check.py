"""Do the probes read right? All in one glass of ice water, or all at one spot, for ten minutes.
Pure; called by the Set-up screen, which hands it the status every few seconds.

Ice water stands at 0 degC as long as there is ice in it (the ice point, the old fixed point of
thermometry), so each probe's own offset shows. At one spot only their differences show: each is set
against the median. Only the last minutes count, when the probes have settled."""

from dataclasses import dataclass, field
from enum import StrEnum
from statistics import median

from monitor.site import Site
from monitor.watch.status import SiteStatus

LASTS_S = 600.0
COUNTED_S = 240.0  # of them, the last four minutes
LEAST_READINGS = 3
SETTLED_C = 0.4  # moves less than this while it is counted: two steps of 0.0625 K and some noise
FAR_C = 3.0  # no probe is that wrong: it is not in the ice water. Common practice.
MOST_KEPT = 2000


class Method(StrEnum):
    ICE = "ice"
    SPOT = "spot"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeCheckResult:
    """One probe's result. `correct_c` is what has to be added to what it says now."""

    key: str
    mean_c: float | None
    correct_c: float | None
    offset_c: float | None  # the whole offset to write into the configuration
    doubt: str | None


@dataclass(slots=True, kw_only=True)
class ProbeCheck:
    """One check under way or done."""

    method: Method
    keys: tuple[str, ...]
    started: float
    readings: dict[str, list[tuple[float, float]]] = field(default_factory=dict)

    @property
    def ends(self) -> float:
        return self.started + LASTS_S

    def take(self, status: SiteStatus) -> None:
        """Notes each probe's newest reading, once."""
        every = [*status.probes, *(p for box in status.brooders for p in box.probes)]
        for probe in every:
            if probe.key not in self.keys or probe.temp_c is None or probe.at is None:
                continue
            kept = self.readings.setdefault(probe.key, [])
            fresh = not kept or probe.at > kept[-1][0]
            if fresh and self.started <= probe.at <= self.ends and len(kept) < MOST_KEPT:
                kept.append((probe.at, probe.temp_c))

    def findings(self, site: Site) -> list[ProbeCheckResult]:
        """What it came to, in the order of the configuration."""
        counted = {
            key: [temp for at, temp in self.readings.get(key, []) if at >= self.ends - COUNTED_S]
            for key in self.keys
        }
        middles = {
            key: median(temps) for key, temps in counted.items() if len(temps) >= LEAST_READINGS
        }
        right_c = 0.0
        if self.method is Method.SPOT and middles:
            right_c = median(middles.values())
        offsets = {probe.key: probe.offset_c for probe in site.all_probes}
        found = []
        for key in self.keys:
            if key not in middles:
                found.append(_unknown(key))
                continue
            correct_c = right_c - middles[key]
            found.append(
                ProbeCheckResult(
                    key=key,
                    mean_c=middles[key],
                    correct_c=correct_c,
                    offset_c=round(offsets.get(key, 0.0) + correct_c, 2),
                    doubt=_doubt(self.method, counted[key], correct_c),
                )
            )
        return found


def _unknown(key: str) -> ProbeCheckResult:
    return ProbeCheckResult(
        key=key,
        mean_c=None,
        correct_c=None,
        offset_c=None,
        doubt="too few readings in the last minutes to tell",
    )


def _doubt(method: Method, temps: list[float], correct_c: float) -> str | None:
    if abs(correct_c) > FAR_C:
        if method is Method.ICE:
            return "too far from the ice point: it is not in the ice water, or it is broken"
        return "too far from the others: it lies elsewhere, or it is broken"
    if max(temps) - min(temps) > SETTLED_C:
        return "it was still moving: leave it in longer and check again"
    return None
