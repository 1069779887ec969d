"""`brooder check` beside a running service tells the truth about tonight, and Now says the same."""

from pathlib import Path

import pytest
from support.receivers import http_receiver
from support.service import Service, Thermometer, wait_until
from support.visitor import Visitor

pytestmark = pytest.mark.live


def checked(service: Service) -> tuple[int, str]:
    done = service.command("check")
    assert "Traceback" not in done.stderr, done.stderr
    return done.returncode, " ".join(done.stdout.split())


def test_what_is_missing_is_named_until_nothing_is(tmp_path: Path) -> None:
    with (
        http_receiver() as phone,
        Service(tmp_path, page=True, commit_s=0.5) as service,
        Thermometer(service.broker_port) as probe,
    ):
        visitor = Visitor(service.page_port)
        code, said = checked(service)
        assert code == 1
        lacks = (
            "porch: no floor probe has been heard yet",
            "birds: no chicks are entered",
            "contacts: there are none",
        )
        for words in lacks:
            assert f"NOT WELL {words}" in said
        page = visitor.get("/").words.lower()
        assert "3 things are missing for tonight" in page
        assert all(words.partition(": ")[2] in page for words in lacks)

        service.contacts = {"phone": phone.url}
        service.write_config()
        assert "NOT WELL configuration: the running service has not taken" in checked(service)[1]
        service.reload()
        probe.say("34.5")
        service.placed()
        wait_until(lambda: checked(service)[0] == 0, 60, "everything to be well")
        assert "All well for tonight." in checked(service)[1]
        assert "missing for tonight." not in visitor.get("/").words
