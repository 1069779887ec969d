"""Pictures really drawn, in the drawing child: sizes, words, clock changes, faults."""

import dataclasses
import html
import pickle
import re
import struct
import subprocess
import sys
from functools import partial
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from support.patience import LEAST_S
from support.review_journal import site
from support.review_journal import write as write_journal
from support.review_scenes import at, days, line, night

from monitor.journal.reader import JournalReader
from monitor.review.attachment import twelve_hours
from monitor.review.chart import PAPER_PX, describe
from monitor.review.draw import NotDrawn, draw, draw_all
from monitor.review.record import NotFound
from monitor.site import Place

pytestmark = pytest.mark.live
PHONE_CSS_PX = 390
# On a busy machine drawing may take longer than a grower is to wait for it.
PATIENT = f"""
import runpy
from monitor.review import draw
for each in (draw.draw, draw.draw_all):
    each.__kwdefaults__["kill_after_s"] = {LEAST_S}
"""


@pytest.fixture(autouse=True)
def _patient(monkeypatch: pytest.MonkeyPatch) -> None:
    for each in (draw, draw_all):
        monkeypatch.setitem(each.__kwdefaults__, "kill_after_s", LEAST_S)


def png_size(png: bytes) -> tuple[int, int]:
    """Width and height as the file itself says (PNG, IHDR)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", png[16:24])


def words(svg: bytes) -> list[str]:
    """Every text in the picture, in drawing order."""
    found = re.findall(r"<text[^>]*>(.*?)</text>", svg.decode(), re.DOTALL)
    return [html.unescape(re.sub(r"(<[^>]+>)+", " ", text)).strip() for text in found]


@pytest.mark.parametrize(
    "scene", [night, partial(days, 7), partial(days, 30)], ids=["night", "week", "batch"]
)
def test_each_picture_fits_a_phone_twice_as_sharp(scene):
    width, height = png_size(draw(describe(scene()), "png"))
    assert width <= 2 * PHONE_CSS_PX
    assert height > width  # upright, as a phone is held


def test_the_picture_s_words_are_text_and_none_is_below_eleven_pixels():
    svg = draw(describe(night(), wide_px=PAPER_PX), "svg")
    assert {"floor west", "floor east", "target", "chill limit", "heat-loss", "2 lost",
            "new bulb", "18:00", "00:00 11 Feb"} <= set(words(svg))  # fmt: skip
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)px"', svg.decode())]
    assert min(sizes) >= 11


@pytest.mark.parametrize(
    ("evening", "hours"),
    [
        ("2026-03-07 20:00", "20 21 22 23 00 01 03 04 05 06 07 08"),  # 2 o'clock does not exist
        ("2026-10-31 20:00", "20 21 22 23 00 01 01 02 03 04 05 06"),  # 1 o'clock comes twice
    ],
)
def test_hours_under_the_picture_are_local_in_nights_of_23_and_25_hours(evening, hours):
    start = at(evening)
    times = np.arange(start, start + 11 * 3600 + 1, 60.0)
    scene = dataclasses.replace(
        night(), start=start, stop=start + 11 * 3600, alarms=(), events=(),
        lines=(line("floor", Place.FLOOR, times, np.full(len(times), 33.0)),),
    )  # fmt: skip
    shown = words(draw(describe(scene, wide_px=PAPER_PX), "svg"))
    labels = [text[:2] for text in shown if re.fullmatch(r"\d\d:00( \d+ \w+)?", text)]
    assert labels == hours.split()


def test_a_zone_of_half_hours_has_its_own_full_hours():
    shown = words(draw(describe(night(ZoneInfo("Asia/Kolkata")), wide_px=PAPER_PX), "svg"))
    labels = [text for text in shown if re.match(r"\d\d:\d\d", text)]
    assert "18:00" in labels
    assert all(text[3:5] == "00" for text in labels)


def test_names_beside_the_lines_do_not_cover_each_other():
    scene = night()
    close = [dataclasses.replace(scene.lines[0], name=f"floor {n}") for n in range(6)]
    svg = draw(describe(dataclasses.replace(scene, lines=tuple(close))), "svg").decode()
    name = r'<text[^>]*transform="translate\([\d.]+,([\d.]+)\)"[^>]*>floor \d</text>'
    at_y = [float(y) for y in re.findall(name, svg)]
    assert len(at_y) == 6
    assert all(b - a >= 11 for a, b in pairwise(sorted(at_y)))


def test_a_child_that_takes_too_long_is_stopped_and_said():
    with pytest.raises(NotDrawn, match=r"took longer than 0\.01 s and was stopped"):
        draw(describe(night()), "png", kill_after_s=0.01)


def test_a_description_that_cannot_be_drawn_is_said_and_harms_nobody():
    with pytest.raises(NotDrawn, match="drawing process failed"):
        draw({"mark": "no such thing", "encoding": 7}, "svg")
    assert draw(describe(days(7)), "svg").startswith(b"<svg")


def test_several_pictures_come_from_one_child_in_order():
    first, second = draw_all([describe(night()), describe(days(7))], "svg")
    assert "00:00 11 Feb" in words(first)
    assert "day 3" in " ".join(words(second))


def test_an_alert_gets_the_last_twelve_hours_as_one_file(tmp_path):
    write_journal(tmp_path / "journal.db", days=4)
    with JournalReader(tmp_path / "journal.db") as reader:
        path = twelve_hours(reader, site(), "porch", at("2026-02-11 02:30"), tmp_path)
        assert png_size(path.read_bytes())[0] <= 2 * PHONE_CSS_PX
        assert [found.suffix for found in tmp_path.iterdir()].count(".png") == 1
        assert not list(tmp_path.glob("*.part"))
        with pytest.raises(NotFound):
            twelve_hours(reader, site(), "barn", at("2026-02-11 02:30"), tmp_path)


def test_the_child_that_draws_for_an_alert_prints_the_picture_s_path(tmp_path):
    write_journal(tmp_path / "journal.db", days=4)

    def child(box: str) -> subprocess.CompletedProcess[bytes]:
        asked = tmp_path / "journal.db", site(), box, at("2026-02-11 02:30"), tmp_path
        run = 'runpy.run_module("monitor.review.attachment", run_name="__main__")'
        command = [sys.executable, "-c", PATIENT + run]
        return subprocess.run(
            command,
            input=pickle.dumps(asked),
            capture_output=True,
            timeout=2 * LEAST_S,
            check=False,
        )

    drawn = child("porch")
    assert drawn.returncode == 0
    assert Path(drawn.stdout.decode().strip()).read_bytes().startswith(b"\x89PNG")
    wrong = child("barn")
    assert wrong.returncode == 1
    assert wrong.stderr.decode().startswith('--brooder is "barn"')


def test_what_the_watch_needs_of_the_review_loads_neither_numpy_nor_the_drawing_library():
    words = (
        "import sys, monitor.service.chart_attachments, monitor.review.draw;"
        "print({'numpy', 'vl_convert', 'jinja2'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", words], capture_output=True, check=True)
    assert done.stdout == b"set()\n"
