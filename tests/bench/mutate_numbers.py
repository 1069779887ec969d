"""Would a changed number be noticed? Changes each constant, each sign and each min or max of the
modules behind the printed figures, one at a time, and runs the tests that ought to catch it.

    python tests/bench/mutate_numbers.py [MODULE ...]     # all: some minutes on an idle machine

Prints each survivor that `EXPLAINED` does not explain; the exit code is 1 if there is any. Bounds
(`<` or `<=`) are left to the tests of boundaries: at most ages they make no difference."""

import ast
import importlib.machinery
import os
import re
import signal
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import hypothesis  # noqa: F401  # what the tests import is imported once, before the forks
import numpy as np  # noqa: F401
import pytest
from scipy import integrate, optimize, stats  # noqa: F401

ROOT = Path(__file__).parents[2]
LIMIT_S = 120  # a mutant that hangs is noticed

_OUTSIDE = "tests/outside/test_outside_{}.py"
_HEAT, _FLOCK, _HARM = (_OUTSIDE.format(name) for name in ("heat", "flock", "harm"))
# Tried first, and without pytest about it: its tests are plain functions and notice most.
_FIGURES = ROOT / _OUTSIDE.format("figures")
# Module, or one function of it -> what else ought to notice.
WATCHED: dict[str, tuple[str, ...]] = {
    "monitor.brooding.schedules": (_OUTSIDE.format("targets"),),
    "monitor.brooding.harm_known": (_HARM,),
    "monitor.brooding.age_limits": (_HARM,),
    "monitor.brooding.birds_heat": (_HEAT,),
    "monitor.brooding.bird_kinds": (_HEAT,),
    "monitor.brooding.envelope": (_HEAT,),
    "monitor.brooding.heat_balance": (_HEAT,),
    "monitor.brooding.lamp_safety": (_HEAT,),
    "monitor.brooding.chick_skin": (_HEAT,),
    "monitor.brooding.space": (_FLOCK,),
    "monitor.brooding.losses": (_FLOCK,),
    "monitor.brooding.moving": (_FLOCK,),
    "monitor.brooding.calendar": (_OUTSIDE.format("calendar"),),
    "monitor.brooding.advice": (_FLOCK,),
    "monitor.brooding.feed": (_OUTSIDE.format("feed"),),
    "monitor.units": (_OUTSIDE.format("units"),),
    "monitor.site": (),
    "monitor.thermal.harm:course": (),
    "monitor.review.exposure:exposure": ("tests/unit/review/test_exposure.py",),
    "monitor.watch.night": (
        "tests/property/test_night_figures.py",
        "tests/unit/watch/test_engine_watcher.py",
    ),
    "monitor.review.figure_text:degree_hours": (),
}
# (line as it is, line as it was changed to) -> why nobody needs to notice
_LEFT = "left = max(0.0, 1.0 + extra_watts / brooder.watts) if brooder.watts > 0.0 else "
_LOST = "lost = batch.lost(to_at=now_at + 1."
_BEGUN = "the first `begin` sets it, before anything is counted"
_EVE, _OF = "self._counted_from", "  # tick of this night's 18:00"
_NONE = "self._seconds = {{BELOW: {}, ABOVE: {}, UNSEEN: 0.0}}"
EXPLAINED: dict[tuple[str, str], str] = {
    (f"{_LOST}0)", f"{_LOST}2)"): "a fifth of a second later; the day's count has its test",
    ("self.from_at = 0.0", "self.from_at = 0.5"): _BEGUN,
    ("self.since = 0.0  # tick", "self.since = 0.5  # tick"): _BEGUN,
    (f"{_EVE} = 0.0{_OF}", f"{_EVE} = 0.5{_OF}"): _BEGUN,
    (_NONE.format(0.0, 0.0), _NONE.format(0.5, 0.0)): _BEGUN,
    (_NONE.format(0.0, 0.0), _NONE.format(0.0, 0.5)): _BEGUN,
    (f"{_LEFT}1.0", f"{_LEFT}1.2"): "a box without watts has none to take from",
}

_OPERATORS = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.Pow: "*"}


@dataclass(frozen=True)
class Mutant:
    """One change of one line, 0-based, in bytes."""

    line: int
    start: int
    end: int
    text: str

    def of(self, lines: list[bytes]) -> list[bytes]:
        changed = list(lines)
        row = lines[self.line]
        changed[self.line] = row[: self.start] + self.text.encode() + row[self.end :]
        return changed


