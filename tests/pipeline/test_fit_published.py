"""`sulca fit` on published data sets gives what books, manuals and R print.

Every value stands in shared/published/values_<data>.csv with its source and provenance:
verified (read in the source), documentation (read on a package's help page), from memory
(recalled, so compared with R's value), R only (no published number). A printed value is met to
half a unit of its last digit; R's values (R 4.2.2, survival 3.5-3) to 1e-6 relative, or to half a
unit of the last printed digit where that is less.
"""

import csv
from collections import Counter
from functools import cache
from importlib.resources import files
from pathlib import Path

import polars as pl
import pytest

from pipeline.fit import fit_table
from tests.reported import LINES

PUBLISHED = Path(str(files("shared") / "published"))
ORACLES = Path(__file__).parents[1] / "oracles"
DATA = (
    "birthwt", "lbw", "rossi", "gehan", "endometrial", "aml", "asah", "infert", "cbpp",
    "respiratory", "small_trial", "sputum", "survival_bladder2", "rats", "kidney", "jasa1",
    "rabbits", "bcos", "cmprsk_reference", "survival_lung",
)  # fmt: skip


def values(data: str) -> list[dict[str, str]]:
    with (PUBLISHED / f"values_{data}.csv").open(newline="", encoding="utf-8") as handle:
        return [{"data": data, **row} for row in csv.DictReader(handle)]


VALUES = [row for data in DATA for row in values(data)]


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> dict[str, pl.DataFrame]:
    out = tmp_path_factory.mktemp("fits")
    for data in DATA:
        fit_table(PUBLISHED / f"{data}.csv", PUBLISHED / f"{data}.toml", out / data)
    return {data: pl.read_parquet(out / data / "results.parquet") for data in DATA}


def ours(results: pl.DataFrame, row: dict[str, str]) -> float:
    """Read the one cell of the results table that a published value is about."""
    found = results.filter(pl.col("analysis") == row["analysis"])
    for name in ("model", "measure", "term", "level", "group", "state"):
        if row.get(name):
            found = found.filter(pl.col(name) == row[name])
    if row["day"]:
        found = found.filter(pl.col("day") == float(row["day"]))
    if not row["level"] and row["measure"] == "test":
        found = found.filter(pl.col("level").is_null())
    assert len(found) == 1, (row["quantity"], found)
    if row["field"] == "variance":
        return float(found["std_error"][0]) ** 2
    return float(found[row["field"]][0])


def agrees(value: float, row: dict[str, str], *, planted: float = 0.0) -> bool:
    if row["compare"] == "printed":
        return abs(value - (float(row["published_value"]) + planted)) <= unit(row) / 2 * (1 + 1e-9)
    expected = float(row["r_value"]) + planted
    return abs(value - expected) <= min(1e-6 * abs(expected), unit(row) / 2)


def unit(row: dict[str, str]) -> float:
    """One unit of the last digit: as printed, else of six significant digits of R's value."""
    if row["printed_decimals"]:
        return 10.0 ** -int(row["printed_decimals"])
    return 10.0 ** (int(f"{float(row['r_value']):e}".partition("e")[2]) - 5)


@cache
def name_of(place: int) -> str:
    row = VALUES[place]
    return f"{row['data']}, {row['quantity']} ({row['provenance']})"


@pytest.mark.parametrize("place", range(len(VALUES)), ids=name_of)
def test_agrees_with_published_value(results: dict[str, pl.DataFrame], place: int) -> None:
    row = VALUES[place]
    value = ours(results[row["data"]], row)
    assert agrees(value, row), f"{value} against {row}"


@pytest.mark.parametrize("place", range(len(VALUES)), ids=name_of)
def test_one_unit_in_the_last_digit_is_noticed(
    results: dict[str, pl.DataFrame], place: int
) -> None:
    row = VALUES[place]
    value = ours(results[row["data"]], row)
    assert not agrees(value, row, planted=unit(row))
    assert not agrees(value, row, planted=-unit(row))


def test_looser_comparisons_say_why() -> None:
    assert all(row["reason"] for row in VALUES if row["compare"] != "printed")
    assert all(row["source"] for row in VALUES)
    quoted = {row["quantity"] for row in VALUES
              if row["provenance"] == "verified" and row["compare"] != "printed"}  # fmt: skip
    assert quoted == {"b const", "Wald chi2(5)"}  # the quoted program stopped early


def test_no_number_where_a_term_separates(results: dict[str, pl.DataFrame]) -> None:
    """NV has no finite odds ratio (Heinze and Schemper 2002): maximum likelihood prints none."""
    rows = results["endometrial"].filter(
        (pl.col("model") == "logistic") & pl.col("measure").is_in(["odds_ratio", "coefficient"])
    )
    assert len(rows) == 7
    assert rows["estimate"].null_count() == 7
    assert rows["concerns"].str.contains("separation").all()
    assert rows["method"].str.contains("no finite estimate of NV").all()
    given = results["endometrial"].filter(model="firth_logistic", measure="odds_ratio", term="NV")
    [method] = given["method"]
    assert "since NV tells outcomes apart" in method
    assert given["low"].null_count() == given["high"].null_count() == 0


def test_sparse_data_make_the_penalised_fit_primary(results: dict[str, pl.DataFrame]) -> None:
    """59 events for 8 terms: fewer than 10 of the rarer outcome per parameter."""
    manual = pl.col("analysis") == "manual"
    ratios = results["lbw"].filter(manual & (pl.col("measure") == "odds_ratio"))
    roles = ratios.select("model", "role")
    assert set(roles.unique().rows()) == {
        ("firth_logistic", "exploratory"), ("logistic", "sensitivity"),
    }  # fmt: skip


def test_count_of_comparisons_by_provenance() -> None:
    counts = Counter((row["data"], row["provenance"]) for row in VALUES)
    kinds = ("verified", "documentation", "from memory", "R only")
    lines = ["", f"{'published values':<18}" + "".join(f"{kind:>15}" for kind in kinds)]
    for data in DATA:
        lines.append(f"{data:<18}" + "".join(f"{counts[data, kind]:>15}" for kind in kinds))
    total = Counter(row["provenance"] for row in VALUES)
    lines.append(f"{'all':<18}" + "".join(f"{total[kind]:>15}" for kind in kinds))
    LINES.append("\n".join(lines))
    assert sum(total.values()) == len(VALUES)
    assert total["verified"] == 136


def test_every_data_set_names_its_source_and_licence() -> None:
    sources = pl.read_csv(PUBLISHED / "SOURCES.csv")
    inputs = (
        "binary_bcg_controls", "binary_longley", "binary_nhefs", "binary_ohio", "binary_pima_te",
        "binary_pima_tr", "binary_resamples", "binary_respiratory", "survival_tied",
    )  # fmt: skip
    of_oracles = {f"{name}.csv": ORACLES / f"{name}.csv" for name in inputs}
    there = of_oracles | {
        path.name: path for path in PUBLISHED.glob("*.csv")
        if path.name != "SOURCES.csv" and not path.name.startswith("values_")
    }  # fmt: skip
    assert sorted(sources["data"].to_list()) == sorted(there)
    assert sources.select("what", "source", "licence").null_count().sum_horizontal()[0] == 0
    for name, rows in sources.select("data", "rows").iter_rows():
        assert len(pl.read_csv(there[name], infer_schema=False)) == rows
