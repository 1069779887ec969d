"""The mirror and back, against a likeness of InfluxDB 2 and, where BROODER_INFLUX_URL, _ORG,
_BUCKET and _TOKEN name one, against a real one: every claim here is made of both."""

import os
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from support.influx import Likeness, Real
from support.journals import T0, batch, floor_probe, reading
from support.mirror import scope, send_all
from typer.testing import CliRunner

from monitor.brooding.ledger import fold
from monitor.commands import build
from monitor.commands.check import Found, _mirror
from monitor.events import (
    AlarmName,
    Cause,
    Change,
    ChangeKind,
    Entry,
    EntryKind,
    Moment,
    Priority,
)
from monitor.journal.forms import lines
from monitor.journal.mirror import flux
from monitor.journal.mirror.comparing import compare
from monitor.journal.mirror.influx_server import InfluxFault, Server
from monitor.journal.mirror.read_back import fetch, write
from monitor.journal.mirror.sending import BadPoint, Mirror
from monitor.journal.mirror.state import Scope
from monitor.journal.reader import JournalReader
from monitor.journal.records import Commit, Entered, Sample
from monitor.journal.store import Journal
from monitor.settings import load_settings
from monitor.site import Place, Probe

pytestmark = pytest.mark.live
Influx = Likeness | Real
# Taken here: the tests themselves run without any variable of ours.
NAMED = [os.environ.get(f"BROODER_INFLUX_{it}", "") for it in ("URL", "ORG", "BUCKET", "TOKEN")]
SHADE = floor_probe(
    key="site/shade", brooder=None, name="shade", topic="brooder/outside", place=Place.OUTSIDE
)
ODD = 'barn, "west"=1 \\'  # a box's name: every sign that line protocol or Flux could stumble over
ODD_FLOOR = floor_probe(key=f"{ODD}/floor", brooder=ODD, topic="brooder/odd")
LATER = 4_000_000_000.0  # in 2096: later than the server's clock


@pytest.fixture(params=["likeness", "real"])
def influx(request: pytest.FixtureRequest) -> Iterator[Influx]:
    if request.param == "likeness":
        server: Influx = Likeness()
    else:
        if not all(NAMED):
            pytest.skip("no InfluxDB is named by BROODER_INFLUX_URL, _ORG, _BUCKET and _TOKEN")
        server = Real(*NAMED)
    yield server
    server.close()


@pytest.fixture
def bucket(influx: Influx) -> str:
    return influx.bucket()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


def connected(influx: Influx, bucket: str, rights: str = "rw") -> Server:
    return Server(influx.url, influx.token(bucket, rights), influx.org, bucket)


def change(at: float, kind: ChangeKind, occurrence: str, **facts: Any) -> Change:
    return Change(
        at=at,
        brooder="porch",
        alarm=AlarmName.CHILL,
        change=kind,
        priority=Priority.URGENT,
        cause=Cause.HEAT_SOURCE,
        probe="site/shade" if kind is ChangeKind.CLEARED else "porch/floor",
        occurrence=occurrence,
        facts=facts,  # type: ignore[arg-type]
    )


def entries() -> list[Entry]:
    placed = {"entry": EntryKind.PLACED, "hatched": "2026-02-08", "kind": "broiler"}
    return [
        Entry(at=T0 - 9, brooder="porch", count=100, number=1, **placed),  # type: ignore[arg-type]
        Entry(at=T0 - 9, brooder=ODD, count=50, number=2, **placed),  # type: ignore[arg-type]
        Entry(at=T0, entry=EntryKind.LOSS, brooder="porch", count=10, number=3),  # mistyped
        Entry(at=T0, entry=EntryKind.LOSS, brooder="porch", count=2, number=4,
              note='in the "corner"\nby the wall,\r\nwet\rthrough \\'),
        Entry(at=T0 + 60, entry=EntryKind.UNDO, undoes=3, number=5),
        Entry(at=T0 + 90, entry=EntryKind.ACKNOWLEDGE, alarm="chill", brooder="porch", number=6,
              by="page"),
        Entry(at=T0 + 95, entry=EntryKind.SHELVE, alarm="cold", brooder="porch", number=7,
              minutes=30, note="cleaning"),
        Entry(at=T0 + 99, entry=EntryKind.OUT_OF_SERVICE, brooder=ODD, probe=ODD_FLOOR.key,
              number=8),
        Entry(at=LATER, entry=EntryKind.NOTE, brooder="porch", note="clock was wrong", number=9),
    ]  # fmt: skip


