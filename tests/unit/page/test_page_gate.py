"""What passes the gate, over real HTTP: names, other web pages, proxies, sign-in, headers."""

import http.client
from collections.abc import Iterator

import pytest
from support.fake_api import NIGHT, FakeApi, alarm, brooder, failing_porch, status
from support.patience import LEAST_S
from support.served import Served
from support.visitor import Visitor

from monitor.events import AlarmName
from monitor.page.access import Access
from monitor.watch.life_cycle import AlarmState

WORDS = "ten chicks in a box"


@pytest.fixture(scope="module")
def at_home() -> Iterator[Served]:
    """This machine alone: nobody is asked to sign in."""
    with Served(FakeApi(shown=status(failing_porch())), clock=lambda: NIGHT) as served:
        yield served


@pytest.fixture
def locked() -> Iterator[Served]:
    """On the network, with a passphrase."""
    api = FakeApi(shown=status(failing_porch()))
    with Served(api, clock=lambda: NIGHT, passphrase=WORDS) as served:
        yield served


def signed_in(served: Served) -> Visitor:
    visitor = Visitor(served.port)
    visitor.get("/sign-in")
    answer = visitor.send("/sign-in", passphrase=WORDS, next="/do")
    assert (answer.status, answer.headers["location"]) == (303, "/do")
    return visitor


def addresses(served: Served, method: str) -> list[str]:
    """Every address of the application that takes this method, filled in with something."""
    found = []
    for route in served.app.routes:
        if method in route.methods:
            path = route.path.replace("{occurrence:path}", "porch/heat-loss/1")
            path = path.replace("{number:int}", "1").replace("{form}", "loss")
            found.append(path.replace("{token}", "abc").replace("{name}", "sheet.css"))
    return found


def test_a_strange_name_is_refused(at_home: Served):
    answer = Visitor(at_home.port, host="chicks.example").get("/")
    assert answer.status == 421
    assert "porch" not in answer.body.lower()


def test_an_address_without_end_is_refused_in_words(at_home: Served):
    answer = Visitor(at_home.port).get("/do/undo/" + "9" * 5000)
    assert answer.status == 414
    assert "No address" in answer.body


def test_every_answer_carries_the_protecting_headers(at_home: Served):
    visitor = Visitor(at_home.port)
    for path in ["/", "/do", "/set-up", "/nowhere", "/static/sheet.css", "/sign-in", "/answer/x"]:
        headers = visitor.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "http" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert "server" not in headers
        assert "x-powered-by" not in headers


def test_no_page_holds_an_inline_script_or_style(at_home: Served):
    visitor = Visitor(at_home.port)
    for path in ["/", "/do", "/do/loss", "/do/contacts", "/record", "/set-up", "/set-up/probes"]:
        body = visitor.get(path).body
        assert " style=" not in body, path
        assert "<style" not in body, path
        assert "javascript:" not in body, path
        assert "<script>" not in body, path


def test_nothing_comes_from_outside(at_home: Served):
    visitor = Visitor(at_home.port)
    for path in ["/", "/do", "/record", "/set-up", "/static/sheet.css", "/static/page.js"]:
        assert "://" not in visitor.get(path).body, path


def test_a_form_from_another_web_page_is_refused(at_home: Served):
    visitor = Visitor(at_home.port)
    visitor.get("/do")
    form = {"form_token": visitor.token, "paper": "dark", "next": "/"}
    mine = {"Origin": f"http://{visitor.host}", "Sec-Fetch-Site": "same-origin"}
    assert visitor.send_form("/paper", form, mine).status == 303
    for theirs in (
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ):
        assert visitor.send_form("/paper", form, theirs).status == 403, theirs


def test_every_form_but_the_one_use_link_needs_its_token(at_home: Served):
    posts = addresses(at_home, "POST")
    assert len(posts) > 8
    for path in posts:
        visitor, somebody_else = Visitor(at_home.port), Visitor(at_home.port)
        visitor.get("/do")
        somebody_else.get("/do")
        for token in ("", "0" * 64, somebody_else.token):
            answer = visitor.send_form(path, {"form_token": token, "sure": "yes"}, {})
            expected = (410,) if path.startswith(("/answer/", "/alarm/")) else (403,)
            assert answer.status in expected, (path, token)
    assert at_home.api.submitted == []


def test_an_alarm_needs_the_token_too(at_home: Served):
    occurrence = at_home.api.status().all_alarms[0].occurrence.replace("/", "%2F")
    for act in ("acknowledge", "shelve"):
        visitor = Visitor(at_home.port)
        visitor.get("/do")
        assert visitor.send_form(f"/alarm/{occurrence}/{act}", {}, {}).status == 403
    assert at_home.api.submitted == []


def test_what_is_no_form_or_too_long_is_refused(at_home: Served):
    visitor = Visitor(at_home.port)
    visitor.get("/do")
    long = {"form_token": visitor.token, "note": "x" * 20_000}
    assert visitor.send_form("/do/note", long, {}).status == 413
    as_json = visitor.ask("POST", "/do/note", b"{}", {"Content-Type": "application/json"})
    assert as_json.status == 415
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    assert visitor.ask("POST", "/do/note", b"\xff\xfe=1", kind).status == 400
    many = "&".join(f"f{n}=1" for n in range(100)).encode()
    assert visitor.ask("POST", "/do/note", many, kind).status == 400


