"""The store for everyone but the recorder: questions only."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from monitor.errors import UnreachableError
from monitor.store.connection import FILE, connect_reader, schema_of, translated
from monitor.store.queries import Queries


class Reader(Queries):
    """
    Answers from the file, with a connection of its own for each question.

    Safe to use from several threads; no connection stays open between questions, so
    the write-ahead log can shrink (Q4).
    """

    def __init__(self, path: Path) -> None:
        super().__init__(path, self._fresh)

    @classmethod
    def open(cls, directory: Path) -> "Reader":
        """
        Read the store of a state directory.

        Raises:
            UnreachableError: If there is none, or this user may not read it.
            StoreError: If it is of a newer program, or no store.
        """
        path = directory / FILE
        reader = cls(path)
        try:
            there = path.is_file()
        except OSError as exc:
            raise UnreachableError(
                f"{path}: this user may not read the store ({exc.strerror}); ask for "
                "the group of the daemon, or run as its user"
            ) from exc
        if not there:
            raise UnreachableError(
                f"{directory}: there is no store here; has the daemon run, and is this "
                "its state directory?"
            )
        with reader._fresh() as connection:
            if schema_of(connection, path) == 0:
                raise UnreachableError(
                    f"{path}: the store is still empty; has the daemon run?"
                )
        return reader

    @contextmanager
    def _fresh(self) -> Iterator[sqlite3.Connection]:
        with (
            translated(self.path),
            closing(connect_reader(self.path)) as connection,
        ):
            connection.execute("BEGIN")
            yield connection
