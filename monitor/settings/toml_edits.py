"""Small changes to a TOML document that leave its remarks where they belong. Called by
`set_up_steps` and for `rewriting.propose`. Pure."""

from collections.abc import Mapping, MutableMapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Comment, Item, Table, Whitespace

from monitor.settings.cross_checks import WITH_UNIT
from monitor.site import Place, plain


def topic_for(prefix: str, brooder: str | None, name: str) -> str:
    """`brooder/porch/under-west-lamp`; of a probe of the whole site `brooder/outside/shade`."""
    return f"{prefix}/{plain(brooder) if brooder else 'outside'}/{plain(name)}"


def add_probe(
    document: MutableMapping[str, Any],
    *,
    brooder: str | None,
    name: str,
    topic: str,
    place: Place,
) -> None:
    """After the last probe of the box, or of the site where `brooder` is None. Raises KeyError for
    a box that is not in the document."""
    said = {"name": name, "topic": topic, "place": place.value}
    append(holder_of(document, brooder), "probes", said, indented=brooder is not None)


def holder_of(document: MutableMapping[str, Any], brooder: str | None) -> Any:
    """The table of the box, or of the site where it is None. Raises KeyError for a box that is not
    in the document."""
    if brooder is None:
        return document.setdefault("site", tomlkit.table())
    return table_named(document.get("brooders", ()), brooder)


def table_named(tables: Any, name: str) -> Any:
    """Raises KeyError."""
    for table in tables:
        if table.get("name") == name:
            return table
    raise KeyError(name)


def open_to_network(
    document: MutableMapping[str, Any], *, listen: str, accounts_file: str | None
) -> None:
    """The built-in broker listens there, and its accounts stand in that file."""
    own = document.setdefault("built_in_broker", tomlkit.table())
    own["listen"] = listen
    if accounts_file is not None:
        own["accounts_file"] = accounts_file


_INDENT = 2


def put(table: Any, key: str, value: Any) -> None:
    """Sets a key where it differs; None takes it out. The older spelling of the key goes."""
    older = WITH_UNIT.get(key)
    if older is not None and older in table:
        del table[older]
    if value is None:
        if key in table:
            del table[key]
    elif table.get(key) != value:
        table[key] = value


def append(holder: Any, name: str, values: Mapping[str, Any], *, indented: bool) -> None:
    """One more `[[holder.name]]`, before the remarks that stand after the last one."""
    table = tomlkit.table()
    for key, value in values.items():
        table.add(key, value)
    if indented:
        table.indent(_INDENT)
    tables = holder.get(name)
    if not isinstance(tables, AoT):
        holder.add(tomlkit.nl())
        holder[name] = tables = tomlkit.aot()
    tail: list[Item] = []
    if tables.body:
        before = _last_of(tables.body[-1])
        tail = _taken_tail(before, of_the_file=not indented)
        _end_with_a_blank_line(before)
    tables.append(table)
    written: Table = tables.body[-1]
    for item in (Whitespace("\n"), *tail):
        written.value.body.append((None, item))


def remove(holder: Any, name: str, index: int) -> None:
    """Takes one out of `[[holder.name]]`. Remarks that stand after the last one stay."""
    tables = holder[name]
    tail = _taken_tail(_last_of(tables.body[index]))
    last = index == len(tables.body) - 1
    del tables[index]
    if not tables.body:
        del holder[name]
    if last and any(isinstance(item, Comment) for item in tail):
        before = _last_of(tables.body[-1] if tables.body else holder)
        _end_with_a_blank_line(before)
        for item in tail:
            before.value.body.append((None, item))


def _last_of(table: Table) -> Table:
    """The table whose end is the end of this one's text."""
    for key, item in reversed(table.value.body):
        if key is None:
            continue
        if isinstance(item, AoT) and item.body:
            return _last_of(item.body[-1])
        return _last_of(item) if isinstance(item, Table) else table
    return table


def _taken_tail(table: Table, *, of_the_file: bool = False) -> list[Item]:
    """The remarks after the table's last key, but for those that follow it at once; `of_the_file`:
    only from the first that is not indented."""
    body = table.value.body
    at = len(body)
    while at and body[at - 1][0] is None and isinstance(body[at - 1][1], Comment | Whitespace):
        at -= 1
    while at < len(body) and isinstance(body[at][1], Comment):
        at += 1
    if of_the_file:
        while at < len(body) and not (
            isinstance(body[at][1], Comment) and not body[at][1].trivia.indent
        ):
            at += 1
    tail = [item for _, item in body[at:]]
    del body[at:]
    while tail and isinstance(tail[0], Whitespace):
        tail.pop(0)
    return tail


def _end_with_a_blank_line(table: Table) -> None:
    body = table.value.body
    while body and body[-1][0] is None and isinstance(body[-1][1], Whitespace):
        body.pop()
    body.append((None, Whitespace("\n")))
