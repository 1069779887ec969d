"""The page with a certificate of its own, made by the script that makes the broker's."""

import http.client
import ssl
import subprocess
from pathlib import Path

import pytest
from support.held_lines import lines_held_open
from support.service import Service
from support.visitor import Visitor

from monitor.page.serve import CannotListen, certificate_of

pytestmark = pytest.mark.live

SCRIPT = Path(__file__).parents[2] / "deploy" / "mosquitto" / "certificates.sh"
WORDS = "ten chicks in a box"
IN_CLEAR = "speaks plain http"


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("keys")
    subprocess.run(["sh", str(SCRIPT), str(folder), "localhost", "127.0.0.1"], check=True)
    return folder


def test_passphrase_and_cookie_travel_by_tls_alone_and_the_cookie_is_secure(
    keys: Path, tmp_path: Path
) -> None:
    with Service(
        tmp_path,
        page=True,
        page_lines=f'passphrase = "{WORDS}"\ncert_file = "{keys / "broker.crt"}"\n'
        f'key_file = "{keys / "broker.key"}"',
    ) as service:
        assert service.page_port is not None
        assert f"https://127.0.0.1:{service.page_port}/" in service.out()
        grower = Visitor(
            service.page_port, trusts=ssl.create_default_context(cafile=keys / "ca.crt")
        )
        grower.get("/sign-in")
        answer = grower.send(
            "/sign-in", {"Origin": f"https://127.0.0.1:{service.page_port}"}, passphrase=WORDS
        )
        assert answer.status == 303
        assert all("; Secure" in cookie for cookie in answer.cookies)
        assert grower.get("/").status == 200
        with pytest.raises((OSError, http.client.HTTPException)):
            Visitor(service.page_port).get("/sign-in")
        said = service.command("check").stdout
        assert "page: speaks https" in " ".join(said.split())


def test_lines_that_never_finish_their_handshake_do_not_keep_the_grower_out(
    keys: Path, tmp_path: Path
) -> None:
    with Service(
        tmp_path,
        page=True,
        page_lines=f'cert_file = "{keys / "broker.crt"}"\nkey_file = "{keys / "broker.key"}"',
        wrapper=["prlimit", "--nofile=300:300"],
    ) as service:
        assert service.page_port is not None
        trusts = ssl.create_default_context(cafile=keys / "ca.crt")
        with lines_held_open(service.page_port, 600):
            assert Visitor(service.page_port, trusts=trusts).get("/").status == 200
        assert "Traceback" not in service.log()


def test_check_says_what_travels_in_clear(tmp_path: Path) -> None:
    service = Service(tmp_path, page=True, page_lines=f'listen = "0.0.0.0"\npassphrase = "{WORDS}"')
    service.write_config()
    assert IN_CLEAR in " ".join(service.command("check").stdout.split())
    at_home = Service(tmp_path / "home", page=True)
    at_home.write_config()
    assert IN_CLEAR not in " ".join(at_home.command("check").stdout.split())


def test_a_certificate_that_cannot_be_used_is_named(keys: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.key"
    other.write_text((keys / "ca.key").read_text())
    with pytest.raises(CannotListen, match="the key belongs to another certificate"):
        certificate_of(keys / "broker.crt", other)
    with pytest.raises(CannotListen, match=r"none\.key cannot be read: No such file"):
        certificate_of(keys / "broker.crt", tmp_path / "none.key")
    encrypted = tmp_path / "encrypted.key"
    subprocess.run(
        f"openssl ec -in {keys / 'broker.key'} -aes256 -passout pass:x -out {encrypted}".split(),
        check=True,
        capture_output=True,
    )
    with pytest.raises(CannotListen, match="encrypted"):
        certificate_of(keys / "broker.crt", encrypted)
