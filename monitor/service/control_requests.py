"""What the control socket answers: the requests of commands on this machine. Used by `run`, in
the event loop."""

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from monitor.brooding.objection import Objection
from monitor.intake.unclaimed import suggest
from monitor.service import core_answers
from monitor.service.service_api import ServiceApi
from monitor.tell.wording.meter_words import meter_line


class ControlRequests:
    """Answers by `api`, and where the core alone knows, by the core."""

    def __init__(self, api: ServiceApi) -> None:
        self.api = api
        self._plain: dict[str, Callable[[], Any]] = {  # what takes no details
            "probes": self._probes,
            "missing": lambda: [one._asdict() for one in api.missing()],
            "heard": lambda: [asdict(one) for one in api.set_up.heard()],
            "settings": api.settings_shown,
            "mirror-look-again": api.parts.copying.look_again,
            "about": lambda: dict(api.watcher()),
            "trials": api.parts.delivery.trials,
        }

    async def answer(self, what: str, details: dict[str, Any]) -> Any:
        """One request of a command. Raises Objection."""
        core, ask = self.api.parts.core, self.api.parts.calls.ask
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
                return await self.api.reloading.answer()
            case _:
                raise Objection(f"{what} is nothing this service knows")

    def _probes(self) -> dict[str, Any]:
        api, status = self.api, self.api.status()
        probes = list(status.probes) + [p for b in status.brooders for p in b.probes]
        topics = {p.key: p.topic for p in api.site.all_probes}
        return {
            "probes": [asdict(p) | {"topic": topics.get(p.key, "")} for p in probes],
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
        self.api.parts.broker.listen_for_a_while()
        only = [b.name for b in self.api.site.brooders]
        return [
            {
                "topic": heard.topic,
                "count": heard.count,
                "last_at": heard.last_at,
                "excerpt": heard.excerpt,
                "lines": suggest(heard, only[0] if len(only) == 1 else None),
            }
            for heard in self.api.parts.broker.unclaimed.latest()
        ]
