"""Brooder temperature monitor and alert daemon.

The folders follow the way of a reading: `intake` hears it, `journal` keeps it, `watch` judges it
with what `brooding` knows, `tell` takes the word to a person, `review` and `page` look back.
`service` wires them; `commands` is what is typed. `site`, `units`, `brooding` and `watch` are the
pure core: no I/O, and time comes in with the event."""

import os

# pydantic would look through every installed package for a plug-in of its own, at each start.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

__version__ = "2.0.0"  # pyproject.toml takes it from here
