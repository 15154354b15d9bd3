"""Linked tables -> the cohort: who is in, the flow, outcomes and times of every stifle."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import polars as pl

from pipeline.cohort_bounds import bounds
from pipeline.cohort_columns import declared_words, ordered
from pipeline.cohort_events import event_list, stretches
from pipeline.cohort_outcomes import outcomes
from pipeline.cohort_rows import Seen, seen_rows, stifle_facts
from pipeline.cohort_sets import with_sets
from pipeline.cohort_tables import by_number, described, numbered_joints, variables
from pipeline.eligibility import JUDGED_BY, eligibility_steps, left_at, parameters
from pipeline.flow_counts import ALL, flow_frame
from pipeline.held import blank_held, bounds_of_held, by_day, held_stifles
from pipeline.linked import Linked
from pipeline.near_matches import UNDECIDED
from pipeline.sql import ask, declare_words, open_database, with_words
from pipeline.study import Study
from shared.errors import NobodyLeftError, PlanError
from shared.side_by_side import both

# What the visits say of a stifle that belongs to the cohort.
OF_VISITS = (
    "last_adequate_day", "surely_adequate_day", "adequate_91", "adequate_183", "adequate_365",
    "last_function_class", "last_function_day",
)  # fmt: skip
COUNTED = ("relux_state", "implant_state", "relux_held", "implant_held")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cohort:
    """The analysis table and how it came about.

    Attributes
    ----------
    table
        One row per accepted index stifle, included or not, by stifle_id; its columns are
        declared in ``shared/codebook/`` (cohort.csv for what is made here). Words are codes, also
        of events: what is counted or fitted takes them as texts (``included``, ``as_text``); days
        made here have four bytes.
    flow
        One row per step and clinic ("all" for the study): what remains and what left, and why.
    events
        One row per complication, revision, luxated palpation, death and amputation.
    recurrent
        Complications in counting form: a row per stretch of time at risk of the included stifles,
        but for those held (``shared/codebook/recurrent.csv``).
    counts
        Single numbers of the flow and the sets.
    """

    table: pl.DataFrame
    flow: pl.DataFrame
    events: pl.DataFrame
    recurrent: pl.DataFrame
    counts: Mapping[str, int]

    @property
    def wide(self) -> pl.DataFrame:
        """The table with all whole numbers in eight bytes: what is counted, fitted and written."""
        return self.table.cast({pl.Int32: pl.Int64})


def build_cohort(linked: Linked, study: Study) -> Cohort:
    """Apply the protocol to linked tables.

    Raises
    ------
    NobodyLeftError
        If no stifle is left, naming the steps and how many left at each.
    PlanError
        If the protocol names a variable that does not exist, or a horizon lies beyond the data
        lock of every stifle.
    """
    sessions, known = both(lambda: _sessions(linked, study), lambda: variables(linked))
    joints = described(sessions, known)
    _require_horizons(joints, study.outcomes.horizons)
    (left, cases, flow), (seen, facts, findings) = both(
        lambda: _judged(joints, linked, study), lambda: _told(joints, linked, study)
    )
    given, (held, events) = both(
        lambda: outcomes(joints, facts, _rules(study)),
        lambda: (held_stifles(linked.holds, joints["stifle_id"]), event_list(seen, joints)),
    )
    of_visits = facts.select(OF_VISITS)
    table = pl.concat([joints, left.to_frame(), of_visits, given, cases, held], how="horizontal")
    table = with_sets(table, study)
    counted = table.select(pl.col("set_a") & ~pl.col("major_held")).to_series()
    between, recurrent = both(
        lambda: bounds(table, seen, findings),
        lambda: stretches(seen.complications, table, counted),
    )
    table = _finished(table.hstack(between), study)
    if not table["set_a"].any():
        raise _nobody_left(flow)
    counts = _counts(table, linked, flow) | {"rows_after_lock": seen.n_late}
    return Cohort(table=table, flow=flow, events=events, recurrent=recurrent, counts=counts)


def _require_horizons(joints: pl.DataFrame, horizons: Iterable[int]) -> None:
    """Refuse a horizon that no stifle can have reached by the data lock of its clinic."""
    days = joints["admin_end_day"]
    longest = days.max()
    beyond = [day for day in horizons if isinstance(longest, int) and day > longest]
    if not beyond or days.null_count():
        return
    raise PlanError(
        "study.toml, [outcomes]",
        f"horizon {beyond[0]} lies beyond the data lock of all {len(days)} stifles; the longest "
        f"time from an operation to its clinic's data lock is {longest} days",
        do=f"Take {', '.join(map(str, beyond))} out of horizons, or wait for later exports.",
    )


def explain(cohort: Cohort, stifle_id: str) -> str:
    """Say in one sentence why a stifle is in the cohort, or at which step it left."""
    row = cohort.table.filter(pl.col("stifle_id") == stifle_id)
    if row.is_empty():
        near = cohort.table["stifle_id"].sort().head(3).to_list()
        return f"{stifle_id} is no index stifle of this study; stifles are named as {near[0]}."
    found = row.row(0, named=True)
    if found["left_at"] is None:
        return f"{stifle_id} is in the cohort: {_standing(found)}."
    step = cohort.flow.filter(
        (pl.col("clinic_id") == "all") & (pl.col("name") == found["left_at"])
    ).row(0, named=True)
    return f'{stifle_id} left at the step "{step["label"]}": {step["why"]}.'


def _standing(found: Mapping[str, object]) -> str:
    sets = ", ".join(
        name[-1].upper() for name in ("set_a", "set_b", "set_c", "set_d") if found[name]
    )
    if found["relux_held"]:
        outcome = "its reluxation outcome is held until the clinic answers"
    elif found["relux_state"] is None:
        outcome = "it was never palpated after surgery, so it is not at risk of reluxation"
    else:
        state = str(found["relux_state"]).replace("_", " ")
        outcome = f"its time at risk of reluxation ends on day {found['relux_day']} ({state})"
    return f"it passed every step, belongs to the sets {sets}, and {outcome}"


def _sessions(linked: Linked, study: Study) -> pl.DataFrame:
    with open_database({"stifles": numbered_joints(linked)}) as connection:
        words = declared_words("session_type")
        declare_words(connection, words)
        return with_words(ask(connection, "sessions", {"seed": str(study.seed)}), words)


def _judged(
    joints: pl.DataFrame, linked: Linked, study: Study
) -> tuple[pl.Series, pl.DataFrame, pl.DataFrame]:
    """Give the step at which each stifle left, its surgeon's running case, and the flow."""
    protocol = study.eligibility
    shown = joints.select(JUDGED_BY).with_row_index("stifle_no")
    with open_database({"joints": shown}) as connection:
        passed = ask(connection, "eligibility", parameters(protocol))
        left = left_at(by_number(passed, joints.height), joints, protocol)
        cases = ask(connection, "surgeon_cases", {"accrual_start": protocol.accrual_start})
    leaving = joints.select("clinic_id", left, linked.animals["animal_no"])
    flow = flow_frame(leaving, linked.operations, eligibility_steps(protocol))
    return left, by_number(cases, joints.height), flow


