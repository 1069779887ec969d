"""How often may the card be written for promptness' sake? Pure; used by the service beside Pacing.

A commit at every message would wear out an SD card; a commit every twenty seconds makes a probe
that sleeps between readings wait that long for its acknowledgement. So promptness is an allowance:
a commit of it is regained every `regain_s`, a few may be saved up. A probe or two a minute, or
somebody trying things by hand, is answered at once; a busy box falls back to the slow pace."""

from dataclasses import dataclass

PROMPT_S = 0.2  # waits for company this long; nobody notices, and a pack of probes shares a commit


@dataclass(slots=True)
class CommitAllowance:
    """A bucket of prompt commits."""

    regain_s: float = 20.0
    most: float = 60.0
    _saved: float = 60.0
    _tick: float | None = None

    def prompt(self, tick: float, oldest_age_s: float) -> bool:
        """May a commit be made now, before it is due?"""
        self._regain(tick)
        return oldest_age_s >= PROMPT_S and self._saved >= 1.0

    def wait_s(self, tick: float, oldest_age_s: float) -> float:
        """How long until `prompt` turns true by itself."""
        self._regain(tick)
        missing = max(0.0, 1.0 - self._saved) * self.regain_s
        return max(PROMPT_S - oldest_age_s, missing, 0.0)

    def spent(self, tick: float) -> None:
        """A commit was made, for whatever reason."""
        self._regain(tick)
        self._saved = max(0.0, self._saved - 1.0)

    def _regain(self, tick: float) -> None:
        if self._tick is not None and tick > self._tick:
            self._saved = min(self.most, self._saved + (tick - self._tick) / self.regain_s)
        self._tick = tick