def filled(path: Path, *probes: Probe) -> None:
    """A day of a site with everything that can be written down, and what is odd."""
    with Journal.open(path) as journal:
        journal.know([floor_probe(), SHADE, ODD_FLOOR, *probes])
        for entry in entries():
            journal.commit(Commit(inputs=[Entered(entry, Moment(entry.at, entry.at))]))
        for n in range(0, 86_400, 600):
            rows = [
                reading(T0 + n + 60 * k, 30 + k / 16, key)
                for k in range(10)
                for key in ("porch/floor", ODD_FLOOR.key, "site/shade")
            ]
            journal.commit(batch(*rows))
        # After an outage: several of one probe in one millisecond, two of them alike.
        burst = [reading(T0 + 90_000, temp) for temp in (31.0, 32.0, 31.0, 33.0)]
        journal.commit(batch(*burst[:2]))
        journal.commit(batch(*burst[2:]))
        raised = {"temp_c": 28.5, "target_c": 35, "probes": [{"probe": "x", "temp_c": None}]}
        journal.commit(
            Commit(
                changes=[
                    change(T0 + 80, ChangeKind.RAISED, "porch/chill/1", **raised, source_sure=True),
                    change(T0 + 80, ChangeKind.RAISED, "porch/chill/2", reason='a "b"\n\\'),
                    change(T0 + 90, ChangeKind.ACKNOWLEDGED, "porch/chill/1", by="page"),
                    change(T0 + 99, ChangeKind.CLEARED, "porch/chill/1", lasted_s=19.0),
                ],
                samples=[Sample(T0, "porch", "target_c", 35.0), Sample(T0, ODD, "head_count", 50)],
            )
        )


def mirrored(influx: Influx, bucket: str, path: Path, of: Scope | None = None) -> None:
    with connected(influx, bucket) as server:
        mirror = Mirror(path, of or scope(), server, lambda _state: None)
        send_all(mirror)
        assert mirror.standing().words == "up to date"


def restored(influx: Influx, bucket: str, path: Path) -> None:
    with connected(influx, bucket, "r") as server:
        write(fetch(server, bucket, "Hillside"), path, (floor_probe(), SHADE, ODD_FLOOR))


def held(path: Path) -> dict[str, Any]:
    """All that a journal holds, without its own numbers."""
    with JournalReader(path) as reader:
        undo = {entry.number: entry.id for entry in reader.entries()}
        found = sorted(reader.entries(), key=lambda entry: entry.id or "")
        return {
            "readings": {
                key: sorted(zip(*(a.tolist() for a in both), strict=True))
                for key, both in reader.readings_of().items()
            },
            "entries": [
                (e.id, e.at, e.entry, e.brooder, e.count, e.hatched, e.kind, e.note, e.alarm,
                 e.probe, e.minutes, e.by, undo.get(e.undoes or 0))
                for e in found
            ],
            "changes": reader.changes(),
            "target": reader.samples("porch", "target_c")[1].tolist(),
            "heads": reader.samples(ODD, "head_count")[1].tolist(),
        }  # fmt: skip


def lost(path: Path) -> int:
    with JournalReader(path) as reader:
        running = fold(reader.entries()).running("porch")
    assert running is not None
    return running.lost()


def test_what_comes_back_is_what_was_written_down(
    influx: Influx, bucket: str, path: Path, tmp_path: Path
) -> None:
    filled(path)
    mirrored(influx, bucket, path)
    again = tmp_path / "restored.db"
    restored(influx, bucket, again)
    assert held(again) == held(path)
    assert len(held(again)["readings"]["porch/floor"]) == 1440 + 4
    restored(influx, bucket, again)
    assert held(again) == held(path)


