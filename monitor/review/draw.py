"""Draws a chart description as PNG or SVG in a child process. Called by the review, the alert's
attachment and the page. Run as a program (`python -m monitor.review.draw png`) it is that child.

Why a child: the drawing library brings a JavaScript engine of 170 MB and native code. In a child
neither its memory stays nor can a crash or a hang of it touch the watch; it has a kill time."""

import json
import subprocess
import sys
from collections.abc import Mapping
from typing import Any

KILL_AFTER_S = 30.0  # takes 0.5 s here; a small board under load is ten times slower
_GLOBALS = "window.vegaEmbed = vegaEmbed;"
PNG_SCALE = 2.0  # a phone's screen has two dots and more per CSS pixel


class NotDrawn(Exception):
    """The picture could not be drawn; the message says why in one clause."""


def draw(spec: Mapping[str, Any], form: str, *, kill_after_s: float = KILL_AFTER_S) -> bytes:
    """The description drawn as `png` or `svg`. Raises NotDrawn."""
    return _child(form, json.dumps(spec).encode(), kill_after_s)


def script_bundle(*, kill_after_s: float = KILL_AFTER_S) -> bytes:
    """The drawing library's own JavaScript (Vega, Vega-Lite, Vega-Embed), for a view offline."""
    return _child("bundle", b"{}", kill_after_s)


def _child(form: str, given: bytes, kill_after_s: float) -> bytes:
    command = [sys.executable, "-m", "monitor.review.draw", form]
    try:
        done = subprocess.run(  # noqa: S603 - our own module, a fixed command
            command, input=given, capture_output=True, timeout=kill_after_s, check=False
        )
    except subprocess.TimeoutExpired as late:
        raise NotDrawn(f"drawing took longer than {kill_after_s:g} s and was stopped") from late
    except OSError as fault:
        raise NotDrawn(f"the drawing process could not start: {fault}") from fault
    if done.returncode != 0:
        last = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or ["no word why"]
        raise NotDrawn(f"the drawing process failed ({done.returncode}): {last[0]}")
    return done.stdout


def _main(form: str) -> None:
    import vl_convert  # noqa: PLC0415 - only the child may carry it

    spec = json.load(sys.stdin.buffer)
    if form == "bundle":
        drawn: bytes = vl_convert.javascript_bundle(_GLOBALS).encode()
    elif form == "svg":
        drawn = vl_convert.vegalite_to_svg(spec, allowed_base_urls=[]).encode()
    elif form == "png":
        drawn = vl_convert.vegalite_to_png(spec, scale=PNG_SCALE, allowed_base_urls=[])
    else:
        raise SystemExit(f"form {form!r} is not known; png, svg or bundle")
    sys.stdout.buffer.write(drawn)


if __name__ == "__main__":
    _main(sys.argv[1])
