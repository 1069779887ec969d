"""The tail gives back every row since the database took the last ones, whatever lies there from
rounds before."""

from pathlib import Path
from random import Random

import pytest

from monitor.journal.tail import Row, Tail, read

LENGTHS = (100, 700, 1300, 2000, 2700, 4000, 6000)


@pytest.mark.parametrize("seed", range(10))
def test_every_row_of_this_round_is_read_whatever_earlier_ones_left(
    tmp_path: Path, seed: int
) -> None:
    chance = Random(seed)
    path = tmp_path / "journal.db"
    tail = Tail(path, 7)
    taken, rounds = 0, 0
    for number in range(1, 300):
        row = Row(number, number, number, bytes(chance.choice(LENGTHS)), b"marks")
        if not tail.takes(row):
            taken, rounds = number - 1, rounds + 1
            tail.taken()
        tail.append(row)
        assert read(path, 7, taken) == tail.rows
    tail.close()
    assert rounds > 3
