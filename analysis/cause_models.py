"""Two cause-specific Cox models brought to one grid of days."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from analysis.arrays import FloatArray, IntArray
from analysis.cox_result import CoxFit
from analysis.kernels.cause_specific import Hazards
from analysis.kernels.cox import CoxData
from analysis.kernels.cox_influence import hazard_steps
from analysis.kernels.cox_likelihood import risk_sums


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CauseModel:
    """A fitted cause-specific Cox model, and its terms if all rows had each level.

    `arms` maps a level to a matrix of shape (n, p), rows and columns as those of the fit.
    """

    fit: CoxFit = field(repr=False)
    arms: Mapping[str, FloatArray] = field(repr=False)

    @property
    def centred_arms(self) -> tuple[FloatArray, ...]:
        """Terms of each arm less the centre of the fit's baseline hazard."""
        return tuple(matrix - self.fit.data.centre for matrix in self.arms.values())

    @property
    def relative_hazards(self) -> tuple[FloatArray, ...]:
        """Hazard of each row under each arm, relative to the baseline, shape (n,) each."""
        return tuple(np.exp(terms @ self.fit.coefficients) for terms in self.centred_arms)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DayGrid:
    """Days with an event of either kind up to the last day asked for, and where they are asked."""

    day: FloatArray  # (T,)
    asked: IntArray  # place of the last grid day at or before each day asked for, -1 if none
    stratum: IntArray  # (n,) of the rows
    n_strata: int

    def spread(self, data: CoxData, steps: FloatArray) -> FloatArray:
        """Put steps at slots, shape (K, ...), on the grid: (strata, T, ...)."""
        used, place = self.slots(data)
        out = np.zeros((self.n_strata, len(self.day), *steps.shape[1:]))
        out[data.slot_stratum[used], place] = steps[used]
        return out

    def slots(self, data: CoxData) -> tuple[IntArray, IntArray]:
        """Slots that lie on the grid, and their place there."""
        used = np.flatnonzero(data.slot_day <= (self.day[-1] if len(self.day) else -1.0))
        return used, np.searchsorted(self.day, data.slot_day[used]).astype(np.int64)


def check_models(event: CauseModel, competing: CauseModel | None, reference: str) -> None:
    """Check that two models can be put together.

    Raises
    ------
    ValueError
        If a fit holds no number for a term, fits or arms have other rows, or the reference is no
        arm.
    """
    for name, model in (("event", event), ("competing", competing)):
        if model is None:
            continue
        if not model.fit.converged or model.fit.separated:
            raise ValueError(f"{name} must be a fit with a number for every term")
        if model.arms.keys() != event.arms.keys():
            raise ValueError(f"{name} must have the arms {', '.join(event.arms)}")
        if len(model.fit.rows.time) != len(event.fit.rows.time):
            raise ValueError(f"{name} must be fitted on the same {event.fit.n} rows")
        for arm, matrix in model.arms.items():
            if matrix.shape != model.fit.rows.x.shape:
                raise ValueError(
                    f"{name} must have shape {model.fit.rows.x.shape} in arm {arm}, "
                    f"got {matrix.shape}"
                )
    if reference not in event.arms:
        raise ValueError(f"reference must be one of {', '.join(event.arms)}, got {reference}")


def day_grid(event: CauseModel, competing: CauseModel | None, days: FloatArray) -> DayGrid:
    """Collect the days on which a hazard steps, up to the last of `days`."""
    known = [event.fit.data.slot_day]
    if competing is not None:
        known.append(competing.fit.data.slot_day)
    grid = np.unique(np.concatenate(known))
    grid = grid[grid <= days.max(initial=-1.0)]
    strata = event.fit.rows.strata
    stratum = np.zeros(len(event.fit.rows.time), np.int64) if strata is None else strata
    return DayGrid(
        day=grid,
        asked=np.searchsorted(grid, days, side="right").astype(np.int64) - 1,
        stratum=stratum,
        n_strata=int(stratum.max(initial=0)) + 1,
    )


def fitted_hazards(grid: DayGrid, event: CauseModel, competing: CauseModel | None) -> Hazards:
    """Baseline hazards of the fits on the grid."""
    steps = _fitted_steps(grid, event)
    nothing = np.zeros_like(steps)
    return Hazards(
        event=steps, competing=nothing if competing is None else _fitted_steps(grid, competing)
    )


def _fitted_steps(grid: DayGrid, model: CauseModel) -> FloatArray:
    fit = model.fit
    sums = risk_sums(fit.data, fit.scaled_coefficients, fit.weights_at_risk, fit.ties)
    return grid.spread(fit.data, hazard_steps(fit.data, sums)[:, 0])
