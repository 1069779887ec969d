"""Nothing heard: from one probe, a brooder, the whole site; and values nobody believes."""

from collections.abc import Callable
from random import Random

import pytest
from support.engine_night import Night, a_brooder, a_site, with_probe

from monitor.events import AlarmName, Cause, Change, ChangeKind, EntryKind, Facts, Priority
from monitor.site import Place
from monitor.tell.wording import for_change
from monitor.tell.wording.silence_words import heard_but_old
from monitor.thermal import estimator

TWO = ("porch/floor", "porch/far floor")


def test_all_floor_probes_silent_is_urgent_and_says_since_when() -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)
    night.holds(35.0, for_s=600, probes=TWO)
    night.waits(1200)
    (silent,) = night.changes
    assert silent.alarm is AlarmName.NO_READINGS
    assert (silent.priority, silent.cause) == (Priority.URGENT, Cause.SILENCE)
    assert silent.probe is None
    assert silent.facts["since"] == night.start + 590
    assert silent.at == night.start + 590 + 900
    assert [p["temp_c"] for p in silent.facts["probes"]] == [None, None]
    assert silent.facts["temp_c"] == 35.0  # the last one heard
    night.holds(34.0, for_s=120, probes=TWO)
    over = night.changes[-1]
    assert (over.change, over.alarm) == (ChangeKind.CLEARED, AlarmName.NO_READINGS)
    assert over.facts["lasted_s"] == 1800 - 590  # until the first reading


def test_one_silent_probe_beside_another_is_a_warning_of_that_probe() -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)
    night.holds(35.0, for_s=600, probes=TWO)
    night.holds(35.0, for_s=1800, probes=TWO[:1])
    (silent,) = night.changes
    assert silent.probe == "porch/far floor"
    assert silent.priority is Priority.WARNING
    night.waits(1200)  # now the other one as well: worse, and told
    assert night.changes[-1].priority is Priority.URGENT
    assert night.changes[-1].facts["incident"] == silent.occurrence
    assert "folded" not in night.changes[-1].facts


@pytest.mark.parametrize(("place", "judged"), [(Place.FLOOR, True), (Place.UNDER_HEAT, False)])
def test_a_silent_probe_beneath_a_lamp_is_not_held_against_the_floors_target(place, judged) -> None:
    """Last 45.5 °C, should be 32.2 °C, was said of it."""
    site = a_site(with_probe(a_brooder(), "one more", place))
    night = Night(site, make_estimator=estimator.none)
    night.holds(35.0, for_s=600, probes=("porch/floor", "porch/one more"))
    night.holds(35.0, for_s=7200, probes=("porch/floor",))
    (silent,) = night.changes
    assert ("should be" in for_change(silent, site).body) is judged


def test_probes_silenced_together_are_told_together() -> None:
    night = Night(a_site(a_brooder(floors=3)), make_estimator=estimator.none)
    three = (*TWO, "porch/third floor")
    night.holds(35.0, for_s=600, probes=three)
    night.holds(35.0, for_s=1800, probes=TWO[:1])
    first, second = night.changes
    assert second.facts["folded"]
    assert second.facts["incident"] == first.occurrence
    heard = {p["probe"]: p["temp_c"] for p in first.facts["probes"]}
    assert heard == {three[0]: 35.0, three[1]: None, three[2]: None}
    assert {first.probe, second.probe} == set(three[1:])


