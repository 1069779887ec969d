"""A reading that a probe stamped counts once, in whatever message it comes; a reading without a
stamp always counts."""

import json
from functools import partial
from pathlib import Path

import pytest
from support import journals
from support.journals import T0

from monitor.events import Moment, Reading
from monitor.intake.repeated import KEPT, StampedMemory
from monitor.journal.reader import JournalReader
from monitor.journal.store import Journal
from monitor.service.core import Core
from monitor.service.rebuild import rebuild

TOPIC = "brooder/porch/floor"


def core_at(start: Moment) -> Core:
    return Core(journals.site(), start, next_entry_number=iter(range(1, 99)).__next__)


def hear(core: Core, at: float, *stamped: tuple[float, float]) -> None:
    """A SenML pack of (Unix seconds, degC), which came at `at`."""
    pack = [{"n": "28-000005e2fdc3", "u": "Cel", "t": t, "v": v} for t, v in stamped]
    assert core.hear(TOPIC, json.dumps(pack).encode(), Moment(at, at))


def temps(core: Core) -> list[float]:
    return [item.temp_c for item in core.waiting.inputs if isinstance(item, Reading)]


@pytest.fixture
def core() -> Core:
    return core_at(Moment(T0, T0))


def test_a_stamped_reading_that_comes_in_a_second_message_counts_once(core):
    hear(core, T0 + 10, (T0 + 9, 33.5))
    hear(core, T0 + 22, (T0 + 9, 33.5), (T0 + 19, 33.25))
    assert temps(core) == [33.5, 33.25]


def test_the_same_time_with_another_value_and_the_same_value_later_are_other_readings(core):
    hear(core, T0 + 10, (T0 + 9, 33.5))
    hear(core, T0 + 20, (T0 + 9, 33.0))
    hear(core, T0 + 21, (T0 + 19, 33.5))
    assert temps(core) == [33.5, 33.0, 33.5]


def test_what_is_old_and_was_not_heard_before_counts(core):
    hear(core, T0 + 200, (T0 + 199, 33.5))
    hear(core, T0 + 210, (T0 + 100, 33.5), (T0 + 110, 33.5))
    hear(core, T0 + 220, (T0 + 105, 33.5), (T0 + 110, 33.5), (T0 + 199, 33.5))
    assert len(temps(core)) == 4


def test_without_a_stamp_the_same_value_counts_each_time(core):
    for _ in range(3):
        core.hear(TOPIC, b"33.4", Moment(T0 + 10, T0 + 10))
    for _ in range(3):
        hear(core, T0 + 10, (0, 33.4))  # RFC 8428: seconds before now
    assert temps(core) == [33.4] * 6


def test_it_is_known_after_a_restart_too(tmp_path: Path):
    path = tmp_path / "journal.db"
    with Journal.open(path) as journal:
        journal.know(journals.site().all_probes)
        before = core_at(Moment(T0, T0))
        hear(before, T0 + 10, (T0 + 9.1234, 33.0625))
        journal.commit(before.take(Moment(T0 + 11, T0 + 11)).batch)
    with JournalReader(path) as reader:
        now = Moment(T0 + 30, T0 + 30)
        after = rebuild(partial(core_at), reader, now).core
    hear(after, T0 + 31, (T0 + 9.1234, 33.0625), (T0 + 29, 33.0625))
    assert [item.at for item in after.waiting.inputs] == [T0 + 29]


def test_what_is_remembered_of_a_probe_is_bounded():
    memory = StampedMemory()
    for n in range(10 * KEPT):
        assert not memory.is_repeated("porch/floor", T0 + n, 33.0)
    assert memory.is_repeated("porch/floor", T0 + 10 * KEPT - 1, 33.0)
    assert memory.is_repeated("porch/floor", T0 + 9 * KEPT, 33.0)
    assert not memory.is_repeated("porch/floor", T0, 33.0), "forgotten"
