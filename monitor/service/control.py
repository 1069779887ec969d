"""The socket on which commands of this machine reach the running service, and its other end.

One JSON object a line each way: `{"ask": "entry", ...}` is answered by `{"answer": ...}` or
`{"objection": "one clear sentence"}`, or by `{"question": "..."}`, which the same request with
`"yes": true` answers. Only the service's own user may open the socket file (mode 0600). It is
made at the first of some places that can be written. A place that belongs to another user than
the first is left out: whoever made it could answer in the service's name."""

import asyncio
import contextlib
import json
import os
import socket
import stat
from collections.abc import Awaitable, Callable, Coroutine, Sequence
from pathlib import Path
from typing import Any

from monitor.brooding.objection import NeedsYes, Objection

LONGEST_LINE = 1 << 20

Answerer = Callable[[str, dict[str, Any]], Awaitable[Any]]
Talk = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Coroutine[Any, Any, None]]


class NoService(Exception):
    """No service answers on this machine with this configuration."""


async def serve(places: Sequence[Path], answer: Answerer) -> asyncio.AbstractServer:
    """Listens at the first of the places where it can. `answer` raises Objection to refuse;
    anything else it raises is a fault of ours, said to the caller as such and kept out of the way
    of the watch. Raises OSError, the first place's, where it can listen at none."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while line := await reader.readline():
                writer.write(json.dumps(await _answered(line, answer)).encode() + b"\n")
                await writer.drain()
        except (ValueError, ConnectionError, asyncio.IncompleteReadError):
            pass  # a caller that hangs up or sends no line loses its call, nobody else's
        finally:
            writer.close()

    failed: list[OSError] = []
    for path in places:
        try:
            if path != places[0]:
                path.parent.mkdir(mode=0o700, exist_ok=True)
            if _is_ours(path, places[0]):
                path.unlink(missing_ok=True)
                return await _listen(path, talk)
        except OSError as error:
            failed.append(error)
    raise failed[0]


async def _listen(path: Path, talk: Talk) -> asyncio.AbstractServer:
    mask = os.umask(0o177)
    try:
        return await asyncio.start_unix_server(talk, path=str(path), limit=LONGEST_LINE)
    finally:
        os.umask(mask)


def _is_ours(path: Path, first: Path) -> bool:
    """Is the place a folder of the same user as the first, in which nobody else may write?"""
    if path == first:
        return True
    found, wanted = path.parent.lstat(), first.parent.stat()
    return (
        stat.S_ISDIR(found.st_mode) and found.st_uid == wanted.st_uid and not found.st_mode & 0o022
    )


def forget(places: Sequence[Path]) -> None:
    """Takes away what `serve` left."""
    for path in places:
        with contextlib.suppress(OSError):
            if _is_ours(path, places[0]):
                path.unlink()


async def _answered(line: bytes, answer: Answerer) -> dict[str, Any]:
    try:
        request = json.loads(line)
        ask = str(request.pop("ask"))
    except (ValueError, KeyError, AttributeError, TypeError, RecursionError):
        return {"objection": 'a request is one JSON object a line, with "ask"'}
    try:
        return {"answer": await answer(ask, request)}
    except NeedsYes as question:
        return {"question": str(question)}
    except Objection as objection:
        return {"objection": str(objection)}
    except (KeyError, TypeError, ValueError) as error:
        return {"objection": f"{ask}: {error}"}


def ask(places: Sequence[Path], what: str, *, wait_s: float = 30.0, **details: Any) -> Any:
    """Asks the service that listens at one of the places. Raises NoService or Objection."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(wait_s)
        if not any(_reached(line, path, places[0]) for path in places):
            raise NoService(f"no service answers at {places[0]}")
        line.sendall(json.dumps({"ask": what, **details}).encode() + b"\n")
        with line.makefile("rb") as reader:
            try:
                reply = reader.readline()
            except TimeoutError as error:
                raise Objection(f"the service gave no answer within {wait_s:.0f} s") from error
    if not reply:
        raise NoService("the service stopped before it answered")
    said = json.loads(reply)
    if "question" in said:
        raise NeedsYes(said["question"])
    if "objection" in said:
        raise Objection(said["objection"])
    return said["answer"]


def _reached(line: socket.socket, path: Path, first: Path) -> bool:
    try:
        if not _is_ours(path, first):
            return False
        line.connect(str(path))
    except OSError:
        return False
    return True
