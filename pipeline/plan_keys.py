"""The keys of a plan: what each may hold, and what cannot go together."""

from collections.abc import Callable, Mapping
from typing import Any

from pipeline.plan_models import ADJUSTMENTS, MODELS, NEEDS, USES, VERSIONS
from pipeline.plan_pieces import PIECES, refuse_pieces
from pipeline.plan_products import refuse_products
from pipeline.plan_values import (
    all_or_list,
    by_column,
    days,
    identifier,
    level,
    list_of,
    number,
    one_of,
    pair,
    share,
    text,
    whole,
)
from shared.errors import PlanError, nearest

LARGER = "larger_of_robust_and_model"
TESTS = (
    "log_rank", "gehan", "tarone_ware", "peto_peto", "peto_prentice", "fleming_harrington",
)  # fmt: skip
CHOICES: Mapping[str, tuple[str, ...]] = {
    "table": ("cohort", "recurrent"),
    "role": ("primary", "secondary", "sensitivity", "exploratory"),
    "missing_outcome": ("complete_cases", "observation_weights"),
    "population": ("A", "B", "C", "D"),
    "ties": ("efron", "breslow", "exact"),
    "ph_transform": ("km", "rank", "identity", "log"),
    "interval": ("log-log", "log", "plain", "profile"),
    "test": TESTS,
    "estimator": ("maximum_likelihood", "penalised", "exact"),
    "variance": ("CR1", "CR2", LARGER, "wild_bootstrap", "wild_bootstrap_webb"),
    "intercept": ("penalised", "corrected"),
    "missing": ("complete_cases", "multiple_imputation"),
    "distribution": ("weibull", "lognormal", "loglogistic", "generalised_gamma", PIECES),
}
DIAGNOSTICS = (
    "calibration", "discrimination", "optimism", "left_out", "influence", "collinearity",
)  # fmt: skip
PARSERS: Mapping[str, Callable[[object], Any]] = {
    "id": identifier, "model": text, "question": text, "definition": text,
    "time": text, "event": text, "event_of_interest": level, "competing": list_of(level),
    "censored": level, "outcome": text, "observation_terms": list_of(text),
    "entry": text, "left": text, "right": text, "weights": text,
    "where": by_column(lambda value: list_of(level)(
        value if isinstance(value, list) else [value])),
    "exposure": text, "levels": list_of(level), "adjust_for": list_of(text),
    "adjustments": list_of(one_of(*ADJUSTMENTS)), "categorical": by_column(level),
    "spline": by_column(whole), "per": by_column(number), "log": by_column(number),
    "centre": by_column(number), "interactions": list_of(pair),
    "profiles": by_column(by_column(level)), "cluster": text,
    "strata": list_of(text), "rho": number, "gamma": number, "horizon": days,
    "confidence": share, "m": whole, "seed": whole, "resamples": whole,
    "window_days": whole, "seen_within_days": whole, "random_intercept": text,
    "diagnostics": all_or_list(
        *DIAGNOSTICS, "hosmer_lemeshow", "proportional_hazards",
        default=(*DIAGNOSTICS, "proportional_hazards")),
    "validate_by": text, "matched_set": text, "cut_days": days,
    **{key: one_of(*choices) for key, choices in CHOICES.items()},
}  # fmt: skip


def refuse_contradictions(place: str, values: Mapping[str, Any]) -> None:
    """Refuse what no single key shows: keys that the model needs or ignores, and contradictions.

    Raises
    ------
    PlanError
        Naming the key and what to do.
    """
    _refuse_model(place, values)
    _refuse_versions(place, values)
    _refuse_events(place, values)
    _refuse_terms(place, values)
    refuse_pieces(place, values)


def _refuse_model(place: str, values: Mapping[str, Any]) -> None:
    model = values["model"]
    if model not in MODELS:
        raise PlanError(place, f'the model "{model}" is unknown', do=nearest(model, MODELS))
    for key in NEEDS[model]:
        if not values.get(key):
            raise PlanError(place, f'the model "{model}" needs "{key}"', do=f"Add {key} = …")
    for key in values:
        if key not in USES[model]:
            raise PlanError(
                place, f'the model "{model}" does not use "{key}"', do="Take the key out."
            )
    if values.get("missing") == "multiple_imputation":
        raise PlanError(
            place, "multiple imputation is not yet part of this version",
            do='Use missing = "complete_cases".',
        )  # fmt: skip
    _refuse_exact(place, values)
    _refuse_interval(place, values)
    _refuse_diagnostics(place, values)


def _refuse_exact(place: str, values: Mapping[str, Any]) -> None:
    """Refuse exact ties and exact estimation where there are none."""
    model = values["model"]
    if values.get("ties") == "exact" and model in ("fine_gray", "frailty"):
        raise PlanError(
            place, f'the model "{model}" has no exact ties', do='Use ties = "efron" or "breslow".'
        )
    if values.get("estimator") == "exact" and model != "logistic":
        raise PlanError(
            place, f'the model "{model}" has no estimator "exact"',
            do='Use "maximum_likelihood" or "penalised".',
        )  # fmt: skip
    if values.get("ties") == "exact" and values.get("estimator") == "penalised":
        raise PlanError(
            place, 'ties = "exact" cannot be used with estimator = "penalised"',
            do='Use ties = "efron", or take estimator out.',
        )  # fmt: skip