def test_a_silent_site_is_one_message() -> None:
    boxes = (a_brooder("porch", floors=2), a_brooder("shed"), a_brooder("barn end"))
    site = a_site(*boxes, outside=True)
    night = Night(site, make_estimator=estimator.none)
    for _ in night.until(900, 10):
        for k, probe in enumerate(site.all_probes):
            if (night.t // 10 + k) % 5 == 0:  # each once in 50 s, not all at the same second
                night.says(35.0 if probe.brooder else 8.0, probe.key)
    night.waits(3600)
    assert night.told() == ["site/no-readings"]
    (silent,) = [c for c in night.changes if c.change is ChangeKind.RAISED]
    assert len(silent.facts["probes"]) == 5
    assert silent.priority is Priority.URGENT


def test_one_brooder_back_clears_the_site_and_names_who_is_still_silent() -> None:
    site = a_site(a_brooder("porch"), a_brooder("shed"))
    night = Night(site, make_estimator=estimator.none)
    night.holds(35.0, for_s=300, probes=("porch/floor", "shed/floor"))
    night.waits(1200)
    assert night.told() == ["site/no-readings"]
    night.holds(35.0, for_s=600, probes=("porch/floor",))
    assert night.told(ChangeKind.CLEARED) == ["site/no-readings"]
    assert night.told()[1:] == ["shed/no-readings"]


@pytest.mark.parametrize("names", [("attic", "porch"), ("west", "yard")])
def test_a_box_still_blind_when_the_site_is_back_asks_anew_whatever_its_name(
    names: tuple[str, str],
) -> None:
    """Whoever answered for the whole site went back to bed when it was over."""
    site = a_site(*map(a_brooder, names), outside=True)
    night = Night(site, make_estimator=estimator.none)
    every = (*(f"{name}/floor" for name in names), "site/shade")
    night.holds(35.0, for_s=600, every_s=30, probes=every)
    night.waits(1000)
    night.entry(EntryKind.ACKNOWLEDGE)
    night.waits(300)
    night.holds(35.0, for_s=3600, every_s=30, probes=every[1:2])
    (still,) = [c for c in night.changes if c.brooder == names[0]]
    assert (still.alarm, still.change) == (AlarmName.NO_READINGS, ChangeKind.RAISED)
    assert "folded" not in still.facts
    assert still.priority is Priority.URGENT


def test_an_active_cold_is_not_lost_when_its_probe_falls_silent() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(31.0, for_s=600)
    night.waits(3600)
    assert night.told(ChangeKind.CLEARED) == []
    night.holds(31.0, for_s=300)
    assert night.told() == ["porch/cold", "porch/no-readings"]
    assert night.told(ChangeKind.CLEARED) == ["porch/no-readings"]


def test_one_floor_probe_silent_among_others_heard_is_not_the_power_of_the_board() -> None:
    porch = with_probe(a_brooder("porch"), "west", Place.UNDER_HEAT)
    night = Night(a_site(porch, outside=True), make_estimator=estimator.none)
    others = ("porch/west", "site/shade")
    night.holds(35.0, for_s=600, probes=("porch/floor", *others))
    night.holds(35.0, for_s=1200, probes=others)
    (silent,) = night.changes
    words = for_change(silent, night.engine.site)
    assert "Others are heard, so the board and the broker work." in words.body
    assert "power to the board" not in words.body
    assert "All probes: floor silent, west 95.0 °F, shade 95.0 °F." in words.body


@pytest.mark.parametrize("after_s", [30, 59])
def test_a_probe_that_said_its_last_within_the_same_minute_is_no_witness_that_the_board_works(
    after_s: float,
) -> None:
    """Its own quarter of an hour was not over yet, and the grower was sent to the one probe."""
    porch = with_probe(a_brooder("porch"), "west", Place.UNDER_HEAT)
    night = Night(a_site(porch), make_estimator=estimator.none)
    for _ in range(10):
        night.says(35.0, "porch/floor")
        night.waits(after_s)
        night.says(45.0, "porch/west")
        night.waits(60 - after_s)
    night.waits(900)
    (silent,) = night.changes
    words = for_change(silent, night.engine.site)
    assert "power to the board" in words.body
    assert "Others are heard" not in words.body


def test_a_radio_gap_of_ten_minutes_is_nothing() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=600)
    night.waits(600)
    night.holds(35.0, for_s=600)
    assert night.changes == []


def test_a_box_without_birds_is_not_listened_for_and_urgently_once_birds_are_placed() -> None:
    night = Night(batch=False, make_estimator=estimator.none)
    night.holds(20.0, for_s=600)
    night.waits(5 * 86400)
    assert night.changes == []
    night.placed()
    assert night.changes[-1].change is ChangeKind.RAISED
    assert night.changes[-1].priority is Priority.URGENT


