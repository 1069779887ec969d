"""How the birds lie, and what it asks for: "the chicks are the better thermometer". Called by
`flock seen`, the page and the advice. Written in the ledger it stays with the record."""

from dataclasses import dataclass

from monitor.brooding.provenance import Mark, Source

SIGN_SOURCE = Source(
    "brooding guides of breeders and extension services: spread out and quiet is right, huddled "
    "under the heat is too cold, panting at the walls is too hot, all on one side is a draught or "
    "too much light",
    Mark.MEMORY,
)
LASTS_S = 86400.0  # what was seen longer ago says nothing of today. Common practice


@dataclass(frozen=True, slots=True)
class Sign:
    means: str
    do: str
    colder: bool = False  # they want more heat than they have


SIGNS: dict[str, Sign] = {
    "spread": Sign("They are comfortable.", "Leave the heat as it is, whatever the figures say."),
    "huddled": Sign(
        "They are too cold.",
        "Lower a lamp a little or cover the box more, then look again in half an hour. Go by them "
        "and not by the target: keep it a degree or two warmer, and put off the step down.",
        colder=True,
    ),
    "panting": Sign(
        "They are too hot.",
        "Raise a lamp or open the cover a little, give fresh water and a cooler end, then look "
        "again in half an hour. Go by them and not by the target. Before a cold night set it back.",
    ),
    "one-sided": Sign(
        "A draught comes from the side they shun, or a bright light.",
        "Feel for it with a wet hand at their height, stop the gap on that side, and leave the "
        "heat as it is until you have looked again.",
    ),
}