def _refuse_interval(place: str, values: Mapping[str, Any]) -> None:
    asked, profiled = values.get("interval"), values["model"] == "cox"
    if asked is not None and profiled != (asked == "profile"):
        model = values["model"]
        choices = '"profile"' if profiled else '"log-log", "log" or "plain"'
        raise PlanError(
            place, f'the model "{model}" has no interval "{asked}"', do=f"Use interval = {choices}."
        )
    for key, value in (("cluster", None), ("ties", "exact")):
        given = values.get(key)
        if asked == "profile" and given is not None and value in (None, given):
            raise PlanError(
                place, f'interval = "profile" takes rows as independent, without {key} = "{given}"',
                do=f"Take {key} out, or interval.",
            )  # fmt: skip


def _refuse_diagnostics(place: str, values: Mapping[str, Any]) -> None:
    """Refuse a list with what the model has not; `true` asks for what it has."""
    asked, model = values.get("diagnostics", ()), values["model"]
    here = ("proportional_hazards", "influence") if model == "cox" else (
        *DIAGNOSTICS, "hosmer_lemeshow")  # fmt: skip
    strange = [name for name in asked if name not in here]
    if strange and asked != (*DIAGNOSTICS, "proportional_hazards"):
        raise PlanError(
            place, f'the model "{model}" has no diagnostics "{strange[0]}"',
            do="It has: " + ", ".join(here) + ".",
        )  # fmt: skip
    if model == "cox" and asked and values.get("ties") == "exact":
        raise PlanError(
            place, 'ties = "exact" has no diagnostics', do='Use ties = "efron", or take it out.'
        )


def _refuse_versions(place: str, values: Mapping[str, Any]) -> None:
    model, asked = values["model"], values.get("adjustments", ())
    if "standardised" in asked and values.get("estimator") == "exact":
        raise PlanError(
            place, "exact estimation gives no risks that could be standardised",
            do='Take "standardised" out of adjustments.',
        )  # fmt: skip
    for version in asked:
        if version not in VERSIONS[model]:
            raise PlanError(
                place, f'the model "{model}" has no version "{version}"',
                do="It has: " + ", ".join(VERSIONS[model]) + ".",
            )  # fmt: skip
        if version != "crude" and not values.get("adjust_for"):
            raise PlanError(
                place, f'the version "{version}" needs adjust_for', do="Add adjust_for = […]."
            )
    if "standardised" in asked and not values.get("exposure"):
        raise PlanError(place, "standardised risks need an exposure", do="Add exposure = …")
    if model == "cox" and "standardised" in asked and not values.get("horizon"):
        raise PlanError(place, "standardised risks need their days", do="Add horizon = […].")


def _refuse_events(place: str, values: Mapping[str, Any]) -> None:
    cause, competing = values.get("event_of_interest"), values.get("competing", ())
    if cause is None and (competing or values.get("censored") is not None):
        raise PlanError(
            place, "states are named without the event of interest", do="Add event_of_interest."
        )
    if cause is not None and values.get("censored") is None:
        raise PlanError(
            place, "it is not said which state is censored", do='Add for example censored = "…".'
        )
    if cause is not None and (cause in competing or values.get("censored") in (cause, *competing)):
        raise PlanError(
            place, "one state is named twice among event_of_interest, competing and censored",
            do="Name each state once.",
        )  # fmt: skip
    if values.get("seen_within_days") and len(values["horizon"]) > 1:
        raise PlanError(
            place, "seen_within_days is counted back from one day, and horizon names several",
            do="Write an analysis of its own for each day of the horizon.",
        )  # fmt: skip


def _refuse_terms(place: str, values: Mapping[str, Any]) -> None:
    exposure, adjust_for = values.get("exposure"), values.get("adjust_for", ())
    if exposure in adjust_for:
        raise PlanError(
            place, f'"{exposure}" is both exposure and in adjust_for', do="Name it once."
        )
    known = [column for column in (exposure, *adjust_for) if column]
    known += values.get("observation_terms", ())
    for key in ("categorical", "spline", "per", "log", "centre"):
        for column in values.get(key, {}):
            if column not in known:
                raise PlanError(
                    place, f'{key} names "{column}", which is no term of the analysis',
                    do=nearest(column, known) if known else "Add it to adjust_for.",
                )  # fmt: skip
    for column in values.get("categorical", {}):
        if any(column in values.get(key, {}) for key in ("spline", "per", "log", "centre")):
            raise PlanError(
                place, f'"{column}" is both categorical and a number', do="Keep one of the two."
            )
    for column in values.get("log", {}):
        if column in values.get("per", {}):
            raise PlanError(
                place, f'"{column}" has both a logarithm and a unit', do="Keep one of the two."
            )
    refuse_products(place, values, known)
    _refuse_levels(place, values, exposure)


def _refuse_levels(place: str, values: Mapping[str, Any], exposure: str | None) -> None:
    levels = values.get("levels", ())
    if levels and exposure is None:
        raise PlanError(place, "there are levels but no exposure", do="Add exposure = …")
    if len(levels) == 1:
        raise PlanError(place, "one level cannot be compared", do="Name two levels or more.")
    reference = values.get("categorical", {}).get(exposure)
    if levels and reference not in (None, "most_frequent", *levels):
        raise PlanError(
            place, f'the reference "{reference}" is not among the levels',
            do=nearest(reference, levels),
        )  # fmt: skip
