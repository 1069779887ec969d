"""Renews the two pictures of README.md, of invented nights, by the program itself.

python tests/bench/readme_pictures.py      # a minute: a night is rehearsed at speed"""

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT)]

from support import nightjournal  # noqa: E402
from support.browser import PHONE, chromium, tab  # noqa: E402
from support.fake_api import NIGHT, FakeApi, failing_porch, placed, site, status  # noqa: E402
from support.served import Served  # noqa: E402

from monitor.commands import main as brooder  # noqa: E402

PICTURES = ROOT / "deploy" / "pictures"


def said(*words: str) -> None:
    """A command of ours, in this process."""
    sys.argv = ["brooder", *words]
    try:
        brooder()
    except SystemExit as ended:
        if ended.code:
            raise


def page(folder: Path) -> None:
    """Now on a phone at two in the morning: a lamp has just died."""
    journal = folder / "page.db"
    nightjournal.write(journal, site(), placed(), start=NIGHT - 86400, stop=NIGHT, every_s=60)
    api = FakeApi(site(), status(failing_porch()), journal_path=journal)
    api.entries = placed()
    with (
        Served(api, clock=lambda: NIGHT) as served,
        chromium() as browser,
        tab(browser, PHONE, timezone_id="America/Chicago") as seen,
    ):
        seen.context.add_cookies([{"name": "brooder_paper", "value": "dark", "url": served.url}])
        seen.goto(served.url)
        seen.wait_for_load_state("networkidle")
        seen.screenshot(path=PICTURES / "page.png")


def main() -> int:
    """Both."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        page(folder)
        journal = str(folder / "night.db")
        said("rehearse", "--speed", "900", "--journal", journal)
        said("review", "--journal", journal, "--picture", str(PICTURES / "night.png"))
    return 0


if __name__ == "__main__":
    sys.exit(main())
