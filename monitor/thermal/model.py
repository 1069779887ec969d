"""What a box is like and what its floor should be doing. Held by `thermal`.

Puts together the quick filter (`kalman`), the bank that learns the time constant and the slow rise
(`time_constant`), and how restless this floor is."""

from dataclasses import dataclass
from math import sqrt

from monitor.brooding.heat_balance import Prior
from monitor.kept import Tick
from monitor.thermal.kalman import FloorFilter, rise_walk
from monitor.thermal.time_constant import TimeConstants

_BANK_S = 900.0
_BANK_READY = 8  # steps after which the slow estimate is the better one
_READING_SD = 0.1  # K: quantisation, noise and the nearest bird
_TEMP_WALK = 0.10**2 / 60.0  # K2/s: draughts and birds move the floor by 0.1 K in a minute
_FLOATING_SD_K = 8.0
_NOISE_RATE = 0.004  # of a step: what the floor was like two hours ago counts half
_NOISE_LEAST = 0.1
_WANDER_SD = 0.22  # K: how far a floor of noise 1 strays from the foretold one within minutes


@dataclass(slots=True, init=False, eq=False)
class FloorModel:
    """The estimate of one floor. Where the outside is not measured, `outside_c` is 0 everywhere and
    the rise is the temperature the floor heads for."""

    outside_known: bool
    filter: FloorFilter
    bank: TimeConstants
    _noise: float  # residual variance over what the filter expects
    _bank_sum: float
    _bank_count: int
    _bank_tick: Tick

    def __init__(self, prior: Prior, *, tick: float, floor_c: float, outside_known: bool) -> None:
        rise_k, rise_sd_k = prior.rise_k, prior.rise_sd_k
        if not outside_known:
            rise_k, rise_sd_k = floor_c, _FLOATING_SD_K
        self.outside_known = outside_known
        self.filter = FloorFilter(
            tick=tick,
            temp_c=floor_c,
            rise_k=rise_k,
            p_tt=_READING_SD**2,
            p_rr=rise_sd_k**2,
            reading_var=_READING_SD**2,
            temp_walk=_TEMP_WALK,
            rise_walk=rise_walk(outside_known),
        )
        self.bank = TimeConstants(
            tick=tick,
            temp_c=floor_c,
            tau_s=prior.time_constant_s,
            tau_spread=prior.time_constant_spread,
            rise_k=rise_k,
            rise_sd_k=rise_sd_k,
            outside_known=outside_known,
        )
        self._noise = 1.0
        self._start_mean(tick)

    def step(self, tick: float, floor_c: float, outside_c: float) -> None:
        """Takes one measured floor temperature."""
        filt = self.filter
        filt.predict(tick, outside_c, self.bank.tau_s)
        residual, spread = filt.correct(floor_c)
        noise = self._noise
        scaled = min(residual * residual / spread, 6.0 * noise)  # a step is no noise
        noise += (scaled - noise) * _NOISE_RATE
        self._noise = noise if noise > _NOISE_LEAST else _NOISE_LEAST

    def learn(self, tick: float, floor_c: float, outside_c: float) -> float | None:
        """The same floor for the bank, which is given means: the mean that it was given now."""
        self._bank_sum += floor_c
        self._bank_count += 1
        if tick - self._bank_tick < _BANK_S:
            return None
        mean_c = self._bank_sum / self._bank_count
        self.bank.add(tick, mean_c, outside_c)
        self._start_mean(tick)
        return mean_c

    @property
    def known(self) -> bool:
        """Watched for long enough to foretell it."""
        return self.bank.steps >= _BANK_READY

    @property
    def wander_sd(self) -> float:
        """K by which this floor strays from the foretold one within minutes."""
        return _WANDER_SD * sqrt(self._noise)

    def expected(self) -> tuple[float, float]:
        """The rise to foretell the floor with, and its standard deviation."""
        slow = self.bank if self.known else self.filter
        if self.outside_known:
            return slow.rise_k, slow.rise_sd_k
        # what it heads for is only known from where it is
        return 0.5 * (self.filter.temp_c + slow.rise_k), 0.7 + slow.rise_sd_k

    def lost(self, before_k: float, lost_k: float) -> None:
        """Heat went out: known at once, where the filter would need an hour to learn it."""
        sd_k = 0.3 * lost_k
        self.filter.rise_k = before_k - lost_k
        self.filter.p_rr = max(self.filter.p_rr, sd_k * sd_k)
        self.bank.lost(-lost_k, sd_k)

    def regained(self, rise_k: float) -> None:
        """Heat is back: the floor will come to rest `rise_k` above the outside."""
        self.bank.lost(rise_k - self.bank.rise_k, 1.0)

    def settle(self, tick: float, floor_c: float, rise_k: float | None = None) -> None:
        """A fall or a rise is over: go on from here, with `rise_k` if it is known."""
        if rise_k is not None:
            self.filter.rise_k = rise_k
            self.filter.p_rr += 1.0
        self.filter.temp_c = floor_c
        self.filter.p_tr = 0.0
        self.bank.resume(tick, floor_c)
        self._start_mean(tick)

    def begin_again(self, tick: float, floor_c: float) -> None:
        """After a long silence: what the box is like stands, where the floor is does not."""
        filt = self.filter
        filt.tick = tick
        filt.p_tt = _READING_SD**2
        filt.p_rr += 4.0
        self.settle(tick, floor_c)

    def loosen(self, sd_k: float) -> None:
        """The rise may be another one now."""
        self.filter.p_rr += sd_k * sd_k

    def _start_mean(self, tick: float) -> None:
        self._bank_sum = 0.0
        self._bank_count = 0
        self._bank_tick = tick
