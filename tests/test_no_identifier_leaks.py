"""Identifiers of every kind, planted in a study, are in none of its outputs, messages or logs."""

import csv
import io
import os
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest

from pipeline.terminal import guarded
from tests.small_study import small_study

# Invented; each is long enough to be in no output by chance.
PLANTED = {
    "name": ("Quillfeather", "Mrs {}", "owner {} rang", "Frau {}", "Owner: {}"),
    "phone": ("01632 960 983", "{}", "ring {} after six"),
    "email": ("jq77@mail.example.org", "{}", "wrote from {} today"),
    "address": ("77 Fernleaf Street", "{}", "lives at {}, collects on Friday"),
    "transponder": ("276098106123456", "{}", "chip {} read", "DE {}"),
    "birth_date": ("29/02/2012", "born {}", "DOB: {}; otherwise well"),
    "document": ("DE12 3456 7890 1234 5678 90", "{}", "paid from {}"),
}  # fmt: skip
FORMS = [form.format(text) for text, *forms in PLANTED.values() for form in forms]
OTHER_FORMS = ("2012-02-29", "29.02.2012", "2012, 2, 29", "01632960983", "about leap day 2012",
               "Secret-77")  # fmt: skip
SOUGHT = (*(text for text, *_ in PLANTED.values()), *OTHER_FORMS)
IN_COLUMNS = ("Breed", "Surgeon", "Grade", "Weight (kg)", "CrCL", "Cause of death", "Fixation")
NEW_COLUMNS = ("Owner", "Phone", "E-mail", "Postcode", "Microchip", "Geburtsdatum", "Pet passport",
               "jq77@mail.example.org")  # fmt: skip
Rows = list[list[str]]


def rows_of(path: Path) -> Rows:
    return list(csv.reader(io.StringIO(path.read_text("utf-8"))))


