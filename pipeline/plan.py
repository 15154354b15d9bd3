"""The plan: every [[analysis]] of study.toml or of a plan file, as a frozen class."""

import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.plan_keys import PARSERS, refuse_contradictions
from shared.errors import InputFileError, PlanError, nearest


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """One analysis as the protocol asks for it; what is left out has the value shown here.

    Attributes
    ----------
    table
        "cohort", one row a stifle; or "recurrent", one row a stretch from one complication to the
        next with the columns of its stifle, for models with entry. A table given by itself
        (``sulca fit``) is the table, whatever stands here.
    population, where
        A set of the cohort ("A" to "D"), or the levels that rows must have, by column.
    event, event_of_interest, competing, censored
        `event` holds 0/1 or true/false; or states, and then all of them are named.
    levels
        Levels of the exposure that are compared; other rows are left out and counted. The
        first is the reference unless `categorical` names another.
    categorical, spline, per
        Reference level, number of knots, or size of the unit of a coefficient, by column.
    log, centre
        Base of the logarithm that is taken (2: a ratio per doubling), and value that is taken off
        first, by column.
    interactions, profiles
        Pairs of terms whose products are terms too, and named sets of values, by name, of which
        risks are predicted (by a Cox model at the days of the horizon; there a profile names
        every term and nothing competes):
        { "small, grade 2" = { log_weight_kg = 1.6, grade_preop = 2 } }.
    adjustments
        Which versions are given: "crude", "adjusted", "standardised".
    horizon
        Days at which risks or survival are read; for a logistic model, the day of its outcome.
    time, window_days
        In a logistic model by day D: the day the outcome was settled or the stifle lost, and how
        many days before D a stifle seen free of the event counts as free by D.
    seen_within_days
        For cumulative incidence by one day: how many days before it a row that ends free of any
        event counts as followed to that day. 0: none does.
    observation_terms
        What the chance of a known outcome depends on, beside exposure and `adjust_for`.
    resamples, seed
        Bootstrap samples behind the limits of standardised risks, and their seed.
    estimator
        None: by the rule for sparse data; "penalised" always gives Firth's as the primary,
        "maximum_likelihood" never. With exact ties it is always maximum likelihood. "exact", for a
        logistic model of a small table: the exposure's ratios given the totals of the other terms.
    variance
        Cluster-robust errors of a logistic model: "CR1", "CR2" for few clusters (bias-reduced, t
        limits; by maximum likelihood only), or "larger_of_robust_and_model" (CR1 or without
        clusters), or for very few clusters limits and p of a bootstrap of their scores:
        "wild_bootstrap" (signs) or "wild_bootstrap_webb" (six values). None: CR1 by maximum
        likelihood, the larger for a penalised fit.
    intercept
        Of a penalised logistic model, in its standardised risks and those of profiles: "corrected"
        is fitted anew so that risks average to those observed, "penalised" is as it comes.
    diagnostics, validate_by
        What is said of how well a logistic model describes its rows (true: all but the test of
        Hosmer and Lemeshow), or of what a Cox model hangs on ("proportional_hazards": its effects
        over time; "influence": without one clinic or animal), and the column whose groups are left
        out one at a time: clinic_id where the table has it.
    ph_transform
        Time scale of the test of proportional hazards: km, rank, identity or log.
    interval
        Scale of the limits of a survival curve: log-log, log or plain. In a Cox model "profile":
        limits of the profile partial likelihood, for independent rows; else they are Wald's.
    strata, matched_set
        Columns within whose levels rows are compared; column that says which rows are a pair (the
        animal, for its two stifles).
    distribution, cut_days
        Form of a model of days: weibull, lognormal, loglogistic, generalised_gamma, or
        piecewise_exponential, whose hazard may change on the days named. None: all of the first
        four side by side, and the last where days are named.
    test, rho, gamma
        Weights of the log-rank family: log_rank, gehan, tarone_ware, peto_peto (survival just
        before the day), peto_prentice, or fleming_harrington with rho and gamma.
    """

    id: str
    model: str
    table: str = "cohort"
    role: str = "exploratory"
    question: str | None = None
    definition: str | None = None
    time: str | None = None
    event: str | None = None
    event_of_interest: str | None = None
    competing: tuple[str, ...] = ()
    censored: str | None = None
    outcome: str | None = None
    missing_outcome: str = "complete_cases"
    observation_terms: tuple[str, ...] = ()
    window_days: int = 28
    seen_within_days: int = 0
    entry: str | None = None
    left: str | None = None
    right: str | None = None
    weights: str | None = None
    population: str | None = None
    where: Mapping[str, tuple[str, ...]] = field(default_factory=dict[str, tuple[str, ...]])
    exposure: str | None = None
    levels: tuple[str, ...] = ()
    adjust_for: tuple[str, ...] = ()
    adjustments: tuple[str, ...] = ()
    categorical: Mapping[str, str] = field(default_factory=dict[str, str])
    spline: Mapping[str, int] = field(default_factory=dict[str, int])
    per: Mapping[str, float] = field(default_factory=dict[str, float])
    log: Mapping[str, float] = field(default_factory=dict[str, float])
    centre: Mapping[str, float] = field(default_factory=dict[str, float])
    interactions: tuple[tuple[str, str], ...] = ()
    profiles: Mapping[str, Mapping[str, str]] = field(default_factory=dict[str, Mapping[str, str]])
    cluster: str | None = None
    strata: tuple[str, ...] = ()
    ties: str = "efron"
    ph_transform: str = "km"
    interval: str = "log-log"
    test: str = "log_rank"
    rho: float = 0.0
    gamma: float = 0.0
    estimator: str | None = None
    variance: str | None = None
    intercept: str = "penalised"
    horizon: tuple[float, ...] = ()
    confidence: float = 0.95
    missing: str = "complete_cases"
    m: int = 0
    seed: int = 1
    resamples: int = 500
    random_intercept: str | None = None
    matched_set: str | None = None
    diagnostics: tuple[str, ...] = ()
    validate_by: str | None = None
    distribution: str | None = None
    cut_days: tuple[float, ...] = ()

    @property
    def terms(self) -> tuple[str, ...]:
        """Columns of the adjusted model, the exposure first."""
        return (*((self.exposure,) if self.exposure else ()), *self.adjust_for)

    @property
    def outcome_name(self) -> str:
        """What the outcome is called in the results table."""
        between = (self.left or "").removesuffix("_left")
        return self.event_of_interest or self.outcome or self.event or between


