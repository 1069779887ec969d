"""The page takes another address while the watch runs, and stays where it was if it cannot."""

import socket
from pathlib import Path

import pytest
from support.ports import free_port
from support.service import Service
from support.visitor import Visitor

pytestmark = pytest.mark.live


def test_the_page_moves_with_its_settings_and_stays_where_that_fails(tmp_path: Path) -> None:
    before, after = free_port(), free_port()
    service = Service(tmp_path, page=True)
    service.page_port = before
    with service, socket.create_server(("127.0.0.1", 0)) as taken:
        service.page_port = after
        service.reload()
        service.wait_log("The page has moved")
        assert "Set-up" in Visitor(after).get("/").words
        with pytest.raises(OSError, match="refused"):
            Visitor(before).get("/")

        service.page_port = taken.getsockname()[1]
        service.reload()
        service.wait_log("The page stays where it was")
        service.wait_log("The page has moved.*\n(.*\n)*.*The page has moved")
        assert "Set-up" in Visitor(after).get("/").words
        assert service.ask("about")["journal_ok"]
