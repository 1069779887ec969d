"""The read-only connection that `reader` asks through."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from monitor.journal import opening, schema


class ReadConnection:
    """It follows the path: when a damaged file was replaced by a new one, the next call reads the
    new one."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._connection: sqlite3.Connection | None = None
        self._inode = 0

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All queries within see the journal as it was when it began. Raises StorageFault."""
        try:
            connection = self._connected()
            nested = connection.in_transaction
            if not nested:
                connection.execute("BEGIN")
            try:
                yield connection
            finally:
                if not nested and connection.in_transaction:
                    connection.execute("COMMIT")
        except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
            raise opening.fault_of(error, self.path) from error

    def close(self) -> None:
        """Closes the connection; the next call would open another."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _connected(self) -> sqlite3.Connection:
        inode = os.stat(self.path).st_ino
        if self._connection is not None and inode != self._inode:
            self.close()
        if self._connection is None:
            connection = opening.connect_to_read(self.path)
            try:
                schema.refuse_earlier(connection, self.path)
            except BaseException:
                connection.close()
                raise
            self._connection = connection
            self._inode = inode
        return self._connection
