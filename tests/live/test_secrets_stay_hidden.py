"""Planted secrets appear in nothing that a full run writes or shows: log, terminal, journal, state
folder, page, export, messages, MQTT. Only where somebody put them: the configuration, a file that
it names, the environment."""

import base64
import json
import time
import urllib.parse
from contextlib import suppress
from pathlib import Path

import paho.mqtt.client as paho
import psutil
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from support.mosquitto import Mosquitto, needs_mosquitto
from support.receivers import Mode, http_receiver, refusing_port
from support.service import QUICK_LIMITS, Service, Thermometer, wait_until
from support.visitor import Visitor

pytestmark = [pytest.mark.live, needs_mosquitto]

SECRETS = {
    "broker": "s3cretBroker-Kolibri",
    "token": "s3cretToken-Pelikan",
    "failing": "s3cretFailing-Kuckuck",
    "dead": "s3cretDead-Sperling",
    "heartbeat": "s3cretBeat-Drossel",
    "page": "s3cretPage-Zaunkoenig",
    "influx": "s3cretInflux-Rotkehl",
    "forecast": "s3cretForecast-Amsel",
}
KEY_FILES = {"links.key", "page.key", "session.key"}  # the state folder's own, for its owner alone
SCREENS = ("/", "/do", "/do/contacts", "/do/loss", "/do/tonight", "/record", "/set-up", "/nowhere")


def forms(secret: str) -> set[bytes]:
    """As it is, quoted for a URL, in base64 at any offset."""
    found = {secret.encode(), urllib.parse.quote(secret, safe="").encode()}
    for pad in range(3):
        coded = base64.b64encode(b"x" * pad + secret.encode())
        found.add(coded[4:-4])
    return found


