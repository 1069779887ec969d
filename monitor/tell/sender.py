"""The process in which Apprise runs, so that its blocking cannot stop the watch. Run by `delivery`
as `python -m monitor.tell.sender`: jobs come as JSON lines on standard input, answers leave as
JSON lines on standard output, and it ends when standard input does, so it never outlives the
service by more than one job.

It loads Apprise once, and of its services only those that the contacts use (all of them would be
13 MB more). Each job is sent by a forked child, which starts in milliseconds, and is killed when
its time is over. A fork server of our own and not multiprocessing's: that one would import the
service's main module in every child and keep a tracker process besides.

URLs come in through the pipe, never as arguments, and leave in no form: what a failure says is
one of the sentences below."""

import importlib
import json
import logging
import os
import re
import selectors
import signal
import sys
import time
from typing import Any

import apprise
import requests

from monitor.contact_form import Service, service_of

_STATUS = re.compile(r"(?:error|status|code)\D{0,12}\b([45]\d\d)\b", re.IGNORECASE)
_SECURE = re.compile(r"\[SSL|SSLError|CERTIFICATE_VERIFY")
_KINDS = {"urgent": "failure", "warning": "warning", "advice": "info", "calm": "success"}
_TOO_LONG = 1 << 20  # a job line is a few kB


class Sender:
    """Reads jobs, forks children, ends them in time, answers."""

    def __init__(self, stdin: int, stdout: int) -> None:
        self._in, self._out = stdin, stdout
        self._selector = selectors.DefaultSelector()
        self._buffer = b""
        self._services: dict[str, Service] = {}  # by URL
        self._running: dict[int, tuple[int, int, float, bytes]] = {}  # pipe -> pid, id, end, said

    def run(self) -> None:
        """Works until standard input ends."""
        self._selector.register(self._in, selectors.EVENT_READ)
        while True:
            ends = [end for _, _, end, _ in self._running.values()]
            wait_s = max(0.0, min(ends) - time.monotonic()) if ends else None
            for key, _ in self._selector.select(wait_s):
                if key.fd == self._in:
                    if not self._read_jobs():
                        self._end_all()
                        return
                else:
                    self._hear(key.fd)
            self._end_late()

    def _read_jobs(self) -> bool:
        data = os.read(self._in, 65536)
        self._buffer += data
        while b"\n" in self._buffer:
            line, self._buffer = self._buffer.split(b"\n", 1)
            job = json.loads(line)
            if "warm" in job:
                self._warm({url: job.get("found", {}).get(url) for url in job["warm"]})
                self._answer({"warm": True})
            else:
                self._start(job)
        return bool(data) and len(self._buffer) < _TOO_LONG

    def _warm(self, services: dict[str, Service | None]) -> None:
        """Loads what these URLs need. Which services are not known yet, a child finds out."""
        unknown = [url for url, service in services.items() if service is None]
        if unknown:
            services |= self._looked_up(unknown)
        for url, service in services.items():
            if service is not None:
                importlib.import_module(service[0])
                self._services[url] = (service[0], service[1])

    def _looked_up(self, urls: list[str]) -> dict[str, Service | None]:
        reading, writing = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.close(reading)
            os.write(writing, json.dumps([service_of(url) for url in urls]).encode())
            os._exit(0)
        os.close(writing)
        with os.fdopen(reading, "rb") as pipe:
            said = pipe.read()
        os.waitpid(pid, 0)
        return dict(zip(urls, json.loads(said or b"[]"), strict=False))

    def _start(self, job: dict[str, Any]) -> None:
        reading, writing = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.close(reading)
            self._leave_pipes()
            why = _send(job, self._services.get(job["url"]))
            os.write(writing, json.dumps(why).encode())
            os._exit(0)
        os.close(writing)
        end = time.monotonic() + float(job["limit_s"])
        self._running[reading] = (pid, job["id"], end, b"")
        self._selector.register(reading, selectors.EVENT_READ)

    def _leave_pipes(self) -> None:
        """In a child: that the sender has died is known by the end of its pipes."""
        with open(os.devnull, "r+b", buffering=0) as nothing:
            os.dup2(nothing.fileno(), self._in)
            os.dup2(nothing.fileno(), self._out)

    def _hear(self, pipe: int) -> None:
        pid, number, end, said = self._running[pipe]
        data = os.read(pipe, 4096)
        if data:
            self._running[pipe] = (pid, number, end, said + data)
            return
        self._forget(pipe)
        self._answer({"id": number, "why": json.loads(said) if said else "the sending broke off"})

    def _end_late(self) -> None:
        now = time.monotonic()
        for pipe, (pid, number, end, _) in list(self._running.items()):
            if end <= now:
                os.kill(pid, signal.SIGKILL)
                self._forget(pipe)
                self._answer({"id": number, "why": "no answer in time", "late": True})

    def _end_all(self) -> None:
        """Kills what still runs: nobody listens any more."""
        for pipe, (pid, *_) in list(self._running.items()):
            os.kill(pid, signal.SIGKILL)
            self._forget(pipe)

    def _forget(self, pipe: int) -> None:
        pid = self._running.pop(pipe)[0]
        self._selector.unregister(pipe)
        os.close(pipe)
        os.waitpid(pid, 0)

    def _answer(self, answer: dict[str, Any]) -> None:
        os.write(self._out, json.dumps(answer).encode() + b"\n")


