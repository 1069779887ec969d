"""A probe written into the configuration file, and the built-in broker opened to the network: edits
of a TOML document for `rewriting.propose`. Pure."""

from collections.abc import MutableMapping
from typing import Any

import tomlkit

from monitor.settings.toml_edits import append
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
    if brooder is None:
        holder = document.setdefault("site", tomlkit.table())
    else:
        holder = next((b for b in document.get("brooders", ()) if b.get("name") == brooder), None)
        if holder is None:
            raise KeyError(brooder)
    said = {"name": name, "topic": topic, "place": place.value}
    append(holder, "probes", said, indented=brooder is not None)


def open_to_network(
    document: MutableMapping[str, Any], *, listen: str, accounts_file: str | None
) -> None:
    """The built-in broker listens there, and its accounts stand in that file."""
    own = document.setdefault("built_in_broker", tomlkit.table())
    own["listen"] = listen
    if accounts_file is not None:
        own["accounts_file"] = accounts_file
