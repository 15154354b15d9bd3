"""The demo as a new user runs it: one command, from raw exports to report."""

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.verify import keyed_curves

EXPECTED = (
    "queries", "queries/north.html", "near_matches.csv",
    "tables/stifles.parquet", "tables/missing.parquet", "study.duckdb",
    "reidentification.html", "reidentification.csv", "reidentification_cells.csv",
    "cohort.parquet", "cohort.csv", "cohort_dictionary.csv", "flow.json", "results.parquet",
    "results.csv", "curves.parquet", "refit", "report/index.html", "report/figures", "clinics",
    "public", "run.json",
)  # fmt: skip


class Numbers(HTMLParser):
    """Collect every ``data-row`` of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.rows |= {value for name, value in attrs if name == "data-row" and value}


def test_demo_ends_well_and_says_where_the_report_is(demo_run: Any) -> None:
    assert demo_run.exit_code == 0, demo_run.errors
    assert str(demo_run.out / "report" / "index.html") in demo_run.printed


@pytest.mark.parametrize("name", EXPECTED)
def test_demo_writes_what_a_study_folder_has(demo_run: Any, name: str) -> None:
    assert (demo_run.out / name).exists()


def test_precision_is_printed_before_any_model(demo_run: Any) -> None:
    precision = demo_run.printed.index("Expected of the plan, blind to exposure")
    assert precision < demo_run.printed.index("report done")


def test_every_row_read_has_one_fate(demo_run: Any) -> None:
    """The two sums, recounted here from the files and tables themselves."""
    files = pl.read_csv(demo_run.out / "tables" / "rows_per_file.csv")
    assert files.filter(
        pl.col("source_rows") != pl.col("mapped") + pl.col("set_aside") + pl.col("unreadable")
    ).is_empty()
    tables = pl.read_csv(demo_run.out / "tables" / "rows_per_table.csv")
    assert tables.filter(
        pl.col("made") + pl.col("derived")
        != pl.col("accepted") + pl.col("stopped") + pl.col("merged")
    ).is_empty()
    for (name,), part in tables.group_by("table"):
        accepted = pl.read_parquet(demo_run.out / "tables" / f"{name}.parquet")
        assert len(accepted) == part["accepted"].sum()
    north = files.filter(clinic_id="north", file="rechecks.csv")["source_rows"].item()
    lines = (demo_run.folder / "exports/north/rechecks.csv").read_text("utf-8").splitlines()
    assert north == len(lines) - 1


def test_flow_adds_up_from_operations_to_sets(demo_run: Any) -> None:
    flow = json.loads((demo_run.out / "flow.json").read_text("utf-8"))
    cohort = pl.read_parquet(demo_run.out / "cohort.parquet")
    totals = [step for step in flow["steps"] if step["clinic_id"] == "all"]
    included = cohort.filter(pl.col("left_at").is_null())
    assert totals[-1]["stifles"] == len(included)
    assert totals[-1]["animals"] == included["animal_id"].n_unique()
    by_clinic = [step for step in flow["steps"] if step["clinic_id"] != "all"]
    for total in totals:
        parts = [step for step in by_clinic if step["step"] == total["step"]]
        assert sum(step["stifles"] for step in parts) == total["stifles"]
        assert sum(step["operations"] for step in parts) == total["operations"]


def test_every_number_of_the_report_has_its_results_row(demo_run: Any) -> None:
    known = set(pl.read_parquet(demo_run.out / "results.parquet")["row_id"])
    outside = ("checks/", "flow/", "curves/", "courses/")
    for page in sorted((demo_run.out / "report").glob("*.html")):
        found = Numbers()
        found.feed(page.read_text("utf-8"))
        astray = {row for row in found.rows - known if not row.startswith(outside)}
        assert not astray, (page.name, sorted(astray)[:5])
        assert found.rows


def test_every_point_of_a_curve_has_an_address_of_its_own(demo_run: Any) -> None:
    points = keyed_curves(demo_run.out)
    assert points.filter(pl.col("row_id").is_duplicated()).is_empty()


def test_the_demo_is_verified(demo_run: Any, call_sulca: Any) -> None:
    done = call_sulca("verify", str(demo_run.folder))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "The rerun gives the same." in done.stdout


def test_risks_between_visits_stand_beside_those_by_the_day_found(demo_run: Any) -> None:
    """Both curves of both arms, and every cell of the table from a row of the results."""
    page = (demo_run.out / "report" / "index.html").read_text("utf-8")
    table = page.split('id="between-relux_between_visits"')[1].split("</table>")[0]
    rows = Numbers()
    rows.feed(table)
    results = pl.read_parquet(demo_run.out / "results.parquet")
    shown = results.filter(pl.col("row_id").is_in(list(rows.rows)))
    assert shown["analysis"].unique().sort().to_list() == ["relux_between_visits", "relux_risk"]
    assert len(shown) == len(rows.rows) == 12
    curves = pl.read_parquet(demo_run.out / "curves.parquet")
    between = curves.filter(pl.col("curve") == "turnbull")
    assert between["group"].unique().sort().to_list() == ["block_recession", "wedge_recession"]
    assert (demo_run.out / "report" / "figures" / "between-relux_between_visits.svg").exists()


@pytest.mark.parametrize(
    ("place", "risk"), [(1, "relux_risk"), (2, "band_risk"), (3, "wires_risk")]
)
def test_risks_difference_and_number_needed_come_before_ratios(
    demo_run: Any, place: int, risk: str
) -> None:
    """For reluxation and for implant complications alike, in words and by the rows they print."""
    page = (demo_run.out / "report" / "index.html").read_text("utf-8")
    section = page.split(f'id="question-{place}"')[1].split("</section>")[0]
    measures = [row.split("/")[3] for row in re.findall(r'data-row="([^"]+)"', section)
                if row.count("/") > 3]  # fmt: skip
    order = ("risk", "risk_difference", "number_needed_to_treat", "hazard_ratio", "odds_ratio")
    first = [measures.index(name) for name in order]
    assert first == sorted(first)
    assert measures[0] == "risk"
    assert f'data-row="{risk}/' in section
    assert section.index("of 100 stifles") < section.index("Number needed to treat")


def test_models_are_judged_and_unknown_outcomes_bounded(demo_run: Any) -> None:
    """Both outcomes: corrected for optimism, clinics left out, the extremes; named profiles too."""
    page = (demo_run.out / "report" / "index.html").read_text("utf-8")
    results = pl.read_parquet(demo_run.out / "results.parquet")
    for analysis in ("relux_by_year", "band_by_year"):
        own = results.filter(pl.col("analysis") == analysis)
        for state in ("apparent", "corrected", "left_out"):
            found = own.filter(pl.col("measure") == "concordance", pl.col("state") == state)
            assert 0.4 < found["estimate"].item() < 0.9
        for table in ("quality", "calibration", "left-out", "influence", "unknown", "weights"):
            assert f'id="{table}-{analysis}"' in page
        assert (demo_run.out / "report" / "tables" / f"quality-{analysis}.csv").exists()
    profiles = results.filter(pl.col("measure") == "profile_risk")
    assert len(profiles) == 8
    assert 'id="profiles-relux_by_year"' in page


def test_pages_ask_nothing_of_the_network(demo_run: Any) -> None:
    for page in sorted(demo_run.out.rglob("*.html")):
        text = page.read_text("utf-8")
        for asking in ('src="http', 'href="http', "url(http", "@import"):
            assert asking not in text, page


def test_each_planted_defect_is_asked_of_its_clinic(demo_run: Any) -> None:
    """The truth file names clinic, file, row and the rule meant for the defect."""
    defects = pl.read_csv(
        Path(__file__).parent.parent / "shared" / "demo" / "defects.csv", infer_schema=False
    )
    findings = pl.read_parquet(demo_run.out / "tables" / "findings.parquet")
    found = findings.select(
        "clinic_id", "rule", "file", "sheet", row=pl.col("row").cast(pl.String)
    ).unique()
    missed = defects.join(
        found, left_on=["clinic", "file", "row", "rule"],
        right_on=["clinic_id", "file", "row", "rule"], how="anti",
    )  # fmt: skip
    assert len(defects) >= 40
    assert missed.is_empty(), missed.to_dicts()


def test_every_query_stands_on_a_finding_of_its_clinic(demo_run: Any) -> None:
    findings = pl.read_parquet(demo_run.out / "tables" / "findings.parquet")
    place = ["file", "sheet", "row"]
    for (clinic,), part in findings.group_by("clinic_id"):
        queries = pl.read_csv(demo_run.out / "queries" / f"{clinic}.csv", infer_schema=False)
        found = part.select("file", "sheet", pl.col("row").cast(pl.String)).unique()
        astray = queries.with_columns(pl.col("sheet").fill_null("")).join(
            found, on=place, how="anti", nulls_equal=True
        )
        assert len(queries) > 0
        assert astray.is_empty(), astray.to_dicts()
        assert (demo_run.out / "queries" / f"{clinic}.xlsx").exists()


def test_demo_is_not_run_into_a_folder_that_holds_something_else(
    call_sulca: Any, tmp_path: Path
) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    done = call_sulca("demo", str(tmp_path))
    assert done.returncode == 2
    assert "holds something else" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_the_demo_draws_reluxation_over_the_surgeons_cases(demo_run: Any) -> None:
    points = pl.read_parquet(demo_run.out / "curves.parquet").filter(analysis="learning_curve")
    assert points["state"].unique().to_list() == ["surgeon_case_in_study"]
    assert (points["low"] <= points["estimate"]).all()
    assert (points["estimate"] <= points["high"]).all()
    assert points["at"].is_between(1, 90).all()
    figures = demo_run.out / "report" / "figures"
    assert (figures / "spline-learning_curve-surgeon_case_in_study.svg").exists()
    rows = pl.read_csv(demo_run.out / "results.csv", infer_schema=False)
    spread = rows.filter(analysis="learning_curve", measure="random_intercept_sd")
    assert "few_clusters" in spread["concerns"].item()


def test_every_question_of_the_report_names_its_outcome(demo_run: Any) -> None:
    page = (demo_run.out / "report" / "index.html").read_text("utf-8")
    assert "Outcome: reluxation by day 365." in page
    assert "Outcome: ." not in page
