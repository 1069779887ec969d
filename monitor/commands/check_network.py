"""What others on the network could read or do: the part of `brooder check` about the page's and the
built-in broker's doors."""

from collections.abc import Iterator

from monitor.doorway import THIS_MACHINE
from monitor.intake.rights import Rights, RightsFault, accounts_of
from monitor.service.configured import rights_of
from monitor.settings import Settings

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
            mend = (
                f"name one {names}, or write a rights_file" if by_name else "add it to the rights"
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
