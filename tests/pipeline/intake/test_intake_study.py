"""A whole study: the demo's five dialects, canonical folders, several clinics at once."""

from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from pipeline.intake.days import recount_days
from pipeline.intake.mapped import ADDRESS, RAW, Mapped
from pipeline.intake.study_intake import read_clinic, read_study
from schemas.codebook import CANONICAL_TABLES, Variable, codebook_version, of_table
from schemas.findings import FINDING_SCHEMA
from shared.errors import InputFileError, MappingError

DEMO = Path(__file__).parents[3] / "shared" / "demo"
CLINICS = ("harbour", "lake", "north", "plateau", "valley")
Codebook = tuple[Variable, ...]


@pytest.fixture(scope="module")
def demo(codebook: Codebook) -> Mapped:
    return read_study(DEMO, codebook)


@pytest.fixture(scope="module")
def defects() -> pl.DataFrame:
    planted = pl.read_csv(DEMO / "defects.csv", infer_schema=False)
    return planted.with_columns(pl.col("row").cast(pl.Int64))


def test_all_clinics_are_read_in_the_order_of_their_names(demo: Mapped) -> None:
    assert tuple(demo.tables["clinics"]["clinic_id"]) == CLINICS
    assert demo.tables["stifles"].height > 850


def test_tables_have_the_declared_columns(demo: Mapped, codebook: Codebook) -> None:
    for table in CANONICAL_TABLES:
        names = [item.name for item in of_table(codebook, table)]
        frame = demo.tables[table]
        assert frame.columns == [*ADDRESS, *names, *(RAW + name for name in names)]
        assert frame.select(names).schema == {
            item.name: item.dtype for item in of_table(codebook, table)
        }
        assert frame["row_id"].is_unique().all()
    assert demo.findings.schema == FINDING_SCHEMA


def test_every_source_row_has_one_fate(demo: Mapped) -> None:
    parts = pl.col("mapped") + pl.col("set_aside") + pl.col("unreadable")
    assert demo.ledger.filter(pl.col("source_rows") != parts).is_empty()
    lines = {
        name: sum(1 for line in (DEMO / "exports" / name).read_bytes().splitlines() if line)
        for name in ("north/rechecks.csv", "valley/MPL_Auszug.csv", "plateau/cirugia_rotula_v3.txt")
    }
    counted = {f"{row[0]}/{row[1]}": row[3] + 1 for row in demo.ledger.rows()}
    assert {name: counted[name] for name in lines} == lines  # the header is no data row


def test_planted_cells_are_found_and_nothing_else_is(demo: Mapped, defects: pl.DataFrame) -> None:
    """What intake asks about is what was planted for it; M09 lists, M07 waits for a date."""
    place = ["clinic_id", "file", "sheet", "row", "rule"]
    planted = defects.rename({"clinic": "clinic_id"}).filter(pl.col("rule").str.contains("^[MS]"))
    planted = planted.with_columns(pl.col("sheet").fill_null(""))
    found = demo.findings.filter(~pl.col("rule").is_in(["M07", "M09"]))
    assert planted.height >= 12
    assert planted.join(found, on=place, how="anti").is_empty()
    assert found.join(planted, on=place, how="anti").is_empty()


def test_waiting_days_belong_to_surgeries_without_a_date(demo: Mapped) -> None:
    waiting = demo.findings.filter(rule="M07").select("clinic_id", "key")
    animals = {key.split(",")[0] for key in waiting["key"]}
    undated = demo.tables["stifles"].filter(pl.col("surgery_date").is_null())["local_animal"]
    sent = demo.tables["stifles"]["local_animal"].implode()
    unsent = waiting.filter(~pl.col("key").str.extract("^([^,]*)").is_in(sent))["key"].to_list()
    assert animals <= {*undated, *(key.split(",")[0] for key in unsent)}


@pytest.mark.parametrize("clinic", CLINICS)
def test_each_mapping_was_written_for_this_codebook(clinic: str, codebook: Codebook) -> None:
    written = (DEMO / "mappings" / f"{clinic}.toml").read_text("utf-8")
    assert f'codebook_version = "{codebook_version(codebook)}"' in written


def test_units_of_every_dialect_end_in_one_scale(demo: Mapped) -> None:
    stifles = demo.tables["stifles"]
    medians = stifles.group_by("clinic_id").agg(pl.col("weight_kg", "age_months").median())
    assert medians["weight_kg"].is_between(2, 20).all()
    assert medians["age_months"].is_between(10, 90).all()
    wires = demo.tables["procedures"]
    assert set(wires["tb_wire_diameter_mm"].drop_nulls()) <= {0.5, 0.6, 0.64, 0.8, 1.0}
    pins = wires.filter(clinic_id="harbour")["kwire_diameter_mm"].drop_nulls()
    assert pins.is_in(
        [25.4 * inch for inch in (0.028, 0.035, 0.045, 0.062, 0.078)]
    ).mean() == pytest.approx(1, abs=0.02)


