"""Another board's site, as far as the mirror tells: for `brooder review --site NAME --from-influx`.

What this board's configuration says of a box of the same name is taken. Of a box it does not know
the mirror tells probes and places; the size stays a guess that no figure of a review rests on."""

from dataclasses import replace

from monitor.journal.bringing_in import Arrivals
from monitor.site import SITE_WIDE, Brooder, Place, Probe, Site

_GUESS_M = 1.0


def site_of(name: str, arrivals: Arrivals, here: Site) -> Site:
    """The site of that name; zone and units are this board's."""
    known = {box.name: box for box in here.brooders}
    probes: dict[str, list[Probe]] = {}
    for key in sorted(arrivals.readings):
        box, _, probe = key.rpartition("/")
        probes.setdefault(box, []).append(_probe(key, box, probe, arrivals.places.get(key)))
    outside = probes.pop(SITE_WIDE, [])
    boxes = [
        known.get(box)
        or Brooder(
            name=box,
            length_m=_GUESS_M,
            width_m=_GUESS_M,
            height_m=_GUESS_M,
            probes=tuple(found),
        )
        for box, found in probes.items()
    ]
    return replace(here, name=name, brooders=tuple(boxes), probes=tuple(outside))


def _probe(key: str, box: str, name: str, place: str | None) -> Probe:
    return Probe(
        key=key,
        brooder=None if box == SITE_WIDE else box,
        name=name,
        topic="",  # it is not heard here
        place=Place(place) if place in set(Place) else Place.FLOOR,
    )