def write(path: Path, rows: Rows) -> None:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    path.write_text(out.getvalue(), "utf-8")


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Plant every form in comments and in mapped columns, and add columns that are identifiers."""
    folder = small_study(tmp_path_factory.mktemp("leaks") / "study")
    north = folder / "exports" / "north"
    stifles = rows_of(north / "stifles.csv")
    header = stifles[0]
    for place, form in enumerate(FORMS):
        stifles[20 + place][header.index(IN_COLUMNS[place % len(IN_COLUMNS)])] = form
    born = header.index("Date of birth")
    for row in stifles[3:6]:
        row[born] = "29/02/2012"
    stifles[6][born] = "about leap day 2012"
    stifles[50][header.index("Patient No")] = PLANTED["transponder"][0]
    stifles = [[*stifles[0], *NEW_COLUMNS], *([*row, *["Secret-77"] * 8] for row in stifles[1:])]
    write(north / "stifles.csv", stifles)
    rechecks = rows_of(north / "rechecks.csv")
    for place, form in enumerate(FORMS):
        rechecks[30 + place][rechecks[0].index("Comment")] = f"NAD. {form}."
    write(north / "rechecks.csv", rechecks)
    valley = folder / "exports" / "valley" / "MPL_Auszug.csv"
    lines = valley.read_bytes().decode("cp1252").split("\r\n")
    cells = lines[5].split(";")
    cells[2], cells[-1] = "Frau Quillfeather", "Tel. 01632 960 983"
    lines[5] = ";".join(cells)
    valley.write_bytes("\r\n".join(lines).encode("cp1252"))
    return folder


def texts_of(path: Path) -> Iterator[str]:
    """Give what a file says, unpacked: archives, Parquet, DuckDB and the streams of a PDF."""
    content = path.read_bytes()
    yield content.decode("utf-8", "replace")
    yield content.decode("utf-16-le", "replace")
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            yield from (
                archive.read(name).decode("utf-8", "replace") for name in archive.namelist()
            )
    if path.suffix == ".parquet":
        yield str(pl.read_parquet(path).to_dict(as_series=False))
    if path.suffix == ".duckdb":
        with duckdb.connect(str(path), read_only=True) as connection:
            for (table,) in connection.sql("SELECT table_name FROM duckdb_tables()").fetchall():
                yield str(connection.sql(f'SELECT * FROM "{table}"').fetchall())
    if path.suffix == ".pdf":
        for part in content.split(b"stream\n")[1:]:
            try:
                yield zlib.decompress(part).decode("latin-1")
            except zlib.error:
                continue


def leaks(folder: Path) -> list[tuple[str, str]]:
    return [
        (path.relative_to(folder).as_posix(), sought)
        for path in sorted(folder.rglob("*")) if path.is_file()
        for text in texts_of(path)
        for sought in SOUGHT if sought in text
    ]  # fmt: skip


def defect_files() -> set[Path]:
    return set(Path(tempfile.gettempdir()).glob("sulca-defect-*.txt"))


def test_the_scan_finds_what_it_looks_for(tmp_path: Path) -> None:
    """One planted text in each kind of file that an output can be."""
    frame = pl.DataFrame({"a": ["Secret-77"] * 3})
    frame.write_parquet(tmp_path / "a.parquet", compression="zstd")
    frame.write_excel(tmp_path / "a.xlsx")
    (tmp_path / "a.pdf").write_bytes(b"stream\n" + zlib.compress(b"(Secret-77)") + b"endstream")
    (tmp_path / "a.html").write_text("<p>Secret-77</p>")
    with duckdb.connect(str(tmp_path / "a.duckdb")) as connection:
        connection.sql("CREATE TABLE t AS SELECT 'Secret-77' AS a")
    found = {name for name, _ in leaks(tmp_path)}
    assert found == {"a.parquet", "a.xlsx", "a.pdf", "a.html", "a.duckdb"}


def test_no_output_and_no_message_of_a_whole_run_holds_a_planted_value(
    planted: Path, run_sulca: Any
) -> None:
    before = defect_files()
    done = run_sulca("run", str(planted))
    assert done.returncode == 0, done.stderr
    out = planted / "out"
    assert len([path for path in out.rglob("*") if path.is_file()]) > 40
    assert leaks(out) == []
    assert [text for text in SOUGHT if text in done.stdout + done.stderr] == []
    assert defect_files() == before
    findings = pl.read_parquet(out / "tables" / "findings.parquet")
    refused = findings.filter(pl.col("rule").is_in(["S01", "S02", "S03"]), clinic_id="north")
    cells = refused.filter(rule="S01")
    assert cells.height == 2 * len(FORMS) + 1
    assert refused.filter(rule="S02").height == len(NEW_COLUMNS)
    assert findings.filter(rule="S01", clinic_id="valley").height == 2


def _no_header(folder: Path) -> None:
    path = folder / "exports" / "north" / "stifles.csv"
    write(path, rows_of(path)[20:])


def _two_headers(folder: Path) -> None:
    path = folder / "exports" / "north" / "stifles.csv"
    rows = rows_of(path)
    write(path, [[*rows[0], "jq77@mail.example.org"], *([*row, "Secret-77"] for row in rows[1:])])


def _open_quote(folder: Path) -> None:
    path = folder / "exports" / "north" / "rechecks.csv"
    path.write_text(path.read_text("utf-8") + 'N-0104,L,"Mrs Quillfeather', "utf-8")


def _canonical(folder: Path) -> None:
    (folder / "mappings" / "north.toml").unlink()
    path = folder / "exports" / "north" / "stifles.csv"
    path.write_text("clinic_id,local_animal,side\nMrs Quillfeather,1,left\n", "utf-8")


def _canonical_header(folder: Path) -> None:
    (folder / "mappings" / "north.toml").unlink()
    path = folder / "exports" / "north" / "stifles.csv"
    path.write_text("clinic_id,local_animal,side,Mrs Quillfeather\nnorth,1,left,\n", "utf-8")


def _correction(folder: Path) -> None:
    (folder / "corrections.csv").write_text(
        "query_id,clinic,table,animal,side,day,variable,old_raw,new,decision,reason,who,when\n"
        "q,north,stifles,N-0104,left,,weight_kg,4,call Mrs Quillfeather,corrected,,x,2024-01-01\n"
    )


BROKEN = (_no_header, _two_headers, _open_quote, _canonical, _canonical_header, _correction)


@pytest.mark.parametrize("damage", BROKEN)
def test_a_refused_file_is_named_without_its_cells(
    planted: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], damage: Any
) -> None:
    """The message has file and remedy; what stood in the cells is nowhere."""
    from pipeline.run import checked_study

    folder = small_study(tmp_path / "study")
    for name in ("stifles.csv", "rechecks.csv"):
        part = Path("exports") / "north" / name
        (folder / part).write_bytes((planted / part).read_bytes())
    damage(folder)
    with pytest.raises(SystemExit):
        guarded(lambda: checked_study(folder, lambda _step: None))
    said = capsys.readouterr().err
    assert str(folder) in said
    assert len(said.splitlines()) == 2, said
    assert [text for text in SOUGHT if text in said] == []


class Panic(BaseException):
    """As libraries of another language raise: no Exception, and its text may quote a cell."""


@pytest.mark.parametrize("kind", [ValueError, AssertionError, Panic, pl.exceptions.ComputeError])
def test_a_defect_is_kept_without_the_text_of_the_error(
    capsys: pytest.CaptureFixture[str], kind: type[BaseException]
) -> None:
    def fail() -> None:
        owner = "Quillfeather"
        raise kind(f"conversion of {owner} failed")

    before = defect_files()
    with pytest.raises(SystemExit):
        guarded(fail)
    (path,) = defect_files() - before
    said = capsys.readouterr().err
    kept = path.read_text("utf-8")
    os.unlink(path)
    assert "Quillfeather" not in said + kept
    assert f"in {fail.__name__}" in kept
    assert len(said.splitlines()) == 1
