"""Probes and boxes out of service: the record leaves out the readings the watch did not go by."""

from support.review_journal import at
from support.short_record import placed, recorded

from monitor.events import Entry, EntryKind

DATES = {"start": "2026-02-08 12:00", "stop": "2026-02-09 12:00"}
OUT, IN = EntryKind.OUT_OF_SERVICE, EntryKind.IN_SERVICE
SAID = {
    "porch/west": lambda _t: 34.5,
    "porch/east": lambda _t: 12.0,  # its wire is chewed through
    "site/shade": lambda _t: -5.0,
}


def act(what: EntryKind, when: str, probe: str | None = None) -> Entry:
    return Entry(at=at(f"2026-02-08 {when}"), entry=what, brooder="porch", probe=probe)


def test_a_probe_taken_out_by_itself_stays_out_when_the_box_is_used_again(tmp_path):
    acts = (
        act(OUT, "12:00", "porch/east"),
        act(OUT, "13:00"),  # cleaning
        act(IN, "14:00"),
    )
    with recorded(tmp_path, SAID, placed("2026-02-08 12:00"), *acts, **DATES) as record:
        got = record.exposure(record.start, record.stop)
        assert (got.low_c, got.below_s) == (34.5, 0)
        assert got.gap_s == 3600 + 300 - record.hold_s  # the cleaning, less what a reading holds


def test_a_probe_put_back_while_the_box_is_out_counts_with_the_box(tmp_path):
    acts = (
        act(OUT, "13:00"),
        act(OUT, "13:10", "porch/east"),
        act(IN, "13:20", "porch/east"),
        act(IN, "14:00"),
    )
    with recorded(tmp_path, SAID, placed("2026-02-08 12:00"), *acts, **DATES) as record:
        east = record.readings_of(["porch/east"])["porch/east"].times
        assert not ((east >= at("2026-02-08 13:00")) & (east < at("2026-02-08 14:00"))).any()
        assert (east >= at("2026-02-08 14:00")).sum() == 22 * 12


def test_the_outside_probe_of_the_site_goes_on_while_a_box_is_out(tmp_path):
    acts = (act(OUT, "13:00"), act(IN, "14:00"))
    with recorded(tmp_path, SAID, placed("2026-02-08 12:00"), *acts, **DATES) as record:
        assert len(record.readings_of(["site/shade"])["site/shade"].times) == 24 * 12
