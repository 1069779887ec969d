"""Thermometers on this board's 1-Wire bus, from the kernel's w1 files. For `brooder read-wires`.

The value is taken from the scratchpad's own bytes and only when their checksum is right: the
kernel's second line repeats old bytes when it is not, and its `temperature` file says nothing."""

import re
from dataclasses import dataclass
from pathlib import Path

SYS_FOLDER = Path("/sys/bus/w1/devices")
# Families of thermometers with their name (kernel documentation, w1_therm.rst).
FAMILIES = {
    "10": "DS18S20",
    "22": "DS1822",
    "28": "DS18B20",
    "3b": "DS1825",
    "42": "DS28EA00",
}
_FOLDER = re.compile(r"([0-9a-f]{2})-[0-9a-f]{12}")
_SCRATCHPAD = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=([0-9a-f]{2}) (YES|NO)")


@dataclass(frozen=True, slots=True, kw_only=True)
class WireSample:
    """One look at one sensor: a temperature or what is wrong."""

    sensor: str  # the kernel's name, 28-000005e2fdc3
    at: float  # Unix seconds
    temp_c: float | None
    fault: str | None = None


def sensors(sys_folder: Path = SYS_FOLDER) -> list[str]:
    """Names of the thermometers the kernel sees now, sorted."""
    try:
        names = [path.name for path in sys_folder.iterdir()]
    except OSError:
        return []
    return sorted(
        name for name in names if (found := _FOLDER.fullmatch(name)) and found[1] in FAMILIES
    )


def sample(sensor: str, at: float, sys_folder: Path = SYS_FOLDER, tries: int = 3) -> WireSample:
    """Read one sensor, again after a disturbed transfer. Never raises."""
    fault = "not read"
    for _ in range(tries):
        try:
            text = (sys_folder / sensor / "w1_slave").read_text(errors="replace")
        except FileNotFoundError:
            fault = "the sensor has left the bus (unplugged, or its wire is broken)"
            break
        except OSError as error:  # the kernel says EIO and the like while a plug is loose
            fault = f"the sensor cannot be read ({error.strerror or error})"
            continue
        try:
            return WireSample(sensor=sensor, at=at, temp_c=decode(text, sensor[:2]))
        except WireFault as trouble:
            fault = str(trouble)
    return WireSample(sensor=sensor, at=at, temp_c=None, fault=fault)


class WireFault(Exception):
    """Why a scratchpad holds no temperature; one clause for the grower."""


def decode(w1_slave: str, family: str = "28") -> float:
    """degC from the text of a w1_slave file. Raises WireFault."""
    found = _SCRATCHPAD.match(w1_slave)
    if found is None:
        raise WireFault("the sensor's file is not as expected")
    scratchpad = bytes.fromhex(found[1])
    if found[3] != "YES" or crc8(scratchpad) != 0:
        if scratchpad == b"\xff" * 9:
            raise WireFault("nothing answers on the bus")
        raise WireFault("the checksum is wrong: a long or disturbed wire")
    if not any(scratchpad):
        # Nine zeros have a right checksum. No sensor sends them: its configuration is never zero.
        raise WireFault("the bus is shorted (all zeros)")
    raw = int.from_bytes(scratchpad[:2], "little", signed=True)
    if family == "10":
        return _ds18s20(raw, scratchpad)
    if raw == 0x0550 and scratchpad[6] == 0x0C:
        # A conversion that really gave 85.0 leaves 0x10 there (kernel, w1_therm.rst, features).
        raise WireFault("the sensor sends its power-up value: it lost power for a moment")
    if raw == 0x07FF and scratchpad[6] == 0x0C:
        raise WireFault("the sensor's supply is too weak to measure")
    return raw / 16.0


def _ds18s20(raw: int, scratchpad: bytes) -> float:
    """Half degrees, refined by the count that remains (DS18S20 datasheet; from memory)."""
    if raw == 0x00AA and scratchpad[6] == 0x0C:
        raise WireFault("the sensor sends its power-up value: it lost power for a moment")
    count_per_degree = scratchpad[7] or 16
    return (raw >> 1) - 0.25 + (count_per_degree - scratchpad[6]) / count_per_degree


def crc8(data: bytes) -> int:
    """The 1-Wire checksum, x^8+x^5+x^4+1; 0 over data that ends with its own checksum."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc
