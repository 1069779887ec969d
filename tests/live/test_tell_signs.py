"""The sign of life and the trial messages, against real receivers."""

import threading
from pathlib import Path

import pytest
from support.receivers import Mode, http_receiver, refusing_port, smtp_receiver
from support.service import wait_until
from typer.testing import CliRunner

from monitor.commands import build
from monitor.tell.heartbeat import Heartbeat

pytestmark = pytest.mark.live


def test_a_sign_of_life_goes_out_at_its_interval():
    with http_receiver() as somebody:
        heart = Heartbeat(f"http://127.0.0.1:{somebody.port}/alive", 0.1)
        heart.start()
        try:
            got = somebody.wait_for(3)
        finally:
            heart.stop()
    assert {beat.path for beat in got} == {"/alive"}
    assert not heart.failing


def test_no_sign_of_life_while_the_watch_makes_no_progress():
    alive, asked = [False], []

    def lives() -> bool:
        asked.append(alive[0])
        return alive[0]

    with http_receiver() as somebody:
        heart = Heartbeat(f"http://127.0.0.1:{somebody.port}/alive", 0.05, alive=lives)
        heart.start()
        try:
            somebody.wait_until(lambda _: len(asked) > 10)
            assert somebody.tried == 0
            alive[0] = True
            somebody.wait_for(1)
        finally:
            heart.stop()


@pytest.mark.parametrize("mode", [Mode.FAILING, Mode.HANGING])
def test_a_failing_sign_of_life_is_logged_once_without_its_url_and_goes_on(mode, caplog):
    caplog.set_level("INFO")
    with http_receiver(mode) as somebody:
        url = f"http://127.0.0.1:{somebody.port}/hidden-word"
        # Once it got through it beats no more: a busy machine might be late with the next.
        heart = Heartbeat(
            url, 0.05, limit_s=0.3, alive=lambda: somebody.mode is mode or heart.failing
        )
        heart.start()
        try:
            somebody.wait_until(lambda me: me.tried >= 3)
            assert heart.failing
            somebody.mode = Mode.WELL
            somebody.wait_for(1)
            wait_until(lambda: not heart.failing)
        finally:
            heart.stop()
    said = [r.message for r in caplog.records if "sign of life" in r.message]
    assert len(said) == 2
    assert "hidden-word" not in caplog.text
    assert str(somebody.port) not in caplog.text


def test_a_sign_under_way_at_the_stop_says_nothing_any_more(caplog):
    with http_receiver(Mode.HANGING) as somebody:
        heart = Heartbeat(f"http://127.0.0.1:{somebody.port}/", 60.0, limit_s=60.0)
        heart.start()
        somebody.wait_until(lambda me: me.holding == 1)
        heart.stop()
        somebody.ended.set()  # which closes the line
        wait_until(lambda: "heartbeat" not in {t.name for t in threading.enumerate()})
    assert not heart.failing
    assert "sign of life" not in caplog.text


def configuration(folder: Path, contacts: dict[str, str]) -> Path:
    file = folder / "brooder.toml"
    lines = ['[site]\nname = "Hillside"\n[[brooders]]\nname = "porch"\nlength_m = 1\nwidth_m = 1']
    lines += [f'[[contacts]]\nname = "{name}"\nurl = "{url}"' for name, url in contacts.items()]
    file.write_text("\n".join(lines))
    return file


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(build("contacts"), ["contacts", *words])
    return result.exit_code, result.output


def test_contacts_try_sends_to_each_and_says_which_one_failed(tmp_path):
    with http_receiver() as phone, smtp_receiver() as mailbox, refusing_port() as nobody:
        file = configuration(
            tmp_path, {"phone": phone.url, "mail": mailbox.url, "nobody": nobody.url}
        )
        code, said = run("try", "--config", str(file))
        [on_phone], [in_mail] = phone.wait_for(1), mailbox.wait_for(1)
    assert code == 1
    assert "phone: sent in" in said
    assert "mail: sent in" in said
    assert "nobody: not sent, no connection to the service." in said
    assert on_phone.title == in_mail.title == "porch: trial alarm"
    assert on_phone.body.startswith("Nothing is wrong. An urgent alarm comes just as this did")
    assert "no service runs that could take the answer" in said


def test_contacts_try_one_that_works_is_well(tmp_path):
    with http_receiver() as phone, refusing_port() as nobody:
        file = configuration(tmp_path, {"phone": phone.url, "nobody": nobody.url})
        code, said = run("try", "phone", "--config", str(file))
    assert code == 0
    assert "nobody" not in said


def test_contacts_try_an_unknown_name_is_a_wrong_call_and_names_the_right_ones(tmp_path):
    with http_receiver() as phone:
        file = configuration(tmp_path, {"phone": phone.url})
        code, said = run("try", "bob", "--config", str(file))
    assert code == 2
    assert 'the contact is "bob"; it must be one of those configured (phone)' in said
