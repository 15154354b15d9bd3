"""Bad input gets one clear message and an exit code, or a finding; earlier outputs stay."""

import re
import shutil
from collections.abc import Callable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from schemas.codebook import codebook_version, read_codebook
from tests.bad_input import Bad, Edit, Told, assert_one_message, holds, kept, swap, told

DEMO = Path(str(files("shared") / "demo"))
CODEBOOK = Path(str(files("shared") / "codebook"))
RECHECKS, STIFLES = "exports/north/rechecks.csv", "exports/north/stifles.csv"
BOOK = "exports/lake/rotules_lac.xlsx"
NORTH, LAKE = "mappings/north.toml", "mappings/lake.toml"
OWN = "codebook/stifles.csv"
NOW, OTHER = codebook_version(read_codebook()), "0" * 12


def two_clinics(folder: Path) -> Path:
    """One clinic of text files, one with a workbook, and two analyses."""
    head, *blocks = (DEMO / "study.toml").read_text("utf-8").split("[[analysis]]")
    kept = [item for item in blocks if 'id = "relux_risk"' in item or 'id = "relux_hazard"' in item]
    for clinic in ("north", "lake"):
        shutil.copytree(DEMO / "exports" / clinic, folder / "exports" / clinic)
        (folder / "mappings").mkdir(exist_ok=True)
        shutil.copy(DEMO / "mappings" / f"{clinic}.toml", folder / "mappings")
    (folder / "study.toml").write_text("[[analysis]]".join([head, *kept]), "utf-8", newline="")
    return folder


def written_in(encoding: str) -> Callable[[bytes], bytes]:
    return lambda content: content.decode("utf-8").replace("NAD", "Näht").encode(encoding)


def first_line(content: bytes) -> bytes:
    return content.splitlines(keepends=True)[0]


def without(name: str) -> Edit:
    def edit(folder: Path) -> None:
        path = folder / name
        shutil.rmtree(path) if path.is_dir() else path.unlink()

    return edit


def only_north(folder: Path) -> None:
    without("exports/lake")(folder)
    without(LAKE)(folder)


def nobody_reluxated(folder: Path) -> None:
    """Leave one clinic, whose rechecks all found stable and whose complications are none."""
    only_north(folder)
    kept("exports/north/complications.csv", first_line)(folder)
    kept(RECHECKS, lambda content: re.sub(rb",G[1-4],(medial|lateral)?,", b",stable,,", content))(
        folder
    )
    plan = (folder / "study.toml").read_text("utf-8")
    plan = plan.replace(', "clinic_id"]', "]").replace(', clinic_id = "most_frequent"', "")
    (folder / "study.toml").write_text(plan, "utf-8", newline="")


def declares(*rows: str) -> Edit:
    header = (CODEBOOK / "stifles.csv").read_text("utf-8").splitlines()[0]
    return holds(OWN, "\n".join([header, *rows]) + "\n")


MINE = "notch_mm,Notch,float,mm,,0,20,1,9,no,,no,,baseline,Depth of the notch,common practice"


