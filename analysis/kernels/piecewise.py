"""Climb the likelihood of a hazard that is constant within pieces of time and scaled by terms."""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray

STEPS = 100
HALVINGS = 40
FLAT = 1e-15  # share of the likelihood that a Newton step still gains: it is the last one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PieceRows:
    """Rows cut at the pieces: n rows, K pieces, p scaled terms."""

    before: FloatArray  # (n, K) days of each piece from entry to the left end
    between: FloatArray  # (n, K) days of each piece from the left to the right end
    on_day: FloatArray  # (n, K) 1 in the piece of a day known exactly
    interval: BoolArray  # (n,) the event lies between the ends
    x: FloatArray  # (n, p)
    weights: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PieceTop:
    """The top: log rates then terms. Along what runs away the information is all but nothing."""

    theta: FloatArray  # (K + p,)
    value: float
    information: FloatArray
    scores: FloatArray  # (n, K + p), of each row, unweighted
    iterations: int
    converged: bool


def cut_rows(
    ends: tuple[FloatArray, FloatArray, FloatArray],
    cuts: FloatArray,
    x: FloatArray,
    weights: FloatArray,
) -> PieceRows:
    """Cut days at `cuts`; `ends` are entry, left and right, equal where the day is known.

    A day on a cut belongs to the piece that ends there.
    """
    entry, left, right = ends
    finite = np.isfinite(right)
    edges = np.concatenate([[0.0], cuts, [np.inf]])
    exact = finite & (left == right)
    place = np.searchsorted(cuts, left, side="left")
    return PieceRows(
        before=_within(entry, left, edges), between=_within(left, np.where(finite, right, left),
                                                            edges),
        on_day=(exact[:, None] & (place[:, None] == np.arange(len(edges) - 1))).astype(float),
        interval=finite & ~exact, x=x, weights=weights,
    )  # fmt: skip


def _within(start: FloatArray, end: FloatArray, edges: FloatArray) -> FloatArray:
    low = np.maximum(start[:, None], edges[:-1])
    return np.maximum(np.minimum(end[:, None], edges[1:]) - low, 0.0)


def cumulative(days: FloatArray, edges: FloatArray, rates: FloatArray) -> FloatArray:
    """Give the cumulative hazard at some days of a row whose terms are all 0."""
    return _within(np.zeros(len(days)), days, edges) @ rates


def evaluate(rows: PieceRows, theta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
    """Give the log likelihood, the score of each row and the information.

    With u the cumulative hazard up to the left end and v that between the ends, a row adds
    -u + log hazard (day known), -u + log(1 - exp(-v)) (interval) or -u (censored).
    """
    pieces = rows.before.shape[1]
    linear = rows.x @ theta[pieces:]
    rates = np.exp(theta[:pieces] + linear[:, None])
    u, v = rows.before * rates, np.where(rows.interval[:, None], rows.between * rates, 0.0)
    total = v.sum(axis=1)
    safe = np.where(rows.interval, total, 1.0)
    slope = np.where(rows.interval, 1 / np.expm1(safe), 0.0)
    bend = -slope * (1 + slope)
    log_hazard = np.where(rows.on_day > 0, theta[:pieces] + linear[:, None], 0.0)
    value = -u.sum(axis=1) + log_hazard.sum(axis=1)
    value = value + np.where(rows.interval, np.log(-np.expm1(-safe)), 0.0)
    by_piece = rows.on_day - u + slope[:, None] * v
    scores = np.column_stack([by_piece, by_piece.sum(axis=1)[:, None] * rows.x])
    curved = u - slope[:, None] * v  # minus the second derivative, but for that of log(1 - exp)
    weighted = rows.weights[:, None] * curved
    fall = np.column_stack([v, total[:, None] * rows.x])
    across = weighted.T @ rows.x
    information = np.block([
        [np.diag(weighted.sum(axis=0)), across],
        [across.T, rows.x.T @ (rows.x * weighted.sum(axis=1)[:, None])],
    ]) - fall.T @ (fall * (rows.weights * bend)[:, None])  # fmt: skip
    return float(rows.weights @ value), scores, information


def climb_pieces(rows: PieceRows) -> PieceTop:
    """Climb by Newton's steps, shortened where the likelihood would fall.

    What the likelihood pushes to infinity moves by about one a step for ever while it gains
    nothing, until what it could still gain is below any digit.
    """
    theta = _start(rows)
    with np.errstate(all="ignore"):
        value, scores, information = evaluate(rows, theta)
        for iteration in range(1, STEPS + 1):
            total = rows.weights @ scores
            step = _ascent(information, total)
            if not np.isfinite(step).all():
                break
            last = abs(float(total @ step)) < FLAT * max(abs(value), 1.0)
            ahead = _forward(rows, theta, step, value)
            if ahead is None:
                break
            theta, (value, scores, information) = ahead
            if last:
                return PieceTop(theta=theta, value=value, information=information, scores=scores,
                                iterations=iteration, converged=True)  # fmt: skip
    blank = np.full(len(theta), np.nan)
    return PieceTop(
        theta=blank, value=float("nan"), information=np.full((len(theta),) * 2, np.nan),
        scores=np.full((len(rows.x), len(theta)), np.nan), iterations=STEPS, converged=False,
    )  # fmt: skip


def _start(rows: PieceRows) -> FloatArray:
    """Begin at one rate for all pieces: events over the days until half of their interval."""
    events = rows.weights @ (rows.on_day.sum(axis=1) + rows.interval)
    days = rows.weights @ (rows.before.sum(axis=1) + rows.between.sum(axis=1) / 2)
    return np.append(
        np.full(rows.before.shape[1], np.log(events / days)), np.zeros(rows.x.shape[1])
    )


def _ascent(information: FloatArray, total: FloatArray) -> FloatArray:
    """Give Newton's step, by directions turned uphill where the likelihood is not concave."""
    size = np.sqrt(np.maximum(np.abs(np.diag(information)), 1e-300))
    roots, ways = np.linalg.eigh(information / np.outer(size, size))
    along = ways.T @ (total / size) / np.maximum(np.abs(roots), 1e-12)
    step = ways @ along / size
    return step / max(1.0, float(np.abs(step).max()) / 3)


def _forward(
    rows: PieceRows, theta: FloatArray, step: FloatArray, value: float
) -> tuple[FloatArray, tuple[float, FloatArray, FloatArray]] | None:
    for _ in range(HALVINGS):
        found = evaluate(rows, theta + step)
        if found[0] >= value - 1e-12 * abs(value):
            return theta + step, found
        step = step / 2
    return None
