"""Ledger entries for tests: two helpers, and journals of any sort for the laws."""

from dataclasses import replace

from hypothesis import strategies as st

from monitor.brooding.entries import LEDGER_KINDS, Entry, EntryKind

DAY = 86400.0
START = 1772334000.0  # 2026-03-01 03:00 UTC


def entry(number: int, what: EntryKind, day: float, count: int | None = None, **more) -> Entry:
    more.setdefault("brooder", "porch")
    return Entry(at=START + day * DAY, entry=what, number=number, count=count, **more)


def placed(number: int, day: float, count: int, **more) -> Entry:
    more.setdefault("hatched", "2026-03-01")
    more.setdefault("kind", "broiler")
    return entry(number, EntryKind.PLACED, day, count, **more)


some_entry = st.builds(
    Entry,
    at=st.integers(0, 40).map(lambda half_day: START + half_day * DAY / 2),
    entry=st.sampled_from(sorted(LEDGER_KINDS)),
    brooder=st.sampled_from(["porch", "shed", None]),
    count=st.one_of(st.none(), st.integers(-3, 120)),
    hatched=st.sampled_from(["2026-03-01", "2026-02-28", "yesterday", None]),
    kind=st.sampled_from(["broiler", "layer", "emu", None]),
    note=st.sampled_from([None, "words"]),
    undoes=st.one_of(st.none(), st.integers(0, 12)),
)
journals = st.lists(some_entry, max_size=12).map(
    lambda entries: [replace(one, number=n) for n, one in enumerate(entries, start=1)]
)
