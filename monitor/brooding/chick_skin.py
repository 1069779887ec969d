"""How warm a chick itself is: a probe that is hotter has no chick on it. Called by the watch;
printed by `brooder sources`.

The vent is taken for the hottest of its skin: 39.4 to 40.5 degC is right, and above that it pants.
Older birds are no hotter outside: deep in the body they reach 41.1 degC at day 5 (University of
Georgia Extension, B1287), and the vent is 0.6 below that (Aviagen, as below)."""

from monitor.brooding.provenance import Mark, Source

AVIAGEN = Source(
    'Aviagen, "How To 07: Check Your Chicks Are Comfortable": vent temperature by ear '
    "thermometer 39.4 to 40.5 degC is right, above it they pant; its upper end taken for the "
    "hottest skin",
    Mark.DERIVED,
    "https://abcdocz.com/doc/217451/",
)
CHICK_SKIN_C = 40.5  # no chick's skin is hotter
