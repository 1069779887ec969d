"""Whatever a payload, a name or a note holds, it is read as text and never as part of the page."""

from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.birds import chicks_in
from support.fake_api import (
    NIGHT,
    FakeApi,
    alarm,
    brooder,
    probe,
    site,
    status,
)
from support.served import Served
from support.visitor import Visitor

from monitor.events import AlarmName, Entry, EntryKind
from monitor.watch.life_cycle import AlarmState

NASTY = st.sampled_from(
    [
        "<script>alert(1)</script>",
        "\"><img src=x onerror='alert(1)'>",
        "</textarea><svg onload=alert(1)>",
        "' onmouseover='alert(1)",
        "{{ 7 * 7 }}{% raw %}",
        "</title><body onload=alert(1)>",
        "javascript:alert(1)",
        "&lt;b&gt;",
        "<!--",
        "]]>",
        "\u202ezzz<i>",
    ]
)
TEXT = st.one_of(NASTY, st.text(min_size=1, max_size=40), st.builds("{}{}".format, NASTY, NASTY))
NAMES = TEXT.filter(lambda name: not set(name) & set("/+#\x7f") and name.isprintable())
PATHS = ["/", "/do", "/do/loss", "/do/contacts", "/do/undo/2", "/record", "/set-up", "/do/tonight"]


class Shape(HTMLParser):
    """Tags and attribute names of a page, in order: what somebody else's text must not touch."""

    def __init__(self, body: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, tuple[str, ...]]] = []
        self.links: list[str] = []
        self.feed(body)
        self.close()

    def count(self, tag: str) -> int:
        return sum(name == tag for name, _ in self.tags)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, tuple(name for name, _ in attrs)))
        self.links += [value or "" for name, value in attrs if name in ("href", "src", "action")]


def api_with(name: str, text: str) -> FakeApi:
    """A service in which every word that comes from elsewhere is one of these."""
    here = site(name=text)
    porch = here.brooders[0]
    renamed = replace(
        porch,
        name=name,
        probes=tuple(
            replace(p, name=name, brooder=name, key=f"{name}/{p.key}") for p in porch.probes
        ),
        heat=tuple(replace(h, name=name) for h in porch.heat),
    )
    alarms = (
        alarm(
            box=name, facts={"source": text, "mend": [text], "reason": text, "outside_from": text}
        ),
        alarm(
            AlarmName.PROBE_FAULT,
            box=name,
            probe=f"{name}/{name}",
            facts={"reason": text, "detail": text, "contact": text},
            state=AlarmState.SHELVED,
            shelved_note=text,
            by=text,
        ),
    )
    box = brooder(name, alarms=alarms, probes=(probe("porch/floor", 31.8, name=name, fault=text),))
    api = FakeApi(replace(here, brooders=(renamed,)), status(box))
    api.entries = [
        chicks_in(NIGHT - 9e5, brooder=name, number=1, hatched="2026-02-01", note=text),
        Entry(at=NIGHT - 8e5, entry=EntryKind.LOSS, brooder=name, number=2, count=2, note=text),
        Entry(at=NIGHT - 7e5, entry=EntryKind.NOTE, brooder=name, number=3, note=text),
    ]
    api.heard_topics = [
        {"topic": text, "count": 3, "last_at": NIGHT, "excerpt": text, "lines": text}
    ]
    api.refused_messages = [
        {"topic": text, "reason": text, "count": 1, "last_at": NIGHT, "excerpt": text}
    ]
    api.settings = [("site.name", text)]
    api.links["abc"] = tuple(one.occurrence for one in alarms)
    return api


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    with Served(api_with("plain", "plain"), clock=lambda: NIGHT) as page:
        yield page


@pytest.fixture(scope="module")
def plain(served: Served) -> dict[str, Shape]:
    """The same pages with harmless words."""
    become(served, api_with("plain", "plain"))
    visitor = Visitor(served.port)
    return {path: Shape(visitor.get(path).body) for path in [*PATHS, "/answer/abc"]}


def become(served: Served, api: FakeApi) -> None:
    """The running page's service turns into this one."""
    served.api.__dict__.update(
        {k: v for k, v in api.__dict__.items() if k not in ("_newer", "journal_path")}
    )


@given(name=NAMES, text=TEXT)
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_words_from_elsewhere_change_no_tag_and_no_attribute(
    served: Served, plain: dict[str, Shape], name: str, text: str
):
    become(served, api_with(name, text))
    visitor = Visitor(served.port)
    for path, expected in plain.items():
        answer = visitor.get(path)
        assert answer.status == 200, (path, answer.words)
        shape = Shape(answer.body)
        # A line more or less is fine (a note may have two); a new kind of tag is not.
        assert set(shape.tags) <= set(expected.tags), path
        assert shape.count("script") == expected.count("script"), path
        assert all(link.startswith(("/", "#sheet")) for link in shape.links), path


@given(note=TEXT)
@settings(
    max_examples=30,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_a_note_comes_back_as_it_was_written(served: Served, note: str):
    become(served, api_with("porch", "plain"))
    visitor = Visitor(served.port)
    visitor.get("/do")
    answer = visitor.send("/do/loss", brooder="porch", count="none", note=note)
    kept = answer.body.partition('name="note"')[2].partition(">")[2].partition("</textarea>")[0]
    assert "<" not in kept
    assert unescape(kept) == note.replace("\x00", "")
