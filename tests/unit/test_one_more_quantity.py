"""An engineer who wants carbon dioxide measured adds one row, and it is read, kept, exported,
imported, shown and advised on."""

from pathlib import Path

import pytest
from support.birds import chicks_in
from support.fake_api import NIGHT
from support.one_box import settings_of

from monitor.events import AlarmName, Change, Moment
from monitor.journal.forms import export_lines
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit
from monitor.journal.store import Journal
from monitor.quantities import QUANTITIES, Bounds, Quantity
from monitor.service.core import Core
from monitor.tell.wording import for_change
from monitor.tell.wording.meter_words import other_lines

CARBON_DIOXIDE = Quantity(
    kind="carbon-dioxide",
    column="co2_ppm",
    title="carbon dioxide",
    least=0.0,
    most=50_000.0,
    step=20.0,
    senml="ppm",
    sign="ppm",
    bounds=(
        Bounds(
            from_day=0.0,
            low=0.0,
            high=3000.0,  # 0.3 %
            source="Lohmann, Management Guide, 2017, climate: CO2 below 0.3 %",
            mark="read",
            where="http://www.ltz.de/en/e-guide/management-guide-2017/HTML/12/index.html",
        ),
    ),
    above="Stale air makes chicks drowsy. Open the cover a little more, out of the wind.",
)
SITE = """
[site]
name = "Hillside"
[[brooders]]
name = "porch"
length = "5 ft"
width = "5 ft"
  [[brooders.probes]]
  name = "floor"
  topic = "floor"
  place = "floor"
  [[brooders.meters]]
  kind = "carbon-dioxide"
  topic = "air"
  value = "/co2"
"""


def test_one_row_is_all_that_a_new_kind_needs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(QUANTITIES, CARBON_DIOXIDE.kind, CARBON_DIOXIDE)
    settings = settings_of(tmp_path, SITE)
    site = settings.site
    core = Core(site, Moment(NIGHT, NIGHT), next_entry_number=lambda: 1)
    placed = chicks_in(NIGHT, count=50)
    core.enter(placed, Moment(NIGHT, NIGHT))
    changes: list[Change] = []
    batch = Commit()
    for minute in range(7 * 60):
        now = Moment(NIGHT + 60.0 * minute, NIGHT + 60.0 * minute)
        core.advance(now)
        core.hear("floor", b"35.0", now)
        core.hear("air", b'{"co2": 4100}', now)
        taken = core.take(now).batch
        changes += taken.changes
        batch.extend(taken)
    (air,) = [c for c in changes if c.alarm is AlarmName.AIR]
    said = for_change(air, site)
    assert said.title == "porch: carbon dioxide too high"
    assert said.body.startswith("4100 ppm for hours now; 0 to 3000 ppm is published as right")
    assert other_lines(core.status(now).brooders[0].meters) == ["carbon dioxide 4100 ppm"]
    with Journal.open(tmp_path / "journal.db") as journal:
        journal.know(site.all_probes, meters=site.all_meters)
        journal.commit(batch)
    with JournalReader(tmp_path / "journal.db") as reader:
        kept = reader.samples("porch", "co2_ppm")[1]
        text = "".join(export_lines.chunks(reader))
    assert set(kept.tolist()) == {4100.0}
    assert text.count('"topic":"air","payload":"{\\"co2\\":4100}"') == len(kept) >= 7 * 60
