"""A fault in the thermal estimate of the real service: the alarms go on, and nobody has to guess
that dead lamps are not recognised any more."""

from pathlib import Path

import pytest
from support.service import QUICK_LIMITS, Service, Thermometer, wait_until
from support.visitor import Visitor

from monitor.events import AlarmName

pytestmark = pytest.mark.faults

# Put in before the program starts: one temperature that the estimate cannot bear.
BREAKS_AT_30 = """
from monitor.thermal.thermal_watch import ThermalWatch
whole = ThermalWatch.observe
def observe(self, tick, probe_key, temp_c):
    if temp_c == 30.0:
        return 1 / 0
    return whole(self, tick, probe_key, temp_c)
ThermalWatch.observe = observe
"""


def test_a_failed_estimate_is_said_everywhere_and_the_cold_is_still_told(tmp_path: Path) -> None:
    with (
        Service(
            tmp_path, page=True, limits=QUICK_LIMITS, commit_s=0.5, prelude=BREAKS_AT_30
        ) as service,
        Thermometer(service.broker_port) as probe,
    ):
        service.placed()
        probe.say("35.0")
        assert "dead lamps" not in service.command("check").stdout
        assert "not recognised" not in Visitor(service.page_port).get("/").words

        probe.say("30.0")
        service.wait_log("thermal estimate failed.*brooder=porch")
        said = wait_until(
            lambda: [line for line in service.log().splitlines() if "estimate failed" in line]
        )
        assert "in observe" in said[0]
        assert "ZeroDivisionError" in said[0], "with the place in the program"
        checked = service.command("check")
        assert checked.returncode == 1
        assert "NOT WELL  porch: dead lamps are not recognised there" in checked.stdout
        shown = Visitor(service.page_port).get("/").words
        assert "Dead lamps are not recognised here" in shown
        assert "The alarms for too cold and too hot go on. Restart the service" in shown

        probe.goes_on(21.0, 15)
        wait_until(lambda: service.changes(AlarmName.CHILL), 30, "the alarm")
        assert service.log().count("estimate failed") == 1, "said once"

        assert service.stop() == 0
        service.prelude = ""  # the fault is mended
        service.start()
        assert "dead lamps" not in service.command("check").stdout