def mutants(source: str, function: str = "") -> Iterator[Mutant]:
    """Every change, in the order of the source; of one function, if it is named."""
    lines = source.encode().splitlines(keepends=True)
    tree: ast.AST = ast.parse(source)
    if function:
        tree = next(n for n in ast.walk(tree) if getattr(n, "name", "") == function)
    for node in _counting(tree):
        if isinstance(node, ast.Constant):
            if type(node.value) in (int, float) and node.lineno == node.end_lineno:
                yield _at(node, _other(node.value))
        elif isinstance(node, ast.BinOp) and type(node.op) in _OPERATORS:
            left, right = node.left, node.right
            if left.end_lineno == right.lineno:
                gap = lines[right.lineno - 1][left.end_col_offset : right.col_offset].decode()
                found = re.search(r"\*\*|[-+*/]", gap)
                if found:
                    at = (left.end_col_offset or 0) + found.start()
                    yield Mutant(
                        right.lineno - 1, at, at + len(found[0]), _OPERATORS[type(node.op)]
                    )
        elif isinstance(node, ast.Name) and node.id in ("min", "max"):
            yield _at(node, "max" if node.id == "min" else "min")


def _at(node: ast.expr, text: str) -> Mutant:
    return Mutant(node.lineno - 1, node.col_offset, node.end_col_offset or 0, text)


def _other(value: float) -> str:
    if isinstance(value, int):
        return str(value + 1)
    return repr(value * 1.2 if value else 0.5)


def _counting(tree: ast.AST) -> Iterator[ast.AST]:
    """The nodes in which a number or a sign counts: no place in a row, no annotation, no digits of
    a printed figure."""
    for child in ast.iter_child_nodes(tree):
        if isinstance(child, ast.JoinedStr):
            continue
        yield child
        if isinstance(child, ast.Subscript):
            yield from _counting(child.value)
        elif isinstance(child, ast.AnnAssign):
            if child.value is not None:
                yield child.value
                yield from _counting(child.value)
        elif isinstance(child, ast.FunctionDef):
            for part in (*child.args.defaults, *child.args.kw_defaults, *child.body):
                if part is not None:
                    yield part
                    yield from _counting(part)
        else:
            yield from _counting(child)


def noticed(module: str, path: Path, source: bytes, tests: tuple[str, ...]) -> bool:
    """Does some test fail with this source in the place of the module's?"""
    child = os.fork()
    if child == 0:
        _run(module, path, source, tests)
    deadline = time.monotonic() + LIMIT_S
    while time.monotonic() < deadline:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return status != 0
        time.sleep(0.02)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return True


def _run(module: str, path: Path, source: bytes, tests: tuple[str, ...]) -> None:
    """In the child; does not return."""
    os.environ["HYPOTHESIS_MAX_EXAMPLES"] = "20"
    sink = os.open(os.devnull, os.O_WRONLY)
    os.dup2(sink, 1)
    os.dup2(sink, 2)
    load = importlib.machinery.SourceFileLoader.get_code

    def get_code(self: importlib.machinery.SourceFileLoader, fullname: str) -> object:
        return compile(source, str(path), "exec") if fullname == module else load(self, fullname)

    importlib.machinery.SourceFileLoader.get_code = get_code  # type: ignore[method-assign,assignment]
    code = 1
    try:
        _plain()
        options = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist"]
        code = int(pytest.main([*options, *tests])) if tests else 0
    finally:
        os._exit(code)


def _plain() -> None:
    """Calls the tests of `_FIGURES`; the first that fails raises."""
    space: dict[str, object] = {"__name__": "figures"}
    exec(compile(_FIGURES.read_text(), str(_FIGURES), "exec"), space)
    for name, one in list(space.items()):
        if name.startswith("test_") and callable(one):
            one()


def main() -> int:
    """Every module asked for; 1 if a change stays unnoticed and nothing explains it."""
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    left = 0
    for watched in sys.argv[1:] or WATCHED:
        module, _, function = watched.partition(":")
        tests = WATCHED[watched]
        path = ROOT / (module.replace(".", "/") + ".py")
        source = path.read_text()
        lines = source.encode().splitlines(keepends=True)
        if noticed(module, path, source.encode(), tests):
            print(f"{watched}: its tests fail as it is", flush=True)
            return 1
        survivors, tried = [], 0
        for mutant in dict.fromkeys(mutants(source, function)):
            changed = mutant.of(lines)
            tried += 1
            if not noticed(module, path, b"".join(changed), tests):
                survivors.append(
                    (mutant.line, *(one[mutant.line].decode().strip() for one in (lines, changed)))
                )
        unexplained = [one for one in survivors if one[1:] not in EXPLAINED]
        print(f"{watched}: {tried} changes, {len(survivors)} unnoticed, "
              f"{len(unexplained)} of them unexplained", flush=True)  # fmt: skip
        for line, was, now in unexplained:
            print(f"  {line + 1}: {was}\n  {' ' * len(str(line + 1))}  {now}", flush=True)
        left += len(unexplained)
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
