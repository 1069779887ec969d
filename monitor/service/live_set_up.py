"""The guided set-up as the page asks for it: in threads, since reading and checking a configuration
takes a while, and taken by the running service. Each call may raise Objection: one sentence, and
nothing was changed."""

import asyncio
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import KW_ONLY, dataclass, replace
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from monitor.brooding.objection import Objection
from monitor.intake.unclaimed import Unclaimed
from monitor.service.probe_accounts import Prepared, carry_out, prepare
from monitor.service.set_up_edits import SetUp
from monitor.set_up_form import HeardProbe, Proposed, Step, StepForm
from monitor.settings import SettingsFault
from monitor.settings.rewriting import NotWritten
from monitor.settings.set_up_steps import as_it_is, offsets_edit
from monitor.site import Place, Site
from monitor.units import Unit, to_celsius
from monitor.watch.status import SiteStatus

P = ParamSpec("P")
T = TypeVar("T")
LOOK_BACK_S = 180.0
# A sheath of steel at 20 degC takes up several degrees of a hand's 33 within a minute; a room or a
# lamp's thermostat moves it by less. Common practice.
LEAST_RISE_C = 1.5
TIMES_THE_NEXT = 2.0
MOST_PROBES = 300
_MOST_READINGS = 200


class Rising:
    """Which of the probes is held in a hand? The one that warms in the last minutes while the
    others do not."""

    def __init__(self) -> None:
        self._readings: OrderedDict[str, list[tuple[float, float]]] = OrderedDict()

    def note(self, probe: str, temp_c: float, at: float) -> None:
        """A reading; one that was noted before is passed over."""
        kept = self._readings.setdefault(probe, [])
        if kept and kept[-1][0] >= at:
            return
        kept.append((at, temp_c))
        kept[:] = [one for one in kept if one[0] >= at - LOOK_BACK_S][-_MOST_READINGS:]
        while len(self._readings) > MOST_PROBES:
            self._readings.popitem(last=False)

    def rise_c(self, probe: str) -> float:
        """How far it is above its lowest of the last minutes."""
        kept = self._readings.get(probe, [])
        return kept[-1][1] - min(temp_c for _, temp_c in kept) if kept else 0.0

    def in_hand(self) -> str | None:
        """The one that rises, where it is plainly one."""
        ranked = sorted(self._readings, key=self.rise_c, reverse=True)
        if not ranked or self.rise_c(ranked[0]) < LEAST_RISE_C:
            return None
        next_c = self.rise_c(ranked[1]) if len(ranked) > 1 else 0.0
        return ranked[0] if self.rise_c(ranked[0]) >= TIMES_THE_NEXT * next_c else None


@dataclass(eq=False, repr=False)
class LiveSetUp:
    """See the module. `listen` begins to hear what no probe claims where the broker is not ours."""

    source: Path
    _: KW_ONLY
    unclaimed: Unclaimed
    site: Callable[[], Site]
    status: Callable[[], SiteStatus]
    listen: Callable[[], None]
    reload: Callable[[], Awaitable[Mapping[str, Any]]]

    def __post_init__(self) -> None:
        self._edits = SetUp(self.source)
        self._rising = Rising()

    async def steps(self) -> dict[Step, str]:
        """What stands in the file, by step. Raises Objection."""
        settings = await self._in_thread(self._edits.settings)
        return {step: as_it_is(step, settings) for step in Step}

    async def form(self, step: Step, about: str) -> StepForm:
        """What a step asks. Raises WrongAnswers, Objection."""
        return await self._in_thread(self._edits.form, step, about)

    async def propose(self, step: Step, about: str, answers: Mapping[str, str]) -> Proposed:
        """Checks the answers, and shows what they would write. Raises WrongAnswers, Objection."""
        return await self._in_thread(self._edits.propose, step, about, answers)

    async def propose_offsets(self, offsets_c: Mapping[str, float]) -> Proposed:
        """What a probe check found, by the probe's key. Raises WrongAnswers, Objection."""
        edit = offsets_edit(offsets_c, self.site().units)
        return await self._in_thread(self._edits.propose_edit, edit)

    async def write(self, mark: str) -> list[str]:
        """Writes what was proposed and takes it; what is worth knowing. Raises Objection, and then
        the file is as it was."""
        change = await self._in_thread(self._edits.write, mark)
        said = await self.reload()
        if said["wrong"]:
            await self._in_thread(self._edits.take_back, change)
            raise Objection(". ".join(said["wrong"]))
        return ["The broker is changed at the next start."] if said["waits_for_a_start"] else []

    async def prepare_probe(
        self, name: str, brooder: str | None, place: Place, *, network: bool
    ) -> Prepared:
        """A new probe with its account, nothing written yet. Raises Objection."""
        settings = await self._in_thread(self._edits.settings)
        return await self._in_thread(
            prepare, settings, name, brooder=brooder, place=place, network=network
        )

    async def add_probe(self, prepared: Prepared) -> list[str]:
        """Writes it and takes it; what is left to do. Raises Objection."""
        left = await self._in_thread(carry_out, prepared)
        said = await self.reload()
        return [*left, *said["wrong"]]

    def heard(self) -> list[HeardProbe]:
        """Every probe that is heard, what no brooder claims first. Listens for as long as it is
        asked."""
        self.listen()
        found: list[HeardProbe] = []

        def note(probe: HeardProbe) -> None:
            who = probe.key or probe.topic
            self._rising.note(who, probe.temp_c, probe.at)
            found.append(replace(probe, rise_c=self._rising.rise_c(who)))

        for heard in self.unclaimed.latest():
            if heard.guesses:
                best = heard.guesses[0]
                note(
                    HeardProbe(
                        key=None,
                        topic=heard.topic,
                        temp_c=to_celsius(best.value, Unit(best.unit)),
                        at=heard.last_at,
                        unit=best.unit,
                        value=best.pointer or "",
                    )
                )
        status, known = self.status(), {p.key: p for p in self.site().all_probes}
        for probe in (*status.probes, *(p for box in status.brooders for p in box.probes)):
            if probe.key in known and probe.temp_c is not None and probe.at is not None:
                topic = known[probe.key].topic
                note(HeardProbe(key=probe.key, topic=topic, temp_c=probe.temp_c, at=probe.at))
        hand = self._rising.in_hand()
        return [replace(one, in_hand=hand == (one.key or one.topic)) for one in found]

    async def _in_thread(self, work: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
        try:
            return await asyncio.to_thread(work, *given, **named)
        except (NotWritten, SettingsFault) as why:
            raise Objection(str(why)) from why