def test_an_undeclared_proxy_is_refused_where_nobody_signs_in(at_home: Served):
    answer = Visitor(at_home.port).get("/", **{"X-Forwarded-For": "203.0.113.9"})
    assert answer.status == 403
    assert "behind_proxy" in answer.body


def test_without_signing_in_nothing_is_shown(locked: Served):
    for path in [*addresses(locked, "GET"), "/nowhere"]:
        answer = Visitor(locked.port).get(path)
        if path.startswith(("/sign-in", "/static/", "/answer/")):
            assert answer.status in (200, 404, 410), path
        else:
            assert answer.status == 303, path
            assert answer.headers["location"].startswith("/sign-in?next=")
        for secret in ("porch", "Hillside", "86.7", "lamp"):
            assert secret not in answer.body, (path, secret)
    for path in addresses(locked, "POST"):
        if not path.startswith(("/sign-in", "/answer/")):
            assert Visitor(locked.port).send_form(path, {}, {}).status == 401, path
    assert Visitor(locked.port).get("/live", Accept="text/event-stream").status == 401


def test_the_passphrase_opens_the_page_and_signing_out_closes_it_for_good(locked: Served):
    visitor = signed_in(locked)
    assert visitor.get("/").status == 200
    stolen = dict(visitor.cookies)
    visitor.get("/do")
    assert visitor.send("/sign-out").status == 303
    assert visitor.get("/").status == 303
    thief = Visitor(locked.port)
    thief.cookies = stolen
    assert thief.get("/").status == 303


def test_signing_in_begins_another_session(locked: Served):
    visitor = Visitor(locked.port)
    visitor.get("/sign-in")
    before = dict(visitor.cookies)
    visitor.send("/sign-in", passphrase=WORDS)
    assert visitor.cookies != before
    planted = Visitor(locked.port)
    planted.cookies = before
    assert planted.get("/").status == 303


def test_cookies_are_for_this_page_alone(locked: Served):
    visitor = Visitor(locked.port)
    visitor.get("/sign-in")
    answer = visitor.send("/sign-in", passphrase=WORDS)
    assert len(answer.cookies) == 1
    assert "HttpOnly" in answer.cookies[0]
    assert "SameSite=Lax" in answer.cookies[0]
    assert "Secure" not in answer.cookies[0]  # plain HTTP on the home network


def test_guessing_is_slowed_down_and_the_guess_is_not_shown_again(locked: Served):
    visitor = Visitor(locked.port)
    visitor.get("/sign-in")
    answers = [visitor.send("/sign-in", passphrase=f"guess {n}") for n in range(7)]
    assert [a.status for a in answers] == [403] * 5 + [429] * 2
    assert int(answers[-1].headers["retry-after"]) > 0
    assert all("guess" not in a.body for a in answers)
    assert visitor.send("/sign-in", passphrase=WORDS).status == 429


@pytest.mark.parametrize(
    "elsewhere", ["//elsewhere.example/", "http://elsewhere.example/", "/\\elsewhere.example", "x"]
)
def test_signing_in_leads_only_within_the_page(locked: Served, elsewhere: str):
    visitor = Visitor(locked.port)
    visitor.get("/sign-in")
    answer = visitor.send("/sign-in", passphrase=WORDS, next=elsewhere)
    assert answer.headers["location"] == "/"


def test_the_word_of_a_declared_proxy_is_believed(tmp_path):
    access = Access.prepare(
        folder=tmp_path,
        passphrase=WORDS,
        public_url="https://hillside.example",
        behind_proxy=True,
    )
    with Served(FakeApi(), access, clock=lambda: NIGHT) as served:
        through = {
            "X-Forwarded-For": "203.0.113.66, 192.0.2.1",
            "X-Forwarded-Proto": "https",
            "X-Forwarded-Host": "hillside.example",
        }
        visitor = Visitor(served.port)
        answer = visitor.get("/sign-in", **through)
        assert answer.status == 200
        assert "; Secure" in answer.cookies[0]
        from_page = {**through, "Origin": "https://hillside.example"}
        for n in range(6):
            answer = visitor.send("/sign-in", from_page, passphrase=f"guess {n}")
        assert answer.status == 429
        other = {**from_page, "X-Forwarded-For": "203.0.113.66, 192.0.2.2"}
        assert visitor.send("/sign-in", other, passphrase=WORDS).status == 303


@pytest.mark.parametrize(("proxy", "believed"), [("127.0.0.1", False), ("127.0.0.9", True)])
def test_nobody_but_the_proxy_itself_is_believed(tmp_path, proxy: str, believed: bool):
    """The page listens on the network; somebody there pretends to be a proxy with many callers."""
    access = Access.prepare(
        folder=tmp_path, passphrase=WORDS, behind_proxy=True, proxy_address=proxy
    )
    with Served(FakeApi(), access, clock=lambda: NIGHT) as served:
        visitor = Visitor(served.port, comes_from="127.0.0.9")
        visitor.get("/sign-in")
        answers = [
            visitor.send("/sign-in", {"X-Forwarded-For": f"192.0.2.{n}"}, passphrase="a guess")
            for n in range(6)
        ]
        assert answers[-1].status == (403 if believed else 429)


