"""Rows seen free shortly before the horizon count as followed to it: a risk is then a share."""

import shutil
import subprocess
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.analyse import run_analyses
from pipeline.plan import parse_analyses
from pipeline.refit import refit_scripts
from shared.errors import PlanError
from shared.files import write_csv

RISK: dict[str, Any] = {
    "id": "risk", "model": "cumulative_incidence", "time": "relux_day", "event": "relux_state",
    "event_of_interest": "reluxation", "competing": ["death"], "censored": "censored",
    "horizon": [365],
}  # fmt: skip


def in_the_last_round() -> pl.DataFrame:
    """Twenty stifles: two reluxations found in the round of visits at one year, one death."""
    days = [346] * 6 + [349] * 5 + [352] * 3 + [350, 362] + [360] * 3 + [100]
    states = ["censored"] * 14 + ["reluxation"] * 2 + ["censored"] * 3 + ["death"]
    return pl.DataFrame({"relux_day": days, "relux_state": states})


def risk_by_the_year(**more: object) -> float:
    plan = parse_analyses([RISK | more])
    rows = run_analyses(in_the_last_round(), plan, codebook={}, on_step=lambda _name: None).results
    return rows.filter(measure="risk", state="reluxation")["estimate"].item()


def test_all_followed_to_the_day_the_risk_is_the_share() -> None:
    assert risk_by_the_year(seen_within_days=28) == pytest.approx(2 / 20, rel=1e-12)


def test_leaving_on_the_day_of_the_visit_the_risk_is_higher() -> None:
    # 19 of 20 live; 8 are left on day 350, and 1 on day 362.
    assert risk_by_the_year() == pytest.approx(19 / 20 * (1 / 8 + 7 / 8), rel=1e-12)
    assert risk_by_the_year(seen_within_days=5) < risk_by_the_year(seen_within_days=4)


def test_several_days_are_refused() -> None:
    with pytest.raises(PlanError, match="horizon names several"):
        parse_analyses([RISK | {"horizon": [183, 365], "seen_within_days": 28}])


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="no Rscript on this machine")
def test_the_script_of_the_plan_follows_them_too(tmp_path: Path, invented_cohort: pl.DataFrame
                                                 ) -> None:  # fmt: skip
    plan = parse_analyses([RISK | {"competing": ["death", "other_revision"], "population": "B",
                                   "exposure": "sulcoplasty_type", "cluster": "animal_id",
                                   "levels": ["wedge_recession", "block_recession"],
                                   "seen_within_days": 28}])  # fmt: skip
    included = invented_cohort.filter(pl.col("left_at").is_null())
    found = run_analyses(included, plan, codebook={}, on_step=lambda _name: None)
    write_csv(tmp_path / "cohort.csv", included)
    write_csv(tmp_path / "results.csv", found.results)
    (script,) = refit_scripts(plan, tmp_path / "refit")
    done = subprocess.run(
        [shutil.which("Rscript") or "", script.name], cwd=script.parent, capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("same") >= 4
