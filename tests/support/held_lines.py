"""Connections that somebody holds open and says nothing on.

with lines_held_open(service.page_port): ..."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

HELD = 1200
_HOLD = """
import resource, socket, sys
resource.setrlimit(resource.RLIMIT_NOFILE, (4096, resource.getrlimit(resource.RLIMIT_NOFILE)[1]))
held = []
for _ in range(int(sys.argv[2])):
    line = socket.socket()
    line.settimeout(20)
    try:
        line.connect(("127.0.0.1", int(sys.argv[1])))
        held.append(line)
    except OSError:
        pass
print(len(held), flush=True)
sys.stdin.read()
"""


@contextmanager
def lines_held_open(port: int, count: int = HELD) -> Iterator[None]:
    """By another process, which says nothing on any of them."""
    words = [sys.executable, "-c", _HOLD, str(port), str(count)]
    holder = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert holder.stdin is not None
    assert holder.stdout is not None
    try:
        assert int(holder.stdout.readline()) > count / 2, "most got through"
        yield
    finally:
        holder.stdin.close()
        holder.wait()
        holder.stdout.close()
