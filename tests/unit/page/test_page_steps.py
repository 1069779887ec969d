"""The guided set-up on the page: what is asked, shown and written, and how each step is left."""

import re
from dataclasses import replace

import pytest
from support.fake_api import NIGHT, FakeApi, brooder, probe, status
from support.served import Served
from support.visitor import Answer, Visitor

from monitor.quantities import HUMIDITY
from monitor.set_up_form import Step
from monitor.settings import load_settings
from monitor.site import Meter, Place
from monitor.tell.missing import Missing
from monitor.watch.status import MeterStatus


@pytest.fixture
def api() -> FakeApi:
    return FakeApi()


def filled(visitor: Visitor, step: str, query: str = "", /, **given: str) -> Answer:
    """The step's form as it is shown, with these answers, sent."""
    shown = visitor.get(f"/set-up/step/{step}{query}")
    assert shown.status == 200, shown.words
    values = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', shown.body))
    values |= dict(
        re.findall(r'<input type="text" id="[^"]*" name="([^"]+)" value="([^"]*)"', shown.body)
    )
    chosen = r'<input type="radio" id="[^"]*" name="([^"]+)" value="([^"]*)" checked'
    values |= dict(re.findall(chosen, shown.body))
    values.pop("form_token")
    values.pop("next", None)
    return visitor.send(f"/set-up/step/{step}", **{**values, **given})


def written(visitor: Visitor, change: Answer) -> Answer:
    mark = re.search(r'name="mark" value="([^"]+)"', change.body)
    step = re.search(r'name="step" value="([^"]+)"', change.body)
    assert mark is not None, change.words
    assert step is not None
    return visitor.send("/set-up/write", mark=mark[1], step=step[1])


def test_a_step_is_filled_in_looked_over_and_written(api: FakeApi) -> None:
    with Served(api) as served:
        visitor = Visitor(served.port)
        change = filled(visitor, "box", length="6 ft", cover="foam")
        assert '-length = "5 ft"' in change.words
        assert '+cover = "foam"' in change.words
        assert load_settings(api.config, {}).site.brooders[0].cover == "plywood", "not yet"
        done = written(visitor, change)
        assert "It is in force" in done.words
        assert "Next: lamps and plates" in done.words
        assert load_settings(api.config, {}).site.brooders[0].cover == "foam"
        again = written(visitor, change)
        assert again.status == 409
        assert "written already" in again.words


def test_wrong_answers_stay_in_the_form_with_what_would_be_right(api: FakeApi) -> None:
    with Served(api) as served:
        visitor = Visitor(served.port)
        wrong = filled(visitor, "box", length="5", width="so wide")
        assert wrong.status == 422
        assert 'It is "5", of which unit?' in wrong.words
        assert 'value="so wide"' in wrong.body
        assert "Not written yet" in wrong.words


@pytest.mark.parametrize("step", ["box", "heat", "meters"])
def test_with_several_boxes_a_step_begins_with_the_first_and_leads_to_the_others(
    api: FakeApi, step: str
) -> None:
    shed = api.config.read_text()
    shed = shed[shed.index("[[brooders]]") :].split("[[contacts]]")[0]
    shed = re.sub(r'name = "[^"]+"', 'name = "shed"', shed, count=1).replace("porch/", "shed/")
    api.config.write_text(f"{api.config.read_text()}\n{shed}")
    with Served(api) as served:
        shown = Visitor(served.port).get(f"/set-up/step/{step}")
        assert shown.status == 200, shown.words
        assert f'href="/set-up/step/{step}?about=shed"' in shown.body


def test_what_the_watch_refuses_is_taken_back(api: FakeApi) -> None:
    before = api.config.read_text()
    api.reload_refuses = ["98 birds are in porch, which this configuration does not have"]
    with Served(api) as served:
        visitor = Visitor(served.port)
        refused = written(visitor, filled(visitor, "site", name="Ridge"))
        assert refused.status == 409
        assert "98 birds are in porch" in refused.words
        assert "sudo brooder set-up site" in refused.words
    assert api.config.read_text() == before


