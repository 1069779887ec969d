"""Which words of a meter are worth keeping: a plug that says every five seconds that nothing has
changed would wear out the card. Called by the core before the watch hears of it, so that a record
that is replayed says exactly what the watch was told.

Kept is what differs, the word after it (which bears it out), and one a minute."""

from monitor.events import Measured
from monitor.quantities import Quantity

EVERY_S = 60.0  # less than any rule of the watch waits
_SHARE = 0.02  # of the value: mains voltage wanders by as much


class WorthKeeping:
    """What each meter said last, as it was kept."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[float, float, bool]] = {}  # tick, value, was it another one?

    def is_it(self, said: Measured, quantity: Quantity) -> bool:
        before = self._kept.get(said.meter)
        if before is None:
            self._kept[said.meter] = (said.tick, said.value, True)
            return True
        tick, value, was_news = before
        differs = abs(said.value - value) > max(quantity.step, _SHARE * abs(value))
        if quantity.is_state:
            differs = said.value != value
        if not (differs or was_news or not 0.0 <= said.tick - tick < EVERY_S):
            return False
        self._kept[said.meter] = (said.tick, said.value, differs)
        return True
