"""A new probe with everything it needs: its lines in the configuration, its account and rights at
the broker, and the card that says what to type into it. Called by `brooder probes add` and the
guided set-up: `prepare` looks and writes nothing, `carry_out` writes.

At the built-in broker the account goes into its accounts file. At a Mosquitto on this board it goes
into the files of deploy/mosquitto, the password through Mosquitto's own program. At any other
broker the account is somebody else's to make, and the card says which."""

import contextlib
import socket
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import tomlkit

from monitor.brooding.objection import Objection
from monitor.doorway import THIS_MACHINE
from monitor.intake.accounts import hashed, new_password, with_account, with_right
from monitor.intake.mosquitto import MosquittoFault, hashed_by_mosquitto, let_mosquitto_read
from monitor.intake.rights import Rights, RightsFault, accounts_of
from monitor.intake.topics import Sensor
from monitor.settings import Settings
from monitor.settings.file_model import BrokerSettings
from monitor.settings.rewriting import FileChange, NotWritten, propose, replace_text
from monitor.settings.toml_edits import add_probe, open_to_network, topic_for
from monitor.site import Meter, Place, Probe, Site, place_for

MOSQUITTO_FILES = Path("/etc/mosquitto/brooder")  # as deploy/mosquitto has it
EVERYWHERE = "0.0.0.0"  # noqa: S104 - written only where somebody has asked for it
_ALL = (EVERYWHERE, "::")
NEW_ACCOUNTS = "accounts"  # beside the configuration
_TLS_PORT, _PORT = 8883, 1883


@dataclass(frozen=True, slots=True, kw_only=True)
class AccountCard:
    """What is typed into the probe, shown once: the same lines as text, in the code for a phone's
    camera, and in the file that the probe program reads."""

    broker: str
    port: int
    tls: bool
    topic: str
    name: str | None  # of the account; None: none is needed
    password: str | None = field(repr=False)  # None: with a name, somebody else's to give

    @property
    def lines(self) -> str:
        """`key = value`, a line each."""
        said = {"broker": self.broker, "port": self.port}
        if self.tls:
            said["tls"] = "yes"
        if self.name is not None:
            said["name"] = self.name
            said["password"] = self.password or "(as the broker's keeper gives it)"
        return "\n".join(f"{key} = {value}" for key, value in {**said, "topic": self.topic}.items())


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """Everything as it will be. `consequences` are to be said, and agreed to, before it is done."""

    probe: Sensor
    card: AccountCard
    change: FileChange | None = None  # None: the configuration stays as it is
    consequences: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()  # said afterwards
    accounts: Path | None = None  # the file in which the account is written
    rights: Path | None = None
    mosquitto: bool = False
    reader: str | None = None  # the service's own account, where it may not read the topic yet


def prepare(
    settings: Settings,
    name: str,
    *,
    brooder: str | None,
    place: Place | None = None,
    network: bool = False,
    address: str | None = None,
    mosquitto_files: Path = MOSQUITTO_FILES,
) -> Prepared:
    """A probe of this box, or of the site where `brooder` is None. One that is configured already,
    or a meter (a plug's watts, the humidity), gets an account anew. `network` opens the built-in
    broker to the network. Raises Objection, SettingsFault, NotWritten."""
    probe = next((p for p in named(settings.site, name) if p.brooder == brooder), None)
    is_new = probe is None
    if probe is None:
        probe = _new(settings, name, brooder, place)
        account = accounts_of(probe)[0]
        if any(account in accounts_of(other) for other in settings.site.published):
            raise Objection(
                f'a probe called "{name}" would have the account {account}, which another one '
                "has already; choose another name"
            )
    elif place is not None and place is not (at := getattr(probe, "place", None)):
        raise Objection(
            f"{probe.key} is configured already, as {at.value if at else 'a meter'}; leave --place "
            "out, or change it in the configuration"
        )
    file, own = settings.file, settings.file.built_in_broker
    opens = network and own.listen in THIS_MACHINE
    if file.broker is None:
        ready = _at_the_built_in(settings, probe, opens=opens, address=address)
    else:
        if network:
            raise Objection(
                "--network opens the built-in broker, and [broker] names another one; that one's "
                "own configuration says where it listens"
            )
        ready = _at_another(file.broker, probe, address, mosquitto_files)

    def edit(document: tomlkit.TOMLDocument) -> None:
        if is_new and isinstance(probe, Probe):
            add_probe(document, brooder=brooder, name=name, topic=probe.topic, place=probe.place)
        if opens:
            accounts_file = None if own.accounts_file else NEW_ACCOUNTS
            open_to_network(document, listen=EVERYWHERE, accounts_file=accounts_file)

    change = propose(settings.source, edit) if is_new or opens else None
    return replace(ready, change=change)


