"""Databases see the frames they are given and nothing else, and names never become SQL."""

import ast
from pathlib import Path

import duckdb
import polars as pl
import pytest

import pipeline
from pipeline.database import connect, quoted, write_database
from pipeline.sql import declare, declare_words, open_database
from shared.files import as_text

ASKING_FOR_A_FILE = (
    "SELECT * FROM '{csv}'",
    "SELECT * FROM read_csv('{csv}')",
    "SELECT * FROM read_text('{csv}')",
    "SELECT * FROM sniff_csv('{csv}')",
    "SELECT * FROM glob('{folder}/*')",
    "CREATE TABLE mine AS FROM '{csv}'",
    "COPY (SELECT 1) TO '{folder}/out.csv'",
    "COPY given FROM '{csv}'",
    "EXPORT DATABASE '{folder}/out'",
    "IMPORT DATABASE '{folder}'",
    "ATTACH '{other}'",
    "ATTACH '{other}' (READ_ONLY)",
    "INSTALL httpfs",
    "LOAD httpfs",
    "LOAD '{folder}/mine.duckdb_extension'",
)
OPENING_AGAIN = (
    "SET enable_external_access = true",
    "RESET enable_external_access",
    "SET python_enable_replacements = true",
    "SET autoload_known_extensions = true",
    "SET allowed_directories = ['/']",
    "SET lock_configuration = false",
)
HOSTILE = (
    'a"; DROP TABLE stifles; --', "x) FROM read_text('/etc/passwd') --", "a;b", "'", '"', "select",
    "Größe (kg)", "\u202eabc",
)  # fmt: skip


@pytest.fixture
def places(tmp_path: Path) -> dict[str, Path]:
    """A table and a database in a folder, which a plain connection reads without more ado."""
    made = {"csv": tmp_path / "x.csv", "other": tmp_path / "other.duckdb", "folder": tmp_path}
    made["csv"].write_text("a\n1\n", encoding="utf-8")
    with duckdb.connect(str(made["other"])) as other:
        other.execute("CREATE TABLE told AS SELECT 1 AS a")
    with duckdb.connect() as open_to_all:
        assert open_to_all.sql(f"SELECT * FROM '{made['csv']}'").fetchall() == [(1,)]
    return made


@pytest.fixture(params=["memory", "file"])
def closed(request: pytest.FixtureRequest, tmp_path: Path) -> duckdb.DuckDBPyConnection:
    connection = connect(tmp_path / "own.duckdb" if request.param == "file" else None)
    connection.execute("CREATE TABLE given (a INTEGER)")
    return connection


@pytest.mark.parametrize("statement", ASKING_FOR_A_FILE)
def test_no_statement_reaches_a_file(
    closed: duckdb.DuckDBPyConnection, places: dict[str, Path], statement: str
) -> None:
    before = sorted(path.name for path in places["folder"].iterdir())
    with pytest.raises(duckdb.PermissionException):
        closed.execute(statement.format(**places))
    assert sorted(path.name for path in places["folder"].iterdir()) == before


@pytest.mark.parametrize("statement", OPENING_AGAIN)
def test_no_statement_opens_it_again(closed: duckdb.DuckDBPyConnection, statement: str) -> None:
    with pytest.raises(duckdb.InvalidInputException, match="configuration"):
        closed.execute(statement)


def test_a_variable_of_the_program_is_no_table(closed: duckdb.DuckDBPyConnection) -> None:
    frame = pl.DataFrame({"a": [7]})
    with duckdb.connect() as open_to_all:
        assert open_to_all.sql("SELECT * FROM frame").fetchall() == [(7,)]
    with pytest.raises(duckdb.CatalogException, match="frame"):
        closed.sql("SELECT * FROM frame")
    assert frame.height == 1


def test_the_database_of_the_cohort_is_closed_in_too(places: dict[str, Path]) -> None:
    with open_database({"stifles": pl.DataFrame({"a": [7]})}) as connection:
        assert connection.sql("SELECT a FROM stifles").fetchall() == [(7,)]
        with pytest.raises(duckdb.PermissionException):
            connection.sql(f"SELECT * FROM '{places['csv']}'")
        with pytest.raises(duckdb.InvalidInputException):
            connection.execute("SET enable_external_access = true")


