"""A small study: simulated stifles described by the real stages, models' numbers by hand."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import polars as pl
import pytest

from pipeline.analyse import run_analyses
from pipeline.cohort import Cohort, build_cohort
from pipeline.compare import compare
from pipeline.descriptives import describe, precision_rows
from pipeline.link import link
from pipeline.plan import parse_analyses
from pipeline.report.clinic_pages import write_clinic_pages
from pipeline.report.counts import count_checked
from pipeline.report.material import Material, gather
from pipeline.report.pages import write_report
from pipeline.report.public import write_public
from pipeline.simulate.simulated import simulate_study
from pipeline.study import Study, read_study
from schemas.codebook import read_codebook
from schemas.findings import findings
from shared.estimate import Estimate, results_frame
from tests.pipeline.analyses.conftest import invent_cohort

PLAN = Path(__file__).parent / "study.toml"
ARMS = ("wedge_recession", "block_recession")
CLINICS = ("harbour", "lake", "north", "plateau", "valley")
DAYS = (91.0, 183.0, 365.0)
ALLOWED = pl.DataFrame(
    [{"clinic_id": "north", "column": "Chip <no>", "kinds": "transponder, phone",
      "because": "Numbers of our own: fifteen digits, never a chip."}]
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Checked:
    ledger: pl.DataFrame
    ledger_rows: pl.DataFrame
    findings: pl.DataFrame
    holds: pl.DataFrame


@pytest.fixture(scope="session")
def given(tmp_path_factory: pytest.TempPathFactory) -> SimpleNamespace:
    folder = tmp_path_factory.mktemp("study")
    shutil.copy(PLAN, folder)
    for clinic in CLINICS:
        (folder / "exports" / clinic).mkdir(parents=True)
    study, codebook = read_study(folder), read_codebook(folder)
    cohort = _cohort(study)
    plans = parse_analyses(list(study.analyses))
    described = [*describe(cohort.table, study, codebook, events=cohort.events,
                          recurrent=cohort.recurrent),
                 *precision_rows(cohort.table, plans)]  # fmt: skip
    compared = compare(cohort.table, study)
    rows = results_frame([*described, *_risks(), *_hazards()])
    return SimpleNamespace(
        results=pl.concat([rows, compared.results]),
        curves=pl.concat([compared.curves, _curves()], how="diagonal_relaxed"),
        flow=cohort.flow,
        study=study,
        codebook=codebook,
        checked_counts=count_checked(_checked(), allowed=ALLOWED),
        run_info={
            "versions": {"python": "3.11.0", "sulca": "0.1.0"},
            "fingerprints": {"study.toml": "ab" * 32},
            "data_lock": dict.fromkeys(CLINICS, "2025-03-31"),
            "deviations": ("eligibility.grades was 2, 3, 4, and is now 1, 2, 3, 4.",),
        },
    )  # fmt: skip


@pytest.fixture(scope="session")
def pages(material: Material, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with report, clinic pages and what may be published."""
    out = tmp_path_factory.mktemp("out")
    for write in (write_report, write_clinic_pages, write_public):
        write(out, material)
    return out


@pytest.fixture(scope="session")
def material(given: SimpleNamespace) -> Material:
    """What the pages are written from."""
    return _material(given)


@pytest.fixture(scope="session")
def changed(given: SimpleNamespace) -> Callable[..., Material]:
    """Give the material with what is named in the place of what is given."""
    return partial(_material, given)


@pytest.fixture(scope="session")
def fitted(changed: Callable[..., Material], material: Material) -> Callable[..., Material]:
    """Run one block of a plan on an invented cohort, and take it as all that the study asks."""

    def run(block: dict[str, Any]) -> Material:
        done = run_analyses(invent_cohort(), parse_analyses([block]), codebook={},
                            on_step=lambda _name: None)  # fmt: skip
        study = replace(material.study, analyses=(block,), clinics=("lake", "north", "valley"))
        return changed(results=done.results, curves=done.curves, study=study)

    return run


def _material(given: SimpleNamespace, **changes: Any) -> Material:
    return gather(**{**vars(given), **changes})


def _cohort(study: Study) -> Cohort:
    """Simulated canonical tables, as if all rows had been accepted."""
    tables = {
        name: frame.with_columns(
            row_id=pl.concat_str(pl.lit(f"{name}/"), pl.int_range(pl.len()).cast(pl.String)),
            file=pl.lit("x.csv"), sheet=pl.lit(""), row=pl.int_range(pl.len()), block=pl.lit(""),
            derived=pl.lit(value=False),
        )
        for name, frame in simulate_study(1, 240).tables.items()
    }  # fmt: skip
    return build_cohort(link(tables, _checked().holds), study)


