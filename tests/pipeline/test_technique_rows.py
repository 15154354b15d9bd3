"""Technique adherence by stifle and clinic, and the agreement of a study's raters."""

from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.descriptive.adherence import adherence
from pipeline.descriptive.raters import rater_agreement, readings_of
from shared.estimate import Estimate, results_frame
from tests.pipeline.eight_stifles import one
from tests.pipeline.invented import CODEBOOK, cohort_of, joint, only, outcomes, tables_of, visit

PUBLISHED = Path(__file__).parents[2] / "shared" / "published"
SEEN = {"rechecks": [visit(42)]}
BAND = {"ttt_fixation": "k_wire_tension_band", "tension_band_done": True}


@pytest.mark.parametrize(
    ("procedure", "item", "met"),
    [
        ({"osteotomy_depth_mm": 2.5, "tibial_depth_mm": 10.0}, "usual_osteotomy_depth", True),
        ({"osteotomy_depth_mm": 4.3, "tibial_depth_mm": 10.0}, "usual_osteotomy_depth", False),
        ({"osteotomy_depth_mm": 3.0}, "usual_osteotomy_depth", None),
        ({"ttt_done": False, "distal_bridge": "intact"}, "usual_bridge", None),
        ({"distal_bridge": "cracked"}, "usual_bridge", False),
        ({"kwire_count": 2}, "usual_wires", True),
        ({"kwire_count": 2, "kwire_arrangement": "divergent"}, "usual_wires", False),
        ({"kwire_count": 1, "kwire_arrangement": "single"}, "usual_wires", False),
        ({"kwire_count": None, "ttt_fixation": "screw"}, "usual_wires", None),
        ({"kwire_level": "at_insertion"}, "usual_wire_level", False),
        ({"kwire_level": None}, "usual_wire_level", None),
        ({}, "usual_band", False),
        (BAND, "usual_band", True),
        ({"ttt_fixation": "wire_only", "tension_band_done": True}, "usual_band", None),
        (BAND | {"tb_hole_distance_mm": 8.0, "kwire_distance_mm": 12.0}, "usual_hole", True),
        (BAND | {"tb_hole_distance_mm": 7.9, "kwire_distance_mm": 12.0}, "usual_hole", False),
        ({"tb_hole_distance_mm": 8.0, "kwire_distance_mm": 12.0}, "usual_hole", None),
        (BAND | {"tb_pattern": "simple_loop"}, "usual_pattern", False),
        (BAND | {"tb_pattern": "simple_loop", "tb_crossing": "over_tuberosity"},
         "usual_crossing", None),
        (BAND | {"tb_crossing": "distal_to_tuberosity"}, "usual_crossing", False),
        (BAND | {"tb_twists": 2}, "usual_twists", True),
        (BAND | {"tb_twists": 0}, "usual_twists", False),
    ],
)  # fmt: skip
def test_an_item_is_met_or_not_or_does_not_apply(
    procedure: dict[str, Any], item: str, met: bool | None
) -> None:
    assert only(cohort_of(joint(course=SEEN, procedure=procedure)))[item] is met


def test_hole_distance_is_set_against_that_of_the_wires() -> None:
    sizes = {"tb_hole_distance_mm": 9.0, "kwire_distance_mm": 12.0}
    with_band, without, at_the_end = outcomes(
        joint(course=SEEN, procedure=BAND | sizes), joint(course=SEEN, procedure=sizes),
        joint(course=SEEN, procedure=BAND | sizes | {"kwire_distance_mm": 0.0}),
    )  # fmt: skip
    assert with_band["hole_distance_ratio"] == pytest.approx(0.75)
    assert without["hole_distance_ratio"] is None
    assert at_the_end["hole_distance_ratio"] is None


def test_adherence_counts_where_an_item_applies_and_is_known() -> None:
    """Of four joints one has no transposition and one does not say; of the other two one is."""
    made = [
        joint(f"A{place}", course=SEEN, procedure=procedure)
        for place, procedure in enumerate((
            {"distal_bridge": "intact"}, {"distal_bridge": "detached"}, {"distal_bridge": None},
            {"ttt_done": False, "ttt_fixation": None, "kwire_count": None, "distal_bridge": None},
        ))
    ]  # fmt: skip
    rows = list(adherence(cohort_of(*made).table))
    found = one(rows, group="north", term="usual_bridge")
    assert (found.events, found.n, found.n_dropped, found.estimate) == (1, 2, 1, 0.5)
    wires = one(rows, group="all", term="kwire_depth_ratio")
    assert (wires.n, wires.n_dropped, wires.concerns) == (0, 3, ("too_few",))
    assert len(results_frame(rows)) == len(rows)