def test_one_power_up_value_is_no_fault_but_a_lasting_one_is() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=300)
    night.says_bad()
    night.t += 10
    night.holds(35.0, for_s=900)
    assert night.changes == []
    for _ in range(3):
        night.says_bad()
        night.waits(10)
    (fault,) = night.changes
    assert fault.alarm is AlarmName.PROBE_FAULT
    assert (fault.cause, fault.probe) == (Cause.SENSOR, "porch/floor")
    assert "power-up" in fault.facts["reason"]


def test_a_loose_wire_is_told_though_good_values_come_between() -> None:
    night = Night(make_estimator=estimator.none)
    for _ in range(3):
        night.holds(35.0, for_s=60)
        night.says_bad(temp_c=-127.0)
        night.t += 10
    assert night.told() == ["porch/probe-fault"]
    night.holds(35.0, for_s=590)
    assert night.told(ChangeKind.CLEARED) == []
    night.holds(35.0, for_s=60)
    assert night.told(ChangeKind.CLEARED) == ["porch/probe-fault"]


def test_a_faulty_probe_no_longer_counts_beside_a_good_one() -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)
    for _ in night.until(600, 10):
        night.says(35.0, "porch/floor")
        night.says(31.5, "porch/far floor")
    assert night.told() == ["porch/cold"]
    for _ in night.until(900, 10):
        night.says(35.0, "porch/floor")
        night.says_bad("porch/far floor")
    assert night.told() == ["porch/cold", "porch/probe-fault"]
    assert night.told(ChangeKind.CLEARED) == ["porch/cold"]


def test_only_bad_values_for_a_quarter_of_an_hour_leave_the_box_unwatched_told_once() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=300)
    for _ in range(200):
        night.says_bad()
        night.t += 10
    assert night.told() == ["porch/probe-fault", "porch/no-readings"]
    fault, blind = night.changes
    assert fault.priority is Priority.ADVICE
    assert (blind.priority, blind.cause) == (Priority.URGENT, Cause.SENSOR)
    assert "folded" not in blind.facts


def test_bad_values_of_the_only_probe_with_good_ones_between_are_told_as_its_fault() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=300)
    for _ in range(4):
        for _ in range(40):
            night.says_bad()
            night.t += 10
        night.says(35.0)
        night.t += 10
    assert [(c.change, c.priority, "folded" in c.facts) for c in night.changes] == [
        (ChangeKind.RAISED, Priority.ADVICE, False),
        (ChangeKind.CLEARED, Priority.ADVICE, True),  # it goes on: nobody is told of an end
        (ChangeKind.RAISED, Priority.WARNING, False),
    ]
    assert {c.alarm for c in night.changes} == {AlarmName.PROBE_FAULT}


def test_bad_values_that_go_on_between_good_ones_after_a_box_was_told_as_unheard_are_no_news() -> (
    None
):
    """It was told urgently, with the same to do, minutes before."""
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=300)
    for _ in range(100):
        night.says_bad()
        night.t += 10
    for _ in range(10):
        night.holds(35.0, for_s=70)
        for _ in range(3):
            night.says_bad()
            night.t += 10
    raised = [c for c in night.changes if c.change is ChangeKind.RAISED]
    assert [(c.alarm, c.priority, c.facts.get("folded", False)) for c in raised] == [
        (AlarmName.PROBE_FAULT, Priority.ADVICE, False),
        (AlarmName.NO_READINGS, Priority.URGENT, False),
        (AlarmName.PROBE_FAULT, Priority.WARNING, True),
    ]


def test_a_probe_out_of_service_is_not_missed() -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)
    night.entry(EntryKind.OUT_OF_SERVICE, brooder="porch", probe="porch/far floor")
    night.holds(35.0, for_s=3600, probes=TWO[:1])
    assert night.changes == []
    night.entry(EntryKind.IN_SERVICE, brooder="porch", probe="porch/far floor")
    night.holds(35.0, for_s=1800, probes=TWO[:1])
    assert night.told() == ["porch/no-readings"]


def test_silence_behind_a_lost_broker_is_the_same_trouble() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=300)
    night.changes += night.engine.fault(AlarmName.BROKER_LOST, True, night.now(), Facts())
    night.waits(1200)
    lost, silent = night.changes
    assert silent.facts["incident"] == lost.occurrence
    assert silent.priority is Priority.URGENT