def _told(
    joints: pl.DataFrame, linked: Linked, study: Study
) -> tuple[Seen, pl.DataFrame, pl.DataFrame]:
    """Give the rows below the stifles, what they say of each, and the reluxation findings."""
    seen = seen_rows(linked, joints)
    changes = study.outcomes.changes_construct
    return seen, *stifle_facts(seen, n_stifles=joints.height, changes_construct=changes)


def _rules(study: Study) -> Mapping[str, object]:
    """Give the parameters of the statements of outcomes and times."""
    rules = study.outcomes
    return {
        "complete_from_day": rules.complete_from_day,
        "death_window_days": rules.death_window_days,
        "shared_hardware": study.eligibility.cruciate_procedure != "out_of_implant_outcomes",
        "window_days": rules.window_days,
    }


def _finished(table: pl.DataFrame, study: Study) -> pl.DataFrame:
    """Add outcomes by day, make held outcomes unknown, and put the columns in order."""
    rules = study.outcomes
    table = by_day(table, rules.horizons, rules.window_days)
    table = blank_held(bounds_of_held(table), rules.horizons)
    return ordered(table, rules.horizons)


def _counts(table: pl.DataFrame, linked: Linked, flow: pl.DataFrame) -> dict[str, int]:
    kinds = linked.operations["kind"]
    included = table.select("set_a", *COUNTED).filter("set_a")
    last = flow.filter(pl.col("clinic_id") == ALL).sort("step").row(-1, named=True)
    return {
        "operations": linked.operations.height,
        "index_operations": int((kinds == "index").sum()),
        "revisions": int((kinds == "revision").sum()),
        "earlier_operations": int((kinds == "earlier").sum()),
        "reported_twice": linked.n_reported_twice,
        "accepted_stifles": table.height,
        **{name: int(table[name].sum()) for name in ("set_a", "set_b", "set_c", "set_d")},
        "included_animals": last["animals"],
        "relux_at_risk": included["relux_state"].count(),
        "implant_at_risk": included["implant_state"].count(),
        "relux_held": int(included["relux_held"].sum()),
        "implant_held": int(included["implant_held"].sum()),
        "near_matches": linked.near_matches.filter(pl.col("decision") == UNDECIDED).height,
    }


def _nobody_left(flow: pl.DataFrame) -> NobodyLeftError:
    total = flow.filter((pl.col("clinic_id") == "all") & (pl.col("left_stifles") > 0))
    said = [f"{row['left_stifles']} left at {row['label']}" for row in total.iter_rows(named=True)]
    return NobodyLeftError(
        "study.toml, [eligibility]",
        f"nobody is left in the cohort ({'; '.join(said) or 'no stifle was accepted'})",
        do="Widen the switch at which most left, or see the query lists for what was stopped.",
    )
