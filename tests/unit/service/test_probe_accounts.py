"""A plug that says a lamp's watts gets an account as a probe does."""

from pathlib import Path

from monitor.intake.rights import Rights
from monitor.service.probe_accounts import carry_out, prepare
from monitor.settings import load_settings

CONFIG = """
[built_in_broker]
accounts_file = "accounts"
[[brooders]]
name = "porch"
length_m = 1.5
width_m = 1.5
[[brooders.heat]]
name = "west lamp"
kind = "lamp"
watts = 250
topic = "plugs/west/power"
"""


def test_a_plug_gets_an_account_for_its_own_topic(tmp_path: Path) -> None:
    file = tmp_path / "brooder.toml"
    file.write_text(CONFIG)
    settings = load_settings(file, {}, check_contacts=False)
    ready = prepare(settings, "West lamp", brooder="porch")
    carry_out(ready)
    assert file.read_text() == CONFIG
    card = ready.card
    assert (card.name, card.topic) == ("porch-west-lamp", "plugs/west/power")
    rights = Rights.from_files(tmp_path / "accounts", probes=settings.site.published)
    assert rights.password_ok(card.name, card.password)
    assert rights.may_write(card.name, "x", card.topic)
