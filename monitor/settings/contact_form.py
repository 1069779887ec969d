"""Are the contacts' URLs of a form that Apprise knows? Asked by `load`.

Apprise loads more than a hundred services to answer, some 30 MB that a small board should not
carry for weeks: so a child process answers and ends. Run as `python -m` it is that child."""

import json
import subprocess
import sys


def unknown_forms(urls: list[str]) -> list[int]:
    """The indexes of the URLs Apprise cannot use. Sends nothing. Raises OSError or
    subprocess.SubprocessError if the child could not answer within 60 s."""
    if not urls:
        return []
    done = subprocess.run(
        [sys.executable, "-m", "monitor.settings.contact_form"],
        input=json.dumps(urls).encode(),
        capture_output=True,
        timeout=60,
        check=True,
    )
    return [int(i) for i in json.loads(done.stdout)]


def _child() -> None:
    import logging  # noqa: PLC0415 - the child's own business

    import apprise  # noqa: PLC0415 - the whole reason for the child

    logging.disable(logging.CRITICAL)  # Apprise repeats URLs in its warnings
    urls = json.load(sys.stdin)
    bad = [i for i, url in enumerate(urls) if apprise.Apprise.instantiate(url) is None]
    sys.stdout.write(json.dumps(bad))


if __name__ == "__main__":
    _child()
