"""`sulca new`, its templates filled in, gives a report; a study may add variables of its own."""

import csv
import shutil
from importlib.resources import files
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.intake.mapping_file import read_mapping
from pipeline.manifest import fingerprints
from pipeline.simulate.simulated import simulate_study
from pipeline.study import read_study
from schemas.codebook import CANONICAL_TABLES, codebook_version, of_table, read_codebook

OWN = (
    "notch_mm,Depth of the notch,float,mm,,0,20,1,9,no,,no,,baseline,"
    "Depth of the notch at surgery,common practice",
    "stairs,Stairs at home,category,,none=None|some=Some,,,,,no,,no,,baseline,"
    "Whether the animal climbs stairs at home,common practice",
)


def fill_templates(folder: Path, *, n_stifles: int, seed: int) -> None:
    """Put invented stifles into copies of the templates, one folder a clinic."""
    tables = simulate_study(seed, n_stifles).tables
    for clinic in tables["stifles"]["clinic_id"].unique().sort():
        sent = folder / "exports" / clinic
        sent.mkdir()
        for table in CANONICAL_TABLES:
            header = (folder / "templates" / f"{table}.csv").read_text("utf-8").strip().split(",")
            own = tables[table].filter(clinic_id=clinic)
            own.select(header).write_csv(sent / f"{table}.csv")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, call_sulca: Any) -> Path:
    folder = tmp_path_factory.mktemp("new") / "my-study"
    done = call_sulca("new", str(folder))
    assert done.returncode == 0, done.stderr
    assert "Next: sulca check" in done.stdout
    return folder


@pytest.fixture
def study(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "my-study"))


def test_the_study_file_is_commented_and_valid(made: Path) -> None:
    lines = (made / "study.toml").read_text("utf-8").splitlines()
    assert sum("#" in line for line in lines) > 30
    assert read_study(made).codebook_version == codebook_version(read_codebook())


def test_the_example_becomes_a_mapping_by_its_name(study: Path, call_sulca: Any) -> None:
    example = study / "mappings" / "north.toml.example"
    mapping = read_mapping(example.rename(example.with_suffix("")), read_codebook())
    assert mapping.codebook_version == codebook_version(read_codebook())
    shutil.copytree(Path(str(files("shared"))) / "demo/exports/north", study / "exports/north")
    done = call_sulca("check", str(study), "--quiet")
    assert (done.returncode, done.stderr) == (0, "")


def test_templates_and_dictionary_match_the_codebook(made: Path) -> None:
    with (made / "templates" / "dictionary.csv").open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    codebook = read_codebook()
    for table in CANONICAL_TABLES:
        declared = of_table(codebook, table)
        told = [row for row in rows if row["table"] == table]
        header = (made / "templates" / f"{table}.csv").read_text("utf-8").strip().split(",")
        assert header == [item.name for item in declared]
        assert [(row["variable"], row["type"], row["unit"]) for row in told] == [
            (item.name, item.kind, item.unit) for item in declared
        ]


def test_a_folder_in_use_is_refused_and_left_as_it_was(study: Path, call_sulca: Any) -> None:
    names = sorted(path.relative_to(study) for path in study.rglob("*") if path.is_file())
    before = fingerprints(study, names)
    done = call_sulca("new", str(study))
    assert done.returncode == 2
    [first, second] = done.stderr.splitlines()
    assert "it is not empty" in first
    assert "Name an empty folder" in second
    assert sorted(p.relative_to(study) for p in study.rglob("*") if p.is_file()) == names
    assert fingerprints(study, names) == before


def test_nothing_sent_yet_is_one_message(study: Path, call_sulca: Any) -> None:
    done = call_sulca("run", str(study), "--quiet")
    assert done.returncode == 2
    [first, second] = done.stderr.splitlines()
    assert "exports: there is no export" in first
    assert "Make a folder for each clinic" in second


