"""The review is reckoned in a child process: it may hang, die or idle, and the page lives on."""

import asyncio
import http.client
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import psutil
import pytest
from support import nightjournal
from support.fake_api import NIGHT, FakeApi, placed, site
from support.patience import LEAST_S
from support.served import Served
from support.visitor import Visitor

from monitor.brooding.objection import Objection
from monitor.events import Entry, EntryKind, Moment
from monitor.journal.records import Commit, Entered
from monitor.journal.store import Journal
from monitor.page import review_worker, screen_record
from monitor.page.review_worker import Question, ReviewWorker


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("kept") / "journal.db"
    nightjournal.write(path, site(), placed(), start=NIGHT - 8 * 86400, stop=NIGHT, every_s=600)
    return path


def question(journal: Path) -> Question:
    return Question(journal=journal, site=site(), now=NIGHT, brooder="porch", batch=1)


def run(story: Callable[[ReviewWorker], Awaitable[None]]) -> None:
    async def whole() -> None:
        worker = ReviewWorker()
        try:
            await story(worker)
        finally:
            await worker.end()

    asyncio.run(whole())


def child_of(worker: ReviewWorker) -> int:
    """The process that works for it, to be killed or looked at; nobody else needs to know it."""
    assert worker._child is not None
    return worker._child.pid


async def being_asked(worker: ReviewWorker) -> None:
    """Its child has the question, or is given it: seen by nothing but who may ask it next."""
    async with asyncio.timeout(LEAST_S):
        while worker._child is None or not worker._child._in_use.locked():
            await asyncio.sleep(0.01)


def test_the_page_itself_never_loads_numpy_or_the_drawing_library():
    code = (
        "import sys, monitor.page.app, monitor.page.serve, monitor.page.review_child;"
        "print([m for m in ('numpy', 'vl_convert', 'monitor.review', 'scipy') if m in sys.modules])"
    )
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=LEAST_S
    )
    assert said.stdout.strip() == "[]"


def test_one_child_answers_again_and_again_and_is_gone_in_the_end(journal: Path):
    pids = []

    async def story(worker: ReviewWorker) -> None:
        for name in ("sheet_of", "story_of"):
            await worker.ask(name, question(journal))
            pids.append(child_of(worker))

    run(story)
    assert pids[0] == pids[1]
    assert not psutil.pid_exists(pids[0])


def test_what_was_asked_a_moment_ago_is_not_worked_out_again(journal: Path):
    async def story(worker: ReviewWorker) -> None:
        first = await worker.ask("sheet_of", question(journal))
        await worker.end()
        assert await worker.ask("sheet_of", question(journal)) is first
        assert worker._child is None, "the answer was kept: no process was started for it"

    run(story)


def test_a_child_that_hangs_is_ended_and_another_one_answers(
    journal: Path, monkeypatch: pytest.MonkeyPatch
):
    async def story(worker: ReviewWorker) -> None:
        await worker.ask("story_of", question(journal))
        hung = child_of(worker)
        os.kill(hung, signal.SIGSTOP)
        monkeypatch.setattr(review_worker, "KILL_AFTER_S", 0.5)
        with pytest.raises(Objection, match="took longer"):
            await worker.ask("sheet_of", question(journal))
        assert not psutil.pid_exists(hung)
        monkeypatch.setattr(review_worker, "KILL_AFTER_S", LEAST_S)
        assert (await worker.ask("sheet_of", question(journal)))["weeks"]

    run(story)


def test_a_child_that_dies_is_replaced(journal: Path):
    async def story(worker: ReviewWorker) -> None:
        await worker.ask("story_of", question(journal))
        os.kill(child_of(worker), signal.SIGSTOP)
        asked = asyncio.ensure_future(worker.ask("sheet_of", question(journal)))
        await being_asked(worker)
        os.kill(child_of(worker), signal.SIGKILL)
        with pytest.raises(Objection, match="fault of ours"):
            await asked
        assert (await worker.ask("sheet_of", question(journal)))["weeks"]

    run(story)


