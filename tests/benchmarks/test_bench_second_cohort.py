"""200 random studies, each computed by SQL and again in plain Python from the definitions.

Run by ``make bench``; 25 of such studies are in the suite. Prints the stifles and studies compared,
the values compared and the differences, which must be none.
"""

from collections.abc import Callable

import polars as pl

from tests.pipeline.computed_twice import compute

STUDIES, STIFLES = 200, 300
Publish = Callable[[pl.DataFrame, str, str], None]


def test_both_computations_of_200_studies_agree(publish: Publish) -> None:
    stifles = values = steps = 0
    differences: list[str] = []
    for seed in range(1000, 1000 + STUDIES):
        computed = compute(seed, STIFLES)
        stifles += len(computed.second.stifles)
        values += sum(map(len, computed.second.stifles.values()))
        steps += computed.cohort.flow.height
        differences += computed.differences
    table = pl.DataFrame(
        {
            "studies": [STUDIES],
            "stifles": [stifles],
            "values": [values],
            "steps of the flow": [steps],
            "differences": [len(differences)],
        }
    )
    publish(table, "The cohort computed twice", "second_cohort.md")
    assert differences == []
