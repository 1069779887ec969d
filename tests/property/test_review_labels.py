"""Laws of the words beside lines and symbols: in order, apart, inside, never one over another."""

from itertools import combinations, pairwise

from hypothesis import given
from hypothesis import strategies as st

from monitor.review.labels import LETTER_PX, apart, in_lines, sides

values = st.lists(st.floats(-50, 150, allow_nan=False), min_size=1, max_size=8)


@given(values)
def test_names_keep_their_order_and_their_distance(wanted):
    placed = apart(wanted, gap=10, low=0, high=100)
    ordered = [place for _, place in sorted(zip(wanted, placed, strict=True))]
    assert all(b - a >= 10 - 1e-9 for a, b in pairwise(ordered))
    assert min(placed) >= 0
    assert max(placed) <= 100


@given(values)
def test_names_with_room_stand_at_their_lines(wanted):
    spread = sorted(set(wanted))
    if all(b - a >= 10 for a, b in pairwise(spread)) and spread[0] >= 0 and spread[-1] <= 100:
        assert apart(spread, gap=10, low=0, high=100) == spread


marks = st.lists(
    st.tuples(st.floats(0, 264, allow_nan=False), st.text("abc ", max_size=40)), max_size=10
)


@given(marks)
def test_no_text_covers_another_text_or_a_symbol_or_leaves_the_picture(row):
    boxes = []
    for (x, text), side in zip(row, sides(row, 264), strict=True):
        width = len(text) * LETTER_PX
        if side == "right":
            boxes.append((x + 7, x + 7 + width))
        elif side == "left":
            boxes.append((x - 7 - width, x - 7))
        else:
            assert side is None
    assert all(start >= 0 and stop <= 264 for start, stop in boxes)
    assert all(a[1] <= b[0] or b[1] <= a[0] for a, b in combinations(boxes, 2))
    assert not any(start < x + 5 and stop > x - 5 for start, stop in boxes for x, _ in row)


@given(st.text("ab c", min_size=1, max_size=60).filter(str.strip), st.integers(1, 2))
def test_a_name_fits_its_lines_and_says_when_it_is_cut(name, most):
    shown = in_lines(name, 12, most)
    assert shown.count("\n") < most
    assert all(len(line) <= 12 for line in shown.split("\n"))
    assert "".join(shown.split()) == "".join(name.split()) or "…" in shown
