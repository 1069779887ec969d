"""Whatever a new probe is called, the configuration that comes of it is one that loads, its account
may publish its topic and nobody else's, and every probe that was there still is."""

import tempfile
from pathlib import Path
from shutil import copy

from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor.brooding.objection import Objection
from monitor.intake.rights import Rights
from monitor.service.probe_accounts import carry_out, prepare
from monitor.settings import SettingsFault, load_settings
from monitor.settings.rewriting import NotWritten
from monitor.site import Place

EXAMPLE = Path(__file__).parents[2] / "config" / "brooder.toml"
NAMES = st.one_of(
    st.text(max_size=45),
    st.sampled_from(
        [
            "floor",
            "Floor ",
            "shade",
            "a=b",
            'x"]\n[site]',
            "user root",
            "é:ß",
            "..",
            "%u",
            "porch",
            "porch floor",
        ]
    ),
)


@example(name="porch", brooder=None, place=None, by_file=False)
@settings(max_examples=60, deadline=None)
@given(
    name=NAMES,
    brooder=st.sampled_from(["porch", None]),
    place=st.sampled_from([None, *Place]),
    by_file=st.booleans(),
)
def test_a_probe_of_any_name_is_refused_or_well(
    name: str, brooder: str | None, place: Place | None, by_file: bool
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(copy(EXAMPLE, Path(folder) / "brooder.toml"))
        own = '\n[built_in_broker]\naccounts_file = "accounts"\n'
        (Path(folder) / "accounts").touch()
        if by_file:
            (Path(folder) / "rights").touch()
            own += 'rights_file = "rights"\n'
        file.write_text(file.read_text() + own)
        before = load_settings(file, {}, check_contacts=False)
        text = file.read_text()
        try:
            ready = prepare(before, name, brooder=brooder, place=place)
            carry_out(ready)
        except (Objection, SettingsFault, NotWritten):
            assert file.read_text() == text
            return
        after = load_settings(file, {}, check_contacts=False)
        assert {p.key for p in before.site.all_probes} <= {p.key for p in after.site.all_probes}
        assert ready.probe.key in {p.key for p in after.site.all_probes}
        rights = Rights.from_files(
            Path(folder) / "accounts",
            Path(folder) / "rights" if by_file else None,
            after.site.all_probes,
        )
        card = ready.card
        assert rights.password_ok(card.name, card.password)
        topics = [p.topic for p in after.site.all_probes]
        assert [t for t in topics if rights.may_write(card.name, "x", t)] == [card.topic]
        assert not rights.may_read(card.name, "x", card.topic)
        assert len(card.lines.splitlines()) == 5, "a name breaks no line of the card"
