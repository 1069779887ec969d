"""The smallest site there is, and a clock that stands still: for tests of what a start makes of a
journal."""

from monitor.events import Moment

ONE_BOX = """
[[brooders]]
name = "porch"
length_m = 1
width_m = 1
  [[brooders.probes]]
  name = "floor"
  topic = "brooder/porch/floor"
  place = "floor"
"""


class StoppedClock:
    """Both clocks at one time, for ever."""

    speed = 1.0

    def __init__(self, at: float) -> None:
        self._now = Moment(at, at)

    def now(self) -> Moment:
        return self._now

    def jump_s(self) -> float:
        return 0.0

    def running_s(self) -> float:
        return 1e9
