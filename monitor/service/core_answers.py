"""What the core answers to a command or a page. Used by the live service API, in the watch thread,
and by `offline`, when no service runs. Requests and answers are JSON-able."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, fields
from typing import Any

from monitor.brooding.objection import NeedsYes, Objection, question
from monitor.events import Entry, EntryKind, Moment
from monitor.service.core import Core
from monitor.service.entry_rules import in_order, refuse_wrong, unknown
from monitor.tell.wording.advice_words import moving_line
from monitor.tell.wording.meter_words import reserve_line
from monitor.tell.wording.tonight_words import asked_lines, likely_too_cold
from monitor.tell.wording.warm_up_words import warm_up_verdict
from monitor.tell.wording.words import Voice
from monitor.watch.status import BrooderStatus
from monitor.watch.switched_off import OwnFall

# What a request may say: all but what an entry gets as it is kept.
_ENTRY_FIELDS = {one.name for one in fields(Entry)} - {"entry", "number", "id", "undoes_id"}


def entry_of(details: dict[str, Any], now: Moment) -> Entry:
    """A request as an entry. Raises Objection that names what is wrong."""
    given = {k: v for k, v in details.items() if v is not None}
    kind = given.pop("entry", None)
    try:
        entry = EntryKind(kind)
    except ValueError:
        known = ", ".join(k.value for k in EntryKind)
        raise Objection(f"entry is {kind!r}; it must be one of {known}") from None
    unknown = sorted(set(given) - _ENTRY_FIELDS)
    if unknown:
        raise Objection(f"{unknown[0]} is not part of an entry")
    return Entry(entry=entry, **{"at": now.at, **given})


def asked(core: Core, details: dict[str, Any], now: Moment) -> dict[str, Any]:
    """Enters what a request says. With `yes` in it the person has confirmed what was asked back."""
    given = {k: v for k, v in details.items() if k != "yes"}
    return enter(core, entry_of(given, now), now, sure=details.get("yes") is True)


def enter(core: Core, entry: Entry, now: Moment, *, sure: bool = False) -> dict[str, Any]:
    """Keeps the entry: its number, what changed, the head count afterwards. Raises Objection, or
    NeedsYes where there is a question first and nobody is `sure` yet."""
    if entry.at > now.at + 60:
        raise Objection("That time lies in the future; leave it out to say now.")
    as_kept = in_order(entry, core.ledger, now)
    words = None if sure else question(core.ledger, as_kept, core.site)
    if words is not None:
        refuse_wrong(entry, core.ledger, core.site)
        raise NeedsYes(words)
    kept, changes = core.enter(entry, now)
    batch = core.ledger.running(kept.brooder) if kept.brooder else None
    return {
        "number": kept.number,
        "changes": [f"{c.brooder + ': ' if c.brooder else ''}{c.alarm.value}" for c in changes],
        "head_count": batch.head_count() if batch is not None else (0 if kept.brooder else None),
    }


def ledger(core: Core, _now: Moment) -> dict[str, Any]:
    """All ledger entries, and which were taken back."""
    kept = core.ledger
    return {
        "entries": [
            {k: v for k, v in asdict(entry).items() if v is not None} for entry in kept.entries
        ],
        "undone": sorted(kept.undone),
    }


def tonight(
    core: Core,
    now: Moment,
    brooder: str,
    *,
    low_c: float | None = None,
    cover: str | None = None,
    extra_watts: float = 0.0,
) -> dict[str, Any]:
    """The coming night in words, and whether it is likely to be too cold. Raises Objection for a
    box that is not known."""
    status = _status(core, now, brooder)
    asked = core.engine.tonight(brooder, now, low_c=low_c, cover=cover, extra_watts=extra_watts)
    voice = Voice(core.site)
    more = (reserve_line(status, voice), _moving_line(status, voice))
    return {
        "brooder": brooder,
        "lines": [*asked_lines(status, asked, voice, now.at), *(line for line in more if line)],
        "too_cold": likely_too_cold(status, asked, now.at),
    }


def warm_up(
    core: Core, now: Moment, brooder: str, falls: Sequence[Sequence[Any]] = ()
) -> dict[str, Any]:
    """Is the empty box ready for chicks? `falls`: what its record shows of probes that fell alone.
    Raises Objection where birds are in."""
    status = _status(core, now, brooder)
    setting = core.site.brooder(brooder)
    fell = [OwnFall(*fall) for fall in falls]
    verdict = warm_up_verdict(status, setting, Voice(core.site), now.at, fell)
    if verdict is None and status.batch is not None:
        raise Objection(
            f"{status.batch.head_count} birds are in {brooder}. The page shows how it stands now; "
            "`brooder tonight` says whether tonight will hold."
        )
    if verdict is None:
        raise Objection(f"The schedule of {brooder} has no target for day-old chicks.")
    return {"ready": verdict.ready, "answer": verdict.answer, "checks": verdict.checks}


# Each with the core, the moment and what the request gives besides.
QUESTIONS: dict[str, Callable[..., dict[str, Any]]] = {
    "ledger": ledger,
    "tonight": tonight,
    "warm-up": warm_up,
}


def _status(core: Core, now: Moment, brooder: str) -> BrooderStatus:
    status = core.status(now).brooder(brooder)
    if status is None:
        raise unknown(core.site, brooder)
    return status


def _moving_line(status: BrooderStatus, voice: Voice) -> str | None:
    if status.moving is None or status.batch is None:
        return None
    return moving_line(status.moving, status.batch.hatched, voice)
