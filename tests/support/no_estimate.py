"""A thermal watch that says nothing, for tests that make it say one thing."""

from typing import Any

from monitor.thermal.diagnosis import Diagnosis


class NoEstimate:
    diagnosis = Diagnosis()
    learned: Any = None

    def __getattr__(self, _name: str) -> Any:
        return lambda *_args, **_named: None

    def state(self) -> dict[str, Any]:
        return {}