def test_a_reader_who_goes_away_does_not_leave_his_answer_to_the_next(journal: Path):
    async def story(worker: ReviewWorker) -> None:
        await worker.ask("story_of", question(journal))
        os.kill(child_of(worker), signal.SIGSTOP)
        asked = asyncio.ensure_future(
            worker.ask(
                "story_of",
                Question(
                    journal=journal,
                    site=site(),
                    now=NIGHT,
                    brooder="porch",
                    start=NIGHT - 7200,
                    stop=NIGHT,
                ),
            )
        )
        await being_asked(worker)
        asked.cancel()
        with pytest.raises(asyncio.CancelledError):
            await asked
        assert "weeks" in await worker.ask("sheet_of", question(journal))

    run(story)


def test_an_idle_child_goes_home(journal: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(review_worker, "IDLE_S", 0.2)

    async def story(worker: ReviewWorker) -> None:
        await worker.ask("story_of", question(journal))
        pid = child_of(worker)
        for _ in range(int(LEAST_S / 0.05)):
            if not psutil.pid_exists(pid):
                return
            await asyncio.sleep(0.05)
        pytest.fail("the child is still there")

    run(story)


def test_too_many_at_once_are_told_to_come_back(journal: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(review_worker, "MOST_WAITING", 2)

    async def story(worker: ReviewWorker) -> None:
        spans = [
            Question(
                journal=journal,
                site=site(),
                now=NIGHT,
                brooder="porch",
                start=NIGHT - 7200 - n,
                stop=NIGHT,
            )
            for n in range(3)
        ]
        said = await asyncio.gather(
            *(worker.ask("story_of", one) for one in spans), return_exceptions=True
        )
        assert [type(one) for one in said] == [list, list, Objection]

    run(story)


def test_a_batch_is_had_as_one_file_to_print_and_as_one_page_for_a_vet(journal: Path):
    api = FakeApi(journal_path=journal)
    with Served(api, clock=lambda: NIGHT) as served:
        visitor = Visitor(served.port)
        sheet = visitor.get("/record").body
        for kind, words in (("report", "Record sheet"), ("vet", "What the birds lived through")):
            path = f"/record/{kind}?brooder=porch&amp;batch=1"
            assert path in sheet
            answer = visitor.get(path.replace("&amp;", "&"))
            assert answer.status == 200
            assert words in answer.body
            policy = answer.headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "script-src" not in policy, "a file of the record runs nothing"
        assert visitor.get("/record/vet?brooder=porch&batch=9").status == 404


def test_a_loss_that_was_just_entered_stands_in_the_sheet_that_was_looked_at_before(
    journal: Path, tmp_path: Path
):
    mine = tmp_path / "journal.db"
    shutil.copy(journal, mine)
    api = FakeApi(journal_path=mine)
    found = Entry(
        at=NIGHT - 3600,
        entry=EntryKind.LOSS,
        brooder="porch",
        count=7,
        number=len(api.entries) + 1,
    )
    with Served(api, clock=lambda: NIGHT) as served:
        visitor = Visitor(served.port)
        assert "7 lost" not in visitor.get("/record").words
        with Journal.open(mine) as kept:
            kept.commit(Commit(inputs=[Entered(found, Moment(found.at, found.at))]))
        api.entries.append(found)
        assert "7 lost" in visitor.get("/record").words.partition("The sheet, night by night")[2]


def test_batches_stand_beside_each_other_with_what_each_lost(journal: Path):
    with Served(FakeApi(journal_path=journal), clock=lambda: NIGHT) as served:
        visitor = Visitor(served.port)
        assert 'href="/record/batches"' in visitor.get("/record").body
        answer = visitor.get("/record/batches")
        assert "Batch 1" in answer.words
        assert re.search(r"Lost \d+ \(\d+\.\d %\)", answer.words)


def test_a_record_without_readings_is_said_in_the_page(tmp_path: Path):
    api = FakeApi(journal_path=tmp_path / "none.db")
    with Served(api, clock=lambda: NIGHT) as served:
        answer = Visitor(served.port).get("/record")
        assert answer.status == 200
        assert 'class="notice"' in answer.body
        assert answer.body.rstrip().endswith("</html>")


def test_the_sheet_leads_to_its_nights_and_a_loss_to_the_hours_before(journal: Path):
    api = FakeApi(journal_path=journal)
    with Served(api, clock=lambda: NIGHT) as served:
        visitor = Visitor(served.port)
        sheet = visitor.get("/record")
        assert "9-10 Feb* day 8: lowest 73.1 °F, 2 h 10 min too cold" in sheet.words
        assert sheet.body.count('<svg class="course"') == 9, "one for each night"
        assert sheet.body.count("/record/span?brooder=porch") >= 9
        loss = visitor.get(f"/record/loss?brooder=porch&batch=1&at={NIGHT - 6 * 86400:.3f}")
        assert "2 of 100 lost (piled in the corner)" in loss.words
        assert "no sign of cold or heat" in loss.words or "below the band" in loss.words
        assert "What this record cannot tell" in loss.words


def test_what_is_being_drawn_says_so_before_it_is_there(
    journal: Path, monkeypatch: pytest.MonkeyPatch
):
    goes_on, reads = threading.Event(), screen_record.read_span

    def slow(*asked: Any) -> Any:
        assert goes_on.wait(LEAST_S)
        return reads(*asked)

    monkeypatch.setattr(screen_record, "read_span", slow)
    with Served(FakeApi(journal_path=journal), clock=lambda: NIGHT) as served:
        line = http.client.HTTPConnection("127.0.0.1", served.port, timeout=LEAST_S)
        line.request("GET", f"/record/span?brooder=porch&from={NIGHT - 86400:.0f}&to={NIGHT:.0f}")
        answer = line.getresponse()
        first = answer.read1(100_000).decode()
        assert "Drawing …" in first
        assert "day-floor" not in first
        goes_on.set()
        rest = answer.read().decode()
        assert "day-floor" in rest
        assert "Coldest floor 73.1 °F" in rest
        line.close()


def test_the_target_steps_in_the_picture_of_a_batch(journal: Path):
    with Served(FakeApi(journal_path=journal), clock=lambda: NIGHT) as served:
        path = f"/record/span?brooder=porch&from={NIGHT - 8 * 86400:.0f}&to={NIGHT:.0f}"
        drawn = Visitor(served.port).get(path).body
        target = re.search(r'class="target" d="([^"]+)"', drawn)
        assert target is not None
        levels = dict.fromkeys(y for _, y in re.findall(r"([\d.]+),([\d.]+)", target[1]))
        assert len(levels) == 2, "95 and 90 °F, and nothing between"
        # Two probes 18 °F apart are a block, which nobody can read without a word.
        assert "Filled: coldest to warmest floor probe." in drawn


@pytest.mark.parametrize(
    "path",
    [
        "/record?brooder=nowhere",
        "/record?brooder=porch&batch=9",
        "/record?brooder=porch&batch=-1",
        "/record/span?brooder=porch&from=1&to=1e99",
        "/record/span?brooder=porch&from=abc&to=2",
        f"/record/span?brooder=porch&from={NIGHT}&to={NIGHT - 9}",
        "/record/span?brooder=porch&from=0&to=99999999999",
        "/record/chart.json?brooder=x&from=0&to=1000",
        "/record/loss?brooder=porch&at=nan",
    ],
)
def test_an_address_that_makes_no_sense_is_not_reckoned(journal: Path, path: str):
    with Served(FakeApi(journal_path=journal), clock=lambda: NIGHT) as served:
        assert Visitor(served.port).get(path).status == 404