def test_a_probe_told_as_faulty_lets_go_of_its_cold_at_once() -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)
    night.holds(35.0, for_s=300, probes=TWO)
    for _ in range(3):
        night.says(31.5, "porch/far floor")
        night.t += 10
    night.holds(35.0, for_s=300, probes=TWO[:1])
    assert night.told() == ["porch/cold"]
    for _ in range(3):
        night.says_bad("porch/far floor")
        night.waits(10)
    night.waits(60)  # told as faulty at the third; cold is over after its off-delay
    assert night.told(ChangeKind.CLEARED) == ["porch/cold"]


def test_a_loose_wire_does_not_hide_the_cold() -> None:
    """Every other value is nonsense; the good ones say 30 degC."""
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=300)
    for _ in range(20):
        night.says_bad(temp_c=-127.0)
        night.t += 10
        night.says(30.0)
        night.t += 10
    assert night.told() == ["porch/probe-fault", "porch/cold"]
    assert night.changes[1].facts["temp_c"] == 30.0


def test_a_probe_lost_on_the_way_into_the_cold_is_no_sign_of_warmth() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=300)
    night.holds(30.0, for_s=30)
    for _ in range(30):
        night.says_bad(temp_c=-127.0)
        night.t += 10
    cold = next(c for c in night.changes if c.alarm is AlarmName.COLD)
    assert cold.at == night.start + 300 + 180
    assert cold.facts["temp_c"] == 30.0


class Evening:
    """Floor probes that live, stick or fall silent, and an outside that cools."""

    def __init__(self, floors: int = 1, *, others: int = 0) -> None:
        boxes = [a_brooder(floors=floors), *(a_brooder(f"box {n}") for n in range(others))]
        self.night = Night(a_site(*boxes, outside=True))
        self.living = [p.key for b in boxes for p in b.probes]
        self.stuck: dict[str, float] = {}
        self._rng = Random(1)

    def goes_on(self, for_s: float) -> None:
        night, gauss = self.night, self._rng.gauss
        end = night.t + for_s
        for _ in night.until(end):
            for key in self.living:
                night.says(35 + gauss(0, 0.1), key)
            for key, temp_c in self.stuck.items():
                night.says(temp_c, key)
            night.says(8 - night.t / 1800 + gauss(0, 0.1), "site/shade")

    def sticks(self, key: str, at_c: float = 35.0) -> None:
        self.living.remove(key)
        self.stuck[key] = at_c

    def told(self, alarm: AlarmName) -> list[Change]:
        return [c for c in self.night.changes if c.alarm is alarm]


def test_a_box_whose_only_floor_probe_is_stuck_is_not_watched_and_somebody_is_woken() -> None:
    evening = Evening()
    evening.goes_on(3 * 3600)
    evening.sticks("porch/floor")
    evening.goes_on(2 * 3600)
    (blind,) = evening.told(AlarmName.NO_READINGS)
    assert (blind.priority, blind.cause) == (Priority.URGENT, Cause.SENSOR)
    assert "floor probe" in blind.facts["reason"]
    assert "stuck" in blind.facts["reason"]
    assert blind.facts["since"] - evening.night.start <= 3 * 3600 + 30  # true until then
    assert blind.at - evening.night.start <= 4 * 3600
    (fault,) = evening.told(AlarmName.PROBE_FAULT)
    assert fault.facts["folded"]  # one trouble, one message
    box = evening.night.box()
    assert box.in_band is None
    assert box.night.unseen_s > 0


def test_a_probe_known_to_be_stuck_does_not_watch_a_box_whose_other_probe_falls_silent() -> None:
    """The lamp and the good probe hang on the same plug."""
    evening = Evening(floors=2)
    evening.goes_on(3 * 3600)
    evening.sticks("porch/far floor")
    evening.goes_on(2 * 3600)
    assert evening.told(AlarmName.NO_READINGS) == []
    unplugged = evening.night.t
    evening.living.clear()
    evening.goes_on(8 * 3600)
    (blind,) = evening.told(AlarmName.NO_READINGS)
    assert blind.priority is Priority.URGENT
    assert blind.at - evening.night.start - unplugged <= 900
    assert blind.facts["since"] == evening.night.start + unplugged - 30
    silent = {p["probe"] for p in blind.facts["probes"] if p["temp_c"] is None}
    assert silent == {"porch/floor"}, "and what the stuck one and the shade say is beside it"


