"""What plugs that measure power add to simulated nights: the same nights without plugs, with plugs,
and with plugs that fail. NIGHTS is a folder with a simulator of nights (`simulate.py`) and its
judge (`score.py`); the project has none of its own that draws a thermostat's watts.

    python tests/bench/nights_with_watts.py NIGHTS [--first 7700] [--seeds 2] [--only power-lost]

The plugs are a layer of ours. Each draws by chance how often it speaks, whether it says its watts
now or their mean since the last word, its resolution, and what it draws itself."""

import argparse
import json
import random
import re
import sys
import tempfile
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

sys.path[:0] = [str(Path(__file__).parents[2])]

# ruff: noqa: E402
from monitor.service.core import CoreOutput
from monitor.service.replay import Replay, event_of
from monitor.settings import load_settings

SCENARIOS = (
    "one-of-many-fails", "only-source-fails", "power-lost", "flicker-fails",
    "thermostat-source-fails", "dimmed-source-fails", "fails-no-outside", "late-clock-fails",
    "quiet-thermostat", "quiet-dimmed", "quiet-cool", "quiet-stepdown", "quiet-sunny",
    "quiet-no-outside", "cold-front", "cold-snap", "cover-blown", "thermostat-stuck",
)  # fmt: skip
DIMMED = {"dimmed-source-fails": "thermostat-source-fails", "quiet-dimmed": "quiet-thermostat"}
BARE, SAID, UNSAID = "no plugs", "plugs", "plugs, thermostat not said"
NEVER, SILENT, WITH_IT, STUCK = (
    "plugs never heard", "plugs silent before", "plugs silent with it", "plugs stuck before",
)  # fmt: skip
WAYS = (BARE, SAID, UNSAID, NEVER, SILENT, WITH_IT, STUCK)
HEAT = re.compile(r'\[\[brooders\.heat\]\]\nname = "(.*)"')


@dataclass
class Tally:
    """Of one way in one scenario."""

    failures: int = 0
    named_after_min: list[float] = field(default_factory=list)
    wrong: int = 0  # another source named, surely
    noticed_after_min: list[float] = field(default_factory=list)
    false: list[str] = field(default_factory=list)
    false_heat: int = 0  # of them, a source said to be out
    loud: int = 0


class Nights:
    """Makes nights with the simulator found in `folder`."""

    def __init__(self, folder: Path) -> None:
        sys.path.insert(0, str(folder))
        self.score, self._sim = import_module("score"), import_module("simulate")
        self._integrate = self._sim.simulate
        self._dimmed = False
        self._drawn: dict[str, list[tuple[list[float], list[float]]]] = {}
        self._sim.simulate = self._watched

    def make(self, scenario: str, seed: int, out: Path) -> Path:
        """The run's folder, what its plugs say beside the rest. One that is there is taken."""
        out = out / scenario
        kept = next(out.glob(f"*-{seed:04d}/plugs.json"), None)
        if kept is not None:
            return kept.parent
        dice = random.Random(f"{scenario} {seed}")
        self._sim.LIT = (0.007, 0.017) if dice.random() < 0.5 else None
        self._sim.EVENING = dice.choice(("cosine", "exponential"))
        self._dimmed = scenario in DIMMED
        self._drawn = {}
        run, _, _ = self._sim.make_run(DIMMED.get(scenario, scenario), seed, str(out))
        says = sorted(plug_lines(self._drawn, Path(run, "config.toml").read_text(), seed))
        Path(run, "plugs.json").write_text(json.dumps(says), encoding="utf-8")
        return Path(run)

    def _watched(self, rng: Any, box: Any, wx: Any, *rest: Any) -> Any:
        """The integration, with the watts that went into each source."""
        if self._dimmed and box.thermo:
            box.thermo["band"] = 1.5
        slow: list[list[float]] = []
        whole = box.deriv

        def deriv(state: Any, radiant: Any, convective: list[float], *more: Any) -> Any:
            slow.append(convective)
            return whole(state, radiant, convective, *more)

        box.deriv = deriv
        made = self._integrate(rng, box, wx, *rest)
        del box.deriv
        slow = slow[-len(wx.t) :]
        drawn = []
        for k, source in enumerate(box.src):
            # what it gives follows what it draws with a lag of first order: turned round
            given = [row[k] / (1 - source["rad"]) for row in slow]
            gain = source["tau"] / wx.dt
            draws = [given[0], *(a + (b - a) * gain for a, b in pairwise(given))]
            drawn.append((wx.t.tolist(), [max(0.0, watts) for watts in draws]))
        self._drawn[box.name] = drawn
        return made