class Planter:
    """Gives secrets to the service: in the configuration itself, or else in turn in a file that it
    names, in a file that the environment names, and in the environment."""

    def __init__(self, elsewhere: bool, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._elsewhere = elsewhere
        self._folder = folder
        self._setenv = monkeypatch.setenv
        self._count = 0
        folder.mkdir()

    def __call__(self, path: str, value: str) -> str:
        """The line for the configuration, if it needs one. `path`: contacts/0/url."""
        key = path.rpartition("/")[2]
        variable = "BROODER_" + path.replace("/", "__").upper()
        if not self._elsewhere:
            return f'{key} = "{value}"\n'
        self._count += 1
        file = self._folder / f"{self._count}"
        file.write_text(value + "\n")
        match self._count % 3:
            case 0:
                self._setenv(variable, value)
            case 1:
                self._setenv(f"{variable}_FILE", str(file))
            case _:
                return f'{key}_file = "{file}"\n'
        return ""


@pytest.mark.parametrize("elsewhere", [False, True], ids=["configuration", "files and environment"])
def test_no_secret_leaves_its_place(
    elsewhere: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: dict[str, bytes] = {}
    plant = Planter(elsewhere, tmp_path / "secrets", monkeypatch)
    with (
        Mosquitto(tmp_path / "broker", persistent=True) as broker,
        http_receiver() as phone,
        http_receiver(Mode.FAILING) as failing,
        http_receiver(Mode.REFUSING) as heart,
        refusing_port() as dead,
    ):
        with_token = phone.url.replace("json://", f"json://grower:{SECRETS['token']}@")
        contacts = {
            "phone": with_token,
            "failing": failing.url + f"?+X-Key={SECRETS['failing']}",
            "dead": dead.url.replace("json://", f"json://u:{SECRETS['dead']}@"),
        }
        service = Service(
            tmp_path / "run",
            broker_port=broker.port,
            broker='username = "watch"\n' + plant("broker/password", SECRETS["broker"]),
            limits=QUICK_LIMITS,
            commit_s=0.3,
            page=True,
            page_lines=plant("page/passphrase", SECRETS["page"]),
            tell=plant(
                "tell/heartbeat_url", f"http://127.0.0.1:{heart.port}/{SECRETS['heartbeat']}"
            )
            + "heartbeat_minutes = 0.05\ncontact_time_limit_s = 3",
            more=f'[influx]\nurl = "http://127.0.0.1:{dead.port}"\n'
            + plant("influx/token", SECRETS["influx"])
            + "[forecast]\n"
            + plant("forecast/url", f"http://127.0.0.1:{dead.port}/{SECRETS['forecast']}")
            + "".join(
                f'[[contacts]]\nname = "{name}"\n' + plant(f"contacts/{number}/url", url)
                for number, (name, url) in enumerate(contacts.items())
            ),
            log_level="debug",
        )
        listener = paho.Client(CallbackAPIVersion.VERSION2, client_id="listener")
        said: list[bytes] = []
        listener.on_message = lambda _c, _u, m: said.append(m.topic.encode() + b" " + m.payload)
        listener.connect("127.0.0.1", broker.port)
        listener.subscribe("#")
        listener.loop_start()
        with service, Thermometer(broker.port) as probe:
            service.placed()
            for n in range(10_000):
                probe.say(f"21.{n:04}")
                if phone.got:
                    break
                time.sleep(0.1)
            phone.wait_for(1)
            failing.wait_until(lambda p: p.tried >= 2, 60)
            heart.wait_until(lambda p: p.tried >= 1, 60)
            seen |= {f"page {k}": v for k, v in page(service, SECRETS["page"]).items()}
            for words in (
                ("check",),
                ("check", "--send"),
                ("probes",),
                ("contacts", "try"),
                ("export",),
                ("flock",),
                ("tonight", "porch"),
                ("review",),
            ):
                done = service.command(*words)
                seen["brooder " + " ".join(words)] = (done.stdout + done.stderr).encode()
            seen["control"] = json.dumps([service.ask("about"), service.ask("probes")]).encode()
            wait_until(lambda: said, 20)
            for child in psutil.Process(service.pid).children(recursive=True):
                with suppress(psutil.NoSuchProcess):  # one that draws or fetches may be done by now
                    seen[f"environment of {child.cmdline()}"] = json.dumps(child.environ()).encode()
            service.reload()
            assert service.stop() == 0
        listener.disconnect()
        listener.loop_stop()
        seen["messages"] = json.dumps([got.raw for got in phone.got]).encode()
    seen["mqtt"] = b"\n".join(said)
    for path in (tmp_path / "run").rglob("*"):
        if path.is_file() and path != service.config and path.name not in KEY_FILES:
            seen[str(path.relative_to(tmp_path))] = path.read_bytes()
    assert any(name.endswith("journal.db") for name in seen)
    assert all(
        (value in service.config.read_text()) is not elsewhere for value in SECRETS.values()
    ), "planted where this way says"
    assert any(name.startswith("environment of") for name in seen)
    assert b"21.0" in seen["brooder export"]
    assert b"Hillside" in seen["page /"], "signed in"
    for name, data in seen.items():
        for secret, value in SECRETS.items():
            for form in forms(value):
                assert form not in data, f"the {secret} secret is in {name}"
    assert (tmp_path / "run" / "state").stat().st_mode & 0o077 == 0, "for its owner alone"


def page(service: Service, passphrase: str) -> dict[str, bytes]:
    """Every screen, as somebody who signed in sees it."""
    assert service.page_port is not None
    visitor = Visitor(service.page_port)
    visitor.get("/sign-in")
    answers = {"wrong": visitor.send("/sign-in", passphrase="not-the-right-words", next="/")}

    def signed_in() -> bool:
        """After a wrong one the page makes everybody wait."""
        visitor.get("/sign-in")
        answers["right"] = visitor.send("/sign-in", passphrase=passphrase, next="/")
        return "retry-after" not in answers["right"].headers

    wait_until(signed_in, 20)
    for path in SCREENS:
        answers[path] = visitor.get(path)
    return {k: (a.body + str(a.headers) + str(a.cookies)).encode() for k, a in answers.items()}