def _risks() -> list[Estimate]:
    rows: list[Estimate] = []
    base: dict[str, Any] = {
        "analysis": "relux_risk", "role": "primary", "model": "cumulative_incidence",
        "outcome": "reluxation", "population": "stifles with adequate follow-up",
        "state": "reluxation", "confidence": 0.95, "method": "Aalen-Johansen, clusters animal_id",
    }  # fmt: skip
    for adjustment in ("crude", "standardised"):
        for step, day in enumerate(DAYS, start=1):
            for place, arm in enumerate(ARMS):
                risk = step * (0.04, 0.025)[place]
                rows.append(
                    Estimate(
                        **base, adjustment=adjustment, group=arm, day=day, measure="risk",
                        estimate=risk, low=risk * 0.7, high=risk * 1.4, n=(240, 210)[place],
                        events=(29, 16)[place], clusters=200,
                    )
                )  # fmt: skip
            for measure, estimate, low, high in (
                ("risk_difference", -0.015 * step, -0.033 * step, 0.003 * step),
                ("number_needed_to_treat", -1 / (0.015 * step), 1 / (0.003 * step),
                 -1 / (0.033 * step)),
            ):  # fmt: skip
                through = measure == "number_needed_to_treat"
                rows.append(
                    Estimate(
                        **base, adjustment=adjustment, day=day, measure=measure,
                        term="sulcoplasty_type", level=ARMS[1], reference=ARMS[0],
                        estimate=estimate, low=low, high=high, n=450, events=45,
                        concerns=("interval_through_infinity",) if through else (),
                    )
                )  # fmt: skip
    return rows


def _hazards() -> list[Estimate]:
    rows: list[Estimate] = []
    for analysis, term, level, reference in (
        ("relux_hazard", "sulcoplasty_type", ARMS[1], ARMS[0]),
        ("relux_first", "sulcoplasty_type", ARMS[1], ARMS[0]),
        ("band_hazard", "tension_band_done", "true", "false"),
    ):
        base: dict[str, Any] = {
            "analysis": analysis, "role": "primary", "model": "cox", "confidence": 0.95,
            "outcome": "reluxation", "method": "Cox partial likelihood, Efron ties",
            "n": 450, "events": 45, "clusters": 410, "n_dropped": 3, "measure": "hazard_ratio",
        }  # fmt: skip
        for adjustment, ratio, p_value in (("crude", 0.6, 0.00001), ("adjusted", 0.7, 0.049)):
            rows += [
                Estimate(**base, adjustment=adjustment, term=term, level=reference,
                         reference=reference),
                Estimate(**base, adjustment=adjustment, term=term, level=level,
                         reference=reference, estimate=ratio, low=ratio / 1.8, high=ratio * 1.8,
                         p_value=p_value, concerns=("non_proportional",)),
            ]  # fmt: skip
        rows.append(
            Estimate(**base, adjustment="adjusted", term="grade_preop", level="3", reference="2",
                     estimate=1.7, low=0.9, high=3.1, p_value=0.09)
        )  # fmt: skip
    return rows


def _curves() -> pl.DataFrame:
    points = [
        {
            "analysis": "relux_risk", "curve": "aalen_johansen", "outcome": "reluxation",
            "group": arm, "state": "reluxation", "day": float(day),
            "estimate": step * (0.012, 0.007)[place], "low": step * (0.006, 0.003)[place],
            "high": step * (0.02, 0.013)[place], "n_at_risk": float(240 - 30 * place - 12 * step),
            "n_events": 1.0, "n_censored": 11.0,
        }
        for place, arm in enumerate(ARMS)
        for step, day in enumerate((14, 42, 60, 91, 120, 183, 240, 365, 400, 700))
    ]  # fmt: skip
    return pl.DataFrame(points)


def _checked() -> _Checked:
    ledger = pl.DataFrame(
        [
            {"clinic_id": name, "file": "a.csv", "sheet": "", "source_rows": 120, "mapped": 115,
             "set_aside": 4, "unreadable": 1}
            for name in CLINICS
        ]
    )  # fmt: skip
    rows = pl.DataFrame(
        [
            {"clinic_id": name, "table": table, "made": 115, "derived": 1, "accepted": 112,
             "stopped": 3, "merged": 1}
            for name in CLINICS
            for table in ("stifles", "rechecks")
        ]
    )  # fmt: skip
    found = findings(
        {"rule": "R39", "action": "ask", "clinic_id": name, "variable": "weight_kg", "key": str(n)}
        for place, name in enumerate(CLINICS)
        for n in range(place + 2)
    )
    holds = pl.DataFrame(
        [
            {"clinic_id": name, "local_stifle": f"A-{n}:left", "target": "outcome:reluxation",
             "rule": "R12"}
            for name in CLINICS[:2]
            for n in range(3)
        ]
    )  # fmt: skip
    return _Checked(ledger=ledger, ledger_rows=rows, findings=found, holds=holds)
