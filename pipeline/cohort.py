"""Linked tables -> the cohort: who is in, the flow, outcomes and times of every stifle."""

from collections.abc import Mapping
from dataclasses import dataclass

import duckdb
import polars as pl

from pipeline.cohort_columns import ordered
from pipeline.eligibility import eligibility_steps, left_at, parameters
from pipeline.flow_counts import flow_frame
from pipeline.held import blank_held, bounds_of_held, by_day, held_stifles
from pipeline.intake.mapped import ADDRESS
from pipeline.link import Linked
from pipeline.near_matches import UNDECIDED
from pipeline.sql import make_macro, open_database, run_sql
from pipeline.study import Study
from shared.errors import NobodyLeftError

# The day that places a row in time; a row after the clinic's data lock is not seen.
SEEN: Mapping[str, str] = {
    "rechecks": "recheck_day",
    "complications": "detected_day",
    "revisions": "revision_day",
}
IMPLANT_FIXATION = ("k_wire", "k_wire_tension_band")
NO_CRUCIATE_IMPLANT = ("none", "extracapsular_suture")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cohort:
    """The analysis table and how it came about.

    Attributes
    ----------
    table
        One row per accepted index stifle, included or not, by stifle_id; its columns are
        declared in ``shared/codebook/`` (cohort.csv for what is made here).
    flow
        One row per step and clinic ("all" for the study): what remains and what left, and why.
    events
        One row per complication, revision, luxated palpation, death and amputation.
    counts
        Single numbers of the flow and the sets.
    """

    table: pl.DataFrame
    flow: pl.DataFrame
    events: pl.DataFrame
    counts: Mapping[str, int]


def build_cohort(linked: Linked, study: Study) -> Cohort:
    """Apply the protocol to linked tables.

    Raises
    ------
    NobodyLeftError
        If no stifle is left, naming the steps and how many left at each.
    PlanError
        If the protocol names a variable that does not exist.
    """
    with open_database(linked.tables) as connection:
        sessions = run_sql(connection, "sessions", {"seed": str(study.seed)})
        joints = _described(sessions, linked.tables)
        connection.register("joints", joints)
        n_late = _see_until_lock(connection, linked.tables, joints)
        passed = run_sql(connection, "eligibility", parameters(study.eligibility))
        table = joints.join(
            left_at(passed, joints, study.eligibility), on="stifle_id", maintain_order="left"
        )
        for part in _outcomes(connection, study):
            table = table.join(part, on="stifle_id", how="left", maintain_order="left")
        events = run_sql(connection, "event_list")
    table = table.join(held_stifles(linked.holds, table), on="stifle_id", maintain_order="left")
    table = _finished(table, study)
    steps = eligibility_steps(study.eligibility)
    flow = flow_frame(table, linked.operations, steps)
    if not table["set_a"].any():
        raise _nobody_left(flow)
    counts = _counts(table, linked) | {"rows_after_lock": n_late}
    return Cohort(table=table, flow=flow, events=events, counts=counts)


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