def test_a_restored_journal_doubles_nothing_in_the_mirror_and_no_undo_strikes_another_entry(
    influx: Influx, bucket: str, path: Path, tmp_path: Path
) -> None:
    """A new card: the grower goes on writing before the record is fetched back."""
    filled(path)
    mirrored(influx, bucket, path)
    new = tmp_path / "new.db"
    later = {"entry": EntryKind.LOSS, "brooder": "porch"}
    with Journal.open(new) as journal:
        for n in range(1, 6):  # its numbers 3 and 5 are other entries there
            entry = Entry(at=T0 + 90_000 + n, count=1, number=n, **later)  # type: ignore[arg-type]
            journal.commit(Commit(inputs=[Entered(entry, Moment(entry.at, entry.at))]))
    restored(influx, bucket, new)
    assert lost(new) == 2 + 5
    mirrored(influx, bucket, new)
    assert losses_there(influx, bucket) == 2 + 5
    restored(influx, bucket, path)
    assert lost(path) == 2 + 5


def losses_there(influx: Influx, bucket: str) -> int:
    """As a sum over the mirror has it."""
    if isinstance(influx, Likeness):
        return sum(
            fields.get("count", 0)
            for (measurement, tags), points in influx.points[bucket].items()
            if measurement == "ledger" and dict(tags)["entry"] == "loss"
            for fields in points.values()
        )
    flux = (
        f'from(bucket: "{bucket}") |> range(start: 0, stop: 2100-01-01T00:00:00Z)'
        ' |> filter(fn: (r) => r._measurement == "ledger" and r.entry == "loss"'
        ' and r._field == "count") |> group() |> sum()'
    )
    with connected(influx, bucket) as server:
        return sum(row["_value"] for row in server.query(flux))


def config(influx: Influx, bucket: str, tmp_path: Path, rights: str = "rw", **said: str) -> Path:
    name = said.get("site", "Hillside")
    token = said.get("token") or influx.token(bucket, rights)
    file = tmp_path / "brooder.toml"
    file.write_text(
        f'[site]\nname = "{name}"\ntimezone = "America/Chicago"\nunits = "celsius"\n'
        '[[brooders]]\nname = "porch"\nlength_m = 1\nwidth_m = 1\n'
        '[[brooders.probes]]\nname = "floor"\ntopic = "brooder/porch/floor"\nplace = "floor"\n'
        f'[journal]\nfolder = "{tmp_path}"\n'
        f'[influx]\nurl = "{influx.url}"\ntoken = "{token}"\norg = "{influx.org}"\n'
        f'bucket = "{bucket}"\n'
    )
    return file