def named(site: Site, name: str) -> list[Sensor]:
    """What publishes under this name, in whichever box."""
    return [
        sensor
        for sensor in site.published
        if (sensor.title if isinstance(sensor, Meter) else sensor.name).casefold()
        == name.casefold()
    ]


def carry_out(prepared: Prepared) -> tuple[str, ...]:
    """Account and rights first, then the configuration: a probe that nobody reads yet is harmless,
    one that nobody lets in is not. What is left to do. Raises NotWritten."""
    card = prepared.card
    try:
        if prepared.accounts is not None and card.name is not None and card.password is not None:
            stored = (
                hashed_by_mosquitto(card.name, card.password)
                if prepared.mosquitto
                else hashed(card.password)
            )
            _change_text(
                prepared.accounts, lambda text: with_account(text, card.name or "", stored)
            )
        if prepared.rights is not None and card.name is not None:
            _change_text(prepared.rights, lambda text: _with_rights(text, prepared))
    except MosquittoFault as fault:
        raise NotWritten(str(fault)) from fault
    except OSError as fault:
        where = fault.filename or prepared.accounts
        sudo = "; put sudo before the command" if isinstance(fault, PermissionError) else ""
        raise NotWritten(
            f"{where} could not be written: {fault.strerror or fault}{sudo}"
        ) from fault
    if prepared.change is not None:
        prepared.change.write()
    notes = prepared.notes
    if prepared.mosquitto and not let_mosquitto_read(prepared.accounts or MOSQUITTO_FILES):
        notes += (
            "Mosquitto takes the account with: sudo systemctl reload mosquitto (in a container: "
            "send it the signal HUP)",
        )
    return notes


def _new(settings: Settings, name: str, brooder: str | None, place: Place | None) -> Probe:
    if brooder is None:
        if place not in (None, Place.OUTSIDE):
            raise Objection("a probe of the whole site lies outside; name its box with --brooder")
        place = Place.OUTSIDE
    place = place or place_for(name)
    return Probe(
        key=f"{brooder or 'site'}/{name}",
        brooder=brooder,
        name=name,
        topic=topic_for(settings.file.tell.topic_prefix, brooder, name),
        place=place,
    )


def _at_the_built_in(
    settings: Settings, probe: Sensor, *, opens: bool, address: str | None
) -> Prepared:
    own = settings.file.built_in_broker
    base = settings.source.parent
    listen = EVERYWHERE if opens else own.listen
    file = own.accounts_file or (NEW_ACCOUNTS if opens else None)
    consequences, notes = [], []
    if opens:
        consequences += _of_opening(settings, probe, own.cert_file is not None)
        notes.append(
            "The broker listens on the network from the next start of the service on: "
            "sudo systemctl restart brooder, or stop it and start it."
        )
    account = accounts_of(probe)[0] if file is not None else None
    accounts = base / file if file is not None else None
    rights = base / own.rights_file if own.rights_file else None
    if accounts is not None and accounts.exists() and account in _read(accounts).accounts:
        consequences.append(_again(str(account)))
    if listen in THIS_MACHINE:
        notes.append(
            "The broker listens on this machine alone, so a probe on the Wi-Fi does not reach it. "
            "Add it again with --network, or on the page with a tick at the Wi-Fi: then it does."
        )
    return Prepared(
        probe=probe,
        card=AccountCard(
            broker=address or (_own_address() if listen in _ALL else listen),
            port=own.port or _PORT,
            tls=own.cert_file is not None,
            topic=probe.topic,
            name=account,
            password=new_password() if account is not None else None,
        ),
        consequences=tuple(consequences),
        notes=tuple(notes),
        accounts=accounts,
        rights=rights,
    )


