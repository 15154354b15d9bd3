"""Every rule of the project, in the order in which they are judged."""

from schemas.rules.across import ACROSS_RULES
from schemas.rules.animals import ANIMAL_RULES, CONFLICT_RULES
from schemas.rules.construct import CONSTRUCT_RULES
from schemas.rules.events import EVENT_RULES
from schemas.rules.exports import EXPORT_RULES
from schemas.rules.growth import GROWTH_RULES
from schemas.rules.implants import IMPLANT_RULES
from schemas.rules.measurements import MEASUREMENT_RULES
from schemas.rules.pairs import PAIR_RULES
from schemas.rules.places import AGAIN_RULES, COPIES, PLACE_RULES, TEST_RULES
from schemas.rules.pooled import POOLED_RULES
from schemas.rules.procedures import PROCEDURE_RULES
from schemas.rules.rechecks import RECHECK_RULES
from schemas.rules.stifles import STIFLE_RULES
from schemas.rules.surgeons import SURGEON_RULES

# First what is no case, then what stands twice; the rest is judged on one row per key.
FIRST_RULES = (*TEST_RULES, *COPIES, *CONFLICT_RULES, *AGAIN_RULES)
MAIN_RULES = (
    *PLACE_RULES, *STIFLE_RULES, *GROWTH_RULES, *PROCEDURE_RULES, *CONSTRUCT_RULES,
    *EVENT_RULES,
    *ANIMAL_RULES, *PAIR_RULES, *ACROSS_RULES, *IMPLANT_RULES, *MEASUREMENT_RULES,
    *POOLED_RULES, *RECHECK_RULES, *SURGEON_RULES, *EXPORT_RULES,
)  # fmt: skip
RULES = (*FIRST_RULES, *MAIN_RULES)
# The consistency rules of the study protocol; each is made, or says here why it is not.
LISTED = tuple(f"R{number:02d}" for number in range(1, 89))
NOT_MADE: dict[str, str] = {}

__all__ = [
    "AGAIN_RULES", "CONFLICT_RULES", "COPIES", "FIRST_RULES", "LISTED", "MAIN_RULES", "NOT_MADE",
    "RULES", "TEST_RULES",
]  # fmt: skip
