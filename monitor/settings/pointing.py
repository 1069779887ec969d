"""Which box, probe or contact a fault is about, by the name that stands in the file: `probes[2]`
must be counted out, and from nought. Called by `load`."""

import re
from typing import Any

from monitor.settings.faults import WrongSetting, shown_value

_STEP = re.compile(r"(\w+)(?:\[(\d+)\])?")
_CALLED = {
    "brooders": "brooder",
    "probes": "probe",
    "heat": "heat source",
    "contacts": "contact",
}


def pointed(fault: WrongSetting, raw: dict[str, Any]) -> WrongSetting:
    """The fault with the names on its key's way at the end, where there are any. `raw` is the file
    as read, in whatever shape."""
    names: list[str] = []
    here: object = raw
    for word, index in _STEP.findall(fault.key):
        here = here.get(word) if isinstance(here, dict) else None
        if index and isinstance(here, list):
            here = here[int(index)] if int(index) < len(here) else None
            name = here.get("name") if isinstance(here, dict) else None
            if word in _CALLED and isinstance(name, str) and name:
                names.append(f"{_CALLED[word]} {shown_value(name)}")
    if not names:
        return fault
    return WrongSetting(fault.key, f"{fault.says} That is {' of '.join(reversed(names))}.")
