"""Every message there is, in plain English for somebody who raises chicks for the first time.

`for_change` is what an alarm's change says (also the `text` of an event). The planner adds what
only it knows: repeats, passing on, several brooders at once, the morning."""

from monitor.events import Change, ChangeKind
from monitor.site import Brooder, Site
from monitor.tell.wording.advice_words import ADVICE
from monitor.tell.wording.life import answered, escalated, explained, shelved, unshelved
from monitor.tell.wording.over import all_clear
from monitor.tell.wording.silence_words import SILENCE
from monitor.tell.wording.temperature import TEMPERATURE
from monitor.tell.wording.watcher_words import WATCHER
from monitor.tell.wording.words import Voice, Words

_RAISED = TEMPERATURE | SILENCE | WATCHER | ADVICE
_OTHERWISE = {  # what is no news of the trouble itself
    ChangeKind.CLEARED: all_clear,
    ChangeKind.ACKNOWLEDGED: answered,
    ChangeKind.SHELVED: shelved,
    ChangeKind.UNSHELVED: unshelved,
}


def for_change(change: Change, site: Site) -> Words:
    """What one change of one alarm says, in the site's units and clock."""
    voice = Voice(site)
    if change.change in _OTHERWISE:
        return _OTHERWISE[change.change](change, voice)
    said = _RAISED[change.alarm](change, voice, _box(change, site))
    if change.change is ChangeKind.ESCALATED:
        return escalated(said, change.facts.get("contacts", []))
    return explained(said) if change.change is ChangeKind.EXPLAINED else said


def _box(change: Change, site: Site) -> Brooder | None:
    """The brooder meant, unless the configuration lost it since."""
    return next((box for box in site.brooders if box.name == change.brooder), None)
