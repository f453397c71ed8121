"""`crew`: asks the questions that come with the program, or one's own, over a folder of logs or of Parquet."""

import sys
from pathlib import Path

from assistant.crew import tables
from assistant.crew.database import Database, QueryResult, of_logs, of_parquet
from assistant.crew.loading import LoadedTables
from assistant.crew.tables import FigureQuery, question, questions
from assistant.errors import AssistantError


def roll_up(
    folder: Path, *, sql: Path | None = None, parquet: Path | None = None, from_parquet: bool = False
) -> list[tuple[FigureQuery, QueryResult]]:
    """Give every question with its answer; tells on stderr what was read and which logs were left out.

    Raises:
        AssistantError: DuckDB is missing, there is nothing to read, or a query cannot be run.

    """
    asked = questions() if sql is None else (_read_question(sql),)
    if from_parquet:
        with of_parquet(folder) as database:
            return _ask(database, asked)
    with of_logs(folder, parquet) as (database, loaded):
        _tell(loaded, parquet)
        return _ask(database, asked)


def _ask(database: Database, asked: tuple[FigureQuery, ...]) -> list[tuple[FigureQuery, QueryResult]]:
    return [(one, database.ask(one.query, one.name)) for one in asked]


def _read_question(path: Path) -> FigureQuery:
    try:
        return question(str(path), path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise AssistantError(f"{path}: cannot be read ({error.strerror}); check the path") from error
    except UnicodeDecodeError as error:
        raise AssistantError(f"{path}: is no text in UTF-8; save it as UTF-8") from error


def _tell(loaded: LoadedTables, parquet: Path | None) -> None:
    for one in loaded.left_out:
        print(f"splice-assistant: crew: left out of the figures: {one.path}: {one.why}", file=sys.stderr)
    for line in loaded.told:
        print(f"splice-assistant: crew: {tables.clean(line)}", file=sys.stderr)
    print(f"Logs: {loaded.logs:,}, records: {loaded.records:,}", file=sys.stderr)
    if parquet is not None:
        print(f"Parquet: {parquet}", file=sys.stderr)
