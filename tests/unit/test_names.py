"""One name, one meaning."""

import ast
from collections import Counter, defaultdict
from importlib import import_module
from pathlib import Path

import monitor

ROOT = Path(monitor.__file__).parent
METHOD = ast.FunctionDef | ast.AsyncFunctionDef


def test_no_two_classes_have_one_name() -> None:
    named = defaultdict(list)
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                named[node.name].append(str(path.relative_to(ROOT)))
    assert {name: where for name, where in named.items() if len(where) > 1} == {}


MOST_METHODS = 25  # a class with more answers several questions, and each has a file of its own


def test_no_class_answers_more_questions_than_a_reader_can_hold() -> None:
    many = {}
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                methods = [it.name for it in node.body if isinstance(it, METHOD)]
                if len(methods) > MOST_METHODS:
                    many[node.name] = len(methods)
    assert many == {}


def test_no_two_files_have_one_name() -> None:
    """But for two of which programs outside know one by its name, and a command the other."""
    names = Counter(path.name for path in ROOT.rglob("*.py"))
    twice = {name for name, count in names.items() if count > 1}
    assert twice == {"__init__.py", "events.py", "replay.py"}


def test_the_names_by_which_programs_outside_replay_a_night_stay() -> None:
    for module, names in {
        "monitor.service.replay": ("Replay", "event_of"),
        "monitor.watch.events": ("Moment",),
        "monitor.journal.resolution": ("iso",),
        "monitor.settings": ("load_settings",),
    }.items():
        there = import_module(module)
        assert [name for name in names if not hasattr(there, name)] == [], module
