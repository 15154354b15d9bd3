"""Rules on animals that still grow: the growth plate of the tibia and bone cut too early."""

import polars as pl

from schemas.rules.places import PRACTICE
from schemas.rules.procedures import RECESSIONS
from schemas.rules.rule import Rule

OPEN, AGE, WEIGHT = pl.col("physis_open"), pl.col("age_months"), pl.col("weight_kg")
# Closure of the proximal tibial physis, months: from memory; giants by weight: no source.
OPEN_UNTIL, OPEN_UNTIL_IN_GIANTS, OPEN_FROM, GIANT_KG = 12, 18, 5, 45
YOUNG_MONTHS = 6
GIANT = (WEIGHT >= GIANT_KG).fill_null(value=False)
OPEN_TOO_LATE = OPEN & (pl.when(GIANT).then(OPEN_UNTIL_IN_GIANTS).otherwise(OPEN_UNTIL) < AGE)
# An open plate in a grown animal has its own question; below two months R33 stops the row.
YOUNG = (OPEN & ~OPEN_TOO_LATE.fill_null(value=False)).fill_null(value=False) | AGE.is_between(
    2, YOUNG_MONTHS, closed="left"
)
BONE_CUT = pl.col("procedures.ttt_done").fill_null(value=False) | pl.col(
    "procedures.sulcoplasty_type"
).is_in(RECESSIONS).fill_null(value=False)

GROWTH_RULES = (
    Rule(
        id="R35", action="ask", tables=("stifles",),
        broken=OPEN_TOO_LATE | (~OPEN & (AGE < OPEN_FROM)),
        shows=("physis_open", "age_months", "weight_kg"),
        says="The growth plate of the tibia does not fit the age.",
        fix="Check the age, and the growth plate on the radiographs before surgery.",
        why="Disagrees with usual closure of the proximal tibial and tuberosity physes",
        source="common practice; closure ages from memory",
    ),
    Rule(
        id="R36", action="ask", tables=("stifles", "procedures"), broken=BONE_CUT & YOUNG,
        shows=("age_months", "physis_open", "procedures.sulcoplasty_type", "procedures.ttt_done"),
        says="The bone was cut in a very young animal, or one whose growth plate was open.",
        fix="Confirm the operation, and check the age and the growth plate.",
        why="Osteotomy through an open physis and recession in very young animals are usually "
        "avoided", source=PRACTICE,
    ),
)  # fmt: skip
