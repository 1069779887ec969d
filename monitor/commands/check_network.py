"""What others on the network could read or do: the part of `brooder check` about the page's and the
built-in broker's doors."""

from collections.abc import Iterator

from monitor.settings import Settings

Said = tuple[str, bool | None, str]  # subject, well or not (None: worth knowing), words
_HOME = ("127.0.0.1", "::1", "localhost")


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
    elif page.listen not in _HOME:
        yield (
            "page",
            None,
            "speaks plain http on the network: whoever shares it can read the passphrase and the "
            "sign-in; cert_file and key_file make it https (README, The page)",
        )
    if page.behind_proxy and page.listen not in _HOME:
        yield (
            "page",
            None,
            f"can be reached past its proxy; only {page.proxy_address} is believed about who asks. "
            'With the proxy on this board, listen = "127.0.0.1" closes that way',
        )


def broker_door(settings: Settings) -> Iterator[Said]:
    """The way between probes and broker."""
    file = settings.file
    own = file.built_in_broker
    other = file.broker
    if other is None:
        in_clear = own.listen not in _HOME and own.cert_file is None
    else:
        in_clear = other.host not in _HOME and not other.tls and other.password is not None
    if in_clear:
        yield (
            "built-in broker" if other is None else "broker",
            None,
            "is reached without TLS: whoever shares the network can read the passwords of the "
            "probes"
            if other is None
            else "is reached without TLS: whoever shares the network can read our password",
        )
