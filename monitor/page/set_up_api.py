"""What the page may ask of the guided set-up. The service implements it."""

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from monitor.set_up_form import HeardProbe, Proposed, Step, StepForm, StepStands
from monitor.site import Place, Probe


class ProbeCard(Protocol):
    """What is typed into a new probe, shown once."""

    @property
    def password(self) -> str | None:
        """None: it needs none, or somebody else gives it."""
        ...

    @property
    def lines(self) -> str:
        """`key = value`, a line each."""
        ...


class NewProbe(Protocol):
    """A probe with its account, ready to be written."""

    @property
    def probe(self) -> Probe:
        """As it will be configured."""
        ...

    @property
    def card(self) -> ProbeCard:
        """What to type into it."""
        ...

    @property
    def consequences(self) -> Sequence[str]:
        """To be agreed to first."""
        ...


class SetUpApi(Protocol):
    """Each call may raise Objection: one sentence, and nothing was changed."""

    async def steps(self) -> list[StepStands]:
        """Every step, and what stands in the file."""
        ...

    async def form(self, step: Step, about: str) -> StepForm:
        """What a step asks. Raises WrongAnswers where there is nothing of that name."""
        ...

    async def propose(self, step: Step, about: str, answers: Mapping[str, str]) -> Proposed:
        """Checks the answers as `brooder check` would. Raises WrongAnswers."""
        ...

    async def propose_offsets(self, offsets_c: Mapping[str, float]) -> Proposed:
        """What a probe check found, by the probe's key."""
        ...

    async def write(self, mark: str) -> list[str]:
        """Writes what was proposed, once, and takes it into the watch; what is worth knowing."""
        ...

    async def prepare_probe(
        self, name: str, brooder: str | None, place: Place, *, network: bool
    ) -> Any:
        """A NewProbe; nothing is written yet."""
        ...

    async def add_probe(self, prepared: Any) -> list[str]:
        """Writes a NewProbe; what is left to do."""
        ...

    def heard(self) -> list[HeardProbe]:
        """Every probe that is heard now, what no brooder claims first."""
        ...
