"""Sums of a logistic model over all rows for many weight vectors at once, in small tiles.

A tile is a few rows by a few columns of weights. Each product of matrices is kept so small that
OpenBLAS does it on one thread whatever number it is allowed: the same bytes on any number.
"""

from dataclasses import dataclass

import numpy as np

from analysis.arrays import BoolArray, FloatArray

COLUMNS_IN_TILE = 32  # of weights
COLUMNS_AT_ONCE = 256  # tiles side by side share the pairs of their rows while those are in cache
CELLS_AT_ONCE = 8_000_000  # rows by columns
MULTIPLICATIONS = 262_144  # in one product; OpenBLAS takes more threads beyond these
FEWEST_ROWS = 8  # in a tile, however many terms
CELLS_IN_BAND = (
    32_768  # tiles worked on in one go: a quarter of a megabyte an array, stays in cache
)
LARGEST_PAIRS = 30_000_000  # numbers: products of terms that are kept, not made at each step


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tiles:
    """Rows of the design cut into T tiles of r rows; nil fills up the last one."""

    rows: FloatArray  # (T, r, p)
    terms: FloatArray  # (T, p, r), the same numbers
    of_events: FloatArray  # (T, p, r), nil in a row without the event
    pairs: FloatArray | None  # (T, p (p + 1) / 2, r); None where they would not fit in memory
    offset: FloatArray | None  # (T, r, 1)

    def bands(self) -> list[slice]:
        """Give tiles by the cacheful."""
        n, size, _ = self.rows.shape
        width = max(1, CELLS_IN_BAND // (size * COLUMNS_IN_TILE))
        return [slice(first, first + width) for first in range(0, n, width)]

    def width(self) -> int:
        """Give the columns of weights to fit at once."""
        n, size, _ = self.rows.shape
        tiles = min(COLUMNS_AT_ONCE, CELLS_AT_ONCE // (n * size)) // COLUMNS_IN_TILE
        return max(1, tiles) * COLUMNS_IN_TILE


@dataclass(frozen=True, slots=True, eq=False)
class WeightTiles:
    """Columns of weights, shape (n, b), cut as the rows are; the last tile may be narrower."""

    tiles: Tiles
    columns: tuple[slice, ...]
    weights: tuple[FloatArray, ...]  # (T, r, up to COLUMNS_IN_TILE) each


def cut_weights(tiles: Tiles, weights: FloatArray) -> WeightTiles:
    """Cut columns of weights as the rows of `tiles` are."""
    starts = range(0, weights.shape[1], COLUMNS_IN_TILE)
    columns = tuple(slice(first, first + COLUMNS_IN_TILE) for first in starts)
    parts = tuple(_tiled(weights[:, part], *tiles.rows.shape[:2]) for part in columns)
    return WeightTiles(tiles, columns, parts)


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


def sum_of_events(cut: WeightTiles) -> FloatArray:
    """Sum w y x, shape (p, b)."""
    return np.hstack([np.matmul(cut.tiles.of_events, w).sum(axis=0) for w in cut.weights])


def expected_and_curvature(
    cut: WeightTiles, beta: FloatArray, moving: BoolArray, curved: BoolArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Sum w mu x, shape (p, b), and w mu (1 - mu) x x', (k, p, p), of the k columns named last.

    Tiles without a column that is `moving` are left at nil; the second sum is made of tiles with a
    column that is `curved`. Coefficients (p, 1) stand for all columns: their risks are shared.
    """
    p, tiles = len(beta), cut.tiles
    expected = np.zeros((p, len(moving)))
    packed = np.zeros((p * (p + 1) // 2, len(moving)))
    wanted = [
        (part, w, bool(curved[part].any()))
        for part, w in zip(cut.columns, cut.weights, strict=True)
        if moving[part].any()
    ]
    fresh = np.zeros(len(moving), dtype=np.bool_)
    for part, _, bent in wanted:
        fresh[part] = bent
    for band in tiles.bands():
        pairs = None
        if fresh.any():
            kept = tiles.pairs
            pairs = products_of_pairs(tiles.terms[band]) if kept is None else kept[band]
        for part, w, bent in wanted:
            own = beta if beta.shape[1] == 1 else beta[:, part]
            variance = _add_expected(expected[:, part], tiles, band, w[band], own, bent=bent)
            if pairs is not None and bent:
                packed[:, part] += np.matmul(pairs, variance).sum(axis=0)
    return expected, _unpacked(packed[:, fresh], p), fresh


def _add_expected(
    expected: FloatArray, tiles: Tiles, band: slice, w: FloatArray, beta: FloatArray, *, bent: bool
) -> FloatArray:
    """Add the sum of w mu x over some tiles; give w mu (1 - mu) where `bent`."""
    odds = np.matmul(tiles.rows[band], -beta)  # against the event, in three steps
    if tiles.offset is not None:
        odds -= tiles.offset[band]
    with np.errstate(over="ignore"):
        np.exp(odds, out=odds)
    odds += 1.0
    place = odds if odds.shape == w.shape else None  # none where one column stands for all
    if not bent:
        weighted = np.divide(w, odds, out=place)
        expected += np.matmul(tiles.terms[band], weighted).sum(axis=0)
        return weighted
    risk = np.reciprocal(odds, out=odds)
    weighted = w * risk
    expected += np.matmul(tiles.terms[band], weighted).sum(axis=0)
    variance = np.multiply(weighted, risk, out=place)
    return np.subtract(weighted, variance, out=variance)


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
