"""An R script per model of the plan: the primary estimates again, in another program.

The scripts need R with its package survival and nothing else. They read ../cohort.csv and
../results.csv, print both programs' numbers side by side, and exit 1 if any differ at six figures.
"""

from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path

from pipeline.analyses.outcome_day import BY_DAY, day_of_outcome
from pipeline.plan import Analysis
from shared.files import write_text

REFITTED = ("cox", "logistic", "cumulative_incidence", "frailty")
KEYS = (
    "id", "outcome", "time", "event", "event_of_interest", "competing", "entry", "weights",
    "population", "where", "exposure", "levels", "adjust_for", "observation_terms", "categorical",
    "spline", "per", "cluster", "strata", "ties", "random_intercept",
)  # fmt: skip


def refit_scripts(analyses: Iterable[Analysis], out: Path, *, seed: int = 1) -> list[Path]:
    """Write ``<id>.R`` for each analysis whose model R refits, and refit.R.

    Parameters
    ----------
    analyses
        Of the plan, in its order.
    out
        Folder of the scripts; cohort.csv and results.csv lie in the folder above it.
    seed
        Of the bootstrap samples, named in the scripts because their limits are not repeated.

    Returns
    -------
    list of Path
        Scripts to run, one a model; refit.R, which they share, is not among them.
    """
    shared = files("pipeline") / "r" / "refit.R"
    write_text(out / "refit.R", shared.read_text("utf-8"))
    written: list[Path] = []
    for analysis in analyses:
        unlike = bool(
            analysis.table != "cohort"
            or analysis.log
            or analysis.centre
            or analysis.interactions
            or analysis.variance in ("CR2", "wild_bootstrap", "wild_bootstrap_webb")
            or analysis.estimator == "exact"
        )  # not in the R script
        if analysis.model in REFITTED and analysis.ties != "exact" and not unlike:
            path = out / f"{analysis.id}.R"
            write_text(path, _script(analysis, seed))
            written.append(path)
    return written


def _script(analysis: Analysis, seed: int) -> str:
    question = (analysis.question or analysis.outcome_name).replace("\n", " ")
    plan = ",\n  ".join(f"{key} = {value}" for key, value in _settings(analysis).items())
    return (
        f"# {analysis.id}: {question}\n"
        f"# Run in this folder: Rscript {analysis.id}.R\n"
        f"# Limits of standardised risks come from a bootstrap, seed {seed}: not repeated.\n"
        'source("refit.R")\n'
        f"plan <- list(\n  {plan}\n)\n"
        f"refit_{analysis.model}(plan)\n"
    )


def _settings(analysis: Analysis) -> dict[str, str]:
    """Write the keys of the plan that matter as R."""
    settings = {key: _in_r(getattr(analysis, key)) for key in KEYS if getattr(analysis, key)}
    if analysis.model == "logistic" and analysis.missing_outcome == "observation_weights":
        named = BY_DAY.fullmatch(analysis.outcome or "")
        column = analysis.time or (f"{named[1]}_day" if named else None)
        if column:
            last = (day_of_outcome(analysis) or 0.0) - analysis.window_days
            settings |= {"settled": _in_r(column), "last_day": _in_r(last)}
    if analysis.seen_within_days:
        settings |= {"seen_from": _in_r(analysis.horizon[0] - analysis.seen_within_days),
                     "followed_to": _in_r(analysis.horizon[0])}  # fmt: skip
    return settings


def _in_r(value: object) -> str:
    if isinstance(value, Mapping):
        pairs = [f"{_name(str(key))} = {_in_r(item)}" for key, item in value.items()]
        return f"list({', '.join(pairs)})"
    if isinstance(value, tuple):
        return f"c({', '.join(_in_r(item) for item in value)})"
    if isinstance(value, str):
        quoted = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{quoted}"'
    return f"{value}"


def _name(key: str) -> str:
    return "`" + key.replace("`", "") + "`"
