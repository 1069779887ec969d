"""`brooder check` says which account may publish what at the built-in broker."""

import subprocess
from pathlib import Path

import pytest
from support.service import Service

pytestmark = pytest.mark.live


def said_of(folder: Path, accounts: list[str], rights: str | None = None) -> str:
    passwords = folder / "accounts"
    passwords.touch(mode=0o600)
    for name in accounts:
        subprocess.run(["mosquitto_passwd", "-b", str(passwords), name, "chicks"], check=True)
    service = Service(folder)
    service.write_config()
    lines = f'[built_in_broker]\naccounts_file = "{passwords}"\n'
    if rights is not None:
        (folder / "rights").write_text(rights)
        lines += f'rights_file = "{folder / "rights"}"\n'
    service.config.write_text(service.config.read_text().replace("[built_in_broker]\n", lines))
    return " ".join(service.command("check").stdout.split())


def test_an_account_named_after_its_probe_is_well(tmp_path: Path) -> None:
    said = said_of(tmp_path, ["porch-floor"])
    assert "no account may publish" not in said
    assert "account porch-floor" not in said


def test_a_probe_that_nobody_may_speak_for_is_named_with_the_mend(tmp_path: Path) -> None:
    said = said_of(tmp_path, ["esp1"])
    assert (
        "NOT WELL built-in broker: no account may publish brooder/porch/floor, which porch/floor "
        'reads: `brooder probes add "floor"` makes one; or name yours porch-floor or porch, or '
        "write a rights_file"
    ) in said
    assert "account esp1: is named after no box and no probe" in said


def test_with_a_rights_file_its_lines_count_and_not_the_names(tmp_path: Path) -> None:
    good = "user esp1\ntopic write brooder/porch/+\n"
    assert "no account may publish" not in said_of(tmp_path, ["esp1"], good)


def test_what_is_no_file_of_accounts_or_rights_is_named(tmp_path: Path) -> None:
    said = said_of(tmp_path, ["porch-floor"], "usr porch\n")
    assert "rights, line 1: 'usr porch' is not user, topic or pattern" in said
