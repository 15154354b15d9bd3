"""`sulca fit` on a bad table or plan: one clear message, and earlier results stay."""

import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from tests.bad_input import Bad, Edit, Told, assert_one_message, holds, told

GOOD = "t,e,x\n5,1,1.0\n6,0,2.0\n7,1,0.5\n8,0,1.5\n9,1,2.5\n10,0,0.7\n11,1,1.1\n12,0,1.9\n"
COX = '[[analysis]]\nid = "a"\nmodel = "cox"\ntime = "t"\nevent = "e"\nadjust_for = ["x"]\n'
LOGISTIC = '[[analysis]]\nid = "a"\nmodel = "logistic"\noutcome = "e"\nadjust_for = ["x"]\n'


def table_is(text: str) -> Edit:
    return holds("table.csv", text)


BAD_FITS: Mapping[str, Bad] = {
    "text in a column of numbers": Bad(
        edit=table_is(GOOD.replace("5,1,1.0", "5,1,abc")), where="table.csv, row 2",
        what='"x" holds "abc"', do="Mend the cell"),
    "a negative time": Bad(
        edit=table_is(GOOD.replace("7,1", "-7,1")), where='analysis "a"',
        what='"t" is negative in 1 row, first in row 4', do="Mend the table"),
    "an event coded 1 and 2": Bad(
        edit=table_is(GOOD.replace(",1,", ",2,").replace(",0,", ",1,")), where='analysis "a"',
        what='"e" holds "2" in 4 rows', do="An event is 0 or 1"),
    "a table without a row": Bad(
        edit=table_is("t,e,x\n"), where="table.csv", what="no row", do="with rows"),
    "a table in UTF-16": Bad(
        edit=holds("table.csv", GOOD.encode("utf-16")), where="table.csv",
        what="no readable table", do="UTF-8"),
    "a column that is not there": Bad(
        edit=table_is(GOOD.replace("t,e,x", "t,e,xx")), where='analysis "a"',
        what='"x", which is not in table.csv', do='mean "xx"'),
    "a plan with an unknown key": Bad(
        edit=holds("plan.toml", COX + 'stratas = ["x"]\n'), where='analysis "a"',
        what='"stratas" is unknown', do='mean "strata"'),
}  # fmt: skip


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory, call_sulca: Any) -> Path:
    folder = tmp_path_factory.mktemp("fit")
    holds("plan.toml", COX)(folder)
    table_is(GOOD)(folder)
    done = call_sulca("fit", *fit_arguments(folder), "--quiet")
    assert (done.returncode, done.stderr) == (0, "")
    return folder


def fit_arguments(folder: Path) -> list[str]:
    named = {"--table": "table.csv", "--plan": "plan.toml", "--out": "out"}
    return [part for key, name in named.items() for part in (key, str(folder / name))]


@pytest.fixture(scope="module")
def refused_fits(
    fitted: Path, tmp_path_factory: pytest.TempPathFactory, call_sulca: Any
) -> dict[str, Told]:
    found: dict[str, Told] = {}
    for name, bad in BAD_FITS.items():
        folder = Path(shutil.copytree(fitted, tmp_path_factory.mktemp("badfit") / "fit"))
        bad.edit(folder)
        found[name] = told(call_sulca, ["fit", *fit_arguments(folder)], folder / "out")
    return found


@pytest.mark.parametrize("name", BAD_FITS)
def test_bad_table_gets_one_message_and_outputs_stay(
    refused_fits: dict[str, Told], name: str
) -> None:
    assert_one_message(refused_fits[name], BAD_FITS[name])


def test_separated_term_is_named_and_its_ratio_withheld(
    fitted: Path, tmp_path: Path, call_sulca: Any
) -> None:
    folder = Path(shutil.copytree(fitted, tmp_path / "fit"))
    rows = [f"{time},{event},{event * 5 + time / 10}" for time, event in
            zip(range(5, 25), [0, 1] * 10, strict=True)]  # fmt: skip
    table_is("\n".join(["t,e,x", *rows]) + "\n")(folder)
    holds("plan.toml", LOGISTIC + 'estimator = "maximum_likelihood"\n')(folder)
    done = call_sulca("fit", *fit_arguments(folder), "--quiet")
    assert (done.returncode, done.stderr) == (0, "")
    results = pl.read_parquet(folder / "out" / "results.parquet")
    ratio = results.filter(measure="odds_ratio", model="logistic", term="x")
    assert ratio["estimate"].to_list() == [None]
    assert "separation" in ratio["concerns"][0]
