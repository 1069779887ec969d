"""The guided set-up: proposes a change of the configuration, writes it when told to, takes it back
where the running service refuses it. Used by `brooder set-up` and, in the service, by the page."""

import contextlib
import hashlib
import secrets
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from monitor.bounded import Bounded
from monitor.brooding.lamp_safety import fire_warnings
from monitor.child import ChildFailed
from monitor.contact_form import has_stray_space, unknown_forms
from monitor.set_up_form import CONTACT_FORM, Proposed, Step, StepForm, WrongAnswers
from monitor.settings import Settings, SettingsFault, load_settings
from monitor.settings.faults import HIDDEN
from monitor.settings.reading import LONGEST_CONFIGURATION, Unreadable, read_text
from monitor.settings.rewriting import FileChange, NotWritten, propose, replace_text
from monitor.settings.set_up_steps import Edit, edit_of, field_of, form_of

MOST_WAITING = 20
_SEEN = "seen"
_SECRET_MODE = 0o600


@dataclass(frozen=True, slots=True)
class _Proposal:
    edit: Edit
    change: FileChange


class SetUp:
    """Forms, proposals and their writing, for one configuration file. Its calls take tenths of a
    second: call them in a thread. Raises WrongAnswers; NotWritten where the file cannot be changed,
    SettingsFault where it is faulty as it is."""

    def __init__(self, source: Path) -> None:
        self._source = source
        self._lock = threading.Lock()
        self._waiting: Bounded[str, _Proposal] = Bounded(MOST_WAITING)

    def settings(self) -> Settings:
        """As the file has them now, which may have been changed by hand."""
        return load_settings(self._source, check_contacts=False)

    def form(self, step: Step, about: str = "") -> StepForm:
        made = form_of(step, self.settings(), about)
        return replace(made, hidden={_SEEN: self._seen()})

    def propose(self, step: Step, about: str, answers: Mapping[str, str]) -> Proposed:
        """Checks the answers as `brooder check` would."""
        settings = self.settings()
        if answers.get(_SEEN) != self._seen():
            raise WrongAnswers({"": "The configuration was changed meanwhile: look at it again."})
        form = form_of(step, settings, about)
        return self.propose_edit(edit_of(step, answers, settings, about), form)

    def propose_edit(self, edit: Edit, form: StepForm | None = None) -> Proposed:
        """A change that is ready made."""
        if edit.secret:
            _check_secret(edit, form)
        try:
            with self._secret_laid(edit):
                change = propose(self._source, edit.change)
        except SettingsFault as fault:
            raise _by_field(fault, form) from fault
        mark = secrets.token_urlsafe(12)
        with self._lock:
            self._waiting[mark] = _Proposal(edit, change)
        return Proposed(
            mark=mark,
            difference=change.difference,
            notes=tuple(f"{box}: {words}" for box, words in fire_warnings(change.settings.site)),
        )

    def write(self, mark: str) -> FileChange:
        """Writes what was proposed, once."""
        with self._lock:
            waiting = self._waiting.pop(mark, None)
        if waiting is None:
            raise NotWritten("this change was written already, or is too old: look at it again")
        path = self._secret_path(waiting.edit)
        if path is not None:
            try:
                replace_text(path, waiting.edit.secret + "\n", mode=_SECRET_MODE)
            except OSError as fault:
                raise NotWritten(f"{path} could not be written: {fault.strerror}") from fault
        waiting.change.write()
        return waiting.change

    def take_back(self, change: FileChange) -> None:
        """The file as it was before, where nobody has changed it since."""
        with contextlib.suppress(OSError, Unreadable):
            if read_text(change.source, LONGEST_CONFIGURATION) == change.after:
                replace_text(change.source, change.before)

    def _seen(self) -> str:
        try:
            text = read_text(self._source, LONGEST_CONFIGURATION)
        except (OSError, Unreadable) as fault:
            raise NotWritten(f"{self._source} cannot be read ({fault})") from fault
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def _secret_path(self, edit: Edit) -> Path | None:
        return None if edit.secret_file is None else self._source.parent / edit.secret_file

    @contextlib.contextmanager
    def _secret_laid(self, edit: Edit) -> Iterator[None]:
        """The secret's file as it will be, so that the loader finds it; afterwards as it was."""
        path = self._secret_path(edit)
        if path is None:
            yield
            return
        try:
            before = read_text(path, LONGEST_CONFIGURATION) if path.exists() else None
            replace_text(path, edit.secret + "\n", mode=_SECRET_MODE)
        except PermissionError as fault:
            raise NotWritten(f"{path.parent} may not be written to by this user") from fault
        except (OSError, Unreadable) as fault:
            raise NotWritten(f"{path} could not be written") from fault
        try:
            yield
        finally:
            if before is None:
                path.unlink(missing_ok=True)
            else:
                replace_text(path, before)


def _check_secret(edit: Edit, form: StepForm | None) -> None:
    """A contact's address is of a form that Apprise knows; a board too busy to say so is no reason
    against it."""
    if form is None or form.step is not Step.CONTACTS:
        return
    if not edit.secret.isprintable():
        raise WrongAnswers({"url": "It has characters in it that no address has."})
    if has_stray_space(edit.secret):
        words = "There is a space in it: take it out, or write %20 where one belongs."
        raise WrongAnswers({"url": words})
    with contextlib.suppress(ChildFailed, ValueError):
        if unknown_forms([edit.secret]):
            raise WrongAnswers({"url": f"It must be an address such as {CONTACT_FORM}."})


def _by_field(fault: SettingsFault, form: StepForm | None) -> WrongAnswers:
    wrong: dict[str, str] = {}
    for one in fault.faults:
        name = "" if form is None else field_of(one.key, form)
        hidden = one.says == f"is {HIDDEN}"  # who just typed it need not hear that
        right = one.right[:1].upper() + one.right[1:]
        plain = right if hidden else f"It {replace(one, key='', where='')}"
        said = plain if name else str(one)
        wrong[name] = f"{wrong[name]} {said}" if name in wrong else said
    return WrongAnswers(wrong)
