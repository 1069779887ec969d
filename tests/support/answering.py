"""A real HTTP server that answers as a test tells it."""

import gzip
import threading
from collections.abc import Callable, Mapping
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import NamedTuple


class Asked(NamedTuple):
    path: str
    body: bytes  # unpacked
    headers: Mapping[str, str]


class Answer(NamedTuple):
    status: int
    body: bytes = b""
    headers: Mapping[str, str] = {}
    says_length: bool = True


class Answering:
    """Of GET and POST; `url` is where."""

    def __init__(self, answer: Callable[[Asked], Answer]) -> None:
        class Handler(BaseHTTPRequestHandler):
            disable_nagle_algorithm = True

            def do_GET(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                if self.headers.get("Content-Encoding") == "gzip":
                    body = gzip.decompress(body)
                said = answer(Asked(self.path, body, self.headers))
                self.send_response(said.status)
                for name, value in said.headers.items():
                    self.send_header(name, value)
                if said.says_length:
                    self.send_header("Content-Length", str(len(said.body)))
                self.end_headers()
                self.wfile.write(said.body)

            do_POST = do_GET  # noqa: N815 - as the library calls it

            def log_message(self, *_: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_port}"
        threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True).start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
