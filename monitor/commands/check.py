"""`brooder check`: is everything well before the night? Configuration, broker, store, mirror,
contacts. Changes nothing, sends nothing unless told to."""

import shutil
import socket
from collections.abc import Callable, Iterator, Mapping
from typing import Annotated, Any, NamedTuple

import typer

from monitor.brooding import lamp_safety
from monitor.commands.ask import still_missing
from monitor.commands.common import NOT_WELL, ConfigOption, out, port_refused, settings_or_exit
from monitor.doorway import THIS_MACHINE
from monitor.intake.rights import Rights, RightsFault, accounts_of
from monitor.intake.try_broker import try_broker
from monitor.journal.ownership import make_folder
from monitor.journal.records import StorageFault
from monitor.journal.store import Journal
from monitor.measures import counted
from monitor.service.configured import broker_address, contacts_of, rights_of
from monitor.service.control import NoService, ask
from monitor.settings import Settings
from monitor.settings.document import every_key
from monitor.settings.shown import shown
from monitor.site import Meter
from monitor.tell.contact import masked
from monitor.tell.house_voice import PROGRAM
from monitor.tell.try_contacts import try_out

_NO_MIRROR = "no [influx] is configured: the records are on this board alone"


class Found(NamedTuple):
    """One thing looked at. `well` None: worth knowing, but no fault."""

    subject: str
    well: bool | None
    words: str


def check(
    send: Annotated[
        bool, typer.Option("--send", help="Really send a trial message to each contact.")
    ] = False,
    keys: Annotated[
        bool, typer.Option("--keys", help="Print every key of the configuration, and stop.")
    ] = False,
    config: ConfigOption = None,
) -> None:
    """Check everything before the night. Says what is well, and what is still missing with the
    one thing to do. Exit code 0: all is well; 1: something essential is missing; 2: the
    configuration is wrong."""
    if keys:
        out().print(every_key(), end="")
        return
    settings = settings_or_exit(config, check_contacts=True)
    about = _of_the_service(settings)
    parts: list[Callable[[], Iterator[Found]]] = [
        lambda: _configuration(settings),
        lambda: _broker(settings, about),
        lambda: (Found(*said) for said in broker_door(settings)),
        lambda: (Found(*said) for said in page_door(settings)),
        lambda: _estimates(about),
        lambda: _store(settings, about),
        lambda: _mirror(settings, about),
        lambda: _contacts(settings, send=send),
        lambda: _voice(settings, about),
        lambda: _tonight(settings, about),
    ]
    ill = 0
    for part in parts:
        for found in part():
            ill += found.well is False
            mark = {True: "well", False: "NOT WELL", None: "note"}[found.well]
            out().print(f"{mark:<9} {found.subject}: {found.words}")
    if ill:
        out().print(f"{counted(ill, 'thing')} missing for tonight.", style="bold")
        raise typer.Exit(NOT_WELL)
    out().print("All well for tonight.", style="bold")


def _configuration(settings: Settings) -> Iterator[Found]:
    site = settings.site
    boxes = counted(len(site.brooders), "box", "boxes")
    probes = counted(len(site.all_probes), "probe")
    yield Found(
        "configuration",
        True,
        f"{settings.source}: {site.name}, {boxes}, {probes}",
    )
    for box, words in lamp_safety.fire_warnings(site):
        yield Found(box, None, words)


def _tonight(settings: Settings, about: Mapping[str, Any] | None) -> Iterator[Found]:
    """What is still missing, as the page's Now has it."""
    if about is not None:
        yield from _not_in_force(settings)
    for one in still_missing(settings):
        yield Found(one.subject, False if one.essential else None, f"{one.words}. {one.do}")


def _not_in_force(settings: Settings) -> Iterator[Found]:
    running = dict(ask(settings.control_paths, "settings"))
    written = dict(shown(settings))
    changed = sorted(
        key for key in running.keys() | written.keys() if running.get(key) != written.get(key)
    )
    if changed:
        yield Found(
            "configuration",
            False,
            f"the running service has not taken what was changed in it ({', '.join(changed[:5])}"
            f"{', ...' if len(changed) > 5 else ''}). sudo systemctl reload brooder, or start it "
            "again",
        )


def _of_the_service(settings: Settings) -> Mapping[str, Any] | None:
    """What the running service says about itself; None: none runs."""
    try:
        about: Mapping[str, Any] = ask(settings.control_paths, "about")
    except NoService:
        return None
    return about


def _broker(settings: Settings, about: Mapping[str, Any] | None) -> Iterator[Found]:
    address = broker_address(settings)
    if address is not None and about is not None and about["broker_connected"]:
        # A second connection of our account could push out the first (deploy/mosquitto).
        yield Found("broker", True, f"the running service is {about['broker']}")
        return
    if address is None:
        own = settings.file.built_in_broker
        if about is None:
            yield _port_free(own.listen, own.port)
        else:
            yield Found("built-in broker", bool(about["broker_connected"]), about["broker"])
        return
    why = try_broker(address)
    yield Found("broker", why is None, f"{address} lets us in" if why is None else why)


def _estimates(about: Mapping[str, Any] | None) -> Iterator[Found]:
    for name in about.get("without_estimate", ()) if about is not None else ():
        yield Found(
            name,
            False,
            "dead lamps are not recognised there: a part of the running service has failed; the "
            "alarms for too cold and too hot go on; restart it, and report the fault with the "
            "lines of its log",
        )


def _port_free(host: str, port: int) -> Found:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            words = port_refused(host, port, error.errno or 0)
            return Found("built-in broker", False, words)
    return Found("built-in broker", True, f"{host}:{port} is free for it")


