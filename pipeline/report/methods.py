"""The methods paragraph, made from the plan and from what the run did."""

from collections.abc import Iterable

from markupsafe import Markup

from pipeline.analyses.outcome_day import left_end
from pipeline.plan import Analysis
from pipeline.plan_keys import LARGER
from pipeline.report.labels import Labels, listed, small
from pipeline.report.material import Material
from pipeline.report.methods_words import adjusted, among, first_capital, outcomes, splines
from pipeline.report.rows import distinct
from pipeline.report.text import day_text, fixed
from shared.estimate import Estimate

TIES = {"efron": "Efron's", "breslow": "Breslow's", "exact": "the exact"}


def methods_paragraphs(material: Material) -> list[Markup]:
    """Say how the numbers came about: one paragraph for all, then one per model used."""
    paragraphs = [Markup(_common(material))]
    for alike in _alike(material.analyses):
        words = MODEL_WORDS.get(alike[0].model)
        if words:
            paragraphs.append(Markup("{}").format(words(alike, material.labels)))
    paragraphs.append(Markup("{}").format(_versions(material)))
    return paragraphs


def methods_of(rows: Iterable[Estimate]) -> list[str]:
    """Methods as the rows of the results name them, each once."""
    return distinct(row.method for row in rows)


def _common(material: Material) -> str:
    clusters = listed(distinct(small(material.labels.name(item.cluster))
                               for item in material.analyses if item.cluster))  # fmt: skip
    missing = {item.missing for item in material.analyses}
    parts = [
        "The unit of analysis is the operated stifle; day 0 is its index surgery.",
        f"Stifles that belong together are clustered by {clusters}." if clusters else "",
        "Rows without a value that a model needs are left out and counted beside the estimate."
        if "complete_cases" in missing
        else "",
        "Clinics enter models as fixed effects; no variance between clinics is interpreted."
        if any("clinic_id" in item.adjust_for for item in material.analyses)
        else "",
        f"Intervals are {_confidence(material.analyses)}; p values are two-sided, not adjusted "
        "for the number of questions, and nowhere used to choose a model.",
    ]
    return " ".join(filter(None, parts))


def _confidence(analyses: Iterable[Analysis]) -> str:
    levels = sorted({item.confidence for item in analyses} or {0.95})
    return listed(f"{fixed(100 * level, 0)}%" for level in levels)


def _alike(analyses: Iterable[Analysis]) -> list[list[Analysis]]:
    """Put together the analyses that differ in their outcome or exposure only."""
    found: dict[tuple[object, ...], list[Analysis]] = {}
    for item in analyses:
        if item.role != "sensitivity":
            terms = frozenset({*item.adjust_for, *([item.exposure] if item.adjust_for else [])})
            key = (item.model, item.population, terms, item.competing, item.horizon,
                   item.missing_outcome, item.ties, tuple(item.spline.items()),
                   item.strata, item.matched_set, item.variance, item.random_intercept,
                   item.interval, item.estimator == "exact")  # fmt: skip
            found.setdefault(key, []).append(item)
    return list(found.values())


def _incidence(alike: list[Analysis], labels: Labels) -> str:
    item = alike[0]
    competing = [small(labels.outcome(item.event, state)) for state in item.competing]
    text = (
        f"Risks of {outcomes(alike, labels)} are Aalen-Johansen estimates"
        f"{f' with {listed(competing)} as competing events' if competing else ''}, read at "
        f"{listed(day_text(day) for day in item.horizon)}"
        f"{among(item)}; intervals on the log-log scale."
    )
    if item.adjust_for:
        text += (
            f" Standardised risks average, over all stifles compared, the risks predicted by "
            f"cause-specific Cox models.{adjusted(alike, labels)}"
        )
    return text


def _cox(alike: list[Analysis], labels: Labels) -> str:
    item = alike[0]
    profiled = " Limits are those of the profile partial likelihood."
    limits = profiled if item.interval == "profile" else ""
    return (
        f"Cause-specific hazards of {outcomes(alike, labels)} were compared by Cox regression "
        f"with {TIES[item.ties]} method for ties{among(item)}; follow-up that ended otherwise was "
        f"censored on its day.{adjusted(alike, labels)}{splines(item, labels)} Proportionality "
        f"was tested by scaled Schoenfeld residuals.{limits}{PENALISED.format(errors=ROBUST)}"
    )


def _logistic(alike: list[Analysis], labels: Labels) -> str:
    item = alike[0]
    weighted = (
        " Each stifle with a known outcome was weighted by the inverse of its estimated chance of "
        "being known; complete cases stand beside."
        if item.missing_outcome == "observation_weights"
        else KNOWN_ONLY
    )
    reduced = item.variance == "CR2"
    errors = " Errors are bias-reduced (CR2), limits those of t." if reduced else _errors(item)
    return (
        f"{first_capital(outcomes(alike, labels))}: compared by logistic regression"
        f"{among(item)}.{weighted}{adjusted(alike, labels)}{splines(item, labels)}{errors}"
    )


def _errors(item: Analysis) -> str:
    """Say what limits come from; the larger errors are the default of a penalised fit only."""
    if (item.variance or "").startswith("wild_bootstrap"):
        return WILD
    if item.variance == LARGER:
        return f" Limits come from {LARGER_ERRORS}." + PENALISED.format(errors="the same errors")
    if item.estimator == "exact":
        return EXACT
    corrected = CORRECTED if item.intercept == "corrected" else ""
    return PENALISED.format(errors=LARGER_ERRORS if item.variance is None else ROBUST) + corrected