def test_two_databases_of_the_cohort_know_nothing_of_each_other() -> None:
    """Nor does one of what was made in another before: neither tables nor declared types."""
    one, two = (open_database({"told": pl.DataFrame({"a": [place]})}) for place in (1, 2))
    with one, two:
        declare(one, "outcome_state")
        one.execute("CREATE TEMP TABLE made AS SELECT 3 AS a")
        assert [its.sql("SELECT a FROM told").fetchall() for its in (one, two)] == [[(1,)], [(2,)]]
        for unknown in ("SELECT a FROM made", "SELECT 'death'::outcome_state"):
            assert one.sql(unknown).fetchall()
            with pytest.raises(duckdb.CatalogException):
                two.sql(unknown)
    with open_database({}) as later:
        declare(later, "outcome_state")
        with pytest.raises(duckdb.CatalogException):
            later.sql("SELECT a FROM told")


def test_words_are_declared_in_their_order_whatever_they_hold() -> None:
    words = pl.Enum([*reversed(HOSTILE), "10 to 19.9", "5 to 9.9"])
    with open_database({}) as connection:
        declare_words(connection, {'a "b"': words})
        told = connection.sql('SELECT enum_range(NULL::"a ""b""")').fetchall()
    assert told == [(words.categories.to_list(),)]


@pytest.mark.parametrize("name", HOSTILE)
def test_a_quoted_name_stays_one_name(name: str) -> None:
    with connect() as connection:
        connection.execute(f"CREATE TABLE {quoted(name)} ({quoted(name)} INTEGER)")
        tables = connection.sql("SELECT table_name, column_name FROM information_schema.columns")
        assert tables.fetchall() == [(name, name)]


def test_columns_that_look_like_sql_are_kept_as_they_are(tmp_path: Path) -> None:
    names = ["stifle_id", "left_at", *(name for name in HOSTILE if name != '"')]
    cohort = pl.DataFrame({name: ["kept"] for name in names}).with_columns(
        left_at=pl.lit(None, pl.String)
    )
    path = tmp_path / "study.duckdb"
    write_database(path, {'stifles"; DROP TABLE cohort; --': cohort}, cohort)
    with connect(path) as connection:
        for table in ("cohort", "included", quoted('stifles"; DROP TABLE cohort; --')):
            read = connection.sql(f"SELECT * FROM {table}").pl()
            assert read.equals(cohort)


def test_codes_are_stored_as_the_texts_they_stand_for(tmp_path: Path) -> None:
    words = pl.Enum(["reluxation", "death", "censored"])
    cohort = pl.DataFrame({
        "stifle_id": ["a", "b", "c"], "left_at": pl.Series([None] * 3, dtype=words),
        "relux_state": pl.Series(["death", None, "censored"], dtype=words),
    })  # fmt: skip
    path = tmp_path / "study.duckdb"
    write_database(path, {"none": cohort.clear()}, cohort)
    with connect(path) as connection:
        kinds = connection.sql("SELECT DISTINCT data_type FROM information_schema.columns")
        assert kinds.fetchall() == [("VARCHAR",)]
        stored = connection.sql("SELECT * FROM included").pl()
        assert stored.equals(as_text(cohort))
        first = connection.sql("SELECT min(relux_state) FROM cohort").fetchall()
        assert first == [("censored",)]  # by the alphabet, as texts are


def python_files() -> list[Path]:
    return sorted(Path(pipeline.__file__).parent.rglob("*.py"))


def calls(name: str) -> list[tuple[Path, ast.Call]]:
    return [
        (path, node)
        for path in python_files()
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == name
    ]


def test_every_connection_is_opened_in_one_place() -> None:
    opened = [
        path.name for path, call in calls("connect")
        if isinstance(call.func, ast.Attribute) and ast.unparse(call.func.value) == "duckdb"
    ]  # fmt: skip
    assert opened == ["database.py"]


def safe(statement: ast.expr) -> bool:
    """True of a constant, of a statement read from its file, and of parts that are quoted."""
    if isinstance(statement, ast.JoinedStr):
        return all(
            isinstance(part, ast.Constant)
            or (
                isinstance(part, ast.FormattedValue)
                and ast.unparse(part.value).startswith(("quoted(", "statement("))
            )
            for part in statement.values
        )
    read = ("statement(", "statement_of_chain(")
    return isinstance(statement, ast.Constant) or ast.unparse(statement).startswith(read)


def test_no_sql_is_built_from_text_that_is_not_quoted() -> None:
    made = [*calls("execute"), *calls("sql"), *calls("query"), *calls("executemany")]
    assert len(made) >= 4
    wrong = [f"{path.name}: {ast.unparse(call)}" for path, call in made if not safe(call.args[0])]
    assert wrong == []
    assert not safe(ast.parse('f"SELECT {name}"', mode="eval").body)
    assert not safe(ast.parse('"SELECT " + name', mode="eval").body)
