"""Accounts of the built-in broker are taken while the service runs."""

from pathlib import Path

import pytest
from support.service import Service, Thermometer, wait_until

from monitor.intake.accounts import hashed, with_account

pytestmark = pytest.mark.live


def test_an_account_added_while_it_watches_lets_its_probe_in(tmp_path: Path) -> None:
    accounts = tmp_path / "accounts"
    accounts.write_text(with_account("", "porch-lamp", hashed("other")))
    with Service(tmp_path, probes={"floor": "brooder/porch/floor"}) as service:
        lines = f'[built_in_broker]\naccounts_file = "{accounts}"\n'
        service.config.write_text(service.config.read_text().replace("[built_in_broker]\n", lines))
        assert service.ask("reload") == {"wrong": [], "waits_for_a_start": False}
        accounts.write_text(with_account(accounts.read_text(), "porch-floor", hashed("chicks")))
        assert service.ask("reload")["wrong"] == []
        probe = Thermometer(service.broker_port)
        probe.client.username_pw_set("porch-floor", "chicks")
        with probe:
            probe.say(33.4)
            probe.wait_acknowledged()
        wait_until(lambda: service.temps() == [33.4], 30, "the reading in the journal")

        accounts.write_text("not a line of it\n")
        (said,) = service.ask("reload")["wrong"]
        assert said.endswith("accounts, line 1: not a line of mosquitto_passwd")
