"""What a broker sent is read in one piece and given packet by packet; none of it lies unseen."""

import socket
from collections.abc import Iterator

import pytest

from monitor.intake.read_ahead import ReadAhead


class Counting:
    """A socket that counts how often the system is asked."""

    def __init__(self, line: socket.socket) -> None:
        self.asked = 0
        self._line = line
        self.fileno, self.send, self.close = line.fileno, line.send, line.close

    def recv(self, most: int) -> bytes:
        self.asked += 1
        return self._line.recv(most)


@pytest.fixture
def ends() -> Iterator[tuple[socket.socket, Counting]]:
    far, near = socket.socketpair()
    near.setblocking(False)
    with far, near:
        yield far, Counting(near)


def test_the_system_is_asked_once_for_all_that_has_come(ends) -> None:
    far, near = ends
    far.sendall(b"abcdef")
    line = ReadAhead(near)
    assert [line.recv(1), line.recv(2), line.recv(9)] == [b"a", b"bc", b"def"]
    assert near.asked == 1


def test_what_is_read_and_not_given_yet_is_pending_though_the_socket_is_empty(ends) -> None:
    far, near = ends
    far.sendall(b"abc")
    line = ReadAhead(near)
    assert line.pending() == 0
    line.recv(1)
    assert line.pending() == 2
    line.recv(2)
    assert line.pending() == 0


def test_an_empty_line_and_one_that_ended_are_told_apart_as_by_a_socket(ends) -> None:
    far, near = ends
    line = ReadAhead(near)
    with pytest.raises(BlockingIOError):
        line.recv(1)
    far.close()
    assert line.recv(1) == b""
