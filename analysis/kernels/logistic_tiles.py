"""Sums of a logistic model over all rows for many weight vectors at once, in small tiles.

A tile is a few rows by a few columns of weights. Each product of matrices is kept so small that
OpenBLAS does it on one thread whatever number it is allowed: the same bytes on any number.
"""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import FloatArray

COLUMNS_IN_TILE = 32  # of weights
MULTIPLICATIONS = 262_144  # in one product; OpenBLAS takes more threads beyond these
FEWEST_ROWS = 8  # in a tile, however many terms
CELLS_IN_BAND = 65_536  # tiles worked on at once: half a megabyte an array, stays in cache
LARGEST_PAIRS = 30_000_000  # numbers: products of terms that are kept, not made at each step


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tiles:
    """Rows of the design cut into T tiles of r rows; nil fills up the last one."""

    rows: FloatArray  # (T, r, p)
    terms: FloatArray  # (T, p, r), the same numbers
    of_events: FloatArray  # (T, p, r), nil in a row without the event
    pairs: FloatArray | None  # (T, p (p + 1) / 2, r); None where they would not fit in memory
    offset: FloatArray | None  # (T, r, 1)

    def bands(self, n_columns: int) -> list[slice]:
        """Give tiles by the cacheful."""
        n, size, _ = self.rows.shape
        width = max(1, CELLS_IN_BAND // (size * n_columns))
        return [slice(first, first + width) for first in range(0, n, width)]

    def weights(self, columns: FloatArray) -> FloatArray:
        """Cut columns of weights, shape (n, b), in the same way: (T, r, b)."""
        return _tiled(columns, *self.rows.shape[:2])


def cut_into_tiles(x: FloatArray, y: FloatArray, offset: FloatArray | None) -> Tiles:
    """Cut design (n, p), outcome (n,) and known part of the predictor (n,)."""
    n, p = x.shape
    most = MULTIPLICATIONS // (COLUMNS_IN_TILE * (p * (p + 1) // 2))
    count = -(-n // max(FEWEST_ROWS, most))
    size = -(-n // count)
    rows, happened = _tiled(x, count, size), _tiled(y[:, None], count, size)
    terms = np.ascontiguousarray(rows.transpose(0, 2, 1))
    few = rows.size * (p + 1) // 2 <= LARGEST_PAIRS
    return Tiles(
        rows=rows, terms=terms, of_events=terms * happened.transpose(0, 2, 1),
        pairs=products_of_pairs(terms) if few else None,
        offset=None if offset is None else _tiled(offset[:, None], count, size),
    )  # fmt: skip


def products_of_pairs(terms: FloatArray) -> FloatArray:
    """Multiply every two of p terms, shape (T, p, r): (T, p (p + 1) / 2, r)."""
    count, p, size = terms.shape
    pairs = np.empty((count, p * (p + 1) // 2, size))
    place = 0
    for term in range(p):
        out = pairs[:, place : place + p - term]
        np.multiply(terms[:, term : term + 1], terms[:, term:], out=out)
        place += p - term
    return pairs


def sum_of_events(tiles: Tiles, weights: FloatArray) -> FloatArray:
    """Sum w y x, shape (p, b); weights (T, r, b)."""
    return np.matmul(tiles.of_events, weights).sum(axis=0)


def expected_and_curvature(
    tiles: Tiles, weights: FloatArray, beta: FloatArray, *, curved: bool
) -> tuple[FloatArray, FloatArray | None]:
    """Sum w mu x, shape (p, b), and, where `curved`, w mu (1 - mu) x x', (b, p, p).

    Weights (T, r, b). One column of coefficients, (p, 1), stands for all: its risks are shared.
    """
    n_columns, p = weights.shape[2], tiles.rows.shape[2]
    expected, packed = np.zeros((p, n_columns)), np.zeros((p * (p + 1) // 2, n_columns))
    backwards = -beta
    for band in tiles.bands(n_columns):
        odds = np.matmul(tiles.rows[band], backwards)  # against the event, in three steps
        if tiles.offset is not None:
            odds -= tiles.offset[band]
        with np.errstate(over="ignore"):
            np.exp(odds, out=odds)
        odds += 1.0
        if not curved:
            expected += np.matmul(tiles.terms[band], weights[band] / odds).sum(axis=0)
            continue
        risk = np.reciprocal(odds, out=odds)
        weighted = weights[band] * risk
        expected += np.matmul(tiles.terms[band], weighted).sum(axis=0)
        variance = weighted * risk
        np.subtract(weighted, variance, out=variance)
        pairs = products_of_pairs(tiles.terms[band]) if tiles.pairs is None else tiles.pairs[band]
        packed += np.matmul(pairs, variance).sum(axis=0)
    return expected, _unpacked(packed, p) if curved else None


def _tiled(columns: FloatArray, count: int, size: int) -> FloatArray:
    out = np.zeros((count * size, columns.shape[1]))
    out[: len(columns)] = columns
    return out.reshape(count, size, columns.shape[1])


def _unpacked(packed: FloatArray, p: int) -> FloatArray:
    """Make symmetric matrices, (b, p, p), of upper triangles, (p (p + 1) / 2, b)."""
    first, second = np.triu_indices(p)
    out = np.empty((packed.shape[1], p, p))
    out[:, first, second] = packed.T
    out[:, second, first] = packed.T
    return out
