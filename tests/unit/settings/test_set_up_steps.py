"""The guided set-up changes what was answered and nothing else, and never writes a file that the
loader, and so `brooder check`, would refuse."""

import contextlib
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.service.set_up_edits import SetUp
from monitor.set_up_form import Step, WrongAnswers
from monitor.settings import load_settings
from monitor.settings.rewriting import NotWritten
from monitor.settings.set_up_steps import as_it_is, offsets_edit
from monitor.site import Place
from monitor.units import Unit

EXAMPLE = Path(__file__).parents[3] / "config" / "brooder.toml"
ASKING = tuple(step for step in Step if step is not Step.BIRDS)
PHONE = {"name": "my phone", "url": "json://127.0.0.1:9/secret-word", "wants": "all"}


@pytest.fixture
def desk(tmp_path: Path) -> SetUp:
    shutil.copy(EXAMPLE, tmp_path / "brooder.toml")
    return SetUp(tmp_path / "brooder.toml")


def answer(desk: SetUp, step: Step, about: str = "", /, **given: str) -> str:
    """Writes; the difference."""
    form = desk.form(step, about)
    said = {**form.values, **form.hidden, **{k.replace("_", " "): v for k, v in given.items()}}
    said |= given
    proposed = desk.propose(step, form.about, said)
    desk.write(proposed.mark)
    return proposed.difference


@pytest.mark.parametrize("step", ASKING)
def test_answers_left_as_they_are_change_nothing(desk: SetUp, step: Step) -> None:
    about = {Step.BOX: "porch", Step.PROBES: "porch/floor"}.get(step, "")
    if step is Step.CONTACTS:
        answer(desk, step, **PHONE)
        about = "my phone"
    assert answer(desk, step, about) == ""


def test_only_the_answered_line_changes_and_its_remark_stays(desk: SetUp) -> None:
    said = answer(desk, Step.BOX, "porch", length="6 ft 6 in", cover="foam", stands="windy")
    assert said.splitlines()[:3] == [
        ' name = "porch"',
        '-length = "5 ft"                 # or "1.5 m"',
        '+length = "6 ft 6 in"                 # or "1.5 m"',
    ]
    box = desk.settings().site.brooders[0]
    assert (round(box.length_m, 3), box.cover, box.width_m) == (1.981, "foam", 1.524)
    assert box.in_wind
    kept = desk.settings().source.with_name("brooder.toml.before")
    assert kept.read_text() == EXAMPLE.read_text()


def test_sources_are_added_changed_and_taken_out(desk: SetUp) -> None:
    said = {"1 name": "west lamp", "1 kind": "lamp", "1 watts": "175", "3 name": "plate"}
    said |= {"2 name": "", "3 kind": "plate", "3 watts": "60"}
    answer(desk, Step.HEAT, **said)
    heat = desk.settings().site.brooders[0].heat
    assert [(s.name, s.kind, s.watts) for s in heat] == [
        ("west lamp", "lamp", 175),
        ("plate", "plate", 60),
    ]
    assert "# [brooders.limits]" in desk.settings().source.read_text(), "remarks stay"
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.HEAT, **{"1 watts": "many"})
    assert list(wrong.value.by_field) == ["1 watts"]


def test_a_probe_is_added_moved_and_taken_out(desk: SetUp) -> None:
    new = {"name": "under east lamp", "topic": "esp/2", "place": "under-heat", "unit": "fahrenheit"}
    answer(desk, Step.PROBES, value="/t", **new)
    probe = desk.settings().site.brooders[0].probes[1]
    assert (probe.key, probe.unit, probe.value_pointer) == (
        "porch/under east lamp",
        Unit.FAHRENHEIT,
        "/t",
    )
    answer(desk, Step.PROBES, "porch/under east lamp", place="cool-end", offset="-0.9 F")
    probe = desk.settings().site.brooders[0].probes[1]
    assert probe.place is Place.COOL_END
    assert probe.offset_c == pytest.approx(-0.5)
    answer(desk, Step.PROBES, "porch/under east lamp", place="out")
    assert len(desk.settings().site.brooders[0].probes) == 1
    answer(desk, Step.PROBES, name="yard", topic="esp/3", place="outside", unit="celsius", value="")
    assert [p.name for p in desk.settings().site.probes] == ["shade", "yard"]
    desk.write(desk.propose_edit(offsets_edit({"porch/floor": 0.5}, Unit.FAHRENHEIT)).mark)
    assert desk.settings().site.brooders[0].probes[0].offset_c == pytest.approx(0.5)