def test_a_stuck_box_among_several_is_told_too_and_over_when_its_probe_lives_again() -> None:
    evening = Evening(others=1)
    evening.goes_on(3 * 3600)
    evening.sticks("porch/floor")
    evening.goes_on(2 * 3600)
    evening.living.append("porch/floor")
    del evening.stuck["porch/floor"]
    evening.goes_on(600)
    changes = evening.told(AlarmName.NO_READINGS)
    assert [(c.brooder, c.change) for c in changes] == [
        ("porch", ChangeKind.RAISED),
        ("porch", ChangeKind.CLEARED),
    ]


def test_a_stuck_probe_that_falls_silent_too_is_still_the_same_trouble() -> None:
    evening = Evening()
    evening.goes_on(3 * 3600)
    evening.sticks("porch/floor")
    evening.goes_on(2 * 3600)
    evening.stuck.clear()
    evening.goes_on(3 * 3600)
    assert [c.change for c in evening.told(AlarmName.NO_READINGS)] == [ChangeKind.RAISED]


def test_a_stuck_probe_does_not_call_off_the_cold_that_a_silent_one_told() -> None:
    evening = Evening(floors=2)
    evening.goes_on(3 * 3600)
    evening.sticks("porch/far floor")
    evening.goes_on(2 * 3600)
    evening.living.clear()
    evening.stuck["porch/floor"] = 30.0  # cold at once, and then nothing more of it
    evening.goes_on(600)
    del evening.stuck["porch/floor"]
    evening.goes_on(3600)
    cold = [c for c in evening.told(AlarmName.COLD) if c.change is ChangeKind.CLEARED]
    assert evening.told(AlarmName.COLD)
    assert cold == []


def late_words(night: Night, for_s: float, behind: Callable[[float], float]) -> None:
    """The floor probe speaks every half minute, with a time stamp of its own that is behind by so
    many seconds (of the time since it began)."""
    begun = night.t
    for _ in night.until(begun + for_s):
        night.changes += night.engine.advance(night.now())
        night.says(34.0, at=night.t - behind(night.t - begun))


def test_how_old_its_stamps_are_is_said_in_the_same_words_everywhere() -> None:
    """A message said 6.5 h, the page 6 h 30 min."""
    night = Night(make_estimator=estimator.none)
    late_words(night, 1800, lambda _: 6.5 * 3600.0)
    (silent,) = [c for c in night.changes if c.alarm is AlarmName.NO_READINGS]
    probe = night.box().probes[0]
    assert probe.stamps_old_s is not None
    assert heard_but_old(probe.stamps_old_s).endswith(" 6 h 30 min old")
    assert silent.facts["reason"].endswith(" 6 h 30 min old")


@pytest.mark.parametrize("well_before_s", [0, 3600])
def test_a_probe_whose_clock_is_hours_behind_is_said_to_be_and_nobody_looks_for_a_power_cut(
    well_before_s: float,
) -> None:
    """Local time sent as if it were UTC; from the start, or since its battery was changed."""
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=well_before_s, every_s=30)
    late_words(night, 1800, lambda _: 6 * 3600.0)
    (silent,) = [c for c in night.changes if c.alarm is AlarmName.NO_READINGS]
    assert silent.priority is Priority.URGENT
    assert silent.facts["reason"] == "readings arrive, but their own time stamps are 6 h old"
    assert "clock" in silent.facts["detail"]
    assert silent.cause is Cause.SENSOR


def test_while_a_probe_is_set_up_its_old_stamps_are_seen_at_its_first_word() -> None:
    """Not "never heard": whoever mounts it would look for its power and its network."""
    night = Night(make_estimator=estimator.none)

    def stamps_old_s() -> float | None:
        return night.box().probes[0].stamps_old_s

    night.t += 30
    late_words(night, 30, lambda _: 20 * 60.0)
    assert stamps_old_s() == 20 * 60.0
    late_words(night, 1200, lambda _: 20 * 60.0)
    (silent,) = [c for c in night.changes if c.alarm is AlarmName.NO_READINGS]
    assert silent.facts["reason"] == "readings arrive, but their own time stamps are 20 min old"
    assert silent.facts["says_c"] == 34.0
    late_words(night, 30, lambda _: 0.0)
    assert stamps_old_s() is None