def _send(job: dict[str, Any], service: Service | None) -> str | None:
    """Sends one message; None: it arrived, else why not in words that hold no secret."""
    said = _Said()
    try:
        asset = apprise.AppriseAsset(
            app_id="Brooder", app_desc="Brooder temperature watch", app_url=""
        )
        instance = _instance(job["url"], service, asset)
        if instance is None:
            return "its URL is not one that Apprise can use"
        _be_patient(instance, float(job["limit_s"]))
        if job.get("silent"):
            _make_no_sound(instance)
        sending = apprise.Apprise(asset=asset)
        sending.add(instance)
        chart = job.get("attach")
        attach = chart if chart and instance.attachment_support else None
        done = sending.notify(
            title=job["title"],
            body=job["body"],
            body_format="text",
            notify_type=_KINDS.get(job.get("kind", ""), "info"),
            attach=attach,
        )
    except Exception as fault:  # its text may hold the URL, its type does not
        return f"the sending failed ({type(fault).__name__})"
    return None if done and said.redirect is None else said.why()


def _instance(url: str, service: Service | None, asset: Any) -> Any:
    if service is not None:
        kind = getattr(importlib.import_module(service[0]), service[1])
        tame = url.replace("/#", "/%23")  # as Apprise does before it parses
        scheme = url.split(":", 1)[0].strip().lower()
        parse = kind.parse_url if scheme in kind.schemas(kind) else kind.parse_native_url
        results = parse(tame)
        if results:
            return kind(**{**results, "asset": asset, "tag": set()})
    return apprise.Apprise.instantiate(url, asset=asset)


def _be_patient(instance: Any, limit_s: float) -> None:
    """Apprise gives a server four seconds. On a slow line that is a message which arrived, counted
    as failed and sent again; the kill at the limit is the end that counts."""
    for name in ("socket_connect_timeout", "socket_read_timeout"):
        usual = getattr(instance, name, None)
        if isinstance(usual, int | float):
            setattr(instance, name, max(usual, limit_s))


def _make_no_sound(instance: Any) -> None:
    """So far as the service has a way: an option to be silent, or a lowest priority. Where it has
    neither, or where the grower chose one in the URL, it is sent as ever."""
    arguments = getattr(instance, "template_args", None) or {}
    if arguments.get("silent", {}).get("type") == "bool":
        instance.silent = True
        return
    priority = arguments.get("priority", {})
    values = priority.get("values", ())
    if getattr(instance, "priority", None) != priority.get("default"):
        return
    lowest = min(values, default=None) if isinstance(values, dict) else None
    for word in ("min", "lowest", "low"):
        if not isinstance(values, dict) and word in values:
            lowest = word
            break
    if lowest is not None:
        instance.priority = lowest


class _Said(logging.Handler):
    """Listens to what Apprise logs and keeps of it only what is harmless."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.redirect: int | None = None  # the redirect that was answered
        self._status: str | None = None
        self._unreached = self._insecure = False
        self._follow_no_redirect()
        logger = logging.getLogger("apprise")
        logger.handlers = [self]
        logger.propagate = False
        logger.setLevel(logging.DEBUG)

    def emit(self, record: logging.LogRecord) -> None:
        """Picks out of a library's log line why nothing was sent; called by the logger."""
        text = record.getMessage()
        status = _STATUS.search(text)
        if status:
            self._status = status[1]
        if "onnection" in text or "timed out" in text.lower() or "socket" in text.lower():
            self._unreached = True
        if _SECURE.search(text):
            self._insecure = True

    def _follow_no_redirect(self) -> None:
        """What is followed arrives as an empty request at an address that nobody wrote down, such
        as the log-in of a guest network, and whatever answers there would count as received."""
        send = requests.Session.send

        def send_here(session: Any, request: Any, **how: Any) -> Any:
            answer = send(session, request, **{**how, "allow_redirects": False})
            if 300 <= answer.status_code < 400:
                self.redirect = answer.status_code
            return answer

        requests.Session.send = send_here  # type: ignore[method-assign, assignment]

    def why(self) -> str:
        """The most that can be said."""
        if self.redirect is not None:
            return f"the service sent us elsewhere (answer {self.redirect}); correct its URL"
        if self._status in ("401", "403"):
            return f"the service refused the password or token (answer {self._status})"
        if self._status:
            return f"the service answered {self._status}"
        if self._insecure:  # a board that woke up in the past believes no certificate
            return (
                "no secure connection to the service; see whether its certificate, and the time on "
                "this board, are right"
            )
        if self._unreached:
            return "no connection to the service"
        return "the service did not take the message"


def main() -> None:
    """Silent on standard error: Apprise repeats URLs in its log."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the service's to handle;
    signal.signal(signal.SIGTERM, signal.SIG_IGN)  # this one ends with its standard input
    logging.lastResort = None
    Sender(sys.stdin.fileno(), sys.stdout.fileno()).run()


if __name__ == "__main__":
    main()
