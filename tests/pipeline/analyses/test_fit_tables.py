"""`sulca fit` on tables as people have them: what is read, what is refused, what is written."""

from pathlib import Path

import polars as pl
import pytest

from pipeline.analyse import Analysed
from pipeline.fit import fit_table
from shared.errors import InputFileError, PlanError
from shared.files import write_csv

PLAN = """
[[analysis]]
id = "crude"
model = "logistic"
outcome = "low"
exposure = "smoke"

[[analysis]]
id = "curve"
model = "kaplan_meier"
time = "day"
event = "low"
exposure = "clinic"
"""
ROWS = ["id,day,low,smoke,clinic,w"] + [
    f"{n:03d},{3 + n % 17},{int(n % 3 == 0)},{n % 2},{'north' if n % 5 else '007'},1.5"
    for n in range(60)
]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "t.csv").write_text("\n".join(ROWS) + "\n")
    (tmp_path / "plan.toml").write_text(PLAN)
    return tmp_path


def fit(folder: Path, table: str = "t.csv") -> pl.DataFrame:
    fit_table(folder / table, folder / "plan.toml", folder / "out")
    return pl.read_parquet(folder / "out" / "results.parquet")


def rewrite(folder: Path, row: int, text: str) -> None:
    rows = list(ROWS)
    rows[row - 1] = text
    (folder / "t.csv").write_text("\n".join(rows) + "\n")


def test_results_are_written_three_ways_and_the_same_each_time(folder: Path) -> None:
    steps: list[str] = []
    summary = fit_table(folder / "t.csv", folder / "plan.toml", folder / "out",
                        on_step=steps.append)  # fmt: skip
    assert steps == ["crude", "curve"]
    assert all(path.is_file() for path in summary.written.values())
    first = {path.name: path.read_bytes() for path in (folder / "out").iterdir()}
    assert set(first) == {"results.csv", "results.parquet", "curves.parquet"}
    fit(folder)
    assert {path.name: path.read_bytes() for path in (folder / "out").iterdir()} == first


def test_csv_and_parquet_give_the_same(folder: Path) -> None:
    by_text = fit(folder)
    frame = pl.read_csv(folder / "t.csv", schema_overrides={"clinic": pl.String})
    frame.write_parquet(folder / "t.parquet")
    assert fit(folder, "t.parquet").equals(by_text)


def test_levels_keep_their_leading_zeros(folder: Path) -> None:
    groups = fit(folder).filter(pl.col("measure") == "median")["group"].to_list()
    assert groups == ["007", "north"]


def test_blank_and_na_are_missing_and_counted(folder: Path) -> None:
    rewrite(folder, 5, "003,6,,1,north,1.5")
    first = fit(folder)
    rewrite(folder, 5, "003,6,NA,1,north,1.5")
    assert fit(folder).equals(first)
    missing = first.filter((pl.col("term") == "missing") & (pl.col("analysis") == "crude"))
    assert missing.select("level", "n").rows() == [("low", 1)]


def test_text_in_a_column_of_numbers_is_named_with_its_row(folder: Path) -> None:
    rewrite(folder, 5, "003,six,1,1,north,1.5")
    with pytest.raises(InputFileError) as caught:
        fit(folder)
    assert str(caught.value).startswith('t.csv, row 5: the column "day" holds "six"')
    assert not (folder / "out").exists()


def test_a_missing_column_is_named(folder: Path) -> None:
    plan = PLAN.replace('"smoke"', '"smokes"')
    (folder / "plan.toml").write_text(plan)
    with pytest.raises(PlanError, match=r'exposure names the column "smokes".*\nDid you mean "smo'):
        fit(folder)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "the file is empty"),
        (b"id,day,low,smoke,clinic\n", "it has no row"),
        (b"id,day,day\n1,2,3\n", 'the column "day" stands there twice'),
        (b"id,day,low,smoke,clinic\n1,2,0,1,\xff\xfe\n", "it is no readable table"),
        (b"id,day,low\n1,2,0,7\n", "line 2: the row has 4 cells, the header 3"),
        (b"id,day,low\n1,2,0\n1,2\n", "line 3: the row has 2 cells, the header 3"),
        (b'id,day,low\n1,"2"x,0\n', "it is no readable table"),
    ],
)
def test_a_file_that_is_no_table_is_refused(folder: Path, content: bytes, message: str) -> None:
    (folder / "t.csv").write_bytes(content)
    with pytest.raises(InputFileError, match=message):
        fit(folder)


def test_a_missing_file_is_refused(folder: Path) -> None:
    with pytest.raises(InputFileError, match="there is no such file"):
        fit(folder, "other.csv")


def test_true_and_false_in_text_are_yes_and_no(folder: Path) -> None:
    rows = [row.split(",") for row in ROWS]
    for row in rows[1:]:
        row[2] = "true" if row[2] == "1" else "false"
        row[3] = "TRUE" if row[3] == "1" else "FALSE"
    numbers = fit(folder).filter(pl.col("measure") == "odds_ratio")["estimate"].drop_nulls()
    (folder / "t.csv").write_text("\n".join(",".join(row) for row in rows) + "\n")
    results = fit(folder).filter(pl.col("measure") == "odds_ratio")
    assert results["level"].to_list() == ["false", "true"]
    assert results["estimate"].drop_nulls().to_list() == pytest.approx(numbers.to_list())


def test_a_cohort_written_as_csv_gives_the_study_s_results(
    tmp_path: Path, invented_cohort: pl.DataFrame, analysed: Analysed
) -> None:
    keys = (
        'time = "relux_day"\nevent = "relux_state"\nevent_of_interest = "reluxation"\n'
        'competing = ["death", "other_revision"]\ncensored = "censored"\npopulation = "B"\n'
        'exposure = "sulcoplasty_type"\nlevels = ["wedge_recession", "block_recession"]\n'
        'adjust_for = ["grade_preop", "log_weight_kg", "age_months", "clinic_id"]\n'
        'categorical = { clinic_id = "most_frequent" }\ncluster = "animal_id"\n'
    )
    (tmp_path / "plan.toml").write_text(
        f'[[analysis]]\nid = "hazard"\nrole = "primary"\nmodel = "cox"\n{keys}'
    )
    write_csv(tmp_path / "t.csv", invented_cohort)
    ours = analysed.results.filter(pl.col("analysis") == "hazard")
    assert fit(tmp_path).equals(ours)
