"""A browser without a window, for the page's tests: cookies, forms, and every header.

visitor = Visitor(served.port)
answer = visitor.get("/do/loss")
answer = visitor.send("/do/loss", brooder="porch", count="2")   # with the form token it was given
"""

import http.client
import re
import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field
from html import unescape
from urllib.parse import urlencode

from support.patience import LEAST_S


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    headers: Mapping[str, str]  # names in lower case; the last of each
    body: str
    cookies: tuple[str, ...] = field(default=())

    @property
    def words(self) -> str:
        """The text as it is read: without tags, with entities resolved."""
        inner = re.sub(r"<(script|style)\b.*?</\1>", " ", self.body, flags=re.S)
        return " ".join(unescape(re.sub(r"<[^>]*>", " ", inner)).split())


class Visitor:
    """Keeps cookies and the newest form token, as a browser would."""

    def __init__(
        self,
        port: int,
        *,
        host: str | None = None,
        comes_from: str = "127.0.0.1",
        trusts: ssl.SSLContext | None = None,
    ) -> None:
        """`trusts`: asks by https."""
        self.port = port
        self._comes_from = comes_from
        self._trusts = trusts
        self.host = host or f"127.0.0.1:{port}"
        self.cookies: dict[str, str] = {}
        self.token = ""

    def get(self, path: str, **headers: str) -> Answer:
        """Opens an address; redirects are not followed."""
        return self.ask("GET", path, None, headers)

    def send(self, path: str, headers: Mapping[str, str] | None = None, **form: str) -> Answer:
        """Sends a form with the token of the last page seen, unless it says otherwise."""
        return self.send_form(path, {"form_token": self.token, **form}, headers or {})

    def send_form(self, path: str, form: Mapping[str, str], headers: Mapping[str, str]) -> Answer:
        """Sends exactly this."""
        given = {"Content-Type": "application/x-www-form-urlencoded", **headers}
        return self.ask("POST", path, urlencode(form).encode(), given)

    def ask(self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]) -> Answer:
        """Any request."""
        where = {"timeout": LEAST_S, "source_address": (self._comes_from, 0)}
        if self._trusts is None:
            line = http.client.HTTPConnection("127.0.0.1", self.port, **where)
        else:
            line = http.client.HTTPSConnection(
                "127.0.0.1", self.port, context=self._trusts, **where
            )
        try:
            line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            given = {"Host": self.host, "Accept": "text/html", **headers}
            if self.cookies:
                given["Cookie"] = "; ".join(f"{k}={v}" for k, v in self.cookies.items())
            if body is not None:
                given["Content-Length"] = str(len(body))
            for name, value in given.items():
                line.putheader(name, value)
            line.endheaders(body)
            answer = line.getresponse()
            text = answer.read().decode(errors="replace")
            cookies = tuple(v for k, v in answer.getheaders() if k.lower() == "set-cookie")
            headers_seen = {k.lower(): v for k, v in answer.getheaders()}
        finally:
            line.close()
        for cookie in cookies:
            name, _, rest = cookie.partition("=")
            value = rest.partition(";")[0]
            if "Max-Age=0" in cookie or value in ("", '""'):
                self.cookies.pop(name, None)
            else:
                self.cookies[name] = value
        found = re.search(r'name="form_token" value="([0-9a-f]+)"', text)
        if found:
            self.token = found[1]
        return Answer(answer.status, headers_seen, text, cookies)
