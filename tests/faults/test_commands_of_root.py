"""`sudo brooder ...` while the service is down: what root leaves in the state folder is the
service's, or it could not write its own journal at the next start."""

import os
import re
import shutil
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from support.service import MAIN, Service, Thermometer
from support.visitor import Visitor

pytestmark = [
    pytest.mark.faults,
    pytest.mark.skipif(
        os.geteuid() != 0 or shutil.which("setpriv") is None,
        reason="needs root, and setpriv to be somebody else",
    ),
]

NOBODY = 65534
# Somebody else, who may read the checkout and the environment wherever they lie, and write only
# what is theirs.
AS_NOBODY = (
    "setpriv",
    f"--reuid={NOBODY}",
    f"--regid={NOBODY}",
    "--clear-groups",
    "--inh-caps=+dac_read_search",
    "--ambient-caps=+dac_read_search",
)
LINE = '{"at":"2026-02-10T02:15:30Z","topic":"brooder/porch/floor","payload":"33.4"}\n'


@pytest.fixture
def service() -> Iterator[Service]:
    """A service that runs as another user, in a folder which that user can come to."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "run"
        folder.parent.chmod(0o755)
        service = Service(
            folder,
            wrapper=AS_NOBODY,
            env={"HOME": "/nonexistent", "PYTHONDONTWRITEBYTECODE": "1"},
            commit_s=0.3,
        )
        service.state.mkdir(mode=0o700)
        os.chown(folder, NOBODY, NOBODY)
        os.chown(service.state, NOBODY, NOBODY)
        service.write_config()
        yield service
        service.kill()


def as_root(service: Service, *words: str) -> str:
    done = service.command(*words)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def placed() -> tuple[str, ...]:
    hatched = (datetime.now(UTC) - timedelta(days=1)).date().isoformat()
    return ("flock", "placed", "50", "--hatched", hatched, "--kind", "broiler")


def takes_a_reading(service: Service, temp_c: float) -> None:
    """The service starts, keeps a reading in the database itself, and ends well."""
    service.start()
    with Thermometer(service.broker_port, client_id=f"probe {temp_c}") as probe:
        probe.say(temp_c)
        probe.wait_acknowledged()
    service.enter("note", note="written")
    assert service.stop() == 0
    assert temp_c in service.temps()
    assert "Trouble with the journal" not in service.log()
    all_is_the_services(service)


def all_is_the_services(service: Service) -> None:
    strangers = [
        path.name
        for path in service.state.rglob("*")
        if (path.lstat().st_uid, path.lstat().st_gid) != (NOBODY, NOBODY)
    ]
    assert strangers == []


def test_birds_placed_before_the_first_start(service: Service) -> None:
    as_root(service, *placed())
    takes_a_reading(service, 33.1)


def test_birds_placed_before_the_first_start_into_a_folder_that_is_not_there(
    service: Service,
) -> None:
    service.state /= "a"
    service.write_config()
    as_root(service, *placed())
    assert service.state.stat().st_uid == NOBODY
    takes_a_reading(service, 33.1)


def test_a_look_at_an_empty_state_folder(service: Service) -> None:
    service.command("check")
    as_root(service, "flock", "list")
    takes_a_reading(service, 33.1)


def test_a_record_brought_in(service: Service) -> None:
    lines = service.folder / "lines.jsonl"
    lines.write_text(LINE)
    as_root(service, "import", str(lines))
    all_is_the_services(service)
    for part in service.state.iterdir():
        part.unlink()
    takes_a_reading(service, 33.1)
    as_root(service, "import", str(lines))
    takes_a_reading(service, 33.2)
    assert 33.4 in service.temps()


def test_a_backup_put_back_in_place_of_a_journal_and_of_none(service: Service) -> None:
    takes_a_reading(service, 33.1)
    copy = service.folder / "copy.db"
    as_root(service, "backup", str(copy))
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600, "messages and names are nobody else's"
    as_root(service, "restore", str(copy))
    assert stat.S_IMODE(service.journal.stat().st_mode) == 0o600
    takes_a_reading(service, 33.2)
    for part in service.state.glob("journal.db*"):
        part.unlink()
    copy.chmod(0o400)
    os.chown(copy, 0, 0)
    as_root(service, "restore", str(copy))
    takes_a_reading(service, 33.3)
    assert {33.1, 33.3} <= set(service.temps())


def test_a_backup_into_the_state_folder(service: Service) -> None:
    takes_a_reading(service, 33.1)
    as_root(service, "backup", str(service.state))
    takes_a_reading(service, 33.2)


def test_what_was_saved_of_a_damaged_journal(service: Service) -> None:
    takes_a_reading(service, 33.1)
    damaged = service.journal.rename(service.state / "journal.db.damaged")
    as_root(service, "salvage", str(damaged), str(service.journal))
    takes_a_reading(service, 33.2)
    assert 33.1 in service.temps()


def test_a_journal_that_root_finds_damaged(service: Service) -> None:
    takes_a_reading(service, 33.1)
    service.journal.write_bytes(b"\xa5" * service.journal.stat().st_size)
    as_root(service, *placed())
    takes_a_reading(service, 33.2)


def test_root_gives_away_nothing_that_a_link_points_to(service: Service) -> None:
    elsewhere = service.folder / "elsewhere"
    elsewhere.write_text("")
    os.chown(elsewhere, 0, 0)
    (service.state / "journal.db.lock").symlink_to(elsewhere)
    service.command(*placed())
    assert elsewhere.stat().st_uid == 0


def test_a_configuration_that_root_owns_is_set_up_by_root_alone(service: Service) -> None:
    os.chown(service.folder, 0, 0)
    os.chown(service.config, 0, 0)
    service.page_port = 0
    service.config.write_text(service.config.read_text().replace("enabled = false", "port = 0"))
    before = service.config.read_text()
    service.write_config = lambda: None  # type: ignore[method-assign]
    service.start()
    visitor = Visitor(service.page_port)
    form = visitor.get("/set-up/step/site").body
    seen = re.search(r'name="seen" value="([^"]+)"', form)
    assert seen is not None
    answers = {"name": "Ridge", "units": "celsius", "timezone": "America/Denver", "seen": seen[1]}
    refused = visitor.send("/set-up/step/site", about="", **answers)
    assert refused.status == 409
    assert "may not be changed by this user" in refused.words
    assert "sudo brooder set-up site" in refused.words
    assert service.config.read_text() == before

    done = subprocess.run(
        [sys.executable, "-c", MAIN, "set-up", "site", "--config", str(service.config)],
        input="Ridge\ncelsius\nAmerica/Denver\n\ny\n",
        capture_output=True,
        text=True,
        check=False,
        cwd=service.folder,
    )
    assert "The running service has taken it." in done.stdout, done.stdout + done.stderr
    assert service.config.stat().st_uid == 0
    assert "Ridge" in visitor.get("/set-up").words
