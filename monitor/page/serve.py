"""Serves the page inside the service's own event loop; returns once it listens. Called by the
service, which also stops it."""

import asyncio
import contextlib
import os
import socket
import ssl
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn
from anyio import to_thread
from starlette.applications import Starlette
from uvicorn.protocols.http.h11_impl import H11Protocol

from monitor.doorway import Caller, Doorway, listening_socket
from monitor.page.gate import CALLER

MOST_CONNECTIONS = 200  # a home has a handful; more is a mistake or an attack
MOST_THREADS = 8  # for the page's files and sign-in; everything else is answered in the event loop
STOP_WITHIN_S = 3
SILENT_LINE_S = 20.0
_LONGEST_HEAD = 16 * 1024


class CannotListen(Exception):
    """The address or port is not to be had; the text says why."""


@dataclass(eq=False, repr=False)
class Serving:
    server: "_Server"
    task: "asyncio.Task[None]"
    doorway: Doorway
    port: int
    app: Starlette

    async def stop(self) -> None:
        """Ends live streams, lets requests finish for a moment, frees the port."""
        self.doorway.close()
        await self.app.state.end()
        self.server.should_exit = True
        await asyncio.wait([self.task], timeout=STOP_WITHIN_S + 2)
        if not self.task.done():
            self.task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self.task


def certificate_of(cert_file: Path, key_file: Path) -> ssl.SSLContext:
    """For https. Raises CannotListen where the two are not what they should be."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    try:
        # A key under a pass-phrase would be asked for on the terminal.
        context.load_cert_chain(cert_file, key_file, password=lambda: "")
    except ssl.SSLError as fault:
        why = "the key belongs to another certificate, or one of the two is damaged or encrypted"
        raise CannotListen(f"{cert_file} and {key_file}: {why}") from fault
    except OSError as fault:
        unread = next((f for f in (cert_file, key_file) if not os.access(f, os.R_OK)), cert_file)
        raise CannotListen(f"{unread} cannot be read: {fault.strerror}") from fault
    return context


async def serve(
    app: Starlette,
    host: str,
    port: int,
    *,
    certificate: ssl.SSLContext | None = None,
    proxies: frozenset[str] = frozenset(),
) -> Serving:
    """Starts serving. Port 0 takes a free one; `.port` says which. Connections from `proxies` carry
    many people's requests and are no strangers. Raises CannotListen."""
    listener = _bound(host, port)
    # Of the library's 40, strangers who load the page's files could have all; the unit's TasksMax
    # must leave room for the children that send messages and draw pictures.
    to_thread.current_default_thread_limiter().total_tokens = MOST_THREADS
    config = uvicorn.Config(
        app,
        log_config=None,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,  # the gate decides whom to believe
        ws="none",
        lifespan="off",
        timeout_keep_alive=15,
        timeout_graceful_shutdown=STOP_WITHIN_S,
        limit_concurrency=MOST_CONNECTIONS,
        h11_max_incomplete_event_size=_LONGEST_HEAD,
    )
    server = _Server(config)
    task = asyncio.create_task(server.serve(sockets=[]), name="page")
    while not server.started and not task.done():
        await asyncio.sleep(0.01)
    if task.done():
        await task  # says why
        raise CannotListen(f"the page could not be served on {host}:{port}")

    def line(caller: Caller) -> _PageConnection:
        return _PageConnection(config, server.server_state, server.lifespan.state, caller=caller)

    doorway = Doorway(
        "page", listener, line, certificate=certificate, trusted=lambda address: address in proxies
    )
    doorway.open()
    return Serving(server, task, doorway, listener.getsockname()[1], app)


class _PageConnection(H11Protocol):
    """One connection, closed when it is open without a whole request for too long: somebody who
    only holds lines open must not keep the grower out."""

    def __init__(self, *uvicorns: Any, caller: Caller) -> None:
        super().__init__(*uvicorns)
        self._caller = caller
        page = self.app

        async def app(scope: Any, receive: Any, send: Any) -> None:
            """The gate says whether it knows who is calling."""
            await page({**scope, CALLER: caller}, receive, send)

        self.app = app

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._heard_at = self.loop.time()
        self._look = self.loop.call_later(SILENT_LINE_S, self._close_if_silent)

    def connection_lost(self, exc: Exception | None) -> None:
        self._look.cancel()
        self._caller.left()
        super().connection_lost(exc)

    def _close_if_silent(self) -> None:
        answering = self.cycle is not None and not self.cycle.response_complete
        if answering:
            self._heard_at = self.loop.time()
        elif self.loop.time() - self._heard_at >= SILENT_LINE_S:
            self.transport.close()
            return
        self._look = self.loop.call_later(SILENT_LINE_S / 2, self._close_if_silent)


class _Server(uvicorn.Server):
    """Uvicorn's server, which leaves signals to the service."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def _bound(host: str, port: int) -> socket.socket:
    try:
        return listening_socket(host, port)
    except socket.gaierror as fault:
        raise CannotListen(f'page.listen is "{host}", which is no address here: {fault}') from None
    except OSError as fault:
        raise CannotListen(
            f"the page cannot listen on {host}:{port}: {fault.strerror}; "
            "choose another page.listen or page.port"
        ) from None
