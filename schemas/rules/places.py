"""Rules on whether a row has a place: copies, test records, orphans, later operations."""

from datetime import date

import polars as pl

from schemas.codebook import CANONICAL_TABLES, KEYS
from schemas.rules.declared import PLACE, RUNNING_NUMBERS
from schemas.rules.joined import made_once, own_columns, select_columns
from schemas.rules.repeated import repeated
from schemas.rules.rule import Frames, Rule

LOGIC = "logical consistency"
PRACTICE = "common practice, no published source"
# Equal but for such a number, rows are copies. A second reading of an image is none: two equal
# readings are what agreement is measured by. Nor is a second wire of one size.
NUMBERS = RUNNING_NUMBERS - {"read_no", "implant_no"}
PLACE_OF_ROW = ("file", "sheet", "row", "block")
ADDRESS = ("row_id", *PLACE_OF_ROW, "derived")
TEST_WORD = r"(?i)(^|[^a-z])(test|demo|dummy|prueba|xxx)"
TEST_DATES = (date(1900, 1, 1), date(1970, 1, 1))
# Weights of 0 and 1 kg are no proof alone: a blank turned into 0, or a very small dog.
TEST_WEIGHTS = (99.9, 999.0)


def exact_copies(table: str, frames: Frames) -> pl.DataFrame:
    """Give the rows equal in every field to one that stands before them."""
    frame = own_columns(frames, table)
    own = [name for name in frame.columns
           if "." not in name and name not in ADDRESS and name not in NUMBERS]  # fmt: skip
    placed = sorted(name for other, name in PLACE if other == table)
    known = pl.all_horizontal(pl.col(placed).is_not_null())  # two unread days are no copies
    alike = repeated(frame.filter(known) if frame.select((~known).any()).item() else frame, placed)
    return alike.filter(~pl.struct(own).is_first_distinct())


def same_key_again(table: str, frames: Frames) -> pl.DataFrame:
    """Give the rows whose key stands before them in another row."""
    key = KEYS[table]
    rows = select_columns(frames, table, ["row_id", *key, *PLACE_OF_ROW])
    return repeated(rows, key).filter(
        ~pl.struct(key).is_first_distinct(), pl.all_horizontal(pl.col(*key).is_not_null())
    )


def _joint_again(frames: Frames) -> pl.DataFrame:
    return made_once(frames, "joint again", _later_rows)


def _later_rows(frames: Frames) -> pl.DataFrame:
    """Give the stifle rows of a joint that has another row."""
    joint = ("clinic_id", "local_animal", "side")
    rows = select_columns(frames, "stifles", ["row_id", *joint, "surgery_date", *PLACE_OF_ROW])
    stifles = repeated(rows, joint).filter(
        pl.col("side").is_not_null(), pl.col("local_animal").is_not_null(),
        pl.col("surgery_date").is_not_null(),
    )  # fmt: skip
    return stifles.with_columns(
        first_date=pl.col("surgery_date").min().over(joint),
        place=pl.int_range(pl.len()).over(joint, order_by=["surgery_date", "file", "sheet", "row"]),
    ).filter(pl.col("place") > 0)


def same_day_again(frames: Frames) -> pl.DataFrame:
    """Give further stifle rows of one joint with the date of its first operation."""
    return _joint_again(frames).filter(pl.col("surgery_date") == pl.col("first_date"))


def later_operations(frames: Frames) -> pl.DataFrame:
    """Give stifle rows that are a later operation on a joint operated before."""
    again = _joint_again(frames).filter(pl.col("surgery_date") > pl.col("first_date"))
    days = (pl.col("surgery_date") - pl.col("first_date")).dt.total_days()
    return again.with_columns(
        detail=pl.concat_str(pl.lit("First operation "), days, pl.lit(" days before."))
    )


def second_descriptions(frames: Frames) -> pl.DataFrame:
    """Give further procedure rows of one joint, but for those of a joint that stands twice."""
    return same_key_again("procedures", frames).join(
        _joint_again(frames), on=["clinic_id", *PLACE_OF_ROW], how="anti",
        maintain_order="left", nulls_equal=True,
    )  # fmt: skip