def _kaplan_meier(alike: list[Analysis], labels: Labels) -> str:
    item = alike[0]
    return (
        f"Curves of {outcomes(alike, labels)} are Kaplan-Meier estimates with Greenwood's "
        f"variance and limits on the {item.interval} scale{among(item)}."
    )


def _restricted_mean(alike: list[Analysis], labels: Labels) -> str:
    item = alike[0]
    errors = f"jackknife by {small(labels.name(item.cluster))}" if item.cluster else "Greenwood's"
    found = FOUND if left_end(item.time) in labels.variables else ""
    return (
        f"Mean days free of {outcomes(alike, labels)} are areas under Kaplan-Meier up to "
        f"{listed(day_text(day) for day in item.horizon)}{among(item)}; other events count as "
        f"censoring; standard errors: {errors}.{found}"
    )


def _mean_count(alike: list[Analysis], labels: Labels) -> str:
    item = alike[0]
    competing = listed(small(labels.outcome(item.event, state)) for state in item.competing)
    ending = (
        f"counting ends with {competing}, and the rate of those still followed stands beside"
        if competing
        else "what ended follow-up counts as censoring"
    )
    return (
        f"{first_capital(outcomes(alike, labels))} may come again: mean cumulative counts up to "
        f"{listed(day_text(day) for day in item.horizon)}{among(item)}; {ending}; standard errors "
        f"by {small(labels.name(item.cluster or ''))}, limits on the log scale."
    )


def _within(alike: list[Analysis], labels: Labels) -> str:
    item = alike[0]
    columns = item.strata or ((item.matched_set,) if item.matched_set else ())
    within = listed(small(labels.name(column)) for column in columns)
    return (
        f"{first_capital(outcomes(alike, labels))}: compared within {within} "
        f"{WITHIN[item.model]}{among(item)}.{KNOWN_ONLY}{adjusted(alike, labels)}"
    )


def _clustered(alike: list[Analysis], labels: Labels) -> str:
    item = alike[0]
    within = small(labels.name(item.random_intercept or item.cluster or ""))
    return (
        f"{first_capital(outcomes(alike, labels))}: compared by "
        f"{CLUSTERED[item.model].format(within=within)}{among(item)}.{KNOWN_ONLY}"
        f"{adjusted(alike, labels)}{splines(item, labels)}"
    )


def _frailty(alike: list[Analysis], labels: Labels) -> str:
    item = alike[0]
    within = small(labels.name(item.random_intercept or ""))
    return (
        f"Cause-specific hazards of {outcomes(alike, labels)} were compared by Cox regression "
        f"with a gamma frailty shared within each {within} and {TIES[item.ties]} method for ties"
        f"{among(item)}; follow-up that ended otherwise was censored on its day."
        f"{adjusted(alike, labels)}{splines(item, labels)} Ratios hold within a {within}; that "
        "the variance of the frailty is nil was tested by the likelihood ratio with half its p."
    )


WITHIN = {
    "stratified_table": "by the weights of Mantel and Haenszel",
    "paired_table": "in pairs by McNemar's and exact tests",
    "conditional_logistic": "by conditional logistic regression",
}
CLUSTERED = {
    "gee_logistic": "logistic regression by generalised estimating equations, outcomes of a "
    "{within} alike to the same degree",
    "mixed_logistic": "logistic regression with a random intercept for each {within}, fitted by "
    "adaptive quadrature",
}
FOUND = (
    " These days run until the event was found at a visit, not until its onset, so that they are "
    "too many and their intervals cover less often than they say."
)
KNOWN_ONLY = " Only stifles with a known outcome were used."
PENALISED = (
    " Where data were separated or sparse, Firth's penalised likelihood is primary, with limits "
    "from {errors}; for a term that separates, and without clusters, they are profiled."
)
WILD = (
    " Limits and p come from a wild bootstrap of the scores of clusters, the null hypothesis "
    "imposed; where so few clusters refuse no value, a limit is left open."
)
CORRECTED = (
    " Risks of penalised models rest on an intercept fitted anew, so that they average to those "
    "observed."
)
EXACT = (
    " Ratios are exact: given the totals of the other terms, with limits of two one-sided tests, "
    "median unbiased where a cell is empty; stifles are taken as independent."
)
ROBUST = "errors robust by cluster"
LARGER_ERRORS = "the larger of errors robust by cluster and errors of the model, number by number"
MODEL_WORDS = {
    "cumulative_incidence": _incidence,
    "cox": _cox,
    "frailty": _frailty,
    "logistic": _logistic,
    "kaplan_meier": _kaplan_meier,
    "mean_cumulative_count": _mean_count,
    "restricted_mean": _restricted_mean,
    **dict.fromkeys(WITHIN, _within),
    **dict.fromkeys(CLUSTERED, _clustered),
}


def _versions(material: Material) -> str:
    versions = material.run_info.get("versions", {})
    named = listed(f"{name} {version}" for name, version in sorted(versions.items()))
    seed = f"The seed of everything drawn is {material.study.seed}."
    return f"Made with {named}. {seed}" if named else seed
