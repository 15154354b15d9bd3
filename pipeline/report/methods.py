"""The methods paragraph, made from the plan and from what the run did."""

from collections.abc import Iterable

from markupsafe import Markup

from pipeline.plan import Analysis
from pipeline.report.labels import SETS, Labels, listed, small
from pipeline.report.material import Material
from pipeline.report.rows import distinct
from pipeline.report.sentences import adjusted_for
from pipeline.report.text import day_text, fixed
from shared.estimate import Estimate

TIES = {"efron": "Efron's", "breslow": "Breslow's", "exact": "the exact"}


def methods_paragraphs(material: Material) -> list[Markup]:
    """Say how the numbers came about: one paragraph for all, then one per model used."""
    paragraphs = [Markup(_common(material))]
    for analysis in _one_per_model(material.analyses):
        words = MODEL_WORDS.get(analysis.model)
        if words:
            paragraphs.append(Markup("{}").format(words(analysis, material.labels)))
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


def _one_per_model(analyses: Iterable[Analysis]) -> list[Analysis]:
    """Give the first analysis of each model, with what it says about itself."""
    found: dict[tuple[str, str | None], Analysis] = {}
    for item in analyses:
        found.setdefault((item.model, item.event_of_interest or item.outcome), item)
    return list(found.values())


def _incidence(item: Analysis, labels: Labels) -> str:
    competing = [small(labels.outcome(item.event, state)) for state in item.competing]
    text = (
        f"Risks of {_outcome(item, labels)} are Aalen-Johansen estimates"
        f"{f' with {listed(competing)} as competing events' if competing else ''}, read at "
        f"{listed(day_text(day) for day in item.horizon)}"
        f"{_among(item)}; intervals on the log-log scale."
    )
    if item.adjust_for:
        text += (
            f" Standardised risks average, over all stifles compared, the risks predicted by "
            f"cause-specific Cox models with {adjusted_for(item, labels)}."
        )
    return text


def _cox(item: Analysis, labels: Labels) -> str:
    return (
        f"Cause-specific hazards of {_outcome(item, labels)} were compared by Cox regression with "
        f"{TIES[item.ties]} method for ties{_among(item)}; follow-up that ended otherwise was "
        f"censored on its day.{_adjusted(item, labels)}{_splines(item, labels)} Proportionality "
        f"was tested by scaled Schoenfeld residuals."
    )


def _logistic(item: Analysis, labels: Labels) -> str:
    weighted = (
        " Each stifle with a known outcome was weighted by the inverse of its estimated chance of "
        "being known; complete cases stand beside."
        if item.missing_outcome == "observation_weights"
        else " Only stifles with a known outcome were used."
    )
    return (
        f"{labels.outcome(item.outcome)} was compared by logistic regression{_among(item)}."
        f"{weighted}{_adjusted(item, labels)}{_splines(item, labels)} Where data were separated or "
        f"sparse, Firth's penalised likelihood with profile limits is primary."
    )


def _kaplan_meier(item: Analysis, labels: Labels) -> str:
    return (
        f"Curves of {_outcome(item, labels)} are Kaplan-Meier estimates with Greenwood's variance "
        f"and limits on the {item.interval} scale{_among(item)}."
    )


MODEL_WORDS = {
    "cumulative_incidence": _incidence,
    "cox": _cox,
    "logistic": _logistic,
    "kaplan_meier": _kaplan_meier,
}


def _outcome(item: Analysis, labels: Labels) -> str:
    return small(labels.outcome(item.event, item.event_of_interest or item.outcome))


def _among(item: Analysis) -> str:
    return f" among {SETS[item.population]}" if item.population else ""


def _adjusted(item: Analysis, labels: Labels) -> str:
    return f" Adjusted for {adjusted_for(item, labels)}." if item.adjust_for else ""


def _splines(item: Analysis, labels: Labels) -> str:
    if not item.spline:
        return ""
    named = listed(f"{small(labels.name(column))} ({knots} knots)"
                   for column, knots in item.spline.items())  # fmt: skip
    return f" Restricted cubic splines: {named}."


def _versions(material: Material) -> str:
    versions = material.run_info.get("versions", {})
    named = listed(f"{name} {version}" for name, version in sorted(versions.items()))
    seed = f"The seed of everything drawn is {material.study.seed}."
    return f"Made with {named}. {seed}" if named else seed
