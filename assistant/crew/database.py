"""The four tables in DuckDB, from logs or from Parquet, and queries on them.

DuckDB gets no network and no extensions; once the tables are there it may read nothing but them.
"""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.crew.loading import LoadedTables, Loading
from assistant.errors import AssistantError
from assistant.mending import install_command

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

TABLES = {"sessions": "log", "records": "log, number", "facts": "log, turn", "joints": "splice, joint"}
"""Each table with the order of its rows in Parquet."""
MEMORY = "512MB"
"""What DuckDB may use; above it tables go to the disk, into a temporary folder."""
_SETTINGS = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "preserve_insertion_order": "false",
    "memory_limit": MEMORY,
}


@dataclass(frozen=True, slots=True)
class QueryResult:
    """What a query came to."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]


class Database:
    """The tables, to be asked."""

    def __init__(self, connection: "DuckDBPyConnection") -> None:
        """Take a connection that has the tables; use `of_logs` or `of_parquet`."""
        self._connection = connection

    def ask(self, query: str, name: str) -> QueryResult:
        """Run one query that only reads.

        Raises:
            AssistantError: it is no such query, or cannot be run; the text begins with the name.

        """
        import duckdb

        try:
            statements = self._connection.extract_statements(query)
            if len(statements) != 1 or statements[0].type != duckdb.StatementType.SELECT:
                raise AssistantError(f"{name}: is not one SELECT; write one query that only reads")
            cursor = self._connection.execute(statements[0])
            columns = tuple(str(column[0]) for column in cursor.description or ())
            return QueryResult(columns, tuple(cursor.fetchall()))
        except (duckdb.Error, UnicodeError) as error:
            raise AssistantError(f"{name}: cannot be run ({_first_line(error)}); correct the query") from error


@contextmanager
def of_logs(folder: Path, parquet: Path | None = None) -> Iterator[tuple[Database, LoadedTables]]:
    """Load all logs below a folder; on request write the tables as Parquet into another folder.

    Raises:
        AssistantError: there is nothing to load, or the Parquet cannot be written.

    """
    if parquet is not None and parquet.resolve().is_relative_to(folder.resolve()):
        raise AssistantError(f"{parquet}: lies in the folder of the logs; choose another one for the Parquet")
    with _connected() as (connection, work):
        loaded = Loading(connection, work).load(folder)
        if parquet is not None:
            _export(connection, parquet)
        _shut(connection, [])
        yield Database(connection), loaded


@contextmanager
def of_parquet(folder: Path) -> Iterator[Database]:
    """Take the tables from Parquet that was written before.

    Raises:
        AssistantError: a table is missing or cannot be read.

    """
    paths = {table: parquet_file(folder, table) for table in TABLES}
    with _connected() as (connection, _):
        for table, path in paths.items():
            if not path.is_file():
                raise AssistantError(f"{path}: there is no such file; write it with crew DIR --parquet {folder}")
            with _named(path, "read"):
                connection.execute(f"CREATE VIEW {table} AS SELECT * FROM read_parquet({_quoted(path)})")  # noqa: S608
        _shut(connection, [str(path) for path in paths.values()])
        yield Database(connection)


def parquet_file(folder: Path, table: str) -> Path:
    """Give the file that a table is kept in."""
    return folder.absolute() / f"{table}.parquet"


@contextmanager
def _connected() -> "Iterator[tuple[DuckDBPyConnection, Path]]":
    """Give a connection and a temporary folder."""
    try:
        import duckdb
    except ImportError as error:
        raise AssistantError(f"crew: DuckDB is not here; {install_command('office')}") from error
    with tempfile.TemporaryDirectory(prefix="splice-assistant-") as name:
        connection = duckdb.connect(config={**_SETTINGS, "temp_directory": name})
        connection.execute("SET TimeZone = 'UTC'")
        connection.execute("SET enable_progress_bar = false")  # it would be printed between the rows
        try:
            yield connection, Path(name)
        finally:
            connection.close()


def _export(connection: "DuckDBPyConnection", folder: Path) -> None:
    """Write each table beside its place and move it there whole."""
    with _named(folder, "written"):
        folder.mkdir(parents=True, exist_ok=True)
    for table, order in TABLES.items():
        path = parquet_file(folder, table)
        new = path.with_name(f"{path.name}.new")
        with _named(path, "written"):
            connection.execute(
                f"COPY (SELECT * FROM {table} ORDER BY {order}) TO {_quoted(new)} (FORMAT parquet, COMPRESSION zstd)"  # noqa: S608
            )
            os.replace(new, path)


@contextmanager
def _named(path: Path, done: str) -> Iterator[None]:
    """Turn what goes wrong with a file into a line that names it."""
    import duckdb

    try:
        yield
    except (duckdb.Error, OSError, UnicodeError) as error:
        raise AssistantError(
            f"{path}: cannot be {done} ({_first_line(error)}); check the path and its rights"
        ) from error


def _shut(connection: "DuckDBPyConnection", but: list[str]) -> None:
    """Let queries reach no file but these."""
    connection.execute("SET allowed_paths = ?", [but])
    connection.execute("SET enable_external_access = false")
    connection.execute("SET lock_configuration = true")


def _quoted(path: Path) -> str:
    return "'" + str(path).replace("'", "''") + "'"


def _first_line(error: BaseException) -> str:
    """Give what went wrong in one line."""
    return next((line.strip() for line in str(error).splitlines() if line.strip()), type(error).__name__)
