"""Loads a configuration in a child process: however long it takes to read and check, the watch goes
on meanwhile. Called for a reload; `python -m monitor.settings.load_apart` is that child."""

import os
import pickle
import sys
from collections.abc import Mapping
from pathlib import Path

from monitor import child
from monitor.settings.faults import SettingsFault, WrongSetting
from monitor.settings.load import Settings, load_settings

LIMIT_S = 120.0  # a small board under load takes ten
_NICENESS = 10
_Said = tuple[Settings | None, str, list[WrongSetting]]


def load_apart(
    given: Path | None, environ: Mapping[str, str] | None = None, *, limit_s: float = LIMIT_S
) -> Settings:
    """As `load_settings`, with the contacts' URLs checked. Raises SettingsFault, ChildFailed."""
    environ = dict(os.environ if environ is None else environ)
    said = child.run(
        "monitor.settings.load_apart", given=pickle.dumps((given, environ)), limit_s=limit_s
    )
    settings, source, faults = pickle.loads(said)  # noqa: S301 - our own child
    if settings is None:
        raise SettingsFault(source, faults)
    loaded: Settings = settings
    return loaded


def _main() -> None:
    os.nice(_NICENESS)
    given, environ = pickle.load(sys.stdin.buffer)  # noqa: S301 - our own parent
    try:
        said: _Said = (load_settings(given, environ, check_contacts=True), "", [])
    except SettingsFault as fault:
        said = (None, fault.source, list(fault.faults))
    sys.stdout.buffer.write(pickle.dumps(said))


if __name__ == "__main__":
    _main()