def _described(sessions: pl.DataFrame, tables: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """Put every variable of the joint, its animal and its operation beside its session."""
    stifles, animals, operations = (
        tables[name].drop(*ADDRESS, "derived") for name in ("stifles", "animals", "procedures")
    )
    animals = animals.drop("animal_id", "link_token", "joined", "death_cause")
    operations = operations.drop("animal_id", "clinic_id", "local_stifle")
    return (
        sessions.join(stifles.drop("surgery_year"), on="stifle_id", maintain_order="left")
        .join(animals, on=["clinic_id", "local_animal"], how="left", maintain_order="left")
        .join(operations, on="stifle_id", how="left", maintain_order="left")
    )


def _see_until_lock(
    connection: duckdb.DuckDBPyConnection,
    tables: Mapping[str, pl.DataFrame],
    joints: pl.DataFrame,
) -> int:
    """Register what was known by the data lock of the index clinic; give the rows after it.

    A referring clinic's rows after the lock are not used: who is seen elsewhere later would
    otherwise be followed longer than the others.
    """
    lock = joints.select("stifle_id", "admin_end_day")
    n_late = 0
    for name, day in SEEN.items():
        dated = tables[name].join(lock, on="stifle_id", how="inner", maintain_order="left")
        late = (pl.col(day) > pl.col("admin_end_day")).fill_null(value=False)
        n_late += dated.filter(late).height
        connection.register(f"seen_{name}", dated.filter(~late).drop("admin_end_day"))
    connection.register("seen_implants", _implants_until_lock(tables["implants"], lock))
    return n_late


def _implants_until_lock(implants: pl.DataFrame, lock: pl.DataFrame) -> pl.DataFrame:
    """Give the implants as at the lock: what was taken out later was still in place."""
    dated = implants.join(lock, on="stifle_id", how="inner", maintain_order="left")
    late = (pl.col("implant_removed_day") > pl.col("admin_end_day")).fill_null(value=False)
    return dated.with_columns(
        pl.when(~late).then(pl.col(name)).alias(name)
        for name in ("implant_removed_day", "implant_removal_reason")
    ).drop("admin_end_day")


def _outcomes(connection: duckdb.DuckDBPyConnection, study: Study) -> list[pl.DataFrame]:
    """Run the statements of outcomes and times, in the order in which they need each other."""
    rules = study.outcomes
    make_macro(connection, "state_of")
    make_macro(connection, "day_of")
    shared = study.eligibility.cruciate_procedure != "out_of_implant_outcomes"
    given: Mapping[str, Mapping[str, object]] = {
        "contacts": {"complete_from_day": rules.complete_from_day},
        "endings": {
            "changes_construct": list(rules.changes_construct) or [""],
            "death_window_days": rules.death_window_days,
        },
        "implant_states": {"shared_hardware": shared},
        "infections": {"window_days": rules.window_days},
    }
    order = (
        "palpations", "known_days", "contacts", "reluxation_findings", "reluxation_days",
        "opposite_days", "endings", "reluxation_states", "reluxation_bounds", "tuberosity_implants",
        "implant_events", "implant_states", "implant_bounds", "major_states", "infections",
        "complication_counts", "derived_measures",
    )  # fmt: skip
    made = {name: run_sql(connection, name, given.get(name)) for name in order}
    one_per_stifle = (
        "contacts", "reluxation_states", "reluxation_bounds", "tuberosity_implants",
        "implant_states", "implant_bounds", "major_states", "infections", "complication_counts",
        "derived_measures",
    )  # fmt: skip
    return [made[name] for name in one_per_stifle]


def _finished(table: pl.DataFrame, study: Study) -> pl.DataFrame:
    """Add sets and outcomes by day, make held outcomes unknown, and put the columns in order."""
    rules, protocol = study.outcomes, study.eligibility
    in_a = pl.col("left_at").is_null()
    table = by_day(table, rules.horizons, rules.window_days)
    followed = pl.col("relux_state").is_not_null() & (
        (pl.col("last_adequate_day") >= protocol.set_b_from_day).fill_null(value=False)
        | (pl.col("relux_state") != "censored")
    )
    pinned = pl.col("ttt_done") & pl.col("ttt_fixation").is_in(IMPLANT_FIXATION)
    apart = pl.col("cruciate_procedure").is_in(NO_CRUCIATE_IMPLANT).fill_null(value=True)
    if protocol.cruciate_procedure != "out_of_implant_outcomes":
        apart = pl.lit(value=True)
    table = table.with_columns(
        set_a=in_a,
        set_b=in_a & followed,
        set_c=in_a & pl.col("first_joint"),
        set_d=in_a & (pinned & apart).fill_null(value=False),
    )
    table = blank_held(bounds_of_held(table), rules.horizons)
    return ordered(table, rules.horizons)


def _counts(table: pl.DataFrame, linked: Linked) -> dict[str, int]:
    kinds = linked.operations["kind"]
    included = table.filter(pl.col("set_a"))
    return {
        "operations": linked.operations.height,
        "index_operations": int((kinds == "index").sum()),
        "revisions": int((kinds == "revision").sum()),
        "earlier_operations": int((kinds == "earlier").sum()),
        "reported_twice": linked.n_reported_twice,
        "accepted_stifles": table.height,
        **{name: int(table[name].sum()) for name in ("set_a", "set_b", "set_c", "set_d")},
        "included_animals": included["animal_id"].n_unique(),
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