def test_who_is_signed_in_is_never_asked_to_wait(locked: Served):
    grower, stranger = signed_in(locked), Visitor(locked.port)
    stranger.get("/sign-in")
    for n in range(7):
        stranger.send("/sign-in", passphrase=f"guess {n}")
    assert stranger.send("/sign-in", passphrase=WORDS).status == 429
    assert grower.get("/").status == 200
    assert grower.send("/sign-in", passphrase=WORDS).status == 303


def test_a_proxy_nobody_declared_is_not_believed(locked: Served):
    visitor = Visitor(locked.port)
    visitor.get("/sign-in")
    for n in range(5):
        pretended = {"X-Forwarded-For": f"192.0.2.{n}"}
        visitor.send("/sign-in", pretended, passphrase=f"guess {n}")
    answer = visitor.send("/sign-in", {"X-Forwarded-For": "192.0.2.99"}, passphrase=WORDS)
    assert answer.status == 429
    answer = visitor.get("/sign-in", **{"X-Forwarded-Proto": "https"})
    assert all("Secure" not in cookie for cookie in answer.cookies)


def test_a_link_shows_the_alarm_and_answers_it_only_by_its_button(locked: Served):
    failing = failing_porch()
    locked.show(status(failing))
    locked.api.links["abc"] = (failing.alarms[0].occurrence,)
    scanner, phone = Visitor(locked.port), Visitor(locked.port)
    for _ in range(3):
        seen = scanner.get("/answer/abc")
        assert seen.status == 200
    for words in ("Porch: heat has stopped", "86.7 °F", "Should be 90.0", "About 45 min to the",
                  "Check the west lamp first"):  # fmt: skip
        assert words in seen.words
    assert locked.api.submitted == []
    assert phone.send_form("/answer/abc", {}, {}).status == 303
    assert [(e.entry, e.by) for e in locked.api.submitted] == [("acknowledge", "my phone")]
    after = phone.get("/answer/abc").words
    assert "My phone answered at 02:00. No more repeats." in after
    assert "Look again at 02:20: the floor should rise by then." in after
    assert "If it is still so at 03:00, you are asked again." in after
    assert "Yes, I am seeing to it" not in after
    assert phone.get("/").status == 303, "it opens nothing else"


def test_a_link_says_that_its_alarm_is_over(locked: Served):
    over = alarm(AlarmName.CHILL, state=AlarmState.RETURNED, ended_at=NIGHT - 60)
    locked.show(status(brooder(alarms=(over,))))
    locked.api.links["abc"] = (over.occurrence,)
    locked.api.links["old"] = ("porch/cold/1",)
    visitor = Visitor(locked.port)
    seen = visitor.get("/answer/abc").words
    assert "Porch: over by itself" in seen
    assert "Was dangerously cold 01:55 to 01:59, nobody answered." in seen
    assert "Go now" not in seen
    seen = visitor.get("/answer/old").words
    assert "That alarm is over" in seen
    assert "nothing to answer" in seen
    assert visitor.get("/answer/none").status == 410


def test_a_link_opened_out_of_another_program_signs_nobody_out(locked: Served):
    """Its request comes without the page's cookie; a new one would take its place."""
    locked.api.links["abc"] = ("porch/cold/1",)
    stranger = Visitor(locked.port)
    assert stranger.get("/answer/abc").cookies == ()
    assert stranger.send_form("/answer/abc", {}, {}).cookies == ()


def test_a_fault_of_ours_tells_nothing_of_itself(at_home: Served, caplog):
    def broken() -> None:
        raise RuntimeError("secret detail")

    good, at_home.api.settings_shown = at_home.api.settings_shown, broken
    try:
        answer = Visitor(at_home.port).get("/set-up")
    finally:
        at_home.api.settings_shown = good
    assert answer.status == 500
    assert "secret detail" not in answer.body
    assert "Traceback" not in answer.body
    assert "content-security-policy" in answer.headers
    assert "secret detail" in caplog.text


def test_asking_for_the_head_of_the_stream_does_not_hold_the_line(at_home: Served):
    line = http.client.HTTPConnection("127.0.0.1", at_home.port, timeout=LEAST_S)
    try:
        for method, path in (("HEAD", "/live"), ("GET", "/static/mark.svg")):
            line.request(method, path)
            answer = line.getresponse()
            answer.read()
            assert answer.status == 200
            assert not answer.will_close, "the second one comes by the same line"
    finally:
        line.close()


def test_no_folder_and_no_other_file_is_served(at_home: Served):
    visitor = Visitor(at_home.port)
    for path in ("/static/", "/static/..%2fapp.py", "/static/../app.py", "/static/frame.html"):
        assert visitor.get(path).status in (404, 307), path
