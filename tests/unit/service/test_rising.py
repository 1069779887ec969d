"""The probe in the hand is the one that rises while the others do not."""

from monitor.service.live_set_up import Rising


def hears(*courses: tuple[str, list[float]], every_s: float = 10.0) -> Rising:
    rising = Rising()
    for probe, temps in courses:
        for number, temp_c in enumerate(temps):
            rising.note(probe, temp_c, number * every_s)
    return rising


def test_the_one_that_rises_is_in_the_hand() -> None:
    rising = hears(("a", [20.0, 22.0, 24.5]), ("b", [20.0, 20.1, 20.0]))
    assert rising.in_hand() == "a"
    assert rising.rise_c("a") == 4.5


def test_a_room_that_warms_is_no_hand_and_neither_are_two_that_rise_together() -> None:
    assert hears(("a", [20.0, 20.9]), ("b", [20.0, 20.2])).in_hand() is None
    assert hears(("a", [20.0, 24.0]), ("b", [20.0, 23.0])).in_hand() is None
    assert Rising().in_hand() is None


def test_a_rise_of_long_ago_and_a_reading_heard_twice_do_not_count() -> None:
    assert hears(("a", [20.0, 26.0, 26.0, 26.0]), every_s=100.0).in_hand() is None
    rising = hears(("a", [20.0]))
    rising.note("a", 30.0, 0.0)
    assert rising.rise_c("a") == 0.0