def test_a_contacts_address_goes_into_a_file_of_its_own_and_is_never_shown(desk: SetUp) -> None:
    said = answer(desk, Step.CONTACTS, **PHONE)
    assert "secret-word" not in said
    folder = desk.settings().source.parent
    assert "secret-word" not in (folder / "brooder.toml").read_text()
    assert (folder / "contact-my-phone").stat().st_mode & 0o777 == 0o600
    assert "secret-word" not in str(desk.form(Step.CONTACTS, "my phone"))
    answer(desk, Step.CONTACTS, **{**PHONE, "name": "My-Phone", "url": "json://127.0.0.1:9/two"})
    urls = [c.url.get_secret_value() for c in desk.settings().file.contacts]
    assert urls == ["json://127.0.0.1:9/secret-word", "json://127.0.0.1:9/two"]
    answer(desk, Step.CONTACTS, "My-Phone", wants="urgent", after_minutes="10")
    one = desk.settings().file.contacts[1]
    assert (one.priorities, one.after_minutes) == (("urgent",), 10)
    answer(desk, Step.CONTACTS, "My-Phone", wants="out")
    assert [c.name for c in desk.settings().file.contacts] == ["my phone"]
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.CONTACTS, **{**PHONE, "name": "third", "url": "nonsense"})
    assert list(wrong.value.by_field) == ["url"]
    assert not (folder / "contact-third").exists()
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.CONTACTS, **{**PHONE, "name": "third", "url": "json://127.0.0.1:9/a b"})
    assert wrong.value.by_field["url"].startswith("There is a space in it: take it out")


def test_the_page_is_opened_with_a_passphrase_alone(desk: SetUp) -> None:
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.PAGE, listen="0.0.0.0")
    assert set(wrong.value.by_field) == {"passphrase"}, "beside the field"
    with pytest.raises(WrongAnswers) as short:
        answer(desk, Step.PAGE, listen="0.0.0.0", passphrase="chicks")
    said = short.value.by_field["passphrase"]
    assert said == "It is too short; use at least 10 characters."
    with pytest.raises(WrongAnswers) as closed:
        answer(desk, Step.PAGE, passphrase="twelve chicks")
    assert set(closed.value.by_field) == {"listen"}, "it would have stayed closed"
    answer(desk, Step.PAGE, listen="0.0.0.0", passphrase="twelve chicks")
    page = desk.settings().file.page
    assert page.passphrase is not None
    assert page.passphrase.get_secret_value() == "twelve chicks"


def test_a_phone_is_not_sent_to_a_port_where_no_page_is(desk: SetUp) -> None:
    here = {"listen": "0.0.0.0", "passphrase": "twelve chicks"}
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.PAGE, **here, public_url="http://192.168.1.10")
    assert "write http://192.168.1.10:8420" in wrong.value.by_field["public_url"]
    answer(desk, Step.PAGE, **here, public_url="http://192.168.1.10:8420")
    assert desk.settings().file.page.public_url == "http://192.168.1.10:8420"


def test_a_page_at_an_address_of_its_own_stays_there(desk: SetUp) -> None:
    source = desk.settings().source
    page = '\n[page]\nlisten = "192.168.1.10"\npassphrase = "twelve chicks"\n'
    source.write_text(source.read_text() + page)
    assert answer(desk, Step.PAGE) == ""
    with pytest.raises(WrongAnswers):
        answer(desk, Step.PAGE, listen="")


