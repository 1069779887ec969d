"""The socket on which commands of this machine reach the running service, and its other end.

One JSON object a line each way: `{"ask": "entry", ...}` is answered by `{"answer": ...}` or
`{"objection": "one clear sentence"}`, or by `{"question": "..."}`, which the same request with
`"yes": true` answers. The socket file is the service's alone (mode 0600): who may
open it, the file system says."""

import asyncio
import json
import os
import socket
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from monitor.brooding.objection import NeedsYes, Objection

LONGEST_LINE = 1 << 20

Answerer = Callable[[str, dict[str, Any]], Awaitable[Any]]


class NoService(Exception):
    """No service answers on this machine with this configuration."""


async def serve(path: Path, answer: Answerer) -> asyncio.AbstractServer:
    """Listens at `path`. `answer` raises Objection to refuse; anything else it raises is a fault
    of ours, said to the caller as such and kept out of the way of the watch."""

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while line := await reader.readline():
                writer.write(json.dumps(await _answered(line, answer)).encode() + b"\n")
                await writer.drain()
        except (ValueError, ConnectionError, asyncio.IncompleteReadError):
            pass  # a caller that hangs up or sends no line loses its call, nobody else's
        finally:
            writer.close()

    path.unlink(missing_ok=True)
    mask = os.umask(0o177)
    try:
        return await asyncio.start_unix_server(talk, path=str(path), limit=LONGEST_LINE)
    finally:
        os.umask(mask)


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


def ask(path: Path, what: str, *, wait_s: float = 30.0, **details: Any) -> Any:
    """Asks the service that listens at `path`. Raises NoService or Objection."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(wait_s)
        try:
            line.connect(str(path))
        except OSError as error:
            raise NoService(f"no service answers at {path}") from error
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