def test_filled_templates_give_a_report_with_concerns_for_numbers(
    study: Path, call_sulca: Any
) -> None:
    """Thirty stifles hold too few events for a ratio; the report says so and is written."""
    fill_templates(study, n_stifles=30, seed=1)
    done = call_sulca("run", str(study), "--quiet")
    assert done.returncode == 0, done.stderr
    findings = pl.read_parquet(study / "out" / "tables" / "findings.parquet")
    assert findings.filter(pl.col("rule").str.starts_with("M")).is_empty()
    assert findings.filter(action="stop").is_empty()
    assert pl.read_parquet(study / "out" / "tables" / "stifles.parquet").height == 30
    results = pl.read_parquet(study / "out" / "results.parquet")
    hazard = results.filter(analysis="relux_hazard", measure="hazard_ratio")
    assert hazard.height
    assert hazard["concerns"].str.len_chars().min()
    page = (study / "out" / "report" / "index.html").read_text("utf-8")
    assert "Title of the study" in page
    assert page.count("not stated") >= 4
    assert ">nan<" not in page.lower()


def with_own_variables(study: Path) -> None:
    """Declare two variables, add them to what each clinic sent, and adjust for them."""
    header = (Path(str(files("shared"))) / "codebook/stifles.csv").read_text("utf-8").splitlines()
    (study / "codebook").mkdir()
    (study / "codebook" / "stifles.csv").write_text("\n".join([header[0], *OWN]), "utf-8")
    place = 0
    for path in sorted(study.glob("exports/*/stifles.csv")):
        sent = pl.read_csv(path, infer_schema=False)
        number = pl.int_range(place, place + pl.len())
        place += sent.height
        notch = (number * 7 % 8 + 1).cast(pl.String)
        stairs = pl.when(number % 3 == 0).then(pl.lit("some")).otherwise(pl.lit("none"))
        sent.with_columns(notch_mm=notch, stairs=stairs).write_csv(path)
    plan = (study / "study.toml").read_text("utf-8")
    plan = plan.replace('"surgery_year", "clinic_id"]', '"notch_mm", "stairs"]')
    plan = plan.replace('{ clinic_id = "most_frequent" }', '{ stairs = "none" }')
    (study / "study.toml").write_text(plan, "utf-8")


def test_own_variables_are_checked_carried_and_adjusted_for(study: Path, call_sulca: Any) -> None:
    fill_templates(study, n_stifles=150, seed=3)
    with_own_variables(study)
    lake = study / "exports" / "lake" / "stifles.csv"
    sent = pl.read_csv(lake, infer_schema=False)
    sent[0, "notch_mm"], sent[1, "notch_mm"], sent[2, "stairs"] = "25", "deep", "many"
    sent.write_csv(lake)
    done = call_sulca("analyse", str(study), "--quiet")
    assert done.returncode == 0, done.stderr

    findings = pl.read_parquet(study / "out" / "tables" / "findings.parquet")
    asked = findings.filter(pl.col("variable").is_in(["notch_mm", "stairs"]))
    assert asked.sort("row").select("row", "value", "action").rows() == [
        (2, "25", "hold"), (3, "deep", "hold"), (4, "many", "hold"),
    ]  # fmt: skip

    cohort = pl.read_parquet(study / "out" / "cohort.parquet")
    assert cohort.schema["notch_mm"] == pl.Float64
    assert cohort["notch_mm"].null_count() == 2
    assert cohort["stairs"].null_count() == 1
    dictionary = pl.read_csv(study / "out" / "cohort_dictionary.csv", infer_schema=False)
    assert dictionary.row(by_predicate=pl.col("variable") == "notch_mm")[1] == "Depth of the notch"

    results = pl.read_parquet(study / "out" / "results.parquet")
    ratios = results.filter(
        pl.col("term").is_in(["notch_mm", "stairs"]), analysis="relux_hazard", model="cox",
        adjustment="adjusted", measure="hazard_ratio",
    )  # fmt: skip
    assert ratios.select("term", "level").rows() == [
        ("notch_mm", None), ("stairs", "none"), ("stairs", "some"),
    ]  # fmt: skip
    reference, others = (
        ratios.filter(level="none"),
        ratios.filter(pl.col("level").ne_missing("none")),
    )
    assert reference["estimate"].to_list() == [None]
    assert others["estimate"].is_between(0.05, 20).all()
    assert others["estimate"].null_count() == 0