def plug_lines(drawn: dict[str, Any], config: str, seed: int) -> Iterator[tuple[float, str, str]]:
    """What the plugs of a run publish: time, topic, payload."""
    boxes = re.split(r"\[\[brooders\]\]\n", config)[1:]
    for text in boxes:
        box = re.search(r'name = "(.*)"', text)
        assert box is not None
        for name, (times, watts) in zip(HEAT.findall(text), drawn[box[1]], strict=True):
            dice = random.Random(f"{seed} {box[1]} {name}")
            every = dice.choice((10.0, 20.0, 30.0, 60.0))
            mean, digits = dice.random() < 0.3, dice.choice((0, 1))
            gain, own = dice.gauss(1.0, 0.02), dice.choice((0.0, 0.3, 0.8))
            at, was = times[0] + dice.uniform(0, every), 0
            while at < times[-1]:
                here = bisect_right(times, at) - 1
                span = watts[was : here + 1] if mean else watts[here : here + 1]
                draws = sum(span) / len(span) * gain * dice.gauss(1.0, 0.002) + own
                yield at, f"plug/{box[1]}/{name}", f"{draws:.{digits}f}"
                was, at = here, at + every


def failing(way: str, lines: list[tuple[float, str, str]], at: float) -> Any:
    """The plugs' lines as they come in that way; `at`: of the event, or the middle of the night."""
    if way in (BARE, NEVER):
        return []
    if way in (SILENT, WITH_IT):
        until = at - 3600.0 if way == SILENT else at
        return [line for line in lines if line[0] < until]
    if way == STUCK:
        last: dict[str, str] = {}
        return [
            (when, topic, last.setdefault(topic, said) if when > at - 3600.0 else said)
            for when, topic, said in lines
        ]
    return lines


def with_plugs(config: str, way: str, thermostats: dict[str, int | None]) -> str:
    """The configuration, with each source on a plug."""
    if way == BARE:
        return config
    parts = re.split(r"(?=\[\[brooders\]\]\n)", config)
    for number, text in enumerate(parts[1:], 1):
        box = re.search(r'name = "(.*)"', text)
        assert box is not None
        count = 0

        def plugged(found: re.Match[str], box: str = box[1]) -> str:
            nonlocal count
            count += 1
            said = f"thermostat = {str(thermostats[box] == count).lower()}"
            return "\n".join(
                (found[0], f'topic = "plug/{box}/{found[1]}"', "" if way == UNSAID else said)
            )

        parts[number] = HEAT.sub(plugged, text)
    return "".join(parts)


def told(run: Path, config: str, lines: list[str]) -> list[dict[str, Any]]:
    """What the watch says of it, with the numbers behind it."""
    path = run / "plugged.toml"
    path.write_text(config, encoding="utf-8")
    settings = load_settings(path, check_contacts=False)
    found: list[dict[str, Any]] = []

    def happened(output: CoreOutput) -> None:
        for change in output.batch.changes:
            if change.priority.value in ("urgent", "warning") and not change.facts.get("folded"):
                event = event_of(change, settings.site)
                loud = event["change"] == "raised"
                found.append({**event, "t": change.at, "facts": change.facts, "loud": loud})

    Replay(settings, happened).feed(lines)
    return found


def judge(tally: Tally, truth: dict[str, Any], events: list[dict[str, Any]], score: Any) -> None:
    """Adds one night."""
    when = score.when
    scored = score.score_run(truth, events, [])
    tally.loud += scored["loud"]
    for one in scored["false"]:
        tally.false.append(f"{one['alarm']}/{one['cause']}")
        tally.false_heat += one["cause"] == "heat-source"
    for event in truth["events"]:
        if event["kind"] != "heat-source":
            continue
        tally.failures += 1
        begins, ends = when(event.get("onset") or event["start"]), when(event["end"])
        during = [e for e in events if begins <= e["t"] <= ends and e["change"] != "cleared"]
        noticed = [e for e in during if e["loud"] and e["alarm"] in score.NOTICE["heat-source"]]
        if noticed:
            tally.noticed_after_min.append(_late_min(noticed[0], when(event["start"])))
        every = _sources(truth, event["brooder"])
        out = {event["source"]} if event["source"] else every
        named = []
        for e in during:
            said = e["facts"].get("source")
            sources = every if said == "every heat source" else set((said or "").split(" and "))
            # all of them out: each is rightly named when its own plug has said so
            if sources <= out:
                named.append(e)
            elif said and e["facts"].get("source_sure"):
                tally.wrong += 1
        if named:
            tally.named_after_min.append(_late_min(named[0], when(event["start"])))


