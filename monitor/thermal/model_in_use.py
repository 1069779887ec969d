"""Which model a floor is foretold by: with the outside where that is measured, else without. Held
by `thermal_watch`, asked by its parts."""

from dataclasses import replace

from monitor.kept import Kept, part
from monitor.thermal.box_known import BoxKnown
from monitor.thermal.floor import Floor
from monitor.thermal.model import FloorModel
from monitor.thermal.outside_heard import OutsideHeard

_OUTSIDE_WAIT_S = 600.0  # a configured outside probe is waited for so long
_TAU_KNOWN, _SWITCHED_SD_K = 1.3, 3.0  # what stays known when the outside comes or goes


@part
class ModelInUse(Kept):
    """Of one floor. `model` is None until the floor was heard."""

    model: FloorModel | None = None

    def __init__(
        self, box: BoxKnown, floor: Floor, outside: OutsideHeard, *, outside_known: bool
    ) -> None:
        """`outside_known`: a probe is configured that measures it."""
        self._box, self._floor, self._outside = box, floor, outside
        self._outside_known = outside_known

    def fit(self, tick: float, floor_c: float) -> FloorModel | None:
        """The kind that fits what is measured now. None: the outside probe has not been heard yet,
        and is waited for."""
        measured = self._outside.measured(tick)
        old, prior = self.model, self._box.prior
        if old is not None and old.outside_known == measured:
            return old
        if old is not None:
            prior = replace(
                prior,
                time_constant_s=old.bank.tau_s,
                time_constant_spread=_TAU_KNOWN,
                rise_k=floor_c - (self._outside.temp_c or 0.0),
                rise_sd_k=_SWITCHED_SD_K,
            )
        elif not measured and self._waits(tick):
            return None
        if measured:
            self._outside.forget_floor()
        self.model = FloorModel(prior, tick=tick, floor_c=floor_c, outside_known=measured)
        return self.model

    def _waits(self, tick: float) -> bool:
        return self._outside_known and self._floor.heard_for(tick) < _OUTSIDE_WAIT_S

    @property
    def ambient_c(self) -> float:
        """What the model's rise is above: the outside, or 0 where it is not measured."""
        model, outside_c = self.model, self._outside.temp_c
        known = model is not None and model.outside_known
        return outside_c if known and outside_c is not None else 0.0