def test_what_the_loader_refuses_is_said_beside_its_question(desk: SetUp) -> None:
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.BOX, "porch", length="5", width="90 ft ago", name="a/b")
    assert set(wrong.value.by_field) == {"length", "width", "name"}
    assert wrong.value.by_field["length"].startswith('It is "5", of which unit? Write it with')
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.BOX, "porch", length="")
    assert 'must be a length such as "5 ft"' in wrong.value.by_field["length"]
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.PROBES, "porch/floor", offset="-0.5")
    assert 'such as "5 F" or "2.8 C"' in wrong.value.by_field["offset"], "no 95 F is added"
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.SITE, timezone="Chicago")
    assert "write one like America/Chicago" in wrong.value.by_field["timezone"]


def test_the_price_of_a_kwh_is_asked_for_with_its_currency_and_may_be_left_out(
    desk: SetUp,
) -> None:
    answer(desk, Step.SITE, price_per_kwh="$0.17")
    price = desk.settings().site.price_per_kwh
    assert price is not None
    assert price.of(100.0) == "$17.00"
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.SITE, price_per_kwh="cheap")
    assert 'such as "0.17 USD"' in wrong.value.by_field["price_per_kwh"]
    answer(desk, Step.SITE, price_per_kwh="")
    assert desk.settings().site.price_per_kwh is None


def test_a_renamed_box_keeps_its_birds_and_another_one_is_added(desk: SetUp) -> None:
    answer(desk, Step.BOX, "porch", name="big box")
    assert desk.settings().site.brooders[0].renamed_from == "porch"
    side = {"length": "4 ft", "width": "4 ft", "height": "20 in"}
    answer(desk, Step.BOX, "", name="shed", **side, walls="foam", cover="wire")
    assert [b.name for b in desk.settings().site.brooders] == ["big box", "shed"]
    written = desk.settings().source.read_text()
    assert 'name = "shed"\nlength = "4 ft"\n' in written, "a box's lines stand together"
    assert written.index('cover = "wire"') < written.index("# Who is told.")


def test_a_file_changed_by_hand_meanwhile_stays_what_it_is(desk: SetUp) -> None:
    form = desk.form(Step.SITE)
    source = desk.settings().source
    source.write_text(source.read_text().replace("Hillside", "Ridge"))
    with pytest.raises(WrongAnswers, match="changed meanwhile"):
        desk.propose(Step.SITE, "", {**form.values, **form.hidden, "name": "Valley"})
    form = desk.form(Step.SITE)
    proposed = desk.propose(Step.SITE, "", {**form.values, **form.hidden, "name": "Valley"})
    source.write_text(source.read_text() + "# by hand\n")
    with pytest.raises(NotWritten, match="changed meanwhile"):
        desk.write(proposed.mark)
    assert "Valley" not in source.read_text()


def test_a_change_is_written_once_and_can_be_taken_back(desk: SetUp) -> None:
    form = desk.form(Step.SITE)
    proposed = desk.propose(Step.SITE, "", {**form.values, **form.hidden, "name": "Valley"})
    change = desk.write(proposed.mark)
    with pytest.raises(NotWritten, match="already"):
        desk.write(proposed.mark)
    desk.take_back(change)
    assert desk.settings().source.read_text() == EXAMPLE.read_text()


ADDRESSES = [
    "json://",
    "mailto://",
    "a://b",
    "json://h\x00",
    "json://h/\n[x]",
    "http://[",
    "json://h/😀",
]


@pytest.mark.parametrize("url", ADDRESSES)
def test_an_address_that_is_written_is_one_that_check_takes(desk: SetUp, url: str) -> None:
    with contextlib.suppress(WrongAnswers):
        answer(desk, Step.CONTACTS, **{**PHONE, "url": url})
    load_settings(desk.settings().source, {}, check_contacts=True)


