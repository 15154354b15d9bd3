"""Sums of the subdistribution partial likelihood: who is at risk, and with what weight.

A row that left by a competing cause stays at risk with the weight G(t-) / G(X-): the chance of
being still uncensored at t, given that it was at its own day X. The weight is a product, so every
sum over the risk set is a sum over later rows plus G(t-) times a sum over earlier competing rows.
"""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FineGrayData:
    """Rows sorted by day, J distinct days, and one step for each event (tied ones in a row).

    `share` (E,) is the part of the tied events' own weight taken out at the step (Efron; zero
    for Breslow); `stay` (J,) is G(t-), `back` (n,) is 1 / G(X-) of competing rows, else 0.
    """

    order: IntArray  # (n,) places of the caller's rows
    x: FloatArray  # (n, p)
    place: IntArray  # (n,) day of each row, 0 to J - 1
    event: BoolArray
    competing: BoolArray
    censored: BoolArray
    stay: FloatArray
    back: FloatArray
    step: IntArray  # (E,) place of the day of each event step
    step_day: FloatArray  # (E,) the day itself
    share: FloatArray
    at_risk: FloatArray  # (J,) rows that may be censored on the day
    n_censored: FloatArray  # (J,)

    @property
    def n_days(self) -> int:
        """Number of distinct days."""
        return len(self.stay)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FineGraySums:
    """The likelihood at some coefficients, and what variances are made of."""

    log_likelihood: float
    gradient: FloatArray  # (p,)
    information: FloatArray  # (p, p)
    hazard: FloatArray  # (E,) baseline at each event step
    score: FloatArray  # (n, p) influence of each row on the score, weights taken as known
    through_censoring: FloatArray  # (n, p) its influence by way of the censoring weights


def prepare(
    time: FloatArray, state: IntArray, x: FloatArray, *, cause: int, efron: bool, together: bool
) -> FineGrayData:
    """Sort the rows and weigh those that competed.

    `together`: whether rows with an event on a day count among those who may be censored on it
    (cmprsk), or have left before (survival).
    """
    order = np.argsort(time, kind="stable")
    days, place = np.unique(time[order], return_inverse=True)
    states = state[order]
    event, censored = states == cause, states == 0
    leaving = np.bincount(place, minlength=len(days)).astype(np.float64)
    n_censored = np.bincount(place[censored], minlength=len(days)).astype(np.float64)
    at_risk = np.cumsum(leaving[::-1])[::-1] - (0.0 if together else leaving - n_censored)
    lost = np.divide(n_censored, at_risk, out=np.zeros(len(days)), where=at_risk > 0)
    stay = np.concatenate([[1.0], np.cumprod(1 - lost)[:-1]])
    competing = ~event & ~censored
    step = place[event]
    number = np.arange(len(step)) - np.searchsorted(step, step)
    tied = np.bincount(step, minlength=len(days))
    return FineGrayData(
        order=order, x=x[order], place=place, event=event, competing=competing, censored=censored,
        stay=stay, back=np.where(competing, 1 / np.where(competing, stay[place], 1.0), 0.0),
        step=step, step_day=days[step], share=number / tied[step] if efron else np.zeros(len(step)),
        at_risk=at_risk, n_censored=n_censored,
    )  # fmt: skip


def sums(data: FineGrayData, beta: FloatArray) -> FineGraySums:
    """Give likelihood, derivatives and influences at `beta` (p,)."""
    linear = data.x @ beta
    risk = np.exp(linear)
    weighted = np.column_stack([risk, risk[:, None] * data.x])  # moments 0 and 1
    later = np.cumsum(_by_day(data, weighted)[::-1], axis=0)[::-1]
    stayed = np.cumsum(_by_day(data, weighted * data.back[:, None]), axis=0)  # the day included
    before = np.vstack([np.zeros(stayed.shape[1]), stayed[:-1]])
    own = _by_day(data, weighted * data.event[:, None])
    total = (later + data.stay[:, None] * before)[data.step] - data.share[:, None] * own[data.step]
    hazard, mean = 1 / total[:, 0], total[:, 1:] / total[:, [0]]  # (E,), (E, p)
    exposure, drift = _exposure(data, hazard, mean)
    score = data.event[:, None] * (data.x - _mean_of_tied(data, mean)) - risk[:, None] * (
        data.x * exposure[:, None] - drift
    )
    information = (data.x * (risk * exposure)[:, None]).T @ data.x - mean.T @ mean
    return FineGraySums(
        log_likelihood=float(linear[data.event].sum() - np.log(total[:, 0]).sum()),
        gradient=data.x[data.event].sum(axis=0) - mean.sum(axis=0),
        information=information, hazard=hazard, score=score,
        through_censoring=_through_censoring(data, stayed, hazard, mean),
    )  # fmt: skip


def _by_day(data: FineGrayData, values: FloatArray) -> FloatArray:
    """Sum rows by day; rows are sorted, so each day is one run."""
    starts = np.searchsorted(data.place, np.arange(data.n_days))
    return np.add.reduceat(values, starts, axis=0)


def _steps_by_day(data: FineGrayData, values: FloatArray) -> FloatArray:
    """Sum event steps (E, k) by day (J, k)."""
    totals = np.zeros((data.n_days, values.shape[1]))
    np.add.at(totals, data.step, values)
    return totals


def _exposure(
    data: FineGrayData, hazard: FloatArray, mean: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Cumulative baseline hazard each row lived through, weighted (n,), and its means (n, p)."""
    both = np.column_stack([hazard, hazard[:, None] * mean])
    until = np.cumsum(_steps_by_day(data, both), axis=0)[data.place]
    own = _steps_by_day(data, both * data.share[:, None])[data.place]
    staying = _steps_by_day(data, both * data.stay[data.step][:, None])
    after = _after(staying)[data.place]
    lived = until - data.event[:, None] * own + data.back[:, None] * after
    return lived[:, 0], lived[:, 1:]


def _after(by_day: FloatArray) -> FloatArray:
    """Sum over later days, the day itself left out."""
    return np.vstack([np.cumsum(by_day[::-1], axis=0)[::-1][1:], np.zeros((1, by_day.shape[1]))])


def _mean_of_tied(data: FineGrayData, mean: FloatArray) -> FloatArray:
    """Average the means of all steps of a day, for each row (n, p)."""
    counts = np.bincount(data.step, minlength=data.n_days)
    totals = _steps_by_day(data, mean)
    averages = np.divide(totals, counts[:, None], out=np.zeros_like(totals),
                         where=counts[:, None] > 0)  # fmt: skip
    return averages[data.place]


def _through_censoring(
    data: FineGrayData, stayed: FloatArray, hazard: FloatArray, mean: FloatArray
) -> FloatArray:
    """Influence of each row by way of the estimated censoring weights (n, p)."""
    weight = (hazard * data.stay[data.step])[:, None]
    ahead = _after(_steps_by_day(data, np.column_stack([weight, weight * mean])))
    pull = stayed[:, 1:] * ahead[:, [0]] - stayed[:, [0]] * ahead[:, 1:]
    per_row = np.divide(pull, data.at_risk[:, None], out=np.zeros_like(pull),
                        where=data.at_risk[:, None] > 0)  # fmt: skip
    rate = np.divide(data.n_censored, data.at_risk, out=np.zeros(data.n_days),
                     where=data.at_risk > 0)  # fmt: skip
    expected = np.cumsum(per_row * rate[:, None], axis=0)
    return data.censored[:, None] * per_row[data.place] - expected[data.place]
