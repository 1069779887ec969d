"""The 1-Wire reader on a made-up sysfs tree."""

from pathlib import Path

import pytest

from monitor.intake.wires import FAMILIES, WireFault, crc8, decode, sample, sensors

GOOD = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
# The second line still holds the value before the disturbance.
DISTURBED = "72 01 4b 46 7f ff 0e 11 57 : crc=8d NO\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
SENSOR = "28-000005e2fdc3"


@pytest.fixture
def bus(tmp_path: Path) -> Path:
    for name in (SENSOR, "10-000802824e58", "05-000000000001", "w1_bus_master1", "28-junk"):
        (tmp_path / name).mkdir()
    (tmp_path / SENSOR / "w1_slave").write_text(GOOD)
    return tmp_path


def test_only_thermometers_are_listed(bus):
    assert sensors(bus) == ["10-000802824e58", SENSOR]
    assert sensors(bus / "gone") == []


def test_a_good_sensor_gives_its_temperature(bus):
    taken = sample(SENSOR, 5.0, bus)
    assert (taken.temp_c, taken.fault, taken.at) == (23.125, None, 5.0)


def test_old_bytes_behind_a_wrong_checksum_are_never_used(bus):
    (bus / SENSOR / "w1_slave").write_text(DISTURBED)
    taken = sample(SENSOR, 5.0, bus)
    assert taken.temp_c is None
    assert "checksum" in (taken.fault or "")


def test_an_unplugged_sensor_is_told_as_such(bus):
    (bus / SENSOR / "w1_slave").unlink()
    assert "left the bus" in (sample(SENSOR, 5.0, bus).fault or "")


def test_a_file_that_cannot_be_read_is_told_as_such(bus):
    (bus / SENSOR / "w1_slave").unlink()
    (bus / SENSOR / "w1_slave").mkdir()
    assert "cannot be read" in (sample(SENSOR, 5.0, bus).fault or "")


@pytest.mark.parametrize("text", ["", "hello", "72 01 : crc=57 YES", GOOD.upper(), "\0" * 100])
def test_a_file_of_another_form_is_no_temperature(text):
    with pytest.raises(WireFault, match="not as expected"):
        decode(text)


@pytest.mark.parametrize(
    ("scratchpad", "temp_c"),
    [("32 00 4b 46 ff ff 02 10", 25.625), ("33 00 4b 46 ff ff 0c 10", 25.0)],
)
def test_the_older_sensors_half_degrees_are_refined(scratchpad, temp_c):
    crc = crc8(bytes.fromhex(scratchpad))
    assert decode(f"{scratchpad} {crc:02x} : crc={crc:02x} YES\n", "10") == temp_c


def test_the_older_sensors_power_up_value_is_recognised():
    scratchpad = "aa 00 4b 46 ff ff 0c 10"
    crc = crc8(bytes.fromhex(scratchpad))
    with pytest.raises(WireFault, match="power-up"):
        decode(f"{scratchpad} {crc:02x} : crc={crc:02x} YES\n", "10")


def w1_slave(scratchpad: str) -> str:
    crc = crc8(bytes.fromhex(scratchpad))
    return f"{scratchpad} {crc:02x} : crc={crc:02x} YES\n"


@pytest.mark.parametrize("family", sorted(set(FAMILIES) - {"10"}))
def test_the_power_up_value_is_no_temperature_and_a_measured_85_is_one(family):
    with pytest.raises(WireFault, match="power-up"):
        decode(w1_slave("50 05 4b 46 7f ff 0c 10"), family)
    assert decode(w1_slave("50 05 4b 46 7f ff 10 10"), family) == 85.0


def test_a_sensor_that_lost_its_power_is_told_as_such(bus):
    (bus / SENSOR / "w1_slave").write_text(w1_slave("50 05 4b 46 7f ff 0c 10"))
    taken = sample(SENSOR, 5.0, bus)
    assert taken.temp_c is None
    assert "lost power" in (taken.fault or "")


def test_a_supply_too_weak_to_measure_is_no_temperature():
    with pytest.raises(WireFault, match="too weak"):
        decode(w1_slave("ff 07 4b 46 7f ff 0c 10"))