BAD: Mapping[str, Bad] = {
    "an export file is missing": Bad(
        edit=without(RECHECKS), where=RECHECKS, what="not there", do='mean "images.csv"'),
    "an export file is empty": Bad(
        edit=holds(RECHECKS, ""), where=RECHECKS, what="empty", do="export it again"),
    "UTF-16 read as UTF-8": Bad(
        edit=kept(RECHECKS, written_in("utf-16")), where=f"{RECHECKS}, line 1",
        what="not utf-8", do="Set encoding in the mapping"),
    "cp1252 read as UTF-8": Bad(
        edit=kept(RECHECKS, written_in("cp1252")), where=f"{RECHECKS}, line 3",
        what="not utf-8", do="Set encoding in the mapping"),
    "a column is missing": Bad(
        edit=swap(STIFLES, "Weight (kg)", "Weight kg"), where=STIFLES,
        what='no column "Weight (kg)"', do='mean "Weight kg"'),
    "a workbook of garbage": Bad(
        edit=holds(BOOK, b"\x00\x01garbage" * 500), where=BOOK, what="cannot be read",
        do="save it again"),
    "a workbook cut short": Bad(
        edit=kept(BOOK, lambda content: content[:20_000]), where=BOOK, what="cannot be read",
        do="save it again"),
    "a sheet is missing": Bad(
        edit=swap(LAKE, 'sheet = "Complications"', 'sheet = "Complication"'), where=BOOK,
        what='no sheet "Complication"', do='mean "Complications"'),
    "no export of a clinic": Bad(
        edit=without("exports/lake"), where=LAKE, what="no folder exports/lake",
        do="Name the mapping after"),
    "no export at all": Bad(
        edit=without("exports"), where="exports", what="no export", do="Make a folder"),
    "an unknown key in a mapping": Bad(
        edit=swap(NORTH, 'side = { column = "Limb", codes', 'side = { column = "Limb", code'),
        where=f"{NORTH}, table 1, columns, side", what='"code" is unknown', do='mean "codes"'),
    "a mapping that is no TOML": Bad(
        edit=swap(NORTH, "[clinic]", "[clinic"), where=NORTH, what="line 6", do="Mend it there"),
    "no study file": Bad(
        edit=without("study.toml"), where="study.toml", what="no such file", do="sulca new"),
    "a study of another codebook": Bad(
        edit=swap("study.toml", NOW, OTHER), where="study.toml",
        what=f"written for codebook {OTHER}", do=f'codebook_version = "{NOW}"'),
    "corrections with an unknown column": Bad(
        edit=holds("corrections.csv", "query_id,clinic,tabel\n"), where="corrections.csv, row 1",
        what='"tabel" is not known', do='mean "table"'),
    "corrections with a column too few": Bad(
        edit=holds("corrections.csv", "query_id,clinic\n"), where="corrections.csv, row 1",
        what='"table" is missing', do="The header is query_id,clinic,"),
    "a variable declared twice": Bad(
        edit=declares(MINE, MINE), where=OWN, what='"notch_mm" is declared twice',
        do="another name"),
    "a declaration with a limit that is no number": Bad(
        edit=declares(MINE.replace(",0,20,", ",zero,20,")), where=f"{OWN}, row 2",
        what="zero", do="limits in pairs"),
    "declarations of no table": Bad(
        edit=holds("codebook/stifle.csv", MINE), where="codebook/stifle.csv",
        what='no table "stifle"', do='mean "stifles"'),
    "run.json that is no JSON": Bad(
        edit=holds("out/run.json", "{not"), where="out/run.json", what="not readable as JSON",
        do="counts as the first"),
    "run.json of another shape": Bad(
        edit=holds("out/run.json", '{"first_analysis": "yesterday"}'), where="out/run.json",
        what="not what a run writes", do="counts as the first", command="analyse"),
    "nobody is left": Bad(
        edit=swap("study.toml", 'grades = [2, 3, 4]', 'grades = [4]\naccrual_start = 2030-01-01'),
        where="[eligibility]", what="nobody is left", do="Widen the switch", command="cohort",
        exit_code=1),
    "a horizon beyond the data lock": Bad(
        edit=swap("study.toml", "horizons = [91, 183, 365]", "horizons = [365, 20000]"),
        where="[outcomes]", what="horizon 20000 lies beyond the data lock of all",
        do="Take 20000 out of horizons", command="cohort"),
    "switches that contradict an exclusion": Bad(
        edit=swap("study.toml", "grades = [2, 3, 4]", "grades = [4]\nexclude = [{column = "
                  '"grade_preop", values = ["4"], label = "grade IV"}]'),
        where="[eligibility]", what='"grade IV" excludes all of it', do="Change grades",
        command="cohort"),
    "the plan names no variable": Bad(
        edit=swap("study.toml", 'adjust_for = ["grade_preop"', 'adjust_for = ["grade_preob"'),
        where='analysis "relux_risk"', what='"grade_preob"', do='mean "grade_preop"',
        command="analyse"),
    "an unknown model": Bad(
        edit=swap("study.toml", 'model = "cox"', 'model = "coxx"'),
        where='analysis "relux_hazard"', what='"coxx" is unknown', do='mean "cox"',
        command="analyse"),
    "one clinic, adjusted for clinic": Bad(
        edit=only_north, where='analysis "relux_risk"', what="clinic_id has one level only: north",
        do="Take clinic_id out of adjust_for", command="analyse"),
    "an outcome without events": Bad(
        edit=nobody_reluxated, where='analysis "relux_risk"', what="none of 1", do="secondary",
        command="run", exit_code=1),
}  # fmt: skip


@pytest.fixture(scope="module")
def analysed(tmp_path_factory: pytest.TempPathFactory, call_sulca: Any) -> Path:
    folder = two_clinics(tmp_path_factory.mktemp("good") / "study")
    done = call_sulca("analyse", str(folder), "--quiet")
    assert done.returncode == 0, done.stderr
    assert not done.stderr
    return folder


