"""Accounts for the built-in broker, made by Mosquitto's own program.

rights = rights_of(tmp_path, {"porch": "chicks"}, "user porch\\ntopic write brooder/porch/#\\n")"""

import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

from support.patience import LEAST_S

from monitor.intake.rights import Rights
from monitor.site import Probe


def rights_of(
    folder: Path,
    accounts: Mapping[str, str],
    rules: str | None = None,
    probes: Sequence[Probe] = (),
) -> Rights:
    """Without `rules` an account may do what its name says."""
    passwords = folder / "passwords"
    passwords.touch(mode=0o600)
    for user, password in accounts.items():
        words = ["mosquitto_passwd", "-b", str(passwords), user, password]
        subprocess.run(words, check=True, capture_output=True, timeout=LEAST_S)
    if rules is None:
        return Rights.from_files(passwords, probes=probes)
    (folder / "rights").write_text(rules)
    return Rights.from_files(passwords, folder / "rights")