def parse_analysis(raw: Mapping[str, Any]) -> Analysis:
    """Make an Analysis of one [[analysis]] block.

    Raises
    ------
    PlanError
        If a key or model is unknown, a value has the wrong type, a key the model needs is absent
        or one it does not use is given, or two keys contradict each other.
    """
    place = f'analysis "{raw["id"]}"' if isinstance(raw.get("id"), str) else "an analysis"
    values: dict[str, Any] = {}
    for key, value in raw.items():
        if key not in PARSERS:
            raise PlanError(place, f'the key "{key}" is unknown', do=nearest(key, PARSERS))
        try:
            values[key] = PARSERS[key](value)
        except ValueError as error:
            raise PlanError(
                place,
                f'"{key}" must be {error}, got {value!r}',
                do="Correct it in the plan.",
            ) from None
    for key in ("id", "model"):
        if key not in values:
            raise PlanError(place, f'the key "{key}" is missing', do="Add it to the plan.")
    refuse_contradictions(place, values)
    return Analysis(**_completed(values))


def read_plan(path: Path) -> tuple[Analysis, ...]:
    """Read the [[analysis]] blocks of a plan file (TOML, UTF-8).

    Raises
    ------
    InputFileError
        If the file is absent or no TOML.
    PlanError
        If it has no analysis, another table, the same id twice, or a block that is wrong.
    """
    try:
        raw = tomllib.loads(path.read_text("utf-8-sig"))
    except FileNotFoundError:
        raise InputFileError(str(path), "there is no such file", do="Check the path.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputFileError(
            str(path), f"it is no valid TOML ({error})", do="Mend that line and run again."
        ) from error
    strange = [key for key in raw if key != "analysis"]
    if strange:
        raise PlanError(
            str(path), f'the key "{strange[0]}" is unknown', do=nearest(strange[0], ["analysis"])
        )
    blocks = raw.get("analysis", [])
    if not isinstance(blocks, list) or not blocks:
        raise PlanError(str(path), "it has no analysis", do="Add an [[analysis]] block.")
    return parse_analyses(blocks)


def parse_analyses(blocks: Sequence[Mapping[str, Any]]) -> tuple[Analysis, ...]:
    """Parse several blocks; an id may stand once only."""
    analyses = tuple(parse_analysis(block) for block in blocks)
    for name, count in Counter(item.id for item in analyses).items():
        if count > 1:
            raise PlanError(
                f'analysis "{name}"', f"this id is used {count} times", do="Give each its own id."
            )
    return analyses


def _completed(values: dict[str, Any]) -> dict[str, Any]:
    """Fill in what follows from other keys: the reference of the exposure, the adjustments."""
    exposure, levels = values.get("exposure"), values.get("levels", ())
    if exposure and levels and exposure not in values.get("categorical", {}):
        values["categorical"] = {**values.get("categorical", {}), exposure: levels[0]}
    if "adjustments" not in values:
        values["adjustments"] = _versions(values)
    return values


def _versions(values: Mapping[str, Any]) -> tuple[str, ...]:
    """Choose what is given where the plan does not say: risks first, crude beside adjusted."""
    exposure, adjusts = values.get("exposure"), bool(values.get("adjust_for"))
    crude = ("crude",) if exposure or not adjusts else ()
    if values["model"] == "cumulative_incidence":
        return (*crude, "standardised") if exposure and adjusts else ("crude",)
    if not adjusts:
        return crude
    category = exposure in values.get("categorical", {}) and values.get("estimator") != "exact"
    standardised = ("standardised",) if values["model"] == "logistic" and category else ()
    return (*standardised, *crude, "adjusted")
