"""What the control socket answers: the requests of commands on this machine. Used by `run`, in
the event loop."""

from collections.abc import Callable
from dataclasses import KW_ONLY, asdict, dataclass
from typing import Any

from monitor.brooding.objection import Objection
from monitor.intake.unclaimed import Unclaimed, suggest
from monitor.service import core_answers
from monitor.service.core import Core
from monitor.service.service_api import ServiceApi
from monitor.service.watch_calls import WatchCalls
from monitor.tell.wording.meter_words import meter_line


@dataclass(eq=False, repr=False)
class ControlRequests:
    """Answers by `api`, and where the core alone knows, by the core."""

    api: ServiceApi
    core: Core
    calls: WatchCalls
    _: KW_ONLY
    unclaimed: Unclaimed
    listen: Callable[[], None]
    trials: Callable[[], dict[str, float | None]]
    mirror_look_again: Callable[[], bool]

    def __post_init__(self) -> None:
        self._plain: dict[str, Callable[[], Any]] = {  # what takes no details
            "probes": self._probes,
            "missing": lambda: [one._asdict() for one in self.api.missing()],
            "heard": lambda: [asdict(one) for one in self.api.set_up.heard()],
            "settings": self.api.settings_shown,
            "mirror-look-again": self.mirror_look_again,
            "about": lambda: dict(self.api.watcher()),
            "trials": self.trials,
        }

    async def answer(self, what: str, details: dict[str, Any]) -> Any:
        """One request of a command. Raises Objection."""
        core, ask = self.core, self.calls.ask
        if what in self._plain:
            return self._plain[what]()
        if (question := core_answers.QUESTIONS.get(what)) is not None:
            return await ask(lambda now: question(core, now, **details))
        match what:
            case "entry":
                said = await ask(lambda now: core_answers.asked(core, details, now))
                return {**said, "kept": await self.api.kept(int(said["number"]))}
            case "contacts-try":
                return await self.api.try_contacts(details.get("name"))
            case "reload":
                return dict(await self.api.reload())
            case _:
                raise Objection(f"{what} is nothing this service knows")

    def _probes(self) -> dict[str, Any]:
        api, status = self.api, self.api.status()
        probes = list(status.probes) + [p for b in status.brooders for p in b.probes]
        topics = {p.key: p.topic for p in api.site.all_probes}
        return {
            "probes": [
                {
                    "key": p.key,
                    "topic": topics.get(p.key, ""),
                    "place": p.place.value,
                    "temp_c": p.temp_c,
                    "age_s": p.age_s,
                    "fault": p.fault,
                    "silent": p.silent,
                }
                for p in probes
            ],
            "meters": [
                {
                    "key": m.key,
                    "place": box,
                    "line": meter_line(m),
                    "age_s": None if m.at is None else status.at - m.at,
                    "silent": m.silent,
                }
                for box, meters in (
                    (api.site.name, status.meters),
                    *((b.name, b.meters) for b in status.brooders),
                )
                for m in meters
            ],
            "heard": self._heard(),
            "refused": api.refused(),
        }

    def _heard(self) -> list[dict[str, Any]]:
        """Unclaimed topics. Looking begins the listening where the broker is not our own."""
        self.listen()
        only = [b.name for b in self.api.site.brooders]
        return [
            {
                "topic": heard.topic,
                "count": heard.count,
                "last_at": heard.last_at,
                "excerpt": heard.excerpt,
                "lines": suggest(heard, only[0] if len(only) == 1 else None),
            }
            for heard in self.unclaimed.latest()
        ]
