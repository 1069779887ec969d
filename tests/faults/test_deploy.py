"""The installer on an empty root: twice, up, back and off; the unit's sandbox; the log's bound."""

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
from support.patience import LEAST_S
from support.receivers import http_receiver
from support.service import Thermometer, quick_service, wait_until

from monitor.journal import schema

pytestmark = pytest.mark.faults

CHECKOUT = Path(__file__).parents[2]
PARTS = ("monitor", "config", "deploy", "pyproject.toml", "README.md", "DEVELOPERS.md")


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A copy whose start.sh makes no environment: what the installer does is asked about here, and
    what start.sh does in the long test."""
    copy = tmp_path / "checkout"
    copy.mkdir()
    for part in PARTS:
        whence = CHECKOUT / part
        if whence.is_dir():
            shutil.copytree(whence, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
        elif whence.exists():
            shutil.copy(whence, copy / part)
        else:
            (copy / part).write_text("")
    (copy / "deploy/start.sh").write_text(
        '#!/bin/sh\nhere=$(CDPATH="" cd -- "$(dirname -- "$0")/.." && pwd)\n'
        'mkdir -p "$here/.venv/bin"\necho ran >>"$here/.venv/ran"\n'
    )
    return copy


def install(checkout: Path, root: Path, *words: str, code: int = 0) -> str:
    done = subprocess.run(
        ["sh", str(checkout / "deploy/install.sh"), *words],
        env={**os.environ, "ROOT": str(root)},
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


def tree_of(root: Path) -> dict[str, str]:
    """Every path under the root, with what it says."""
    return {
        str(p.relative_to(root)): os.readlink(p)
        if p.is_symlink()
        else (p.read_text(errors="replace") if p.is_file() else "")
        for p in sorted(root.rglob("*"))
        if not p.is_symlink() or p.exists()
    }


def test_installing_twice_changes_nothing(checkout: Path, tmp_path: Path) -> None:
    root = tmp_path / "root"
    install(checkout, root)
    once = tree_of(root)
    install(checkout, root)
    assert tree_of(root) == once
    assert (root / "etc/systemd/system/brooder.service").is_file()
    assert (root / "etc/systemd/journald.conf.d/brooder.conf").is_file()
    assert (root / "opt/brooder/current/.venv/ran").read_text() == "ran\n"
    config = (root / "etc/brooder/brooder.toml").read_text()
    assert "[[brooders]]" in config
    assert "[journal]" not in config, "the records go where systemd says"
    assert (root / "var/lib/brooder").stat().st_mode & 0o777 == 0o700


def test_everybody_may_read_the_program_whatever_the_umask_and_the_checkout(
    checkout: Path, tmp_path: Path
) -> None:
    """A service whose user cannot read its program does not start."""
    root = tmp_path / "root"
    for path in checkout.rglob("*"):
        path.chmod(0o700 if path.is_dir() else 0o600)
    checkout.chmod(0o700)
    before = os.umask(0o077)
    try:
        install(checkout, root)
    finally:
        os.umask(before)
    program = [root / "opt", *(root / "opt").rglob("*"), *(root / "etc/systemd").rglob("*")]
    assert any(path.name == "ran" for path in program), "what start.sh has made too"
    for path in program:
        mode = path.lstat().st_mode
        wanted = 0o055 if stat.S_ISDIR(mode) else 0o044
        assert mode & wanted == wanted, f"{path} has {stat.filemode(mode)}"
        assert stat.S_ISLNK(mode) or not mode & 0o022, f"{path} has {stat.filemode(mode)}"
    assert (root / "var/lib/brooder").stat().st_mode & 0o777 == 0o700
    assert (root / "etc/brooder/brooder.toml").stat().st_mode & 0o777 == 0o640


def test_an_upgrade_keeps_configuration_and_records_and_can_be_taken_back(
    checkout: Path, tmp_path: Path
) -> None:
    root = tmp_path / "root"
    install(checkout, root)
    config, record = root / "etc/brooder/brooder.toml", root / "var/lib/brooder/journal.db"
    config.write_text("# mine\n")
    record.write_text("records")
    first = os.readlink(root / "opt/brooder/current")
    for number in range(3):
        (checkout / "monitor/units.py").open("a").write(f"# {number}\n")
        install(checkout, root)
    third = os.readlink(root / "opt/brooder/current")
    assert third != first
    assert len(list((root / "opt/brooder/versions").iterdir())) == 2, "this and the one before"
    second = os.readlink(root / "opt/brooder/previous")
    install(checkout, root, "rollback")
    assert os.readlink(root / "opt/brooder/current") == second
    install(checkout, root, "rollback")
    assert os.readlink(root / "opt/brooder/current") == third
    assert config.read_text() == "# mine\n"
    assert record.read_text() == "records"


@pytest.mark.parametrize("migrated", [False, True], ids=["same form", "newer form"])
def test_a_rollback_never_leaves_the_birds_without_a_watch(
    checkout: Path, tmp_path: Path, migrated: bool
) -> None:
    """A real journal with birds and readings; the newer version may have changed its form."""
    root = tmp_path / "root"
    state = root / "var/lib/brooder"
    install(checkout, root)
    older = os.readlink(root / "opt/brooder/current")
    with http_receiver() as phone:
        service = quick_service(tmp_path / "run", phone.url, state=state, commit_s=0.3)
        with service:
            service.placed()
            with Thermometer(service.broker_port) as probe:
                probe.say(34.0)
                probe.wait_acknowledged()
            assert service.stop() == 0
            (checkout / "monitor/units.py").open("a").write("# newer\n")
            install(checkout, root)
            if migrated:
                newer = sqlite3.connect(service.journal)
                newer.execute("ALTER TABLE entries ADD COLUMN author TEXT")
                newer.execute("CREATE TABLE weights (at_ms INTEGER PRIMARY KEY, grams REAL)")
                newer.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
                newer.commit()
                newer.close()
            records = service.journal.read_bytes()
            assert "journal.db.newer-" in install(checkout, root, "rollback")
            assert os.readlink(root / "opt/brooder/current") == older
            assert service.journal.read_bytes() == records, "going back touches no record"
            service.start()
            [placed] = service.ask("ledger")["entries"]
            assert placed["count"] == 50
            with Thermometer(service.broker_port) as probe:
                probe.goes_on(15.0, 40)
                probe.wait_acknowledged()
            wait_until(lambda: [g for g in phone.got if "cold" in g.title.lower()], 60, "an alarm")
            aside = list(state.glob("journal.db.newer-*Z"))
            if migrated:
                assert aside[0].read_bytes() == records, "kept for the version that can read it"
                wait_until(
                    lambda: [g for g in phone.got if f"as {aside[0].name}" in g.body],
                    60,
                    f"where the records are, in {[g.body for g in phone.got]}",
                )
                assert 34.0 not in service.temps()
            else:
                assert aside == []
                assert 34.0 in service.temps()
            assert 15.039 in service.temps()
            assert service.stop() == 0


def test_a_version_that_is_not_whole_is_not_gone_back_to(checkout: Path, tmp_path: Path) -> None:
    root = tmp_path / "root"
    install(checkout, root)
    older = root / "opt/brooder" / os.readlink(root / "opt/brooder/current")
    (checkout / "monitor/units.py").open("a").write("# newer\n")
    install(checkout, root)
    newer = os.readlink(root / "opt/brooder/current")
    (older / ".complete").unlink()
    assert "not whole" in install(checkout, root, "rollback", code=2)
    assert os.readlink(root / "opt/brooder/current") == newer


def test_an_installation_that_was_cut_off_is_done_again(checkout: Path, tmp_path: Path) -> None:
    root = tmp_path / "root"
    install(checkout, root)
    current = root / "opt/brooder" / os.readlink(root / "opt/brooder/current")
    (current / ".complete").unlink()
    install(checkout, root)
    assert (current / ".complete").exists()


def test_a_step_that_fails_leaves_the_running_version_in_place(
    checkout: Path, tmp_path: Path
) -> None:
    root = tmp_path / "root"
    install(checkout, root)
    before = os.readlink(root / "opt/brooder/current")
    (checkout / "deploy/start.sh").write_text("#!/bin/sh\nexit 1\n")
    install(checkout, root, code=1)
    assert os.readlink(root / "opt/brooder/current") == before


def test_uninstalling_keeps_configuration_and_records(checkout: Path, tmp_path: Path) -> None:
    root = tmp_path / "root"
    install(checkout, root)
    (root / "var/lib/brooder/journal.db").write_text("records")
    said = install(checkout, root, "uninstall")
    assert "kept" in said
    left = {p for p, text in tree_of(root).items() if (root / p).is_file()}
    assert left == {"etc/brooder/brooder.toml", "var/lib/brooder/journal.db"}
    install(checkout, root, "uninstall")


def test_brooder_on_the_path_is_about_the_installed_service_wherever_one_stands(
    checkout: Path, tmp_path: Path
) -> None:
    root = tmp_path / "root"
    install(checkout, root)
    program = root / "opt/brooder/current/.venv/bin/brooder"
    program.write_text('#!/bin/sh\necho "$BROODER_CONFIG" "$@"\n')
    program.chmod(0o755)
    done = subprocess.run(
        [str(root / "usr/local/bin/brooder"), "probes", "under west lamp"],
        env={"PATH": os.environ["PATH"]},
        cwd=checkout,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == f"{root}/etc/brooder/brooder.toml probes under west lamp\n"


def test_wrong_words_and_a_rollback_to_nothing_are_said_plainly(
    checkout: Path, tmp_path: Path
) -> None:
    root = tmp_path / "root"
    assert "is not known" in install(checkout, root, "instal", code=2)
    assert "no version before" in install(checkout, root, "rollback", code=2)
    assert not root.exists()


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd-analyze here")
def test_the_units_exposure_is_at_most_two() -> None:
    unit = CHECKOUT / "deploy/systemd/brooder.service"
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--threshold=20", str(unit)],
        capture_output=True,
        text=True,
        timeout=LEAST_S,
        check=False,
    )
    last = done.stdout.strip().splitlines()[-1] if done.stdout.strip() else done.stderr
    print(last)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr


def test_the_unit_has_a_user_no_capability_and_one_folder() -> None:
    lines = (CHECKOUT / "deploy/systemd/brooder.service").read_text().splitlines()
    said = dict(line.split("=", 1) for line in lines if "=" in line and not line.startswith("#"))
    assert said["User"] == "brooder"
    assert said["CapabilityBoundingSet"] == ""
    assert said["ProtectSystem"] == "strict"
    assert said["StateDirectory"] == "brooder"
    assert said["Restart"] == "always"
    assert int(said["LimitNOFILE"]) >= 1024
    assert said["OOMPolicy"] == "continue", "a child that takes too much memory goes alone"
    assert "ReadWritePaths" not in said
    minutes = said["TimeoutStartSec"].removesuffix("min")
    assert int(minutes) >= 10, "a slow start is not ended and begun anew for ever"


def test_it_starts_from_a_folder_of_any_name(tmp_path: Path) -> None:
    """With the real start.sh, and this environment's libraries in place of the lock's."""
    copy = tmp_path / "it's my $HOME"
    for part in ("monitor", "config", "deploy"):
        shutil.copytree(CHECKOUT / part, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(CHECKOUT / "pyproject.toml", copy)
    (copy / "deploy/requirements.lock").write_text("# nothing\n")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "monitor.py").write_text("raise SystemExit('not this one')\n")
    link = tmp_path / "brooder"
    link.symlink_to(copy / ".venv/bin/brooder")
    for start in (["sh", str(copy / "deploy/start.sh")], [str(link)]):
        done = subprocess.run(
            [*start, "flock", "--help"],
            env={
                **os.environ,
                "PYTHON": sys.executable,
                "PYTHONPATH": sysconfig.get_path("purelib"),
            },
            cwd=elsewhere,
            capture_output=True,
            text=True,
            timeout=LEAST_S,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        assert "The ledger" in done.stdout


@pytest.mark.long
@pytest.mark.timeout(900)
def test_the_real_installation_runs(tmp_path: Path) -> None:
    """With the real start.sh: an environment from the lock, over the network."""
    root = tmp_path / "root"
    install(CHECKOUT, root)
    done = subprocess.run(
        [str(root / "opt/brooder/current/.venv/bin/brooder"), "--help"],
        capture_output=True,
        text=True,
        timeout=LEAST_S,
        check=True,
    )
    assert "watch" in done.stdout


def test_the_sandbox_lets_the_pictures_children_be_less_important_than_the_watch() -> None:
    """`os.nice` is setpriority(2), one of @resources: without it no picture would come."""
    used = any("os.nice(" in p.read_text() for p in (CHECKOUT / "monitor").rglob("*.py"))
    lines = (CHECKOUT / "deploy/systemd/brooder.service").read_text().splitlines()
    forbids = next(n for n, line in enumerate(lines) if "~@privileged @resources" in line)
    allows = next(
        (n for n, line in enumerate(lines) if line.startswith("SystemCallFilter=setpriority")), -1
    )
    assert used == (allows > forbids), "allowed after the ban, and only while it is needed"
