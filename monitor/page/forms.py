"""Reads a form: bounded, checked to be ours, its values kept for when something in it is wrong.

Called by every screen that takes one. `FilledForm` collects what is wrong beside each field."""

import asyncio
import re
from dataclasses import dataclass, field
from urllib.parse import parse_qsl

from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request

from monitor.page.browser_session import BrowserSession, BrowserSessions

LONGEST_FORM = 16 * 1024
SLOWEST_FORM_S = 20.0
TOKEN_FIELD = "form_token"  # noqa: S105 - the field's name
LONGEST_NOTE = 500


@dataclass(slots=True)
class FilledForm:
    """What was filled in, and what is wrong with it. A field that is not there is empty."""

    values: dict[str, str] = field(default_factory=dict)
    wrong: dict[str, str] = field(default_factory=dict)  # field -> words; "" is the whole form

    def __getitem__(self, name: str) -> str:
        return self.values.get(name, "")

    def text(self, name: str, *, most: int = LONGEST_NOTE) -> str | None:
        """One line of words, or None."""
        # Nothing that steers a terminal or turns a line around: the ledger is printed there too.
        said = "".join(c for c in " ".join(self[name].split()) if c.isprintable())
        if len(said) > most:
            self.wrong[name] = f"That is {len(said)} characters; at most {most} fit."
        return said or None

    def whole_number(self, name: str, *, least: int, most: int, what: str) -> int | None:
        """A whole number; None when there is none or it is wrong."""
        said = self[name].strip()
        number = int(said) if re.fullmatch("[0-9]{1,12}", said) else None
        if number is None or not least <= number <= most:
            self.wrong[name] = f"{what}: a whole number from {least} to {most}."
            return None
        return number

    def one_of(self, name: str, known: tuple[str, ...], what: str) -> str | None:
        said = self[name]
        if said in known:
            return said
        self.wrong[name] = f"{what}: {'choose one' if known else 'there is none yet'}."
        return None


async def read_form(request: Request, sessions: BrowserSessions) -> FilledForm:
    """The form of this request, known to come from our own page."""
    form = await read_open_form(request)
    session: BrowserSession = request.state.session
    if not sessions.is_form_token(session, form.values.pop(TOKEN_FIELD, "")):
        raise HTTPException(
            403, "This form is from an earlier visit. Go back, load the page again and try anew."
        )
    return form


async def read_open_form(request: Request) -> FilledForm:
    """The form of this request, whoever sent it: only for what carries its own proof."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    body = bytearray()
    try:
        async with asyncio.timeout(SLOWEST_FORM_S):
            async for chunk in request.stream():
                body += chunk
                if len(body) > LONGEST_FORM:
                    raise HTTPException(413, "That is more than this form can hold.")
    except TimeoutError:
        raise HTTPException(408, "The form came too slowly.") from None
    except ClientDisconnect:
        raise HTTPException(400, "The form did not come through.") from None
    if body and kind != "application/x-www-form-urlencoded":
        raise HTTPException(415, "Forms only.")
    try:
        pairs = parse_qsl(body.decode("ascii"), keep_blank_values=True, max_num_fields=60)
    except ValueError:
        raise HTTPException(400, "The form could not be read.") from None
    return FilledForm(values={name: value.replace("\x00", "") for name, value in pairs})
