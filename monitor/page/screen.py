"""What every screen is: some addresses of the page, each answered by a method that says so."""

from collections.abc import Callable
from typing import Any, TypeVar

from starlette.routing import Route

from monitor.page.frame import Frame

_Answer = TypeVar("_Answer", bound=Callable[..., Any])


def _at(method: str, path: str) -> Callable[[_Answer], _Answer]:
    def mark(answer: _Answer) -> _Answer:
        setattr(answer, "route", (path, method))  # noqa: B010 - a function has no such field
        return answer

    return mark


def get(path: str) -> Callable[[_Answer], _Answer]:
    return _at("GET", path)


def post(path: str) -> Callable[[_Answer], _Answer]:
    return _at("POST", path)


class Screen:
    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self._once = frame.once

    def routes(self) -> list[Route]:
        """Its addresses; one with a part left open stands after those that it would swallow."""
        found = [
            Route(route[0], getattr(self, name), methods=[route[1]])
            for name, answer in vars(type(self)).items()
            if (route := getattr(answer, "route", None)) is not None
        ]
        return sorted(found, key=lambda route: "{" in route.path)