def test_a_contacts_address_is_asked_hidden_and_never_shown_again(api: FakeApi) -> None:
    with Served(api) as served:
        visitor = Visitor(served.port)
        assert 'type="password" id="url"' in visitor.get("/set-up/step/contacts").body
        given = {"name": "my phone", "url": "json://127.0.0.1:9/secret-word"}
        change = filled(visitor, "contacts", **given)
        done = written(visitor, change)
        assert "try whether it sounds" in done.words
        for address in ("/set-up", "/set-up/step/contacts?about=my%20phone"):
            assert "secret-word" not in visitor.get(address).body
        assert "secret-word" not in change.body + done.body
        wrong = filled(visitor, "contacts", name="two", url="secret nonsense")
        assert wrong.status == 422
        assert "secret nonsense" not in wrong.body
        assert "Write it again: it is not shown twice." in wrong.words


def test_the_probe_in_the_hand_is_named_and_becomes_the_one_that_was_not_heard(
    api: FakeApi,
) -> None:
    api.show(status(brooder(probes=(probe("porch/floor", None, None),)), probes=()))
    with Served(api, clock=lambda: NIGHT) as served:
        visitor = Visitor(served.port)
        for second, hand in ((0, 20.0), (20, 22.5), (40, 25.0)):
            api.unclaimed.add("esp/1", b'{"t": 20.1}', NIGHT - 60 + second)
            api.unclaimed.add("esp/2", f'{{"t": {hand}}}'.encode(), NIGHT - 60 + second)
            shown = visitor.get("/set-up/heard")
        assert "In your hand: esp/2, 9.0 °F warmer" in shown.words
        claim = visitor.get("/set-up/step/probes?topic=esp/2")
        assert "porch/floor" in claim.words
        asked, _, folded = claim.body.partition("<details>")
        assert ("It sends" in asked, "It sends" in folded) == (True, False), "by it 41 °F is 106"
        change = filled(visitor, "probes", "?about=porch/floor&topic=esp/2")
        assert '+ topic = "esp/2"' in change.words
        assert '+ value = "/t"' in change.words
        written(visitor, change)
        new = filled(visitor, "probes", "?topic=esp/1", name="cool", place="cool-end")
        assert "Next: " not in written(visitor, new).words
        probes = load_settings(api.config, {}).site.brooders[0].probes
        assert [(p.name, p.topic, p.place) for p in probes] == [
            ("floor", "esp/2", Place.FLOOR),
            ("cool", "esp/1", Place.COOL_END),
        ]


def test_a_new_probe_gets_its_card_once_after_what_follows_was_agreed_to(api: FakeApi) -> None:
    with Served(api) as served:
        visitor = Visitor(served.port)
        assert "at the edge of the heat" in visitor.get("/set-up/new-probe").words
        sure = visitor.send("/set-up/new-probe", name="west", place="under-heat", network="yes")
        assert "Under-heat, topic brooder/porch/west." in sure.words
        assert "west" not in [p.name for p in load_settings(api.config, {}).site.all_probes]
        mark = re.search(r'name="mark" value="([^"]+)"', sure.body)
        assert mark is not None
        card = visitor.send("/set-up/new-probe/add", mark=mark[1])
        assert "topic = brooder/porch/west" in card.words
        assert "password = " in card.words
        assert 'src="data:image/svg+xml;base64,' in card.body
        assert "west" in [p.name for p in load_settings(api.config, {}).site.all_probes]
        assert visitor.send("/set-up/new-probe/add", mark=mark[1]).status == 303, "once"