def test_where_only_some_words_have_a_stamp_that_is_hours_old_the_others_are_not_waited_for() -> (
    None
):
    """Taken for gaps of the link, they had it waited for for an hour."""
    night = Night(make_estimator=estimator.none)
    for _ in range(9):
        late_words(night, 600, lambda _: 6 * 3600.0)
        night.says(34.0)
    night.changes.clear()
    late_words(night, 1000, lambda _: 6 * 3600.0)
    assert night.told() == ["porch/no-readings"]


@pytest.mark.parametrize("behind_s", [0.0, 200.0, 600.0])
def test_a_probe_whose_clock_is_minutes_behind_is_heard_at_every_word(behind_s: float) -> None:
    """It was heard once in so many minutes: the floor was told as cold after three of them."""
    night = Night(make_estimator=estimator.none)
    late_words(night, 3600, lambda _: behind_s)
    for _ in range(12):
        night.t += 30
        night.changes += night.engine.advance(night.now())
        night.says(31.0, at=night.t - behind_s)
    assert night.told() == ["porch/cold"]


@pytest.mark.parametrize("back_s", [100.0, 800.0])
def test_a_probe_whose_clock_is_set_back_is_heard_again_at_its_third_word(back_s: float) -> None:
    """Nothing was, until its stamps had come to where they had been."""
    night = Night(make_estimator=estimator.none)
    late_words(night, 3600, lambda _: 0.0)
    for _ in range(9):
        night.t += 30
        night.changes += night.engine.advance(night.now())
        night.says(31.0, at=night.t - back_s)
    assert night.told() == ["porch/cold"]


@pytest.mark.parametrize("back_s", [100.0, 600.0])
@pytest.mark.parametrize("newest_first", [False, True])
def test_of_a_sender_of_packs_word_by_word_a_clock_set_back_costs_two_packs(
    back_s: float, newest_first: bool
) -> None:
    """Within a pack the stamps go faster than the words come, as of a store that is emptied."""
    night = Night(make_estimator=estimator.none)
    late_words(night, 3600, lambda _: 0.0)
    for _ in range(3):
        night.t += 240
        night.changes += night.engine.advance(night.now())
        for ago_s in sorted(range(0, 240, 30), reverse=not newest_first):
            night.t += 0.2
            night.says(31.0, at=night.t - ago_s - back_s)
    assert night.box().probes[0].temp_c == 31.0


def test_of_a_store_that_is_emptied_after_the_newest_word_nothing_is_how_the_floor_is() -> None:
    """The third of it would have been taken for the floor of now, by a clock that was set back."""
    night = Night(make_estimator=estimator.none)
    late_words(night, 3600, lambda _: 0.0)
    night.t += 480
    night.changes += night.engine.advance(night.now())
    night.says(31.0)
    for back_s in range(450, 0, -30):
        night.t += 0.2
        night.says(35.0, at=night.t - back_s)
    assert night.box().probes[0].temp_c == 31.0


@pytest.mark.parametrize("behind_s", [0.0, 200.0])
def test_garbage_of_a_probe_whose_clock_is_minutes_behind_is_told(behind_s: float) -> None:
    night = Night(make_estimator=estimator.none)
    late_words(night, 3600, lambda _: behind_s)
    for _ in range(3):
        night.t += 30
        night.changes += night.engine.advance(night.now())
        night.says_bad(at=night.t - behind_s)
    assert night.told() == ["porch/probe-fault"]


def test_of_words_kept_and_sent_together_the_last_one_is_how_the_floor_is() -> None:
    """A sender that wakes every four minutes, a minute behind: the first of five stood so long."""
    night = Night(make_estimator=estimator.none)
    for temp_c in (34.0, 34.0, 34.0, 34.0, 34.0, 31.0, 31.0):
        night.t += 240
        night.changes += night.engine.advance(night.now())
        for ago_s in (240, 190, 140, 90):
            night.says(34.0, at=night.t - ago_s)
        night.says(temp_c, at=night.t - 50)
    (box,) = night.engine.status(night.now()).brooders
    assert box.temp_c == 31.0