@pytest.fixture(scope="module")
def refused(
    analysed: Path, tmp_path_factory: pytest.TempPathFactory, call_sulca: Any
) -> dict[str, Told]:
    found: dict[str, Told] = {}
    for name, bad in BAD.items():
        folder = Path(shutil.copytree(analysed, tmp_path_factory.mktemp("bad") / "study"))
        bad.edit(folder)
        found[name] = told(call_sulca, [bad.command, str(folder)], folder / "out")
    return found


@pytest.mark.parametrize("name", BAD)
def test_bad_study_gets_one_message_and_outputs_stay(refused: dict[str, Told], name: str) -> None:
    assert_one_message(refused[name], BAD[name])


def test_what_can_be_asked_is_a_finding_and_the_check_goes_on(
    analysed: Path, tmp_path: Path, call_sulca: Any
) -> None:
    """Unknown codes, a file without rows, a mapping of an earlier codebook, a byte-order mark."""
    study = Path(shutil.copytree(analysed, tmp_path / "study"))
    before = pl.read_parquet(study / "out" / "tables" / "findings.parquet")
    for edit in (
        swap(STIFLES, ",Canine,", ",Wolf,"), swap(STIFLES, ",Canine,", ",Wolf,"),
        kept("exports/north/complications.csv", first_line), swap(NORTH, NOW, OTHER),
        kept(NORTH, lambda content: b"\xef\xbb\xbf" + content),
    ):  # fmt: skip
        edit(study)
    done = call_sulca("check", str(study), "--quiet")
    assert (done.returncode, done.stderr) == (0, "")
    found = pl.read_parquet(study / "out" / "tables" / "findings.parquet")
    wolves = found.filter(pl.col("value") == "Wolf")
    assert wolves.filter(rule="M01", variable="species").height == 2
    [counted] = found.filter(rule="M09", file="stifles.csv")["says"]
    assert 'Species: "Wolf" (2)' in counted
    new = found.join(before, on=["rule", "file", "row", "column"], how="anti", nulls_equal=True)
    assert new.filter(rule="M16")["file"].to_list() == ["complications.csv"]
    [version] = new.filter(rule="M15").rows(named=True)
    assert (version["file"], version["action"]) == (NORTH, "ask")
    assert f"written for codebook {OTHER}" in version["says"]


def test_an_animal_that_dies_twice_is_held_and_the_strict_check_says_how_many(
    analysed: Path, tmp_path: Path, call_sulca: Any
) -> None:
    """Both stifles wait for the clinic's answer: in the cohort, without an outcome."""
    study = Path(shutil.copytree(analysed, tmp_path / "study"))
    lines = (study / STIFLES).read_text("utf-8").splitlines()
    [row] = [line for line in lines if line.startswith("N-0262") and ",L,staged," in line]
    swap(STIFLES, row, row.replace("10/05/2023,died", "11/05/2023,died"))(study)
    before = pl.read_parquet(study / "out" / "tables" / "findings.parquet").filter(rule="R18")
    done = call_sulca("check", str(study), "--strict")
    assert done.returncode == 1
    found = pl.read_parquet(study / "out" / "tables" / "findings.parquet").filter(rule="R18")
    new = found.join(before, on=["row_id", "variable"], how="anti", nulls_equal=True)
    assert set(new["action"]) == {"hold"}
    assert new["says"].str.contains("The animal died").all()
    held = re.search(r"(\d+) hold\b", done.stdout)
    assert held is not None
    assert int(held[1]) >= new.height
    assert call_sulca("cohort", str(study), "--quiet").returncode == 0
    cohort = pl.read_csv(study / "out" / "cohort.csv", infer_schema=False)
    both = cohort.filter(pl.col("animal_id") == "north:N-0262")
    assert both["relux_held"].to_list() == both["implant_held"].to_list() == ["true", "true"]
    assert both["relux_day"].null_count() == 2


def test_secondary_analyses_without_an_event_still_give_a_report(
    analysed: Path, tmp_path: Path, call_sulca: Any
) -> None:
    study = Path(shutil.copytree(analysed, tmp_path / "study"))
    nobody_reluxated(study)
    plan = (study / "study.toml").read_text("utf-8")
    plan = plan.replace('role = "primary"', 'role = "secondary"')
    (study / "study.toml").write_text(plan, "utf-8", newline="")
    done = call_sulca("run", str(study), "--quiet")
    assert (done.returncode, done.stderr) == (0, "")
    assert (study / "out" / "report" / "index.html").stat().st_size > 10_000
    hazard = pl.read_parquet(study / "out" / "results.parquet").filter(
        analysis="relux_hazard", measure="hazard_ratio"
    )
    assert hazard.height
    assert hazard["estimate"].null_count() == hazard.height
    assert hazard["concerns"].str.len_chars().min()