def _orphans(table: str, parent: str, column: str) -> Rule:
    what = "an operation" if parent == "stifles" else "an animal"
    return Rule(
        id="R01", action="stop", tables=(table, parent),
        broken=pl.col(f"{parent}.stands").is_null() & pl.col(column).is_not_null(),
        shows=(column,),
        says=f"This row belongs to {what} that is not in the clinic's export.",
        fix="Check the animal's code and the side, or send the missing row.",
        why="Orphan rows silently vanish in a join", source=LOGIC,
    )  # fmt: skip


def _copies(table: str) -> Rule:
    return Rule(
        id="R07", action="set_aside", tables=(table,),
        broken=lambda frames: exact_copies(table, frames),
        shows=(KEYS[table][-1] if table == "stifles" else "local_stifle",),
        says="This row is an exact copy of one before it and is counted once.",
        fix="Nothing to do.", why="A row drawn twice is one row", source=LOGIC,
    )  # fmt: skip


CHILDREN = tuple(name for name in CANONICAL_TABLES if name not in {"clinics", "animals", "stifles"})
ORPHANS = (
    _orphans("stifles", "animals", "local_animal"),
    *(_orphans(table, "stifles", "local_stifle") for table in CHILDREN),
)
COPIES = tuple(_copies(table) for table in ("stifles", *CHILDREN))
TEST_ANIMAL = Rule(
    id="R08", action="set_aside", tables=("animals",),
    broken=pl.col("local_animal").str.contains(TEST_WORD)
    | pl.col("breed").str.contains(TEST_WORD),
    shows=("local_animal", "breed"), says="This is a test record and is not counted.",
    fix="Nothing to do.", why="Training records are in most practice databases", source=PRACTICE,
)  # fmt: skip
TEST_OPERATION = Rule(
    id="R08", action="set_aside", tables=("stifles",),
    broken=pl.col("surgery_date").is_in(TEST_DATES)
    | pl.col("weight_kg").is_in(TEST_WEIGHTS),
    shows=("weight_kg", "surgery_date"), says="This is a test record and is not counted.",
    fix="Nothing to do.", why="Training records are in most practice databases", source=PRACTICE,
)  # fmt: skip
SAME_DAY_AGAIN = Rule(
    id="R02", action="hold", tables=("stifles",), broken=same_day_again,
    shows=("side", "surgery_date", "weight_kg", "grade_preop"),
    says="The same joint stands twice with the same day of surgery, and the rows differ.",
    fix="Say which row is right; if the sides were mixed up, give the right side.",
    why="Two rows for one joint mean a duplicate or an unrecognised revision", source=LOGIC,
    holds=("outcome:all",),
)  # fmt: skip
LATER_OPERATION = Rule(
    id="R70", action="derive", tables=("stifles", "revisions"), broken=later_operations,
    shows=("surgery_date", "side"),
    says="This joint was operated before; the row is counted as a revision of that operation.",
    fix="Confirm that it is the same animal and joint, and give the reason for the operation.",
    why="Counts a failure as a fresh case", source=LOGIC,
)  # fmt: skip
SECOND_PROCEDURE = Rule(
    id="C06", action="hold", tables=("procedures",),
    broken=second_descriptions, shows=("local_stifle",),
    says="The operation of this joint is described twice, and the descriptions differ.",
    fix="Say which row is right.", why="One operation has one description", source=LOGIC,
)  # fmt: skip
NUMBER_TWICE = tuple(
    Rule(
        id="C06", action="ask", tables=(table,),
        broken=lambda frames, table=table: same_key_again(table, frames),
        shows=(KEYS[table][-1],), says="The running number is used twice for this joint.",
        fix="Check whether both rows are meant.", why="Numbers tell events apart", source=LOGIC,
    )
    for table in ("implants", "complications", "revisions")
)  # fmt: skip
SIDE = Rule(
    id="R03", action="stop", tables=("stifles",),
    broken=pl.col("side").is_null() | pl.col("side").is_in(["left", "right"]).not_(),
    shows=("side",),
    says="The side is not known, or the cell speaks of both sides.",
    fix="Give left or right; if both knees were operated, one row for each.",
    why="The joint is the unit of analysis", source=LOGIC,
)  # fmt: skip
TEST_RULES = (TEST_ANIMAL, TEST_OPERATION)
AGAIN_RULES = (SAME_DAY_AGAIN, LATER_OPERATION, SECOND_PROCEDURE)
PLACE_RULES = (SIDE, *ORPHANS, *NUMBER_TWICE)
