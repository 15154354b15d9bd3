"""The models of a plan: which keys each uses, which it needs, and which versions it has."""

from collections.abc import Mapping

MODELS = (
    "cox", "logistic", "cumulative_incidence", "fine_gray", "interval_censored", "kaplan_meier",
    "conditional_logistic", "frailty", "gee_logistic", "log_rank", "mean_cumulative_count",
    "mixed_logistic", "paired_table",
    "parametric_survival", "restricted_mean", "risks", "stratified_table",
)  # fmt: skip
ADJUSTMENTS = ("crude", "adjusted", "standardised")
VERSIONS: Mapping[str, tuple[str, ...]] = {
    "cox": ADJUSTMENTS, "logistic": ADJUSTMENTS, "cumulative_incidence": ("crude", "standardised"),
    "conditional_logistic": ("crude", "adjusted"), "gee_logistic": ("crude", "adjusted"),
    "frailty": ("crude", "adjusted"), "mixed_logistic": ("crude", "adjusted"),
    "fine_gray": ("crude", "adjusted"), "interval_censored": ("crude", "adjusted"),
    "parametric_survival": ("crude", "adjusted"),
}  # fmt: skip


COMMON = frozenset({
    "id", "model", "role", "question", "definition", "population", "where", "exposure", "levels",
    "confidence", "missing", "cluster", "categorical",
})  # fmt: skip
TIMED = frozenset({"time", "event", "event_of_interest", "competing", "censored", "entry"})
REGRESSION = frozenset({
    "adjust_for", "adjustments", "spline", "per", "log", "centre", "weights", "estimator",
})  # fmt: skip
CLUSTERED = COMMON | {
    "outcome", "horizon", "adjust_for", "adjustments", "spline", "per", "log", "centre",
}  # fmt: skip
USES: Mapping[str, frozenset[str]] = {
    "cox": COMMON | TIMED | REGRESSION | {"strata", "ties", "ph_transform", "horizon", "seed",
                                     "resamples", "interval", "diagnostics",
                                     "validate_by", "profiles", "table"},
    "logistic": COMMON | REGRESSION
    | {"outcome", "missing_outcome", "observation_terms", "time", "window_days", "horizon",
       "seed", "resamples", "diagnostics", "validate_by", "interactions",
       "profiles", "variance", "intercept"},
    "cumulative_incidence": COMMON | TIMED
    | {"adjust_for", "adjustments", "spline", "per", "horizon", "seed", "resamples", "weights",
       "seen_within_days"},
    "fine_gray": (COMMON | TIMED | {"adjust_for", "adjustments", "spline", "per", "ties"})
    - {"entry"},
    "frailty": (COMMON | TIMED
    | {"adjust_for", "adjustments", "spline", "per", "log", "centre", "strata", "ties",
       "random_intercept"}) - {"entry", "cluster"},
    "interval_censored": COMMON
    | {"left", "right", "adjust_for", "adjustments", "spline", "per", "distribution", "cut_days",
       "horizon", "seed", "resamples"},
    "kaplan_meier": COMMON | TIMED | {"horizon", "interval"},
    "log_rank": COMMON | TIMED | {"strata", "test", "rho", "gamma"},
    "parametric_survival": COMMON | TIMED
    | {"adjust_for", "adjustments", "spline", "per", "distribution", "cut_days", "horizon",
       "weights"},
    "mean_cumulative_count": COMMON | TIMED | {"horizon", "table"},
    "restricted_mean": COMMON | TIMED | {"horizon"},
    "risks": COMMON | {"outcome", "horizon"},
    "stratified_table": (COMMON | {"outcome", "horizon", "strata"}) - {"cluster"},
    "conditional_logistic": (COMMON
    | {"outcome", "horizon", "matched_set", "adjust_for", "adjustments", "spline", "per", "log",
       "centre"}) - {"cluster"},
    "gee_logistic": CLUSTERED,
    "mixed_logistic": (CLUSTERED | {"random_intercept"}) - {"cluster"},
    "paired_table": (COMMON | {"outcome", "horizon", "matched_set"}) - {"cluster"},
}  # fmt: skip
NEEDS: Mapping[str, tuple[str, ...]] = {
    "cox": ("time", "event"),
    "logistic": ("outcome",),
    "cumulative_incidence": ("time", "event", "horizon"),
    "fine_gray": ("time", "event", "event_of_interest"),
    "frailty": ("time", "event", "random_intercept"),
    "interval_censored": ("left", "right"),
    "kaplan_meier": ("time", "event"),
    "log_rank": ("time", "event", "exposure"),
    "parametric_survival": ("time", "event"),
    "mean_cumulative_count": ("time", "event", "entry", "cluster", "horizon"),
    "restricted_mean": ("time", "event", "horizon"),
    "risks": ("outcome",),
    "stratified_table": ("outcome", "exposure", "strata"),
    "conditional_logistic": ("outcome", "matched_set"),
    "gee_logistic": ("outcome", "cluster"),
    "mixed_logistic": ("outcome", "random_intercept"),
    "paired_table": ("outcome", "exposure", "matched_set"),
}