def _store(settings: Settings, about: Mapping[str, Any] | None) -> Iterator[Found]:
    where = settings.journal_path
    if about is not None:
        words = (
            f"the running service {'keeps' if about['journal_ok'] else 'cannot keep'} its records"
        )
        why = f": {about['journal_why']}" if about.get("journal_why") else ""
        yield Found("journal", bool(about["journal_ok"]), f"{words} in {where}{why}")
        return
    try:
        make_folder(settings.state_folder)
        with Journal.open(where) as journal:
            aside = journal.set_aside
    except StorageFault as fault:
        yield Found("journal", False, f"{where}: {fault.words}")
    except OSError as error:
        yield Found("journal", False, f"{where}: {error.strerror}")
    else:
        if aside is not None:
            yield Found(
                "journal",
                False,
                f"{where} was damaged and set aside as {aside.name}; brooder salvage brings back "
                "what can be read",
            )
        yield Found("journal", True, f"{where} can be written")


def _mirror(settings: Settings, about: Mapping[str, Any] | None) -> Iterator[Found]:
    if settings.file.influx is None:
        yield Found("mirror", None, _NO_MIRROR)
        return
    from monitor.commands.mirror import findings  # noqa: PLC0415 - a heavy library

    said = findings(settings)
    if (
        about is not None
        and not about["mirror_well"]
        and all(well is not False for well, _ in said)
    ):
        said.append((False, about["mirror"]))
    for well, words in said:
        yield Found("mirror", well, words)


def _contacts(settings: Settings, *, send: bool) -> Iterator[Found]:
    contacts = contacts_of(settings)
    if not send:
        for contact in contacts:
            yield Found(f"contact {contact.name}", True, f"{masked(contact.url)}: of a known kind")
        return
    for tried in try_out(contacts, settings.site, settings.file.tell.contact_time_limit_s):
        words = "a trial message was sent" if tried.why is None else f"not reached: {tried.why}"
        yield Found(f"contact {tried.contact}", tried.why is None, words)


def _voice(settings: Settings, about: Mapping[str, Any] | None) -> Iterator[Found]:
    if not settings.file.tell.voice:
        return
    if shutil.which(PROGRAM) is None:
        yield Found("voice", False, f"{PROGRAM} is not installed; sudo apt install {PROGRAM}")
    elif about is not None and about["voice_trouble"] is not None:
        yield Found("voice", False, f"the last words were not heard: {about['voice_trouble']}")
    else:
        yield Found("voice", True, "urgent alarms are said aloud; hear it: brooder contacts try")


Said = tuple[str, bool | None, str]  # subject, well or not (None: worth knowing), words
_IN_CLEAR = "whoever shares the network can read"


def page_door(settings: Settings) -> Iterator[Said]:
    """Certificate, proxy, and what travels in clear."""
    page = settings.file.page
    if not page.enabled:
        return
    files = settings.page_certificate
    if files is not None:
        from monitor.page.serve import CannotListen, certificate_of  # noqa: PLC0415 - heavy

        try:
            certificate_of(*files)
        except CannotListen as fault:
            yield "page", False, str(fault)
        else:
            yield "page", True, f"speaks https, with the certificate {files[0]}"
        if page.public_url is not None and page.public_url.startswith("http://"):
            yield (
                "page",
                False,
                'page.public_url begins with "http://", but the page speaks https: the links in '
                "messages would not open",
            )
    elif page.listen not in THIS_MACHINE:
        yield (
            "page",
            None,
            f"speaks plain http: {_IN_CLEAR} the passphrase and the sign-in on their way; "
            "cert_file and key_file make it https (README, The page)",
        )
    if page.behind_proxy and page.listen not in THIS_MACHINE:
        yield (
            "page",
            None,
            f"can be reached past its proxy; only {page.proxy_address} is believed about who asks. "
            'With the proxy on this board, listen = "127.0.0.1" closes that way',
        )


def broker_door(settings: Settings) -> Iterator[Said]:
    """The way between probes and broker, and who may say what there."""
    file = settings.file
    own, other = file.built_in_broker, file.broker
    if other is not None:
        if other.host not in THIS_MACHINE and not other.tls and other.password is not None:
            yield "broker", None, f"is reached without TLS: {_IN_CLEAR} our password"
        return
    if own.listen not in THIS_MACHINE and own.cert_file is None:
        yield "built-in broker", None, f"is reached without TLS: {_IN_CLEAR} the probes' passwords"
    try:
        rights = rights_of(settings)
    except (RightsFault, OSError) as fault:
        yield "built-in broker", False, str(fault)
        return
    if rights is not None:
        yield from _accounts(settings, rights, by_name=own.rights_file is None)


def _accounts(settings: Settings, rights: Rights, *, by_name: bool) -> Iterator[Said]:
    may: dict[str, list[str]] = {account: [] for account in rights.accounts}
    for probe in settings.site.published:
        allowed = [name for name in may if rights.may_write(name, "any", probe.topic)]
        for name in allowed:
            may[name].append(probe.topic)
        if not allowed:
            names = " or ".join(accounts_of(probe))
            called = probe.title if isinstance(probe, Meter) else probe.name
            mend = (
                f'`brooder probes add "{called}"` makes one; or name yours {names}, or write a '
                "rights_file"
                if by_name
                else "add it to the rights"
            )
            yield (
                "built-in broker",
                False,
                f"no account may publish {probe.topic}, which {probe.key} reads: {mend}",
            )
    for name, topics in may.items():
        if by_name and not topics:
            words = "is named after no box and no probe, so it may publish nothing"
            yield f"account {name}", None, words
