"""What the data themselves can show of one clinic and variable: a question for the whole export."""

from dataclasses import dataclass

PRACTICE = "common practice, no published source"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """One pattern that no single row shows; it is asked about once and holds nothing.

    Attributes
    ----------
    when
        The threshold in words, with its reason.
    says
        What the clinic reads, after the label of the variable and before the numbers seen.
    """

    id: str
    when: str
    says: str
    fix: str
    why: str
    source: str


LAST_DIGITS = Pattern(
    id="D01",
    when="At least 100 values over two decades of their last digit, and a digit preference score "
    "above 20 of 100; that is a chi-square above 36 on 9 degrees of freedom (p below 0.0001), so "
    "that the many looks of a study seldom raise it by chance.",
    says="the last digits are uneven, as when values are rounded or guessed.",
    fix="Say whether these values were measured, and to what they were rounded.",
    why="Rounded or guessed values hide differences and shift limits",
    source="Kuulasmaa, Hense, Tolonen 1998 (WHO MONICA e-publication 9) for the score; above 20 "
    "as a serious fault: plausibility checks of nutrition surveys (from memory)",
)
ONE_VALUE = Pattern(
    id="D02",
    when="One answer in at least 90 of 100 rows, against at most 75 at every other clinic; or one "
    "number in at least 20 of 100 rows, four times as often as at any other. At least 30 rows here "
    "and at two other clinics, and 99.9% Wilson limits apart.",
    says="one value stands in far more rows than at the other clinics.",
    fix="Say whether it was found each time, or whether the form fills it in by itself.",
    why="Defaults that nobody changed hide what was not looked at", source=PRACTICE,
)  # fmt: skip
FAR_AWAY = Pattern(
    id="D03",
    when="The median lies more than one robust standard deviation (1.4826 times the median "
    "deviation; of logarithms for weights, lengths and ages) from that of the other clinics, or a "
    "share by Cohen's h of 0.8 or more. At least 30 rows here and at two other clinics, and four "
    "standard errors apart.",
    says="the values are unlike those of the other clinics.",
    fix="Check the unit, the codes and what was measured; if the animals differ, say how.",
    why="Another unit, a shifted code list or another definition", source="Cohen 1988 for h of 0.8 "
    "as large (from memory); the rest: common practice, no published source",
)  # fmt: skip
COPIED_FORWARD = Pattern(
    id="D04",
    when="After a visit that was not normal, the next of the same knee repeats all its findings in "
    "at least 80 of 100, against at most 60 at every other clinic. At least 30 such visits here "
    "and at two other clinics, and 99.9% Wilson limits apart.",
    says="findings that were not normal stay the same from visit to visit.",
    fix="Say whether the findings of the visit before were copied into the next.",
    why="Copied rechecks hide healing and reluxation", source=PRACTICE,
)  # fmt: skip
ONE_DAY_OF_MONTH = Pattern(
    id="D05",
    when="One day of the month in at least 15 of 100 operations (3.3 are to be expected), with 50 "
    "operations or more: a chance below one in a million. Not asked where dates were shifted.",
    says="the operations fall on one day of the month, as when only the month is known.",
    fix="Send the days of surgery where they can be found; say which are known by the month alone.",
    why="A wrong day 0 shifts every day after it", source=PRACTICE,
)  # fmt: skip
PATTERNS = (LAST_DIGITS, ONE_VALUE, FAR_AWAY, COPIED_FORWARD, ONE_DAY_OF_MONTH)
