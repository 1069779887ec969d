"""The moving picture: for a page with a strict content policy, and as one file that opens offline.

A page serves three files: the drawing library (`draw.script_bundle()`), SCRIPT and STYLE; and puts
`<figure data-chart="ADDRESS">` where ADDRESS answers `chart.describe(scene, moving=True)` as
JSON. Nothing in them compiles code or needs inline scripts or styles: Vega's expressions are run
by its interpreter (`ast: true`), so `script-src 'self'; style-src 'self'` is enough
(tests/live/test_chart_page.py tries it in a browser)."""

import json
from pathlib import Path

from markupsafe import Markup

from monitor.review.chart import describe
from monitor.review.draw import script_bundle
from monitor.review.html_file import template
from monitor.review.scene import Scene

SCRIPT = Path(__file__).parent / "static" / "chart.js"
STYLE = Path(__file__).parent / "static" / "chart.css"


def offline(scene: Scene) -> str:
    """One HTML file with everything in it: zoom and hover without any network."""
    # A note of the grower's may hold anything; in JSON "<" can be written so that it ends nothing.
    spec = json.dumps(describe(scene, wide_px=700, moving=True)).replace("<", "\\u003c")
    return template("chart.html").render(
        title=scene.title,
        summary=scene.summary,
        style=Markup(STYLE.read_text()),  # noqa: S704 - our own files
        library=Markup(script_bundle().decode().replace("</script", "<\\/script")),  # noqa: S704
        script=Markup(SCRIPT.read_text()),  # noqa: S704
        spec=Markup(spec),  # noqa: S704
    )