def readings(rows: list[dict[str, Any]]) -> list[Estimate]:
    """Agreement of readings of images, each of an animal of its own."""
    images = sorted({str(row["image_id"]) for row in rows})
    cohort = cohort_of(*(joint(image, course=SEEN) for image in images)).table
    empty = tables_of(joint())["measurements"]
    given = [
        {"clinic_id": "north", "local_stifle": f"{row['image_id']}:left", "read_no": 1} | row
        for row in rows
    ]
    filled = pl.DataFrame(
        [{name: row.get(name) for name in empty.columns} for row in given], schema=empty.schema
    ).with_columns(
        stifle_id=pl.format("north:{}", "local_stifle"), animal_id=pl.col("local_stifle")
    )
    return list(rater_agreement(readings_of(filled, cohort)))


def test_raters_of_a_study_agree_as_published_judges_do() -> None:
    """Shrout & Fleiss 1979 (from memory; digits by R): six targets by four judges, and a seventh
    that two of them read: .29 of one judge, .62 of the mean of four."""
    table = pl.read_csv(PUBLISHED / "shrout_fleiss.csv")
    given = [
        {
            "image_id": f"I{place}",
            "rater_id": judge,
            "measure": "q_angle_deg",
            "value": float(value),
        }
        for place, row in enumerate(table.iter_rows(named=True))
        for judge, value in row.items()
    ]
    given += [given[0] | {"image_id": "I9"}, given[1] | {"image_id": "I9"}]
    rows = readings(given)
    single = one(rows, measure="intraclass_correlation", state="one rater")
    assert single.estimate == pytest.approx(0.289763779527559, rel=1e-9)
    assert single.low == pytest.approx(0.018786513374712, rel=1e-9)
    assert (single.n, single.n_dropped, single.concerns) == (6, 1, ())
    mean = one(rows, measure="intraclass_correlation", state="mean of raters")
    assert mean.estimate == pytest.approx(0.620050547598989, rel=1e-9)
    assert len({row.level for row in rows if row.measure == "mean_difference"}) == 6
    assert len(results_frame(rows)) == len(rows)


def test_two_raters_differ_as_published_meters_do() -> None:
    """Bland & Altman 1986 (from memory; digits by R): 1.96 SD limits -78.10 and 73.86 of the
    first readings; repeatability of the two readings of one meter."""
    table = pl.read_csv(PUBLISHED / "pefr.csv")
    first = [
        {"image_id": f"I{row['subject']}", "rater_id": rater, "measure": "q_angle_deg",
         "value": float(row[f"{rater}1"])}
        for row in table.iter_rows(named=True) for rater in ("wright", "mini")
    ]  # fmt: skip
    pair = {"level": "mini / wright"}
    rows = readings(first)
    assert one(rows, **pair, measure="mean_difference").estimate == pytest.approx(2.11764705882353)
    limits = [one(rows, **pair, measure=f"{end}_limit_of_agreement").estimate
              for end in ("lower", "upper")]  # fmt: skip
    z = 1.959963984540054 / 1.96
    middle, half = 2.11764705882353, z * (73.8620074934469 + 78.097301611094) / 2
    assert limits == pytest.approx([middle - half, middle + half])
    again = [
        {"image_id": f"I{row['subject']}", "rater_id": "wright", "measure": "q_angle_deg",
         "value": float(row["wright2"]), "read_no": 2}
        for row in table.iter_rows(named=True)
    ]  # fmt: skip
    found = one(readings([*first, *again]), measure="repeatability")
    assert (found.level, found.n) == ("wright / wright", 17)
    assert found.estimate == pytest.approx(1.959963984540054 * 21.6468989763919)


def test_the_ratio_of_two_lengths_needs_no_scale_and_has_a_kappa() -> None:
    """Ratios .2, .3, .5 and .3 by one rater, .3, .3, .5 and .3 by the other: of three classes
    they agree in three of four; squared weights: agreement 15/16, by chance 13/16: 2/3."""
    ratios = {"R1": (2.0, 3.0, 5.0, 3.0), "R2": (3.0, 3.0, 5.0, 3.0)}
    given = [
        {"image_id": f"I{place}", "rater_id": rater, "measure": measure, "value": value,
         "calibrated": False}
        for rater, values in ratios.items() for place, depth in enumerate(values)
        for measure, value in (("osteotomy_depth_mm", depth), ("tibial_depth_mm", 10.0))
    ]  # fmt: skip
    rows = readings(given)
    assert {row.term for row in rows} == {"osteotomy_ratio"}
    kappa = one(rows, measure="weighted_kappa", level="R1 / R2")
    assert kappa.estimate == pytest.approx(2 / 3)


def test_raters_who_share_too_few_images_have_no_number() -> None:
    given = [
        {"image_id": f"I{place}", "rater_id": rater, "measure": "q_angle_deg", "value": 10.0}
        for place in range(2) for rater in ("R1", "R2")
    ]  # fmt: skip
    assert readings(given) == []


def test_items_are_declared_with_their_source() -> None:
    items = [item for item in CODEBOOK if item.name.startswith("usual_")]
    assert len(items) == 9
    assert {item.source for item in items} == {"common practice"}