def test_reading_twice_gives_the_same(demo: Mapped, codebook: Codebook) -> None:
    again = read_clinic(DEMO, "plateau", codebook)
    for table, frame in again.tables.items():
        assert frame.equals(demo.tables[table].filter(clinic_id="plateau"))
    assert again.findings.equals(demo.findings.filter(clinic_id="plateau"))
    assert again.marks.equals(demo.marks.filter(clinic_id="plateau"))


def test_days_follow_a_corrected_surgery_date(demo: Mapped, codebook: Codebook) -> None:
    assert recount_days(demo, codebook).tables["rechecks"].equals(demo.tables["rechecks"])
    stifles = demo.tables["stifles"]
    undated = stifles.filter(clinic_id="harbour").filter(pl.col("surgery_date").is_null())
    stifle = undated["local_stifle"].item()
    fixed = pl.when(pl.col("local_stifle") == stifle).then(pl.date(2022, 10, 18))
    dated = stifles.with_columns(fixed.otherwise("surgery_date").alias("surgery_date"))
    counted = recount_days(replace(demo, tables={**demo.tables, "stifles": dated}), codebook)
    days = counted.tables["rechecks"].filter(local_stifle=stifle)["recheck_day"].to_list()
    assert days == [46, 187, 351, 594]  # from 18 October 2022 to the four dates of row 136
    assert counted.findings.filter(rule="M07", clinic_id="harbour").is_empty()


CANONICAL = {
    "clinics.csv": "clinic_id,clinic_type,data_lock_date\nwest,referral,2024-01-31\n",
    "animals.csv": "local_animal,species,sex_neuter\nA1,dog,male_entire\n",
    "stifles.csv": "local_stifle,local_animal,side,surgery_date,weight_kg,grade_preop\n"
    "S1,A1,left,2021-03-04,4.2,3\nS2,A1,right,2021-03-04,4.2,not_recorded\n",
    "rechecks.csv": "local_stifle,recheck_day,recheck_mode,patella_grade\n"
    "S1,42,operating_clinic,0\n",
}


def write(folder: Path, files: dict[str, str]) -> None:
    for name, text in files.items():
        path = folder / "exports" / "west" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")


def test_a_canonical_folder_needs_no_mapping(tmp_path: Path, codebook: Codebook) -> None:
    write(tmp_path, CANONICAL)
    mapped = read_study(tmp_path, codebook)
    assert mapped.findings.is_empty()
    assert mapped.tables["stifles"].select("local_stifle", "grade_preop").rows() == [
        ("S1", 3), ("S2", None),
    ]  # fmt: skip
    assert mapped.tables["rechecks"]["recheck_day"].to_list() == [42]
    assert mapped.tables["clinics"]["clinic_type"].to_list() == ["referral"]
    assert mapped.missing.filter(variable="grade_preop")["reason"].to_list() == ["not_recorded"]


def test_a_canonical_file_with_an_unknown_column_is_refused(
    tmp_path: Path, codebook: Codebook
) -> None:
    write(tmp_path, CANONICAL | {"animals.csv": "local_animal,specis\nA1,dog\n"})
    with pytest.raises(MappingError, match='Did you mean "species"'):
        read_study(tmp_path, codebook)


def test_a_canonical_code_that_does_not_exist_is_held(tmp_path: Path, codebook: Codebook) -> None:
    write(tmp_path, CANONICAL | {"animals.csv": "local_animal,species\nA1,horse\n"})
    found = read_study(tmp_path, codebook).findings.filter(rule="M01")
    assert found.select("variable", "value", "action").rows() == [("species", "horse", "hold")]


def test_a_folder_without_mapping_or_canonical_table_says_what_is_missing(
    tmp_path: Path, codebook: Codebook
) -> None:
    write(tmp_path, {"cases.csv": "a\n1\n"})
    with pytest.raises(InputFileError, match=r"Write mappings/west\.toml"):
        read_study(tmp_path, codebook)


def test_no_export_and_a_mapping_without_export_are_one_message(
    tmp_path: Path, codebook: Codebook
) -> None:
    with pytest.raises(InputFileError, match="there is no export"):
        read_study(tmp_path, codebook)
    write(tmp_path, CANONICAL)
    (tmp_path / "mappings").mkdir()
    (tmp_path / "mappings" / "wset.toml").write_text("")
    with pytest.raises(MappingError, match='Did you mean "west"'):
        read_study(tmp_path, codebook)
