"""The smallest site there is, a configuration as the service reads it, and a clock that is set by
hand: for tests of what a start makes of a journal."""

from dataclasses import dataclass
from pathlib import Path

from monitor.events import Moment
from monitor.service.clock import Clock
from monitor.service.startup import Opened, open_all
from monitor.settings import Settings, load_settings

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


def settings_of(folder: Path, text: str = ONE_BOX) -> Settings:
    """That configuration; its journal lies beside it."""
    file = folder / "brooder.toml"
    file.write_text(f'{text}\n[journal]\nfolder = "{folder}"\n', encoding="utf-8")
    return load_settings(file, {}, check_contacts=False)


@dataclass
class HandClock:
    """The board's time and the steady one, which stand where they are put."""

    wall: float
    steady: float
    on_for_s: float = 1e9
    speed = 1.0

    def now(self) -> Moment:
        return Moment(self.wall, self.steady)

    def goes_on(self, for_s: float) -> None:
        self.wall, self.steady = self.wall + for_s, self.steady + for_s

    def jump_s(self) -> float:
        return 0.0

    def running_s(self) -> float:
        return self.on_for_s


def started(settings: Settings, clock: Clock | None = None) -> Opened:
    """What a start makes of the journal there; it is closed again."""
    opened = open_all(settings, clock)
    if opened.journal is not None:
        opened.journal.close()
    return opened


def stopped_clock(at: float) -> HandClock:
    """Both at one time."""
    return HandClock(at, at)