def test_of_a_store_that_is_emptied_the_last_word_counts() -> None:
    """Ten minutes of a feeding, kept by the sender: the floor is warm again by now."""
    night = Night(make_estimator=estimator.none)
    night.holds(34.0, for_s=3600, every_s=30)
    night.waits(600)
    for ago_s in range(590, 20, -10):
        night.says(31.0, at=night.t - ago_s)
    night.says(34.0)
    night.holds(34.0, for_s=900, every_s=30)
    assert night.told() == []


def test_a_probes_store_coming_in_after_a_gap_is_no_wrong_clock() -> None:
    """Ten stored readings for each that it takes, so what comes is less and less late."""
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=600, every_s=30)
    night.waits(600)
    late_words(night, 1800, lambda t: 18000.0 - 5 * t)
    (silent,) = [c for c in night.changes if c.alarm is AlarmName.NO_READINGS]
    assert "reason" not in silent.facts
    assert silent.cause is Cause.SILENCE


def test_a_wrong_clock_of_yesterday_is_not_blamed_for_the_silence_of_today() -> None:
    night = Night(make_estimator=estimator.none)
    late_words(night, 1800, lambda _: 6 * 3600.0)
    night.holds(35.0, for_s=3600, every_s=30)
    night.waits(1200)
    silent = [c for c in night.changes if c.alarm is AlarmName.NO_READINGS][-1]
    assert "reason" not in silent.facts


def sends_a_pack(night: Night, every_s: float, probe: str = TWO[0]) -> None:
    """Five words, each kept for as long as it took to measure those after it."""
    for ago in range(4, -1, -1):
        night.says(35.0, probe, at=night.t - ago * every_s)


@pytest.mark.parametrize("every_s", [120, 234, 284])
def test_a_sender_of_packs_is_not_taken_for_one_whose_clock_is_behind(every_s: float) -> None:
    """The first word of each was a quarter of an hour old; its last one came in time."""
    night = Night(make_estimator=estimator.none)
    for _ in range(9):
        sends_a_pack(night, every_s)
        night.waits(5 * every_s)
    assert night.told() == []


def test_after_a_silence_of_the_whole_box_one_that_speaks_seldom_is_given_its_time() -> None:
    """Four minutes after the others were back it was told as silent."""
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)

    def goes_on(for_s: float, seldom_s: float = 400.0) -> None:
        for second in range(0, int(for_s), 20):
            night.waits(20)
            night.says(35.0, TWO[0])
            if second % seldom_s == seldom_s - 20.0:
                night.says(35.0, TWO[1])

    goes_on(4 * 3600)
    night.waits(3600)
    goes_on(3600)
    raised = [c for c in night.changes if c.change is ChangeKind.RAISED]
    assert [c.probe for c in raised] == [TWO[0], None]
    night.waits(3600)
    back = night.start + night.t
    goes_on(3600, seldom_s=1e9)
    told = [c for c in night.changes if c.change is ChangeKind.RAISED and c.at > back]
    assert [c.probe for c in told] == [TWO[1]], "within the hour"


def test_after_a_silence_of_the_whole_box_one_that_was_not_missed_yet_is_given_its_time() -> None:
    """Six minutes after the others were back it was told as silent."""
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)

    def goes_on(for_s: float) -> None:
        for _ in range(0, int(for_s), 20):
            night.waits(20)
            night.says(35.0, TWO[0])
            if night.t % 900.0 == 0.0:
                night.says(35.0, TWO[1])

    goes_on(4 * 3600.0 + 880.0)
    night.waits(2200.0)
    goes_on(3600.0)
    raised = [c for c in night.changes if c.change is ChangeKind.RAISED]
    assert [c.probe for c in raised] == [TWO[0]]


def test_how_often_one_beside_others_speaks_its_first_hour_shows() -> None:
    night = Night(a_site(a_brooder(floors=3)), make_estimator=estimator.none)
    for minute in range(24 * 60):
        night.waits(60)
        night.says(35.0, TWO[0])
        if minute % 40 == 30:
            sends_a_pack(night, 480, TWO[1])
    (told,) = night.changes
    assert told.probe == "porch/third floor"
    assert told.at == night.start + 3600 + 300


