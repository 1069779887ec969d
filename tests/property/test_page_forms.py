"""Whatever is sent as a form becomes an entry that the ledger takes, or words beside a field."""

from dataclasses import replace
from urllib.parse import parse_qsl, urlencode

from hypothesis import given
from hypothesis import strategies as st
from support.fake_api import NIGHT, placed, site

from monitor.brooding.ledger import fold
from monitor.brooding.objection import MOST_BIRDS
from monitor.page.forms import LONGEST_NOTE, FilledForm
from monitor.page.ledger_forms import FORMS, entry_from, ledger_objects
from monitor.page.sign_in import safe_path

SAID = st.one_of(
    st.text(max_size=30),
    st.integers().map(str),
    st.dates().map(str),
    st.datetimes().map(lambda at: at.isoformat(timespec="minutes")),
    st.sampled_from(["porch", "broiler", "1", "98", "99", "2026-02-01", "0001-01-01T00:00", ""]),
)
FIELDS = ("brooder", "kind", "count", "mail", "day", "hatched", "note", "at")


@given(
    what=st.sampled_from(list(FORMS.values())),
    values=st.fixed_dictionaries({}, optional=dict.fromkeys(FIELDS, SAID)),
)
def test_any_form_becomes_an_entry_or_words(what, values):
    form = FilledForm(values=dict(values))
    ledger = fold(placed())
    entry = entry_from(form, what, site(), NIGHT)
    if entry is None:
        assert all(words for words in form.wrong.values())
        assert set(form.wrong) <= {*FIELDS, ""}
        return
    assert entry.at <= NIGHT + 60
    assert entry.count is None or 1 <= entry.count <= MOST_BIRDS
    assert entry.note is None or (len(entry.note) <= LONGEST_NOTE and entry.note.isprintable())
    if not ledger_objects(form, entry, ledger, site()):
        after = fold([*placed(), replace(entry, number=4)])
        assert 4 not in after.faults
    else:
        assert set(form.wrong) <= {*FIELDS, ""}
    assert form.values == dict(values)  # nothing that was filled in is lost


@given(note=st.text(max_size=200))
def test_a_note_keeps_every_letter_that_can_be_printed(note: str):
    form = FilledForm(values=dict(parse_qsl(urlencode({"note": note}), keep_blank_values=True)))
    kept = form.text("note") or ""
    assert kept.replace(" ", "") == "".join(c for c in note if c.isprintable() and c != " ")


@given(said=st.text(max_size=60) | st.sampled_from(["//x", "/\\x", "/a\nb", "http:/x", "/ok?a=b"]))
def test_where_to_go_next_is_always_within_the_page(said: str):
    there = safe_path(said)
    assert there.startswith("/")
    assert not there.startswith(("//", "/\\"))
    assert there.isprintable()
