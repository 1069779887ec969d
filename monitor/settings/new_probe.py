"""A probe written into the configuration file, and the built-in broker opened to the network: edits
of a TOML document for `rewriting.propose`. Pure."""

from collections.abc import MutableMapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from monitor.site import Place, plain

_INDENT = 2


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
    unit: str = "celsius",
    value: str | None = None,
) -> None:
    """After the last probe of the box, or of the site where `brooder` is None. Raises KeyError for
    a box that is not in the document."""
    if brooder is None:
        holder = document.setdefault("site", tomlkit.table())
    else:
        holder = next((b for b in document.get("brooders", ()) if b.get("name") == brooder), None)
        if holder is None:
            raise KeyError(brooder)
    if "probes" not in holder:
        holder["probes"] = tomlkit.aot()
    probes: AoT = holder["probes"]
    said = {"name": name, "topic": topic, "place": place.value}
    if unit != "celsius":
        said["unit"] = unit
    if value is not None:
        said["value"] = value
    probes.append(_table(said, indented=brooder is not None))


def open_to_network(
    document: MutableMapping[str, Any], *, listen: str, accounts_file: str | None
) -> None:
    """The built-in broker listens there, and its accounts stand in that file."""
    own = document.setdefault("built_in_broker", tomlkit.table())
    own["listen"] = listen
    if accounts_file is not None:
        own["accounts_file"] = accounts_file


def _table(said: dict[str, str], *, indented: bool) -> Table:
    table = tomlkit.table()
    for key, value in said.items():
        table.add(key, value)
    if indented:
        table.indent(_INDENT)
    table.add(tomlkit.nl())
    return table