WORDS = st.one_of(
    st.sampled_from(["", "5 ft", "1.5 m", "lamp", "250", "out", "porch", "floor", "site", "::"]),
    st.text(max_size=40),
)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    derandomize=True,
)
@given(st.data())
def test_whatever_is_filled_in_the_file_stays_one_that_loads(
    desk: SetUp, data: st.DataObject
) -> None:
    step = data.draw(st.sampled_from(ASKING))
    abouts = ["", *(b.name for b in desk.settings().site.brooders)]
    abouts += [p.key for p in desk.settings().site.all_probes] + ["nobody"]
    about = data.draw(st.sampled_from(abouts))
    try:
        form = desk.form(step, about)
    except WrongAnswers:
        return
    fuzzed = {f.name: data.draw(WORDS) for f in form.fields if data.draw(st.booleans())}
    fuzzed.pop("url", None)  # whether it is an address is asked of another process each time
    with contextlib.suppress(WrongAnswers, NotWritten):
        desk.write(desk.propose(step, form.about, {**form.values, **form.hidden, **fuzzed}).mark)
    load_settings(desk.settings().source, {}, check_contacts=False)


def test_a_plug_that_measures_is_taken_with_its_lamp_and_taken_out_again(desk: SetUp) -> None:
    before = desk.settings().source.read_text()
    said = answer(desk, Step.HEAT, **{"1 topic": "plugs/west", "1 value": "/power"})
    assert [line for line in said.splitlines() if line[:1] in "+-"] == [
        '+  topic = "plugs/west"',
        '+  value = "/power"',
    ]
    [meter] = desk.settings().site.brooders[0].meters
    assert (meter.source, meter.topic, meter.value_pointer) == (
        "west lamp",
        "plugs/west",
        "/power",
    )
    with pytest.raises(WrongAnswers) as wrong:
        answer(desk, Step.HEAT, **{"1 topic": ""})
    assert list(wrong.value.by_field) == ["1 topic"]
    answer(desk, Step.HEAT, **{"1 topic": "", "1 value": ""})
    assert desk.settings().source.read_text() == before


def test_whether_a_thermostat_switches_a_source_is_asked_and_said(desk: SetUp) -> None:
    said = answer(desk, Step.HEAT, **{"1 thermostat": "no", "2 thermostat": "yes"})
    assert "+  thermostat = false" in said
    assert [s.thermostat for s in desk.settings().site.brooders[0].heat] == [False, True]
    answer(desk, Step.HEAT, **{"1 thermostat": "", "2 thermostat": ""})
    assert [s.thermostat for s in desk.settings().site.brooders[0].heat] == [None, None]


def test_mains_humidity_and_cover_are_taken_changed_and_taken_out(desk: SetUp) -> None:
    before = desk.settings().source.read_text()
    given = {"mains by": "ups", "mains": "ups@localhost", "humidity topic": "esp/1"}
    given |= {"humidity value": "/humidity", "cover topic": "esp/lid", "cover says": "contact"}
    answer(desk, Step.METERS, **given)
    site = desk.settings().site
    assert [m.quantity.kind for m in site.meters] == ["battery-left", "mains"]
    assert [(m.quantity.kind, m.topic, m.value_pointer) for m in site.brooders[0].meters] == [
        ("humidity", "esp/1", "/humidity"),
        ("contact", "esp/lid", None),
    ]
    assert as_it_is(Step.METERS, desk.settings()) == "mains power, humidity, cover"
    answer(desk, Step.METERS, **{"cover says": "cover", "mains by": "topic", "mains": "home/mains"})
    assert [m.topic for m in desk.settings().site.meters] == ["home/mains"]
    assert desk.settings().site.brooders[0].meters[1].quantity.kind == "cover"
    answer(desk, Step.METERS, **{"mains by": "", "humidity topic": "", "cover topic": ""})
    after = desk.settings().source.read_text()
    assert [one for one in after.splitlines() if one] == [one for one in before.splitlines() if one]


def test_a_wrong_name_of_a_ups_is_told_beside_its_question(desk: SetUp) -> None:
    for wrong_name in ("", "no such; ups"):
        with pytest.raises(WrongAnswers) as wrong:
            answer(desk, Step.METERS, **{"mains by": "ups", "mains": wrong_name})
        assert list(wrong.value.by_field) == ["mains"]