def _of_opening(settings: Settings, probe: Sensor, tls: bool) -> list[str]:
    own = settings.file.built_in_broker
    said = [
        f"The broker will listen on every address of this board, port {own.port}, for whoever "
        "shares your network. Never forward that port at your router.",
        "Everything that speaks to it then needs an account, on this machine too. An account may "
        "publish its own topic and nothing else.",
    ]
    if not tls:
        said.append(
            "Without a certificate passwords and readings travel in clear: whoever can listen on "
            "the Wi-Fi can publish a false temperature. On a network that you share use TLS "
            "(cert_file and key_file)."
        )
    others = [p.key for p in settings.site.published if p.key != probe.key]
    if others and own.accounts_file is None:
        said.append(
            f"No account yet: {', '.join(others)}. Until each has its own "
            "(add it once more under its name) the broker turns it away, and its box is told of."
        )
    return said


def _at_another(
    broker: BrokerSettings, probe: Sensor, address: str | None, files: Path
) -> Prepared:
    account = accounts_of(probe)[0]
    here = broker.host in THIS_MACHINE
    accounts, rights = files / "passwords", files / "rights"
    card = AccountCard(
        broker=address or (_own_address() if here else broker.host),
        port=broker.port or (_TLS_PORT if broker.tls else _PORT),
        tls=broker.tls,
        topic=probe.topic,
        name=account,
        password=None,
    )
    if not accounts.is_file():
        reads = f", and let {broker.username} read it" if broker.username else ""
        note = (
            f"Make the account {account} at your broker ({broker.host}), with the right to publish "
            f"{probe.topic}{reads}."
        )
        return Prepared(probe=probe, card=card, notes=(note,))
    if not (here or address):  # another container of this board
        card = replace(card, broker="(this board's name or address)")
    known = _read(accounts, rights if rights.is_file() else None)
    reader = broker.username
    if reader is not None and known.may_read(reader, reader, probe.topic):
        reader = None
    notes: tuple[str, ...] = ()
    if (files / "broker.crt").is_file():  # as deploy/mosquitto lets the network in
        card = replace(card, port=_TLS_PORT, tls=True)
        notes = (f"The probe knows the broker by {files / 'ca.crt'}: copy that to it too.",)
    return Prepared(
        probe=probe,
        card=replace(card, password=new_password()),
        consequences=(_again(account),) if account in known.accounts else (),
        notes=notes,
        accounts=accounts,
        rights=rights,
        mosquitto=True,
        reader=reader,
    )


def _again(account: str) -> str:
    return (
        f"The account {account} is there already. It gets a new password, and whatever uses the "
        "old one is turned away when it next connects."
    )


def _read(accounts: Path, rights: Path | None = None) -> Rights:
    try:
        return Rights.from_files(accounts, rights)
    except RightsFault as fault:
        raise Objection(str(fault)) from fault
    except OSError as fault:
        why = f"{fault.filename} cannot be read ({fault.strerror}); put sudo before the command"
        raise Objection(why) from fault


def _with_rights(text: str, prepared: Prepared) -> str:
    topic = prepared.probe.topic
    text = with_right(text, prepared.card.name or "", "write", topic)
    return with_right(text, prepared.reader, "read", topic) if prepared.reader else text


def _change_text(path: Path, change: Callable[[str], str]) -> None:
    before = path.read_text(encoding="utf-8") if path.exists() else ""
    replace_text(path, change(before))


def _own_address() -> str:
    """By which others on the network most likely reach this board: the address it would send from.
    Nothing is sent (192.0.2.1 is for examples, RFC 5737)."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        line.connect(("192.0.2.1", 9))
        if not (own := str(line.getsockname()[0])).startswith("127."):
            return own
    return f"{socket.gethostname()}.local"
