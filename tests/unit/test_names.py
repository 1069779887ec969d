"""One name, one meaning."""

import ast
from collections import defaultdict
from pathlib import Path

import monitor

ROOT = Path(monitor.__file__).parent


def test_no_two_classes_have_one_name() -> None:
    named = defaultdict(list)
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                named[node.name].append(str(path.relative_to(ROOT)))
    assert {name: where for name, where in named.items() if len(where) > 1} == {}