def test_set_up_lists_every_step_with_what_stands_in_it(api: FakeApi) -> None:
    with Served(api, clock=lambda: NIGHT) as served:
        said = Visitor(served.port).get("/set-up").words
        assert "porch, 5 ft by 5 ft, cover: plywood" in said
        assert "Hillside, America/Chicago, degrees Fahrenheit" in said
        assert "It is 02:00 there now; if not, set its time zone." in said
        for step in Step:
            assert f'href="/set-up/step/{step}"' in Visitor(served.port).get("/set-up").body
        api.config.write_text("[site\n")
        broken = Visitor(served.port).get("/set-up")
        assert broken.status == 200
        assert "not valid TOML" in broken.words
        assert Visitor(served.port).get("/set-up/step/box").status == 409
        assert Visitor(served.port).get("/set-up/step/roof").status == 404


def test_a_step_that_was_only_copied_from_the_example_has_no_tick(api: FakeApi) -> None:
    with Served(api) as served:
        visitor = Visitor(served.port)

        def ticked() -> list[str]:
            steps = visitor.get("/set-up").body.split('<section class="box" aria-label="')[1:]
            return [one.partition('"')[0] for one in steps if 'class="mark mark-right"' in one]

        names = ["The place", "The box", "Lamps and plates"]
        assert not {*names} & {*ticked()}
        assert (
            "as in the example. Change it, unless yours is just so." in visitor.get("/set-up").words
        )
        written(visitor, filled(visitor, "site", units="celsius"))
        assert not {*names} & {*ticked()}, "the place still has the example's name"
        written(visitor, filled(visitor, "site", name="Ridge"))
        written(visitor, filled(visitor, "box", cover="foam"))
        assert [name for name in names if name in ticked()] == names[:2]


def test_set_up_counts_as_missing_what_it_shows_and_no_alarm(api: FakeApi) -> None:
    """With a box in trouble it said that things were missing, and none of them stood there."""
    api.missing_tonight = [
        Missing("porch", "chill, urgent, since Tue 01:56", "Look at the page.", alarmed=True)
    ]
    with Served(api) as served:
        visitor = Visitor(served.port)
        assert "Nothing essential is missing." in visitor.get("/set-up").words
        plug = Missing("power", "this machine runs on its battery", "Plug it in.")
        api.missing_tonight.append(plug)
        said = visitor.get("/set-up").words
        assert "1 thing is still missing." in said
        assert "Power: this machine runs on its battery. Plug it in." in said


def test_with_several_boxes_set_up_says_whose_lamps_and_probes_they_are(api: FakeApi) -> None:
    text = api.config.read_text()
    shed = text[text.index("[[brooders]]") :].split("# Who is told")[0]
    api.config.write_text(text + shed.replace('"porch"', '"shed"').replace("porch/", "shed/"))
    with Served(api) as served:
        said = Visitor(served.port).get("/set-up").words
    assert "porch west lamp 250 W, porch east lamp 250 W, shed west lamp 250 W" in said
    assert "shade (outside), porch floor (floor), shed floor (floor)" in said


def test_what_is_measured_besides_is_seen_to_be_heard_or_not(api: FakeApi) -> None:
    with Served(api) as served:
        visitor = Visitor(served.port)
        change = filled(visitor, "meters", **{"humidity topic": "esp/1", "humidity value": "/rh"})
        assert '+ kind = "humidity"' in change.words
        sensor = Meter(brooder="porch", name=None, topic="esp/1", quantity=HUMIDITY)
        box = api.site.brooders[0]
        api.site = replace(api.site, brooders=(replace(box, meters=(sensor,)),))
        assert "See whether they are heard" in written(visitor, change).words
        meter = MeterStatus(
            key="porch/humidity_percent", title="humidity", kind="humidity", value=None, at=None,
            silent=False,
        )  # fmt: skip
        for one, says in (
            (meter, "nothing heard yet on esp/1"),
            (replace(meter, value=61.8, at=NIGHT), "Humidity 62 %"),
        ):
            api.show(status(brooder(meters=(one,))))
            assert says in visitor.get("/set-up/heard").words
