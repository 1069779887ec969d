"""What the list of things missing for tonight needs to know of this machine. Whether it runs on its
battery is as Linux tells it (the kernel's ABI document sysfs-class-power)."""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from monitor.doorway import THIS_MACHINE
from monitor.settings import Settings
from monitor.tell.missing import Machine

SUPPLIES = Path("/sys/class/power_supply")


def machine_of(settings: Settings, reached: Iterable[Mapping[str, Any]] = ()) -> Machine:
    """`reached`: the contacts as the running service tells of them."""
    page = settings.file.page
    return Machine(
        page_open=page.enabled
        and (page.listen not in THIS_MACHINE or page.behind_proxy or page.public_url is not None),
        on_battery=on_battery(),
        unreached=tuple(one["name"] for one in reached if one["last_ok_at"] is None),
    )


def on_battery(supplies: Path = SUPPLIES) -> bool | None:
    """None: no battery of its own, or not known."""
    discharging = False
    known = False
    with suppress(OSError):
        for supply in supplies.iterdir():
            with suppress(OSError):  # a supply that was unplugged meanwhile
                if (supply / "type").read_text().strip() != "Battery":
                    continue
                scope = supply / "scope"
                if scope.exists() and scope.read_text().strip() == "Device":
                    continue  # a mouse's
                known = True
                discharging |= (supply / "status").read_text().strip() == "Discharging"
    return discharging if known else None
