"""Whatever is handed to the import, it is brought in, or the line that is wrong is named."""

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from support.service import Service

from monitor.journal.forms.lines import LineFault, parse

pytestmark = pytest.mark.faults

GOOD = [
    '{"at":"2026-02-10T02:15:30Z","topic":"brooder/porch/floor","payload":"33.4"}',
    '{"at":"2026-02-08T18:00:00Z","entry":"placed","brooder":"porch","count":100,'
    '"hatched":"2026-02-08","kind":"broiler"}',
    '{"at":"2026-02-11T06:30:00Z","entry":"loss","brooder":"porch","count":2,"note":"x"}',
    '{"at":"2026-02-11T07:05:00Z","entry":"acknowledge","alarm":"cold","brooder":"porch"}',
]
anything: st.SearchStrategy[object] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)


def one(line: str) -> None:
    said = None
    try:
        parse(line)
    except LineFault as fault:
        said = str(fault)
    assert said is None or 0 < len(said.strip()) < 1000


@settings(max_examples=400, deadline=None)
@given(st.text(max_size=200))
@example("[" * 100_000)
@example('{"at":1e999,"topic":"a","payload":"1"}')
@example('{"at":' + "9" * 5000 + ',"topic":"a","payload":"1"}')
@example('{"at":"2026-02-10T02:15:30Z","topic":"a","payload":"\\ud800"}')
@example('{"at":"0000-00-00T00:00:00Z","topic":"a","payload":"1"}')
def test_any_line_is_read_or_named(line: str) -> None:
    one(line)


@settings(max_examples=400, deadline=None)
@given(
    st.sampled_from(GOOD),
    st.dictionaries(
        st.sampled_from(
            [
                "at",
                "topic",
                "payload",
                "entry",
                "brooder",
                "count",
                "hatched",
                "kind",
                "alarm",
                "note",
                "number",
                "undoes",
                "minutes",
                "by",
                "probe",
                "payload64",
                "more",
            ]
        ),
        anything,
        max_size=4,
    ),
)
def test_a_line_with_wrong_fields_is_read_or_named(line: str, wrong: dict[str, object]) -> None:
    fields = json.loads(line)
    fields.update(wrong)
    one(json.dumps(fields))


@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.lists(st.sampled_from(GOOD) | st.text(max_size=60) | st.just('{"at":5}'), max_size=5))
@example(GOOD)
def test_the_import_command_brings_all_in_or_names_a_line(tmp_path: Path, lines: list[str]) -> None:
    service = Service(tmp_path)
    service.write_config()
    file = tmp_path / "lines.jsonl"
    file.write_text("\n".join(lines), encoding="utf-8", errors="replace")
    done = service.command("import", str(file))
    assert done.returncode in (0, 2), done.stderr
    assert "Traceback" not in done.stderr
    if done.returncode == 2:
        assert len(done.stderr.strip().splitlines()) <= 3
