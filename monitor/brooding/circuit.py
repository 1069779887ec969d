"""Do the lamps overload their socket's circuit? Asked by `check` and wherever a lamp is advised."""

from monitor.brooding.provenance import Mark, Source

CONTINUOUS_SHARE = 0.8  # a load that runs for hours: at most this part of the breaker's rating
SOURCE = Source(
    "National Electrical Code 210.19(A)(1): conductors for 125 % of a continuous load, so the load "
    "at most 1 / 1.25 of them",
    Mark.QUOTED,
    "https://forums.mikeholt.com/threads/coffee-pot-question.103218/page-2",
)


def usual_load_w(*, volts: float = 120.0, amps: float = 15.0) -> float:
    """The most a circuit should carry all night: 1440 W at 15 A and 120 V."""
    return CONTINUOUS_SHARE * volts * amps


def spare_w(watts: float, *, volts: float, amps: float) -> float:
    """What a circuit can carry all night besides `watts`; 0 where it is full."""
    return max(0.0, usual_load_w(volts=volts, amps=amps) - watts)


def circuit_warning(watts: float, *, volts: float = 120.0, amps: float = 15.0) -> str | None:
    """One sentence when sources together are over the usual load of one circuit, else None."""
    usual = usual_load_w(volts=volts, amps=amps)
    if watts <= usual:
        return None
    return (
        f"{watts:.0f} W is over the usual load of one circuit ({usual:.0f} W, 80 % of {amps:g} A "
        f"at {volts:g} V; National Electrical Code): spread the sources over two circuits, and go "
        "by your local code and an electrician."
    )
