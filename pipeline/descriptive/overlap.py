"""Who uses which technique: without both techniques in one hand there is nothing to compare."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

import polars as pl

from pipeline.descriptive.arms import Exposure
from shared.estimate import Estimate

BETWEEN = " / "  # between clinic and surgeon: surgeon codes are unique within a clinic only


def overlap(exposures: Iterable[Exposure]) -> Iterator[Estimate]:
    """Count technique by clinic ("overlap_e") and by surgeon ("overlap_surgeon_e").

    A clinic or surgeon with one technique only carries no_overlap; a surgeon who is not
    recorded is counted under "clinic / not recorded".
    """
    for exposure in exposures:
        base = Estimate(
            analysis=f"overlap_{exposure.column}", term=exposure.column, measure="count",
            population=exposure.population,
        )  # fmt: skip
        yield from _counts(base, exposure, exposure.frame["clinic_id"])
        if "surgeon_id" in exposure.frame.columns:
            surgeon = exposure.frame.select(
                pl.concat_str(
                    "clinic_id", pl.col("surgeon_id").fill_null("not recorded"), separator=BETWEEN
                )
            ).to_series()
            analysis = f"overlap_surgeon_{exposure.column}"
            yield from _counts(replace(base, analysis=analysis), exposure, surgeon)


def _counts(base: Estimate, exposure: Exposure, hands: pl.Series) -> Iterator[Estimate]:
    frame = pl.DataFrame({"hand": hands, "arm": exposure.frame["arm"]})
    for hand in frame["hand"].unique().sort().to_list():
        arms = frame.filter(pl.col("hand") == hand)["arm"]
        counts = {level: int((arms == level).sum()) for level in exposure.levels}
        alone = sum(count > 0 for count in counts.values()) == 1
        for level, count in counts.items():
            yield replace(
                base, group=hand, level=level, estimate=float(count), events=count, n=len(arms),
                concerns=("no_overlap",) if alone and len(exposure.levels) > 1 else (),
            )  # fmt: skip
