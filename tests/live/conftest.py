"""What several files share that try the page in a browser."""

from collections.abc import Iterator
from typing import Any

import pytest


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from support.browser import chromium  # noqa: PLC0415 - loaded only where it is used

    with chromium() as running:
        yield running
