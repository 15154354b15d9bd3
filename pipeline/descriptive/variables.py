"""Which variables a cohort is described by, and how each is counted."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import polars as pl

from analysis.design import level_text
from schemas.codebook import Variable

ROLES = ("baseline", "exposure", "technique", "design")
# Named by hand: identifiers in disguise, or told elsewhere in the report.
LEFT_OUT = frozenset(
    {
        "breed", "country_code", "dates_shifted", "first_joint", "left_at", "lock_day",
        "log_weight_kg", "set_a", "set_b", "set_c", "set_d", "surgeon_case_no",
        "surgeon_case_in_study", "surgery_date", "session_type_reported", "lameness_scale",
        "at_risk_implant",
        "accrual_start", "accrual_end", "data_lock_date", "n_screened", "routine_recheck_day",
        "case_finding", "clinic_type", "surgeon_id", "osteotomy_ratio_raters",
        "usual_osteotomy_depth", "usual_bridge", "usual_wires", "usual_wire_level", "usual_band",
        "usual_hole", "usual_pattern", "usual_crossing", "usual_twists",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """One variable of the tables: its column, its unit of counting and its levels.

    `levels` are the declared codes for what is counted by level, None for a quantity.
    """

    column: str
    per: Literal["animal", "stifle"]
    levels: Mapping[str, str] | None

    @property
    def is_quantity(self) -> bool:
        """Whether median and quartiles describe it."""
        return self.levels is None

    def text(self, frame: pl.DataFrame) -> pl.Series:
        """Give its values as levels."""
        return level_text(frame[self.column])


def described(frame: pl.DataFrame, codebook: Iterable[Variable]) -> tuple[Described, ...]:
    """Choose the declared baseline, design and technique variables with at least one value.

    Facts of an animal (declared in the table of animals) count once an animal. A whole number
    with codes (a grade) is counted by level; text without codes is left out.
    """
    found: dict[str, Described] = {}
    for item in codebook:
        wanted = item.role in ROLES and item.name in frame.columns and item.name not in LEFT_OUT
        if not wanted or item.name in found or frame[item.name].null_count() == len(frame):
            continue
        if item.kind not in ("category", "bool", "int", "float"):
            continue
        levels = {"true": "Yes", "false": "No"} if item.kind == "bool" else item.codes
        by_level = item.kind in ("category", "bool") or bool(item.codes)
        found[item.name] = Described(
            column=item.name,
            per="animal" if item.table == "animals" else "stifle",
            levels=levels if by_level else None,
        )
    return tuple(found.values())


def counted_once(frame: pl.DataFrame, variable: Described) -> pl.DataFrame:
    """Give the rows a variable is counted on: the first stifle of an animal, or all."""
    if variable.per == "stifle":
        return frame
    return frame.sort("stifle_id").unique("animal_id", keep="first", maintain_order=True)
