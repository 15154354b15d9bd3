"""Why a stifle is in, or where it left: one sentence for any stifle that a clinic sent."""

import re

import polars as pl

from pipeline.stopped_stifle import why_linked
from tests.pipeline.computed_twice import compute, linked_random

STIFLES = 1000
SENTENCE = re.compile(r"^[^\n]+[^.\n]\.$")


def test_the_sentence_of_1000_random_stifles_names_the_step_of_the_second_computation() -> None:
    """Of random studies: included, left at each step, sent as revisions, under a second code."""
    told: list[tuple[str, str]] = []
    for seed in range(201, 208):
        computed, linked, stifles = compute(seed, 170), *linked_random(seed, 170)
        labels = {row["name"]: row["label"] for row in computed.cohort.flow.iter_rows(named=True)}
        codes = stifles.select(pl.format("{}:{}:{}", "clinic_id", "local_animal", "side"))
        joints = linked.tables["stifles"]["stifle_id"].gather(linked.sent["stifle_no"])
        for code, joint, kind in zip(codes.to_series(), joints, linked.sent["kind"], strict=True):
            said = why_linked(computed.cohort, linked, stifles, code)
            assert SENTENCE.match(said), said
            assert joint in said
            step = computed.second.stifles[joint]["left_at"]
            if code == joint or joint not in codes.to_series():
                assert said.startswith(code)
            if step is None:
                assert f"{joint} is in the cohort" in said
            else:
                assert f'{joint} left at the step "{labels[step]}"' in said
            told.append((step or "in", kind if code != joint else "own code"))
    assert len(told) >= STIFLES
    steps, kinds = {step for step, _ in told}, {kind for _, kind in told}
    assert {"in", "species", "direction", "grade", "procedure", "other_surgery"} <= steps
    assert {"own code", "index", "revision"} <= kinds
