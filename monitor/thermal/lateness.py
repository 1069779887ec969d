"""How late a place follows the open air, by when it was coldest in the mornings. Held by
`outside_heard` and `forecast_share`. Figures are this project's (assumed)."""

from dataclasses import field

from monitor.kept import Kept, part

_MORNING_H, _NOON_H = 3.0, 12.0
_TURNED_K = 0.5  # it came down by so much since the night, and went up again until noon
_MOST_LATE_H = 4.0  # more is a front
_LAST_COUNTS = 0.5  # the last morning as much as all before it


@part
class Lateness(Kept):
    """Of one place; none is known before the first noon."""

    _late_h: float = 0.0
    _morning: list[tuple[float, float]] = field(default_factory=list)  # hour, degC

    def __init__(self) -> None:
        self._morning = []

    @property
    def hours(self) -> float:
        """By so much later than in the open."""
        return max(0.0, self._late_h)

    def see(self, hour: float, temp_c: float, coldest_h: float) -> None:
        """The place's air at a local hour, and the hour at which the open air is coldest."""
        morning = self._morning
        if morning and hour < morning[-1][0]:  # that noon was not heard
            morning.clear()
        if hour < _NOON_H:
            morning.append((hour, temp_c))
        elif morning:
            self._morning = []
            low_h, low_c = min(morning, key=lambda one: one[1])
            turned = min(morning[0][1], morning[-1][1]) - low_c > _TURNED_K
            if turned and morning[0][0] <= _MORNING_H:
                late_h = min(_MOST_LATE_H, low_h - coldest_h)
                self._late_h += _LAST_COUNTS * (late_h - self._late_h)
