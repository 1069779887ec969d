"""What Apprise was asked once is not asked again at a start; what wakes nobody makes no sound."""

import json
import os
from typing import Any

import pytest

from monitor.contact_form import found_before, unknown_forms
from monitor.tell import sender

KNOWN, UNKNOWN = "json://127.0.0.1:9/alert", "nonsense://x"


def instance(url: str) -> Any:
    from apprise import Apprise  # noqa: PLC0415 - takes a moment, which only this file needs

    return Apprise.instantiate(url)


def answers(job: dict[str, object]) -> list[dict[str, object]]:
    """What a sender says to one job."""
    (job_out, job_in), (said_out, said_in) = os.pipe(), os.pipe()
    os.write(job_in, json.dumps(job).encode() + b"\n")
    os.close(job_in)
    sender.Sender(job_out, said_in).run()
    os.close(said_in)
    with os.fdopen(said_out) as said:
        return [json.loads(line) for line in said]


def test_services_that_the_check_has_found_are_not_looked_for_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert unknown_forms([KNOWN, UNKNOWN]) == [1]
    found = found_before([KNOWN, UNKNOWN])
    assert list(found) == [KNOWN]

    def looks() -> int:
        raise AssertionError("it looks through all services")

    monkeypatch.setattr(os, "fork", looks)
    assert answers({"warm": [KNOWN], "found": found}) == [{"warm": True}]
    with pytest.raises(AssertionError, match="all services"):
        answers({"warm": [KNOWN]})


@pytest.mark.parametrize(
    ("asked", "priority"), [("", "min"), ("?priority=default", "min"), ("?priority=high", "high")]
)
def test_what_is_to_wake_nobody_goes_out_lowest_unless_the_url_says_otherwise(
    asked: str, priority: str
) -> None:
    """Asked of the step itself, here and below: what a service got of it, it alone knows."""
    to = instance(f"ntfys://push.example.org/chicks{asked}")
    sender._make_no_sound(to)
    assert to.priority == priority


def test_where_a_service_knows_no_sound_nothing_is_changed() -> None:
    to = instance(KNOWN)
    sender._make_no_sound(to)
    assert not hasattr(to, "priority")
