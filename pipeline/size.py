"""Numbers needed, as a summary: what was asked, the formula behind it, and what it leaves out."""

import math
from collections.abc import Callable

from analysis.sample_size import (
    Clustered,
    design_effect_of,
    events_for_hazard_ratio,
    n_for_odds_ratio,
    n_for_two_risks,
    prediction_size,
)
from pipeline.summary import Summary
from shared.errors import PlanError

CAUTION = (
    "For planning only: stifles without follow-up, held rows and missing values come on top; an "
    "observational study needs its confounders measured before it needs more stifles."
)


def ask(question: Callable[..., Summary], *numbers: object) -> Summary:
    """Answer, or say which number cannot be asked.

    Raises
    ------
    PlanError
        If a number lies outside what the formula takes.
    """
    try:
        return question(*numbers)
    except ValueError as error:
        raise PlanError("sulca size", str(error), do="Change that option; see --help.") from None


def more(stifles_per_animal: float, correlation: float, explained: float) -> Clustered:
    """Bring together what multiplies a number.

    Raises
    ------
    PlanError
        If a number lies outside what is possible.
    """
    try:
        effect = design_effect_of(stifles_per_animal, correlation)
        asked = Clustered(design_effect=effect, explained=explained)
        _ = asked.factor
    except ValueError as error:
        raise PlanError("sulca size", str(error), do="Change that option; see --help.") from None
    return asked


def hazard_ratio(
    ratio: float, risk: float, share_exposed: float, power: float, alpha: float, asked: Clustered
) -> Summary:
    """Events by Schoenfeld 1983, stifles by the share that has the event."""
    if not 0 < risk < 1:
        raise ValueError(f"risk must lie between 0 and 1, got {risk:g}")
    plain = events_for_hazard_ratio(ratio, share_exposed=share_exposed, power=power, alpha=alpha)
    events = plain * asked.factor
    return Summary(
        done=f"Hazard ratio {ratio:g}, power {power:g}, two-sided error {alpha:g}:",
        counts={
            "events, rows independent": math.ceil(plain),
            "times for clusters and other terms": f"{asked.factor:.2f}",
            "events": math.ceil(events),
            "stifles": math.ceil(events / risk),
        },
        remarks=("Schoenfeld 1983; design effect by Kish 1965.", CAUTION),
    )


def two_risks(
    one: float, other: float, share_exposed: float, power: float, alpha: float, asked: Clustered
) -> Summary:
    """Stifles by Fleiss (two proportions) and by Hsieh 1998 (logistic model)."""
    odds = n_for_odds_ratio(one, other, share_exposed=share_exposed, power=power, alpha=alpha)
    split = share_exposed / (1 - share_exposed)
    first = n_for_two_risks(one, other, power=power, alpha=alpha, ratio=split)
    return Summary(
        done=f"Risks {one:g} and {other:g}, power {power:g}, two-sided error {alpha:g}:",
        counts={
            "stifles, two proportions": math.ceil(first * (1 + split) * asked.factor),
            "stifles, logistic model": math.ceil(odds * asked.factor),
            "times for clusters and other terms": f"{asked.factor:.2f}",
        },
        remarks=("Fleiss 2003; Hsieh 1998; design effect by Kish 1965.", CAUTION),
    )


def prediction(parameters: int, r_squared: float, risk: float) -> Summary:
    """Stifles by the three criteria of Riley 2020."""
    size = prediction_size(parameters, r_squared, risk=risk)
    return Summary(
        done=f"A prediction model with {parameters} candidate parameters:",
        counts={
            "stifles": math.ceil(size.n),
            "for little shrinkage (0.9)": math.ceil(size.shrinkage),
            "for little optimism (0.05)": math.ceil(size.optimism),
            "for the overall risk (within 0.05)": math.ceil(size.overall_risk or 0),
            "events": math.ceil(size.events),
            "events per parameter": f"{size.events_per_parameter:.1f}",
        },
        remarks=("Riley et al. 2020; clustering is not allowed for.", CAUTION),
    )
