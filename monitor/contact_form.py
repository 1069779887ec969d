"""Are the contacts' URLs of a form that Apprise knows? Asked by `settings` and the set-up.

Apprise loads more than a hundred services to answer, some 30 MB that a small board should not
carry for weeks: so a child process answers and ends. Run as `python -m` it is that child, and in
no folder, as that one's other modules would be loaded with it."""

import json
import sys

from monitor import child

LIMIT_S = 60.0


def unknown_forms(urls: list[str]) -> list[int]:
    """The indexes of the URLs Apprise cannot use. Sends nothing. Raises ChildFailed if the child
    could not answer within 60 s."""
    if not urls:
        return []
    said = child.run("monitor.contact_form", given=json.dumps(urls).encode(), limit_s=LIMIT_S)
    return [int(i) for i in json.loads(said)]


def _child() -> None:
    import logging  # noqa: PLC0415 - the child's own business

    import apprise  # noqa: PLC0415 - the whole reason for the child

    logging.disable(logging.CRITICAL)  # Apprise repeats URLs in its warnings
    urls = json.load(sys.stdin)
    bad = [i for i, url in enumerate(urls) if apprise.Apprise.instantiate(url) is None]
    sys.stdout.write(json.dumps(bad))


if __name__ == "__main__":
    _child()