def run(file: Path, *words: str) -> Result:
    done = CliRunner().invoke(build(words[0]), [*words, "--config", str(file)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


@pytest.mark.parametrize(
    ("words", "says"), [((), "2 birds lost"), (("--alarms",), "chill"), (("--losses",), "corner")]
)
def test_the_review_from_the_mirror_reads_as_the_local_one(
    influx: Influx, bucket: str, path: Path, tmp_path: Path, words: tuple[str, ...], says: str
) -> None:
    filled(path)
    mirrored(influx, bucket, path)
    file = config(influx, bucket, tmp_path)
    asked = ("review", "--brooder", "porch", "--to", "2026-02-12", *words)
    here, there = run(file, *asked), run(file, *asked, "--from-influx")
    assert there.exit_code == 0, there.output
    assert there.stdout == here.stdout
    assert "no floor can have are not in the mirror" in " ".join(there.stderr.split())
    assert says in here.output


def test_another_bucket_and_an_emptied_one_are_filled_from_the_beginning(
    influx: Influx, bucket: str, path: Path
) -> None:
    filled(path)
    kept: list[dict[str, Any]] = []
    with connected(influx, bucket) as server:
        mirror = Mirror(path, scope(), server, kept.append)
        send_all(mirror)
        with Journal.open(path) as journal:
            journal.set_cursor("mirror", kept[-1])
        influx.empty(bucket, "Hillside")
        # The service starts again, or somebody runs `brooder mirror fill` elsewhere.
        mirror = Mirror(path, scope(), server, lambda _state: None)
        assert send_all(mirror) > 1
        assert mirror.standing().words == "up to date"
        assert all_there(server, path)
    other = influx.bucket()
    with connected(influx, other) as server:
        moved = Scope(target="another", site="Hillside")
        send_all(Mirror(path, moved, server, lambda _state: None))
        assert all_there(server, path)


def all_there(server: Server, path: Path) -> bool:
    with JournalReader(path) as reader:
        found = compare(reader, server, scope(), now=T0)
    assert found.here["temperature"] == 3 * 1440 + 4
    return found.here == found.there and not found.lacking


def test_what_the_bucket_is_too_short_for_is_counted_named_and_sent_when_it_is_mended(
    influx: Influx, path: Path
) -> None:
    filled(path)
    bucket = influx.bucket(keeps_s=3600)
    kept: list[dict[str, Any]] = []
    told: list[BadPoint] = []
    with connected(influx, bucket) as server:
        mirror = Mirror(path, scope(), server, kept.append, told.append)
        send_all(mirror)
        standing = mirror.standing()
        assert not standing.well
        assert refused_points(standing.words) >= 3 * 1440 + 4
        assert "points of 2026-02-10 to 2026-02-11 were refused" in standing.words
        assert "up to date" not in standing.words
        assert "retention policy" in standing.words
        assert "dropped" in standing.words  # not cut before its reason
        assert 1 <= len(told) < 5
        with Journal.open(path) as journal:
            journal.set_cursor("mirror", kept[-1])
        again = Mirror(path, scope(), server, kept.append)
        again.step()
        # Over a restart.
        assert refused_points(again.standing().words) >= 3 * 1440 + 4
        influx.keep(bucket, 0)
        again.look_again()
        send_all(again)
        assert again.standing().words == "up to date"
        assert all_there(server, path)


def refused_points(words: str) -> int:
    found = re.search(r"(\d+) points of .* were refused there", words)
    assert found is not None, words
    return int(found[1])


def test_a_field_of_another_type_there_is_named_and_the_rest_is_sent(
    influx: Influx, bucket: str, path: Path
) -> None:
    filled(path)
    influx.write(bucket, f'temperature,probe=other celsius="warm" {round(T0) * 10**9}')
    with connected(influx, bucket) as server:
        mirror = Mirror(path, scope(), server, lambda _state: None)
        send_all(mirror)
        standing = mirror.standing()
        assert not standing.well
        assert "field type conflict" in standing.words
        assert 'input field "celsius" on measurement "temperature"' in standing.words
        arrivals = {e.id for e in read_entries(server, bucket)}
        with JournalReader(path) as reader:
            assert arrivals == {entry.id for entry in reader.entries()}


def read_entries(server: Server, bucket: str) -> list[Entry]:
    rows = server.query(flux.texts(bucket, "Hillside", ("ledger_text",)))
    return [entry for row in rows if isinstance(entry := lines.parse(row["record"]), Entry)]


def test_status_counts_both_sides_and_fill_sends_what_is_missing(
    influx: Influx, bucket: str, path: Path, tmp_path: Path
) -> None:
    filled(path)
    file = config(influx, bucket, tmp_path)
    before = run(file, "mirror", "status")
    assert before.exit_code == 1
    assert "Readings: 4,324 here, 0 of them there." in before.output
    never = "Nothing of the record is there yet: 4,339 points of 2026-02-10 to 2096-10-02;"
    assert never in before.output, "and so nothing is sent again"
    assert run(file, "check").exit_code == 1
    done = run(file, "mirror", "fill")
    assert done.exit_code == 0, done.output
    assert "lines of 3 days were sent" in done.output
    after = run(file, "mirror", "status")
    assert after.exit_code == 0, after.output
    assert "Readings: 4,324 here, 4,324 of them there." in after.output
    assert "Ledger entries: 9 here, 9 of them there." in after.output
    assert "Alarm changes: 4 here, 4 of them there." in after.output
    assert "all that is recorded here is there" in run(file, "check").output
    with Journal.open(path) as journal:
        journal.commit(batch(reading(T0 + 95_000, 30.0), reading(T0 + 95_060, 30.0)))
    later = run(file, "mirror", "status")
    assert later.exit_code == 1
    assert "2 points of 2026-02-11 are not there; the running service sends them" in later.output


def test_check_leaves_nothing_behind_and_says_how_long_the_bucket_keeps(
    influx: Influx, tmp_path: Path
) -> None:
    bucket = influx.bucket(keeps_s=30 * 86_400)
    said = run(config(influx, bucket, tmp_path), "check").output
    assert "InfluxDB takes what we write" in said
    assert "the bucket keeps 30 days" in said
    if isinstance(influx, Likeness):
        assert not influx.points.get(bucket)
    else:
        with connected(influx, bucket) as server:
            flux = f'from(bucket: "{bucket}") |> range(start: 0, stop: 2100-01-01T00:00:00Z)'
            assert list(server.query(flux)) == []


def test_check_hands_on_the_services_own_word_where_the_bucket_keeps_only_some_days(
    influx: Influx, tmp_path: Path
) -> None:
    settings = load_settings(config(influx, influx.bucket(keeps_s=30 * 86_400), tmp_path))
    about = {"mirror_well": False, "mirror": "it broke off"}
    assert Found("mirror", False, "it broke off") in list(_mirror(settings, about))


def test_fill_without_a_journal_says_what_is_missing(
    influx: Influx, bucket: str, tmp_path: Path
) -> None:
    done = run(config(influx, bucket, tmp_path), "mirror", "fill")
    assert done.exit_code == 2
    assert "there is no journal at" in done.output
    assert "brooder watch" in done.output


def test_a_token_without_the_right_is_told_from_a_wrong_one_and_a_missing_bucket(
    influx: Influx, bucket: str, path: Path, tmp_path: Path
) -> None:
    filled(path)
    mirrored(influx, bucket, path)

    def said(rights: str = "rw", **more: str) -> str:
        file = config(influx, more.pop("bucket", bucket), tmp_path, rights, **more)
        done = run(file, "restore", "--from-influx", "--journal", str(tmp_path / "new.db"))
        assert done.exit_code == 2
        assert "Nothing was changed" in done.output
        return " ".join(done.output.split())

    assert "the token may write to bucket" in said("w")
    assert "but not read it; make one that may do both" in said("w")
    wrong = said(token="nobody's")
    assert "does not accept the token; make one that may read" in wrong
    assert "that may write" not in wrong
    token = influx.token(bucket, "rw")
    assert "there is no bucket nowhere" in said(bucket="nowhere", token=token)
    file = config(influx, bucket, tmp_path, "r")
    assert "the token may not write to bucket" in " ".join(run(file, "check").output.split())


def test_with_a_token_that_may_only_write_nothing_is_called_up_to_date(
    influx: Influx, bucket: str, path: Path, tmp_path: Path
) -> None:
    filled(path)
    with connected(influx, bucket, "w") as server:
        mirror = Mirror(path, scope(), server, lambda _state: None)
        send_all(mirror)
        assert mirror.standing().well
        assert mirror.standing().words.startswith(
            "everything was sent, but not compared: the token"
        )
    with connected(influx, bucket) as server:
        assert all_there(server, path)


def test_one_of_several_services_sends_the_sites_own_probes_and_answers_for_its_boxes(
    influx: Influx, bucket: str, tmp_path: Path
) -> None:
    """Each hears the probe outside, each a little later than the other."""
    shares = [("porch", True), (ODD, False)]
    scopes = []
    for n, (box, first) in enumerate(shares):
        own = tmp_path / f"{n}.db"
        with Journal.open(own) as journal:
            probe = floor_probe() if first else ODD_FLOOR
            journal.know([probe, SHADE])
            for k in range(100):
                at = T0 + 30 * k + n / 100
                journal.commit(batch(reading(at, 30.0, probe.key), reading(at, 5.0, "site/shade")))
        scopes.append(scope(boxes=frozenset({box}), site_probes=first))
        mirrored(influx, bucket, own, scopes[-1])
    with connected(influx, bucket) as server:
        arrivals = fetch(server, bucket, "Hillside")
        assert {key: len(times) for key, (times, _) in arrivals.readings.items()} == {
            "porch/floor": 100,
            ODD_FLOOR.key: 100,
            "site/shade": 100,
        }
        for n, of in enumerate(scopes):
            with JournalReader(tmp_path / f"{n}.db") as reader:
                found = compare(reader, server, of, now=T0)
            assert found.here["temperature"] == found.there["temperature"] == (200, 100)[n]


def test_a_board_left_at_the_default_site_name_is_refused_the_bucket(
    influx: Influx, bucket: str, path: Path, tmp_path: Path
) -> None:
    filled(path)
    file = config(influx, bucket, tmp_path, site="Brooder")
    for words in (("check",), ("mirror", "status"), ("mirror", "fill")):
        done = run(file, *words)
        assert done.exit_code != 0
        assert 'name is still "brooder"' in " ".join(done.output.lower().split())


def test_an_answer_that_breaks_off_is_not_taken_for_a_whole_one(path: Path, tmp_path: Path) -> None:
    """A proxy that gives up: no record is read from half a row."""
    influx = Likeness()
    filled(path)
    mirrored(influx, "brooder", path)
    with connected(influx, "brooder") as server:
        influx.cut_after = 350
        with pytest.raises(InfluxFault, match="broke off in the middle of a row"):
            fetch(server, "brooder", "Hillside")
    influx.close()


def test_the_count_of_birds_is_a_series_and_a_loss_taken_back_is_marked(path: Path) -> None:
    influx = Likeness()
    filled(path)
    mirrored(influx, "brooder", path)
    losses = {
        tuple(sorted(fields.items()))
        for (measurement, tags), points in influx.points["brooder"].items()
        if measurement == "ledger" and dict(tags)["entry"] == "loss"
        for fields in points.values()
    }
    assert losses == {(("count", 0), ("undone", 1)), (("count", 2), ("undone", 0))}
    for points in influx.points["brooder"].values():
        kinds = {type(value) for fields in points.values() for value in fields.values()}
        assert len(kinds) == 1, "numbers and texts are apart"
    influx.close()


def documented() -> list[str]:
    """The queries of DEVELOPERS.md."""
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text()
    block = re.search(r"```flux\n(.*?)```", text, re.DOTALL)
    assert block is not None
    return block[1].strip().split("\n\n")


@pytest.mark.parametrize("query", documented(), ids=("floor", "target", "dead", "birds", "alarms"))
def test_a_documented_query_of_three_lines_asks_for_what_is_there(
    influx: Influx, bucket: str, path: Path, query: str
) -> None:
    filled(path)
    mirrored(influx, bucket, path)
    assert len(query.splitlines()) == 3
    if isinstance(influx, Likeness):  # it understands no Flux but ours: are the names right?
        asked = re.findall(r'r\.(\w+) == "(\w+)"', query)
        assert asked
        assert any(
            all(has(series, fields, name, value) for name, value in asked)
            for series, points in influx.points[bucket].items()
            for fields in points.values()
        )
        return
    here = re.sub(r"start: -\w+", "start: 2026-02-09T00:00:00Z, stop: 2026-02-13T00:00:00Z", query)
    with connected(influx, bucket) as server:
        rows = list(server.query(here.replace('"brooder")', f'"{bucket}")', 1)))
    values = [row["_value"] for row in rows]
    if '"count"' in query:
        assert sum(values) == 2
    elif "head_count" in query:
        assert values == [50.0]
    elif "alarm_text" in query:
        assert values == [2]
    else:
        assert all(29 < value < 36 for value in values)
        assert values


def has(series: Any, fields: dict[str, Any], name: str, value: str) -> bool:
    measurement, tags = series
    if name == "_measurement":
        return bool(measurement == value)
    return value in fields if name == "_field" else dict(tags).get(name) == value


def test_what_is_missing_of_the_hours_that_a_bucket_keeps_is_found(
    influx: Influx, path: Path
) -> None:
    """Not the whole of its first day is there: the rest is compared all the same."""
    now = time.time()
    with Journal.open(path) as journal:
        journal.know([floor_probe()])
        journal.commit(batch(*(reading(now - 7200 + 60 * n) for n in range(110))))
    bucket = influx.bucket(keeps_s=3600)
    with connected(influx, bucket) as server, JournalReader(path) as reader:
        found = compare(reader, server, scope(), now=now)
        assert 40 < sum(found.lacking.values()) < 60
        send_all(Mirror(path, scope(), server, lambda _state: None))
        assert compare(reader, server, scope(), now=now).lacking == {}
