"""The worked examples of contacts are ones that the program takes."""

from pathlib import Path

import pytest

from monitor.settings import load_settings
from monitor.tell.receivers import RECEIVERS, Receiver

SITE = '[[brooders]]\nname = "porch"\nlength_m = 1.5\nwidth_m = 1.5\n\n'


@pytest.mark.parametrize("receiver", RECEIVERS, ids=lambda r: r.kind)
def test_an_example_can_be_copied_into_the_configuration_as_it_is(
    receiver: Receiver, tmp_path: Path
) -> None:
    file = tmp_path / "brooder.toml"
    file.write_text(SITE + receiver.lines)
    contacts = load_settings(file, {}, check_contacts=True).file.contacts
    assert any("urgent" in contact.priorities for contact in contacts)


def test_no_example_is_anybodys() -> None:
    for receiver in RECEIVERS:
        for host in receiver.lines.split("://")[1:]:
            assert "example.org" in host or "192.168." in host
