"""What the planner needs to know of the present when it writes a text, and only then. Made from
the engine's status by `picture`; a Night comes from the journal by `night`."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxNow:
    """One brooder at this moment; None where it is not known. Temperatures degC."""

    running: bool = True  # a batch is in the box
    temp_c: float | None = None
    target_c: float | None = None
    head_count: int | None = None
    age_days: int | None = None
    step_at: float | None = None
    step_target_c: float | None = None
    outlook_lowest_c: float | None = None
    outlook_at: float | None = None
    outlook_chance: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """All brooders by name."""

    boxes: dict[str, BoxNow] = field(default_factory=dict)
