"""Words of the codebook for columns, codes and arms; no raw code reaches a reader."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from pipeline.recurrent import COMPLICATION
from schemas.codebook import Variable, by_name

MODELS = {
    "logistic": "logistic regression",
    "cox": "cause-specific Cox regression",
    "firth_cox": "penalised (Firth) Cox regression",
    "weighted_logistic": "logistic regression with weights",
    "weighted_firth_logistic": "penalised (Firth) logistic regression with weights",
    "firth": "penalised (Firth) logistic regression",
    "firth_logistic": "penalised (Firth) logistic regression",
    "cumulative_incidence": "cumulative incidence with competing events (Aalen-Johansen)",
    "fine_gray": "subdistribution hazards (Fine and Gray)",
    "interval_censored": "days between visits (Turnbull; Weibull model)",
    "parametric_survival": "models of log time",
    "gee_logistic": "logistic regression by estimating equations",
    "mixed_logistic": "logistic regression with a random intercept",
    "frailty": "Cox regression with a shared frailty",
    "kaplan_meier": "Kaplan-Meier curve",
    "log_rank": "log-rank test",
    "mean_cumulative_count": "mean cumulative count",
    "restricted_mean": "mean days free of the event (area under Kaplan-Meier)",
    "risks": "proportions with Wilson limits",
    "conditional_logistic": "conditional logistic regression within sets",
    "stratified_table": "Mantel-Haenszel weights over strata",
    "paired_table": "matched pairs (McNemar, exact)",
    "standardised_risk": "risks standardised over the cohort",
}
MEASURES = {
    "risk": "risk per 100",
    "proportion": "per 100",
    "risk_difference": "difference per 100",
    "risk_ratio": "risk ratio",
    "odds_ratio": "odds ratio",
    "exact_odds_ratio": "odds ratio (exact conditional limits)",
    "mid_p_odds_ratio": "odds ratio (mid-p limits)",
    "hazard_ratio": "hazard ratio",
    "subdistribution_hazard_ratio": "subdistribution hazard ratio",
    "time_ratio": "time ratio",
    "mean_count": "mean count per 100",
    "mean_count_difference": "difference of mean counts per 100",
    "mean_count_ratio": "ratio of mean counts",
    "cumulative_rate": "cumulated rate per 100 still followed",
    "restricted_mean": "mean days free of the event",
    "restricted_mean_difference": "difference of mean days free of the event",
    "restricted_mean_ratio": "ratio of mean days free of the event",
    "number_needed_to_treat": "number needed to treat",
    "standardised_ratio": "observed to expected",
    "standardised_difference": "standardised difference",
}
MISSING = {"missing": "not recorded", "": "not recorded"}
SETS = {
    "A": "all eligible operated stifles",
    "B": "stifles with adequate follow-up",
    "C": "first operated stifle of each animal",
    "D": "transpositions held with K-wires",
}
STRETCHES = {  # columns and states of the table in counting form, which no codebook declares
    COMPLICATION: "Days with a new complication",
    "stretch_state": "What ended a stretch of follow-up",
}
NOTHING = {"None": "No"}
SILENT = frozenset({"year", "score"})  # units that the name says already
UNITS = {"month": "months", "day": "days", "week": "weeks"}
TRAILING = (" used", " done", " seen")
COLUMN = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")


@dataclass(frozen=True, slots=True)
class Labels:
    """Names of variables and codes, from the declarations of the codebook."""

    variables: Mapping[str, Variable]

    def name(self, column: str) -> str:
        """Name a column as its declaration does; an undeclared one without underscores."""
        known = self.variables.get(column)
        label = known.label if known and known.label else STRETCHES.get(column, plain(column))
        return label.removesuffix(" code").removesuffix(" id")

    def name_with_unit(self, column: str) -> str:
        """Name a column with its unit: "Body weight at surgery (kg)"."""
        known = self.variables.get(column)
        silent = known is None or not known.unit or bool(known.codes)
        if silent or known is None or known.unit in SILENT:
            return self.name(column)
        return f"{known.label} ({UNITS.get(known.unit, known.unit)})"

    def level(self, column: str | None, code: str | None) -> str:
        """Name a code of a column; numbers without codes stay as they are."""
        if code is None:
            return ""
        known = self.variables.get(column or "")
        codes = known.codes if known else {}
        if code in codes:
            return NOTHING.get(codes[code], codes[code])
        if code in MISSING:
            return MISSING[code].capitalize()
        kept = known is not None and known.kind == "string" and column != "clinic_id"
        return code if kept else plain(code)

    def arm(self, column: str, code: str) -> str:
        """Name an arm so that it can stand alone: "Block recession", "No tension band"."""
        label, level = self.name(column), self.level(column, code)
        if label.startswith("Number of "):
            things = label.removeprefix("Number of ")
            return f"{level} {things.removesuffix('s') if level in ('One', '1') else things}"
        if code in ("true", "false", "none"):
            thing = label
            for ending in TRAILING:
                thing = thing.removesuffix(ending)
            return thing if code == "true" else f"No {small(thing)}"
        return level if not level.isdigit() else f"{label} {level}"

    def arm_phrase(self, column: str, code: str) -> str:
        """Name an arm inside a sentence after "stifles": "with block recession"."""
        arm = self.arm(column, code)
        if arm.startswith("No "):
            return "without " + arm.removeprefix("No ")
        return "with " + small(arm)

    def outcome(self, column: str | None, state: str | None = None) -> str:
        """Name an outcome: the label of its state where it has one, else of its column."""
        wanted = state or column or ""
        if f"{wanted}_state" in self.variables:
            return self.name(f"{wanted}_state")
        own = self.variables.get(column or "")
        if own and wanted in own.codes:
            return own.codes[wanted]
        if wanted in self.variables:
            return self.name(wanted)
        for known in self.variables.values():
            if wanted in known.codes and known.name.endswith("_state"):
                return known.codes[wanted]
        return STRETCHES.get(wanted, plain(wanted))

    def words(self, text: str) -> str:
        """Put labels in the place of column names that stand in a text of the run."""
        return COLUMN.sub(lambda found: small(self.name(found[0])), text)

    def clinic(self, clinic_id: str) -> str:
        """Name a clinic by its code, as a proper name."""
        return plain(clinic_id)


def make_labels(codebook: Iterable[Variable]) -> Labels:
    """Collect the names; derived cohort columns come first, so that they win over raw ones."""
    declared = sorted(codebook, key=lambda item: item.table != "cohort")
    return Labels(by_name(declared))


def plain(code: str) -> str:
    """Make words of a code: "block_recession" becomes "Block recession"."""
    text = " ".join(code.replace("_", " ").split())
    return text[:1].upper() + text[1:]


def small(text: str) -> str:
    """Start with a small letter, unless the word is an abbreviation such as K-wire."""
    return text if len(text) < 2 or not text[1].islower() else text[0].lower() + text[1:]


def listed(items: Iterable[str]) -> str:
    """Join with commas and a final "and"."""
    words = list(items)
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