def _late_min(event: dict[str, Any], since: float) -> float:
    return max(0.0, event["t"] - since) / 60


def _sources(truth: dict[str, Any], brooder: str) -> set[str]:
    kinds = truth["brooders"][brooder]["sources"]
    return {f"{kind}-{number}" for number, (kind, _) in enumerate(kinds, 1)}


def row(way: str, tally: Tally) -> str:
    """One line."""
    named, noticed = tally.named_after_min, tally.noticed_after_min
    middle = f"{median(named):.1f}" if named else "-"
    first = f"{median(noticed):.1f}" if noticed else "-"
    worst = f"{max(named):.1f}" if named else "-"
    heat = (
        f"named {len(named)}/{tally.failures}, median {middle} min, last {worst}, another named "
        f"{tally.wrong}; noticed {len(noticed)}, median {first}; "
        if tally.failures
        else ""
    )
    false = dict(Counter(tally.false)) or ""
    nothing = f"false {len(tally.false)} ({tally.false_heat} of heat) {false}"
    return f"  {way:27} {heat}{nothing}; told {tally.loud}"


def main() -> None:
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("nights", type=Path)
    ask.add_argument("--first", type=int, default=7700)
    ask.add_argument("--seeds", type=int, default=2)
    ask.add_argument("--only", default="")
    ask.add_argument("--ways", default="")
    ask.add_argument(
        "--keep", type=Path, help="a folder to keep the nights in, or to take them from"
    )
    ask.add_argument("--verbose", action="store_true")
    asked = ask.parse_args()
    wanted = tuple(asked.only.split(",")) if asked.only else SCENARIOS
    ways = [way for way in WAYS if not asked.ways or way in asked.ways.split(";")]
    nights = Nights(asked.nights)
    whole: dict[str, Tally] = defaultdict(Tally)
    with tempfile.TemporaryDirectory(prefix="brooder-watts-") as folder:
        for scenario in (one for one in SCENARIOS if one.startswith(wanted)):
            tallies: dict[str, Tally] = defaultdict(Tally)
            for seed in range(asked.first, asked.first + asked.seeds):
                run = nights.make(scenario, seed, asked.keep or Path(folder))
                truth = json.loads((run / "truth.json").read_text())
                config = (run / "config.toml").read_text()
                journal = (run / "journal.jsonl").read_text().splitlines()
                when = nights.score.when
                starts, ends = when(truth["start"]), when(truth["end"])
                at = min((when(e["start"]) for e in truth["events"]), default=(starts + ends) / 2)
                plugs = json.loads((run / "plugs.json").read_text())
                thermostats = {name: b["thermostat"] for name, b in truth["brooders"].items()}
                for way in ways:
                    lines = _merged(journal, failing(way, plugs, at), when)
                    events = told(run, with_plugs(config, way, thermostats), lines)
                    for tally in (tallies[way], whole[way]):
                        judge(tally, truth, events, nights.score)
                    if asked.verbose:
                        _show(scenario, seed, way, events, truth)
            print(f"{scenario} ({asked.seeds} nights)")
            for way, tally in tallies.items():
                print(row(way, tally), flush=True)
    print("all together")
    for way, tally in whole.items():
        print(row(way, tally))


def _merged(journal: list[str], plugs: list[tuple[float, str, str]], when: Any) -> list[str]:
    """Both in the order of time."""
    lines = [(when(json.loads(line)["at"]), number, line) for number, line in enumerate(journal)]
    for at, topic, said in plugs:
        stamp = datetime.fromtimestamp(at, UTC).isoformat(timespec="milliseconds")
        text = json.dumps({"at": stamp.replace("+00:00", "Z"), "topic": topic, "payload": said})
        lines.append((at, len(journal), text))
    return [line for _, _, line in sorted(lines)]


def _show(
    scenario: str, seed: int, way: str, events: list[dict[str, Any]], truth: dict[str, Any]
) -> None:
    true = [(e["kind"], e["start"], e.get("source")) for e in truth["events"]]
    print(f"    {scenario} {seed} {way}: {true}")
    for event in events:
        facts = event["facts"]
        print("     ", event["at"], event["alarm"], event["change"], event["cause"],
              facts.get("source"), facts.get("source_sure"), facts.get("meter", ""))  # fmt: skip


if __name__ == "__main__":
    main()
