"""How far the record goes in explaining a loss, in one or two sentences. For command, report, page.

A thermometer sees cold, heat and silence. It does not see piling, thirst or infection, and a loss
is written when it is found. So the words go no further than: the record shows something that can
kill; it shows a strain; it shows nothing; or it has holes too large to tell. Cold and heat are
asked for alike, in the last 24 hours and in the 24 before them: of layer chicks held at 39 degC for
the first 48 hours some died ("Effects of incubation humidity and hatching time on heat tolerance of
neonatal chicks", abstract), and chilled ones die a day later (common practice). What a strain
means is said by what was measured (`brooding.harm_known`): lasting cold kills later, heat dries."""

from monitor.brooding import harm_known
from monitor.measures import span
from monitor.review.exposure import Exposure, exposure
from monitor.review.loss_review import LossReview
from monitor.review.record import Record
from monitor.tell.wording.words import listed
from monitor.units import Unit, shown, step_shown

MOSTLY = 0.25  # of the hours unread: too much to call them quiet. Common practice.
_TOLD_S = 30.0
_STRAIN_S = 1800.0  # out of the band for less is the daily coming and going. Common practice.


class _Hours:
    """What was wrong in a span: the last day, or the day before it as what two have over one."""

    def __init__(
        self, loss: LossReview, record: Record, whole: Exposure, less: Exposure | None = None
    ) -> None:
        def left(name: str) -> float:
            taken = 0.0 if less is None else float(getattr(less, name))
            return float(getattr(whole, name)) - taken

        self.units, self.age_days = record.site.units, loss.age_days
        self.span_s, self.gap_s, self.judged_s = left("span_s"), left("gap_s"), left("judged_s")
        self.chill_s, self.overheat_s = left("chill_s"), left("overheat_s")
        self.below_s, self.above_s = left("below_s"), left("above_s")

    @property
    def named(self) -> str:
        """`24 hours`."""
        return _hours(self.span_s)

    @property
    def quiet(self) -> str:
        """Where nothing was wrong for long."""
        return f"The last {self.named} were quiet"

    @property
    def unread(self) -> bool:
        """Too little was read to call it quiet."""
        return self.judged_s <= 0 or self.gap_s > MOSTLY * self.span_s

    @property
    def harm(self) -> str | None:
        """`below the chill limit for 3 h 32 min`, the longer trouble first."""
        return _longer_first(
            (self.chill_s, f"below the chill limit for {span(self.chill_s)}"),
            (self.overheat_s, f"above the overheat limit for {span(self.overheat_s)}"),
            least_s=_TOLD_S,
        )

    @property
    def suspect(self) -> str:
        """What harm makes one think of."""
        first = _longer_first((self.chill_s, "cold"), (self.overheat_s, "heat"), least_s=_TOLD_S)
        both = min(self.chill_s, self.overheat_s) >= _TOLD_S
        named = f"{first} are the first things" if both else f"{first} is the first thing"
        return f"{named.capitalize()} to suspect, though the record cannot prove it."

    @property
    def strain(self) -> str | None:
        """`below the band for 22 h`: out of it for long, and never far."""
        return _longer_first(
            (self.below_s, f"below the band for {span(self.below_s)}"),
            (self.above_s, f"above the band for {span(self.above_s)}"),
            least_s=_STRAIN_S,
        )

    @property
    def never(self) -> str:
        """What did not happen in a strain: the other harm, or either."""
        if self.above_s < _STRAIN_S:
            return "never below the chill limit"
        if self.below_s < _STRAIN_S:
            return "never above the overheat limit"
        return "never below the chill limit nor above the overheat limit"

    @property
    def weighed(self) -> str:
        """What a strain means for the birds."""
        told = _heat(self.units) if self.above_s >= _STRAIN_S else _cold(self.age_days, self.units)
        return f"{told} Look at the other causes too."


def _cold(age_days: int, units: Unit) -> str:
    critical_c = harm_known.lower_critical_c(age_days)
    burns = (
        f" At {age_days} days a chick burns its reserves to keep warm below about "
        f"{shown(critical_c, units, 0)}."
        if critical_c is not None
        else ""
    )
    colder = step_shown(harm_known.ASCITES_COLDER_K, units, 0)
    return (
        f"One such night is a strain.{burns} Kept up it kills later: of meat chicks held about "
        f"{colder} too cold for three weeks {harm_known.ASCITES_PERCENT:.1f} % died of ascites, "
        f"of those held right {harm_known.ASCITES_RIGHT_PERCENT:.1f} %."
    )


def _heat(units: Unit) -> str:
    (cool_c, less_g), (hot_c, more_g) = harm_known.WATER_LOST_G_A_DAY
    return (
        f"Heat dries chicks out: in a day a newly hatched one loses {more_g} g of water at "
        f"{shown(hot_c, units)}, {less_g} g at {shown(cool_c, units)}. Had they water, and a "
        "cooler end to go to?"
    )


