"""Five dialects, read back through the demo's mappings, give the rows they were made of."""

from importlib.resources import as_file, files
from pathlib import Path

import polars as pl
import pytest

from pipeline.check import Checked, check
from pipeline.intake.mapped import Mapped
from pipeline.intake.study_intake import read_study
from pipeline.simulate.clinics import CLINIC_IDS
from pipeline.simulate.demo import write_exports
from pipeline.simulate.folder import write_demo
from pipeline.simulate.simulated import Simulated, simulate_study
from pipeline.simulate.whole import orders_mixed
from pipeline.simulate.write import fill_sheets, save_exports
from schemas.codebook import KEYS, read_codebook

TABLES = ("animals", "stifles", "procedures", "rechecks", "complications", "revisions")
ASKS_PER_100_ROWS = 3


@pytest.fixture(scope="module")
def study() -> Simulated:
    return simulate_study(1)


@pytest.fixture(scope="module")
def clean(study: Simulated, tmp_path_factory: pytest.TempPathFactory) -> Mapped:
    """Intake of the demo's exports without defects."""
    folder = tmp_path_factory.mktemp("clean")
    save_exports(fill_sheets(study.tables), folder / "exports")
    _copy_mappings(folder)
    return read_study(folder, read_codebook())


@pytest.fixture(scope="module")
def clean_checked(clean: Mapped) -> Checked:
    return check(clean, read_codebook())


@pytest.fixture(scope="module")
def damaged(
    study: Simulated, tmp_path_factory: pytest.TempPathFactory
) -> tuple[pl.DataFrame, Checked]:
    """The list of planted defects, and the check of the exports that hold them."""
    folder = tmp_path_factory.mktemp("damaged")
    defects = write_exports(study, folder, seed=1)
    _copy_mappings(folder)
    codebook = read_codebook()
    return defects, check(read_study(folder, codebook), codebook)


def _copy_mappings(folder: Path) -> None:
    with as_file(files("shared") / "demo" / "mappings") as source:
        (folder / "mappings").mkdir()
        for path in source.glob("*.toml"):
            (folder / "mappings" / path.name).write_bytes(path.read_bytes())


BY_BIRTHDAY = "north"  # sends dates of birth


@pytest.mark.parametrize("clinic", CLINIC_IDS)
@pytest.mark.parametrize("table", TABLES)
def test_clean_exports_read_back_as_the_rows_they_were_made_of(
    study: Simulated, clean_checked: Checked, clinic: str, table: str
) -> None:
    own = pl.col("clinic_id") == clinic
    made = study.tables[table].filter(own)
    read = clean_checked.tables[table].filter(own)
    key = list(KEYS[table])
    assert read.select(key).sort(key).equals(made.select(key).sort(key))
    both = made.sort(key).hstack(read.sort(key).select(pl.all().name.prefix("read:")))
    exported = [name for name in made.columns if read[name].null_count() < read.height]
    assert len(exported) >= len(key)
    for name in exported:
        there, back = pl.col(name), pl.col(f"read:{name}")
        if name == "age_months" and clinic == BY_BIRTHDAY:
            there = (there + 0.5).floor()  # nearer, an age would give the date of birth away
        same = (there - back).abs() < 1e-6 if made[name].dtype.is_float() else there == back
        differ = both.filter(~(same.fill_null(value=False) | (there.is_null() & back.is_null())))
        assert differ.is_empty(), differ.select(*key, name, f"read:{name}").head(3)


def test_every_row_of_a_clean_export_is_mapped_or_a_title_total_or_test(clean: Mapped) -> None:
    assert clean.ledger["unreadable"].sum() == 0
    assert clean.ledger["set_aside"].sum() < 10


def test_clean_rows_raise_no_stop_or_hold_and_few_asks(clean_checked: Checked) -> None:
    found = clean_checked.findings
    worse = found.filter(pl.col("action").is_in(["stop", "hold"]))
    assert worse.is_empty(), worse.select("rule", "file", "row", "value").head(5)
    n_rows = sum(clean_checked.tables[table].height for table in TABLES)
    asks = found.filter(pl.col("action") == "ask").height
    assert 100 * asks / n_rows <= ASKS_PER_100_ROWS


def test_each_planted_defect_is_found_at_its_row_by_its_rule(
    damaged: tuple[pl.DataFrame, Checked],
) -> None:
    defects, checked = damaged
    assert 40 <= defects.height <= 70
    missed: list[str] = []
    for defect in defects.iter_rows(named=True):
        # Of two rows about one joint a rule may name either.
        copied = str(defect["what_was"]).removeprefix("copy of row ")
        rows = [defect["row"], *([int(copied)] if copied != defect["what_was"] else [])]
        found = checked.findings.filter(
            clinic_id=defect["clinic"], file=defect["file"], sheet=defect["sheet"],
            rule=defect["rule"],
        ).filter(pl.col("row").is_in(rows))  # fmt: skip
        if found.is_empty():
            missed.append(f"{defect['clinic']} row {defect['row']}: {defect['kind']}")
    assert not missed


def test_a_file_in_two_orders_of_day_and_month_is_known_by_its_unreadable_dates(
    study: Simulated, tmp_path: Path
) -> None:
    sheets = fill_sheets(study.tables)
    orders_mixed(sheets)
    save_exports({"north": sheets["north"]}, tmp_path / "exports")
    with as_file(files("shared") / "demo" / "mappings" / "north.toml") as mapping:
        (tmp_path / "mappings").mkdir()
        (tmp_path / "mappings" / "north.toml").write_bytes(mapping.read_bytes())
    checked = check(read_study(tmp_path, read_codebook()), read_codebook())
    asked = checked.findings.filter(pl.col("rule") == "R23", pl.col("action") == "hold")
    assert set(asked["file"]) == {"stifles.csv", "rechecks.csv", "complications.csv"}


def test_each_clinic_and_action_has_planted_defects(
    damaged: tuple[pl.DataFrame, Checked],
) -> None:
    defects, checked = damaged
    assert set(defects["clinic"]) == set(CLINIC_IDS)
    rules = checked.findings.select("rule", "action").unique()
    actions = defects.join(rules, on="rule")["action"]
    assert {"stop", "hold", "derive", "ask"} <= set(actions)


def test_the_committed_demo_is_what_seed_1_writes(tmp_path: Path) -> None:
    write_demo(tmp_path, truth_stifles=20_000)
    with as_file(files("shared") / "demo") as demo:
        names = sorted(
            path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()
        )
        assert "exports/lake/rotules_lac.xlsx" in names
        for name in names:
            if name != "truth.csv":
                assert (tmp_path / name).read_bytes() == (demo / name).read_bytes(), name
        committed = pl.read_csv(demo / "truth.csv")
    few = pl.read_csv(tmp_path / "truth.csv")
    error = (few["monte_carlo_error"] ** 2 + committed["monte_carlo_error"] ** 2) ** 0.5
    assert ((few["estimate"] - committed["estimate"]).abs() < 4.5 * error).all()
    assert committed["n"].min() > 700_000  # type: ignore[operator]
