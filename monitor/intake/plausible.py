"""What a thermometer can truly have measured, and which of its values are faults in disguise.

Called by intake.payload before the probe's offset is added, and by intake.wires for the board's own
1-Wire bus. Reasons are single clauses for the grower."""

from monitor.units import Unit, shown

# A DS18B20 measures -55..+125 degC (datasheet, rev 042208); a thermocouple under a lamp may read
# more. Wider than the sensor on both sides: what is outside is a fault and not weather or fire.
LOWEST_C = -60.0
HIGHEST_C = 150.0

POWER_UP_C = 85.0  # scratchpad value after power-up (datasheet; kernel docs, w1_therm.rst)
USUAL_BELOW_C = POWER_UP_C - 0.001  # from LOWEST_C up to here a value may be any temperature
NO_SENSOR_C = -127.0  # DEVICE_DISCONNECTED_C of the common Arduino library, raw -7040
WEAK_SUPPLY_C = 127.94  # too little power for the conversion (kernel docs, w1_therm.rst)


def fault_of(temp_c: float) -> str | None:
    """Why this cannot be a temperature of a brooder, or None if it can."""
    if LOWEST_C <= temp_c < USUAL_BELOW_C:
        return None
    if LOWEST_C <= temp_c <= HIGHEST_C:
        return _fault_in_range(temp_c)
    return _fault_out_of_range(temp_c)


def _fault_in_range(temp_c: float) -> str | None:
    # 85.0 to within a float's rounding of 185 degF or 358.15 K. A fire passes 85 too, but not
    # by resting on it: its neighbours 84.94 and 85.06 are taken, and 50 degC has long alarmed.
    if abs(temp_c - POWER_UP_C) < 0.001:
        return (
            f"the sensor sends {_both(POWER_UP_C)}, its power-up value: it lost power or was read "
            "too soon"
        )
    if abs(temp_c - WEAK_SUPPLY_C) < 0.01:
        return f"the sensor sends {_both(WEAK_SUPPLY_C)}: its supply is too weak to measure"
    return None


def _fault_out_of_range(temp_c: float) -> str:
    if abs(temp_c - NO_SENSOR_C) < 0.001:
        return f"the probe sends {_both(NO_SENSOR_C)}: no sensor answers on its wire"
    if abs(temp_c) > 1e6:  # up to 300 digits
        return "the value is far beyond any temperature"
    if temp_c < LOWEST_C:
        return f"{_both(temp_c)} is colder than any sensor can measure"
    return f"{_both(temp_c)} is hotter than any brooder can be"


def _both(temp_c: float) -> str:
    """In both units: it is kept as words, and is read at sites of either."""
    return f"{shown(temp_c, Unit.CELSIUS)} ({shown(temp_c, Unit.FAHRENHEIT)})"
