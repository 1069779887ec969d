"""Draws chart descriptions as PNG or SVG in a child process. Called by the review, the alert's
attachment and the page. Run as a program (`python -m monitor.review.draw png`) it is that child.

Why a child: the drawing library brings a JavaScript engine of 170 MB and native code. In a child
neither its memory stays nor can a crash or a hang of it touch the watch; it has a kill time."""

import base64
import json
import sys
from collections.abc import Mapping, Sequence
from typing import Any

from monitor import child

# Then it hangs. A picture takes 0.5 s here, but at load 25 one was slow enough for a limit of 30 s.
# Whoever waits for less long than that (the page, an alarm's picture) has a limit of its own.
KILL_AFTER_S = 300.0
PNG_SCALE = 2.0  # a phone's screen has two dots and more per CSS pixel
_GLOBALS = "window.vegaEmbed = vegaEmbed;"


class NotDrawn(Exception):
    """The picture could not be drawn; the message says why in one clause."""


def draw(spec: Mapping[str, Any], form: str, *, kill_after_s: float = KILL_AFTER_S) -> bytes:
    """The description drawn as `png` or `svg`. Raises NotDrawn."""
    return draw_all([spec], form, kill_after_s=kill_after_s)[0]


def draw_all(
    specs: Sequence[Mapping[str, Any]], form: str, *, kill_after_s: float = KILL_AFTER_S
) -> list[bytes]:
    """Several pictures by one child: starting it is most of the work. Raises NotDrawn."""
    answer = _child(form, json.dumps(specs).encode(), kill_after_s)
    return [base64.b64decode(drawn) for drawn in json.loads(answer)]


def script_bundle(*, kill_after_s: float = KILL_AFTER_S) -> bytes:
    """The drawing library's own JavaScript, for a view that moves. Raises NotDrawn."""
    return _child("bundle", b"[]", kill_after_s)


def _child(form: str, given: bytes, kill_after_s: float) -> bytes:
    try:
        return child.run(
            "monitor.review.draw", form, given=given, limit_s=kill_after_s, leads=False
        )
    except child.ChildLate as late:
        raise NotDrawn(f"drawing {late}") from late
    except child.ChildFailed as fault:
        raise NotDrawn(f"the drawing process {fault}") from fault


def _main(form: str) -> None:
    import vl_convert  # noqa: PLC0415 - only the child may carry it

    specs = json.load(sys.stdin.buffer)
    if form == "bundle":
        sys.stdout.buffer.write(vl_convert.javascript_bundle(_GLOBALS).encode())
        return
    drawn: list[bytes] = []
    for spec in specs:
        if form == "svg":
            drawn.append(vl_convert.vegalite_to_svg(spec, allowed_base_urls=[]).encode())
        elif form == "png":
            drawn.append(vl_convert.vegalite_to_png(spec, scale=PNG_SCALE, allowed_base_urls=[]))
        else:
            raise SystemExit(f"form {form!r} is not known; png or svg")
    sys.stdout.write(json.dumps([base64.b64encode(picture).decode() for picture in drawn]))


if __name__ == "__main__":
    _main(sys.argv[1])