@pytest.mark.parametrize("every_s", [300, 600])
def test_a_probe_that_sends_every_few_minutes_is_not_silent_for_two_that_are_lost(every_s) -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=4 * 3600, every_s=every_s)
    night.waits(2 * every_s)
    night.holds(35.0, for_s=3600, every_s=every_s)
    assert night.told() == []


def test_one_that_sends_every_ten_minutes_is_silent_when_the_third_is_missed() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=4 * 3600, every_s=600)
    night.waits(3600)
    (silent,) = night.changes
    assert silent.facts["since"] + 1800 < silent.at <= silent.facts["since"] + 2100


def test_one_that_sends_its_readings_by_the_pack_is_waited_for_an_hour_at_most() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=86400, every_s=2700)
    told = len(night.told())
    night.holds(35.0, for_s=86400, every_s=2700)
    assert len(night.told()) == told <= 4, "learnt within a few of them"
    night.waits(2 * 3600)
    assert night.changes[-1].at == night.changes[-1].facts["since"] + 3600


def test_the_wait_for_a_probes_first_word_is_no_gap_of_it() -> None:
    night = Night(make_estimator=estimator.none)
    night.waits(1800)
    night.holds(35.0, for_s=180)
    heard = night.start + night.t - 10
    night.waits(3600)
    raised = [c.at for c in night.changes if c.change is ChangeKind.RAISED]
    assert raised == [night.start + 900, heard + 900]


def test_an_hour_without_a_word_does_not_make_a_quick_probe_a_slow_one() -> None:
    night = Night(make_estimator=estimator.none)
    night.holds(35.0, for_s=3600)
    night.waits(3 * 3600)
    night.holds(35.0, for_s=1800)
    night.waits(3600)
    assert night.changes[-1].at == night.changes[-1].facts["since"] + 900


FLOORS = (*TWO, "porch/third floor")


def loses(night: Night, share: float, for_s: float, *, every_s: float, probes=TWO[:1]) -> None:
    """So many of their readings never come."""
    rng = Random(f"{share}/{every_s}")
    for _ in range(int(for_s / every_s)):
        night.waits(every_s)
        for probe in probes:
            if rng.random() >= share:
                night.says(35.0 + rng.gauss(0, 0.05), probe)


@pytest.mark.parametrize("every_s", [150, 240, 400, 600])
@pytest.mark.parametrize("share", [0.1, 0.3])
def test_what_a_bad_link_loses_is_told_once_in_weeks_where_others_tell(every_s, share) -> None:
    night = Night(a_site(a_brooder(floors=3)), make_estimator=estimator.none)
    loses(night, share, 86400, every_s=every_s, probes=FLOORS)
    learning = night.told().count("porch/no-readings")
    loses(night, share, 10 * 86400, every_s=every_s, probes=FLOORS)
    assert learning <= 1
    assert night.told().count("porch/no-readings") <= learning + 1, "thirty days of a probe"


def test_the_last_probe_that_is_heard_is_waited_for_an_hour_at_most_however_bad_its_link() -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)
    loses(night, 0.5, 2 * 86400, every_s=600, probes=TWO)
    for probe in TWO:
        night.says(35.0, probe)
    since = night.start + night.t
    night.waits(3700)
    assert night.changes[-1].priority is Priority.URGENT
    assert night.changes[-1].at == since + 3600


def test_one_of_a_bad_link_is_no_longer_waited_for_when_the_others_fall_silent() -> None:
    night = Night(a_site(a_brooder(floors=2)), make_estimator=estimator.none)
    rng = Random(3)
    for _ in range(2 * 1440):
        night.waits(60)
        night.says(35.0 + rng.gauss(0, 0.05), TWO[0])
        if rng.random() < 0.05:
            night.says(35.0 + rng.gauss(0, 0.05), TWO[1])
    assert len(night.told()) <= 1, "once while it is learned"
    night.says(35.0, TWO[1])
    night.waits(3700)
    assert night.changes[-1].priority is Priority.URGENT
    assert night.changes[-1].at - night.changes[-1].facts["since"] <= 3600
