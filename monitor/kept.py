"""What a part of the watch brings over a restart: every field that its dataclass declares.

A part derives from `Kept` and declares in its class body what changes as it watches; what it is
given (a box, limits, other parts) it keeps undeclared. pydantic writes the fields as JSON and reads
them by their types, so none can be forgotten:

    @part
    class Mains(Kept):
        _words: int = 0                  # in a row that it is off
        _meters: dict[str, MeterWatch]   # parts themselves: each goes on in its place

A tick is declared as `Tick`: after a restart the steady clock counts from another zero."""

from collections.abc import Hashable
from dataclasses import dataclass, fields
from functools import cache
from typing import Annotated, Any, TypeVar, cast

from pydantic import AfterValidator, BeforeValidator, PlainSerializer, TypeAdapter, ValidationInfo

from monitor.events import State

T = TypeVar("T")
K = TypeVar("K")
V = TypeVar("V")
NEVER = -1e18  # a tick that never was: it stays where it is


def _moved(tick: float, info: ValidationInfo) -> float:
    return tick if tick <= NEVER else tick + float(info.context or 0.0)


Tick = Annotated[float, AfterValidator(_moved)]

WallOffset = Annotated[float, AfterValidator(lambda s, info: s - (info.context or 0.0))]  # wall
Sorted = Annotated[set[T], PlainSerializer(lambda some: sorted(some, key=str))]
# A dict by tuples, which are no keys in JSON: written as pairs.
ByTuple = Annotated[
    dict[K, V],
    BeforeValidator(lambda pairs: {tuple(key): value for key, value in pairs}),
    PlainSerializer(lambda by: [[key, value] for key, value in by.items()]),
]


def part(of: type[T]) -> type[T]:
    """Makes a dataclass of a class that sets its fields itself."""
    return dataclass(init=False, eq=False, repr=False)(of)


@cache
def _form(of: Hashable) -> TypeAdapter[Any]:
    return TypeAdapter(cast(Any, of))


def freeze(part: object) -> State:
    """The fields of a dataclass, and of all that they hold, as JSON; what is as it began is left
    out."""
    form = _form(cast(Hashable, type(part)))
    return cast(State, form.dump_python(part, mode="json", exclude_defaults=True))


def thaw(of: type[T], state: Any, shift_s: float) -> T:
    """What `freeze` gave, every tick `shift_s` later. Raises ValueError where it does not fit."""
    return cast(T, _form(cast(Hashable, of)).validate_python(state, context=shift_s))


def _are_parts(*both: dict[Any, Any]) -> bool:
    return any(isinstance(one, Kept) for by in both for one in by.values())


class Kept:
    """A part that goes on in its place: it is made anew by the configuration, then takes over the
    fields of the one before."""

    __slots__ = ()

    def kept(self) -> State:
        """All that it needs to go on after a restart, as JSON."""
        return freeze(self)

    def restore(self, state: State, shift_s: float = 0.0) -> None:
        """Goes on from `state`, every tick `shift_s` later. Of several parts by name those that
        are no longer configured are dropped, and what is new begins afresh."""
        self._take_over(thaw(type(self), state, shift_s))

    def _take_over(self, before: Any) -> None:
        for field in fields(cast(Any, self)):
            mine, old = getattr(self, field.name), getattr(before, field.name)
            if isinstance(mine, Kept):
                if old is not None:
                    mine._take_over(old)
            elif isinstance(mine, dict) and _are_parts(mine, old):
                for key in mine.keys() & old.keys():
                    mine[key]._take_over(old[key])
            else:
                setattr(self, field.name, old)
        self.resume()

    def resume(self) -> None:
        """What follows from the fields, and from the configuration, once they are taken over."""
