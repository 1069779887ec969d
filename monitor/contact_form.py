"""Are the contacts' URLs of a form that Apprise knows? Asked by `settings` and the set-up.

Apprise loads more than a hundred services to answer, some 30 MB that a small board should not
carry for weeks: so a child process answers and ends. Run as `python -m` it is that child, and in
no folder, as that one's other modules would be loaded with it."""

import json
import re
import sys

from monitor import child

LIMIT_S = 60.0

Service = tuple[str, str]  # module and class of one of Apprise's services

_found: dict[str, Service] = {}  # by URL


def has_stray_space(url: str) -> bool:
    """Most come with what was copied from a mail; Apprise takes the halves for two topics, and
    sends to nobody. It knows what to do with one in a password, or after a comma in a list."""
    rest = url.strip().partition("://")[2]
    log_in = re.match(r"[^/?#]*@", rest)
    return re.search(r"(?<!,)\s", rest[log_in.end() :] if log_in else rest) is not None


def unknown_forms(urls: list[str]) -> list[int]:
    """The indexes of the URLs Apprise cannot use. Sends nothing. Raises ChildFailed if the child
    could not answer within 60 s."""
    if not urls:
        return []
    said = json.loads(
        child.run("monitor.contact_form", given=json.dumps(urls).encode(), limit_s=LIMIT_S)
    )
    for url, service in zip(urls, said, strict=True):
        if service is not None:
            _found[url] = tuple(service)
    return [index for index, service in enumerate(said) if service is None]


def found_before(urls: list[str]) -> dict[str, Service]:
    """What takes those of these URLs that were asked about: the sender need not look again."""
    return {url: _found[url] for url in urls if url in _found}


def service_of(url: str) -> Service | None:
    """What takes this URL; None: nothing does. For a child of ours alone."""
    import apprise  # noqa: PLC0415 - the whole reason for the child

    try:
        instance = apprise.Apprise.instantiate(url)
    except Exception:  # whatever a plug-in raises, it must not end who asks
        return None
    return None if instance is None else (type(instance).__module__, type(instance).__name__)


def _child() -> None:
    import logging  # noqa: PLC0415 - the child's own business

    logging.disable(logging.CRITICAL)  # Apprise repeats URLs in its warnings
    sys.stdout.write(json.dumps([service_of(url) for url in json.load(sys.stdin)]))


if __name__ == "__main__":
    _child()
