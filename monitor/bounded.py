"""A dict that keeps the latest only, so that nobody who sends more and more fills the memory. Used
wherever something comes from outside; pure."""

from collections import OrderedDict
from typing import TypeVar

K = TypeVar("K")
V = TypeVar("V")


class Bounded(OrderedDict[K, V]):
    """In the order in which each was set last; beyond `most` the one set longest ago goes."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self._most = most

    def __setitem__(self, key: K, value: V) -> None:
        super().__setitem__(key, value)
        self.move_to_end(key)
        if len(self) > self._most:
            self.popitem(last=False)
