"""Is one object, with everything that hangs on it, the same as another?"""

from collections import deque
from collections.abc import Iterator
from typing import Any


def differences(one: object, other: object, but: dict[str, str]) -> Iterator[str]:
    """Where they differ, as `Class.attribute`; `but`: what may differ, and why."""
    yield from (where for where in _walk(one, other, "", set()) if where not in but)


def _walk(one: Any, other: Any, where: str, seen: set[tuple[int, int]]) -> Iterator[str]:
    pair = (id(one), id(other))
    if one is other or pair in seen:
        return
    seen.add(pair)
    if isinstance(one, dict) and isinstance(other, dict):
        if one.keys() != other.keys():
            yield where
        for key in one.keys() & other.keys():
            yield from _walk(one[key], other[key], where, seen)
    elif isinstance(one, list | tuple | deque) and type(one) is type(other):
        if len(one) != len(other):
            yield where
        for mine, its in zip(one, other, strict=False):
            yield from _walk(mine, its, where, seen)
    elif type(one) is type(other) and _is_ours(one):
        for name in _attributes(one) | _attributes(other):
            mine, its = getattr(one, name, None), getattr(other, name, None)
            yield from _walk(mine, its, f"{type(one).__name__}.{name}", seen)
    elif not callable(one) and one != other:
        yield where


def _is_ours(one: object) -> bool:
    return type(one).__module__.startswith("monitor.") and not isinstance(one, str)


def _attributes(one: object) -> set[str]:
    names = set(getattr(one, "__dict__", ()))
    for part in type(one).__mro__:
        names.update(part.__dict__.get("__slots__", ()))
    return names