def _longer_first(*told: tuple[float, str], least_s: float) -> str | None:
    worth = sorted((one for one in told if one[0] >= least_s), key=lambda one: -one[0])
    return " and ".join(words for _, words in worth) or None


def verdict(loss: LossReview, record: Record) -> str:
    """How far the record goes: the worst first, and a hole before a strain."""
    day = _Hours(loss, record, loss.day.exposure)
    earlier = _Hours(loss, record, loss.two_days.exposure, loss.day.exposure)
    compared = _compared(loss)
    said = (
        _harm(day, compared, _alone(loss, record))
        or _hole(day, earlier)
        or _earlier_harm(day, earlier)
        or _strain(day, compared)
        or _earlier_strain(day, earlier)
        or _quiet(day, earlier)
    )
    return said + _doubted(loss, record)


def _harm(day: _Hours, compared: str, alone: str) -> str | None:
    if day.harm is None:
        return None
    cold = compared if day.chill_s >= _TOLD_S else ""
    holes = f" {span(day.gap_s)} of them were not read." if day.unread else ""
    return f"The floor was {day.harm} in the {day.named} before{cold}.{holes}{alone} {day.suspect}"


def _alone(loss: LossReview, record: Record) -> str:
    """Which probe alone read the harm while others of the floor were in their band: a cold corner
    looks so, and so does a probe that is wrong."""
    start, stop, names = loss.day.start, loss.day.stop, {p.key: p.name for p in record.floor_probes}
    each = {
        names[key]: exposure([trace], record.target, start=start, stop=stop, hold_s=record.hold_s)
        for key, trace in record.traces.items()
    }
    heard = {name: one for name, one in each.items() if one.gap_s <= MOSTLY * one.span_s}
    harmed = [name for name, one in each.items() if max(one.chill_s, one.overheat_s) >= _TOLD_S]
    others = [name for name in heard if name not in harmed]
    strained = any(max(heard[name].below_s, heard[name].above_s) >= _STRAIN_S for name in others)
    if len(harmed) != 1 or not others or strained:
        return ""
    return f" Only {harmed[0]} read so, and not {listed(others)}: look whether that probe is right."


def _doubted(loss: LossReview, record: Record) -> str:
    """The only probe of a floor counts in doubt too (`Record.traces`), and then that is said."""
    start, stop = loss.two_days.start, loss.two_days.stop
    if len(record.traces) != 1 or not any(
        since < stop and until > start
        for key in record.traces
        for since, until in record.doubted(key)
    ):
        return ""
    return " The only floor probe was in doubt meanwhile (probe-fault), and so are these figures."


def _hole(day: _Hours, earlier: _Hours) -> str | None:
    if not day.unread:
        return None
    known = f" In the hours before those {_was(earlier.harm)}." if earlier.harm else ""
    return (
        f"The record cannot tell: {span(day.gap_s)} of the {span(day.span_s)} before "
        f"were not read.{known}"
    )


def _earlier_harm(day: _Hours, earlier: _Hours) -> str | None:
    if earlier.harm is None:
        return None
    so_far = f"In the last {day.named} {_was(day.strain)}" if day.strain else day.quiet
    return (
        f"{so_far}, but in the {earlier.named} before them {_was(earlier.harm)}. "
        "Weakened chicks can die a day later."
    )


def _strain(day: _Hours, compared: str) -> str | None:
    if day.strain is None:
        return None
    cold = compared if day.below_s >= _STRAIN_S else ""
    return f"The floor was {day.strain} but {day.never}{cold}. {day.weighed}"


def _earlier_strain(day: _Hours, earlier: _Hours) -> str | None:
    if earlier.strain is None:
        return None
    return (
        f"{day.quiet}; in the {earlier.named} before them {_was(earlier.strain)} but "
        f"{earlier.never}. {earlier.weighed}"
    )


def _quiet(day: _Hours, earlier: _Hours) -> str:
    """No sign, as far as it was read."""
    if earlier.span_s > 0 and earlier.unread:
        found = (
            f"{day.quiet}, but {span(earlier.gap_s)} of the {earlier.named} before them were "
            "not read"
        )
    else:
        both = _hours(day.span_s + earlier.span_s)
        found = f"The floor was never far or long out of its band in the {both} before"
    return f"{found}. Look at the other causes first."


def _was(what: str | None) -> str:
    return f"the floor was {what}"


def _hours(span_s: float) -> str:
    """`24 hours`; `5 h 10 min` where the batch had not been there for so long."""
    hours = round(span_s / 3600)
    return f"{hours} hours" if abs(span_s - hours * 3600) < 30 and hours > 1 else span(span_s)


def _compared(loss: LossReview) -> str:
    if not loss.others:
        return ""
    colder = loss.colder_others
    if len(loss.others) == 1:
        return f"; the only other recorded night had {'more' if colder else 'no more'} cold"
    return f"; {colder or 'none'} of {len(loss.others)} other recorded nights had more cold"
