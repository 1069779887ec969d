"""How often the passphrase may be guessed. Called by the sign-in; time is passed in.

A bucket for each address, and one for all together, because one guesser may have many addresses.
Each wrong guess takes one; they fill again slowly. Memory is bounded: the oldest address goes.

An address from which the right one came before, and the board itself, count for themselves alone:
whatever strangers guess, the grower is not locked out."""

from collections import OrderedDict
from dataclasses import dataclass

from monitor.doorway import household

EACH_BURST, EACH_REFILL_S = 5, 60.0
ALL_BURST, ALL_REFILL_S = 40, 10.0
MOST_ADDRESSES = 512


@dataclass(slots=True)
class _Bucket:
    left: float
    at: float

    def fill(self, now: float, burst: int, refill_s: float) -> None:
        self.left = min(float(burst), self.left + max(0.0, now - self.at) / refill_s)
        self.at = now

    def wait_s(self, refill_s: float) -> float:
        return 0.0 if self.left >= 1 else (1 - self.left) * refill_s


class Throttle:
    """Counts wrong guesses."""

    def __init__(self) -> None:
        self._each: OrderedDict[str, _Bucket] = OrderedDict()
        self._all = _Bucket(float(ALL_BURST), 0.0)
        self._growers: OrderedDict[str, None] = OrderedDict()

    def wait_s(self, address: str, now: float) -> float:
        """Seconds until this address may try again; 0: now."""
        self._all.fill(now, ALL_BURST, ALL_REFILL_S)
        bucket = self._bucket(address, now)
        own_s = bucket.wait_s(EACH_REFILL_S)
        return own_s if self._alone(address) else max(own_s, self._all.wait_s(ALL_REFILL_S))

    def wrong(self, address: str, now: float) -> None:
        """That was not the passphrase. Call it before the guess is looked at, and `right` after,
        so that many guesses at one time are counted all the same."""
        if not self._alone(address):
            self._all.fill(now, ALL_BURST, ALL_REFILL_S)
            self._all.left -= 1
        self._bucket(address, now).left -= 1

    def right(self, address: str) -> None:
        """It was the passphrase: what was counted for this try is given back."""
        if not self._alone(address):
            self._all.left += 1
        self._each.pop(household(address), None)
        self._growers[household(address)] = None
        self._growers.move_to_end(household(address))
        if len(self._growers) > MOST_ADDRESSES:
            self._growers.popitem(last=False)

    def _alone(self, address: str) -> bool:
        key = household(address)
        return key in self._growers or key in ("127.0.0.1", "::1")

    def _bucket(self, address: str, now: float) -> _Bucket:
        key = household(address)
        bucket = self._each.pop(key, None) or _Bucket(float(EACH_BURST), now)
        bucket.fill(now, EACH_BURST, EACH_REFILL_S)
        self._each[key] = bucket
        while len(self._each) > MOST_ADDRESSES:
            self._each.popitem(last=False)
        return bucket
