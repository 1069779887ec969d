"""What keeps the latest only is bounded, and lets go of what was set longest ago."""

from monitor.bounded import Bounded


def test_beyond_its_bound_the_one_set_longest_ago_goes() -> None:
    kept: Bounded[str, int] = Bounded(2)
    for name, value in (("a", 1), ("b", 2), ("a", 3), ("c", 4)):
        kept[name] = value
    assert list(kept.items()) == [("a", 3), ("c", 4)]


def test_to_look_at_one_keeps_it_no_longer() -> None:
    kept: Bounded[str, int] = Bounded(2)
    kept["a"], kept["b"] = 1, 2
    assert kept.get("a") == 1
    kept["c"] = 3
    assert list(kept) == ["b", "c"]
