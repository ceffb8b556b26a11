"""Sparse symmetric factorisation L D L' with solving and the selected inverse, compiled.

The selected inverse holds the entries of the inverse on the pattern of L, which is all that
variances of observations and of points need; its cost grows with the factor, not with the square
of the unknowns (Takahashi, Fagan and Chin 1973; Erisman and Tinney, Communications of the ACM 18
(1975) 177-179). The order of elimination is a minimum degree order from SuperLU.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from fitup.compiled import jit
from fitup.frames import Array

#: a pivot below this share of its own diagonal counts as zero
PIVOT: Final = 1e-11


@dataclass(frozen=True, eq=False)
class SparseFactor:
    """``N[order][:, order] = L D L'`` with L unit lower triangular, by columns.

    ``weak`` lists unknowns (in the order of N) whose pivot vanished: nothing determines them.
    """

    order: Array
    starts: Array
    rows: Array
    values: Array
    pivots: Array
    weak: Array

    def solve(self, right: Array) -> Array:
        """Return ``N^-1 right`` for right (n,) or (n, k)."""
        flat = np.ascontiguousarray(right[self.order].reshape(len(self.order), -1), dtype=float)
        _solve(self.starts, self.rows, self.values, self.pivots, flat)
        result = np.empty_like(flat)
        result[self.order] = flat
        return result.reshape(right.shape)

    def selected_inverse(self) -> Selected:
        """Return the entries of the inverse on the pattern of L."""
        place = np.empty_like(self.order)
        place[self.order] = np.arange(len(self.order))
        below, diagonal = _invert(self.starts, self.rows, self.values, self.pivots)
        return Selected(place, self.starts, self.rows, below, diagonal)


@dataclass(frozen=True, eq=False)
class Selected:
    """Entries of an inverse on a sparse pattern that holds all pairs of every observation."""

    place: Array
    starts: Array
    rows: Array
    below: Array
    diagonal: Array

    def quadratic(self, matrix: Any) -> Array:
        """Return the diagonal (m,) of ``A N^-1 A'`` for A (m, n), sparse by rows."""
        csr = sparse.csr_array(matrix)
        return np.asarray(
            _quadratic(
                csr.indptr,
                csr.indices,
                csr.data,
                self.place,
                self.starts,
                self.rows,
                self.below,
                self.diagonal,
            )
        )

    def block(self, columns: Array) -> Array:
        """Return the inverse (k, k) for unknowns that meet in one observation."""
        out = np.empty((len(columns), len(columns)))
        for i, a in enumerate(columns):
            for j, b in enumerate(columns):
                out[i, j] = _entry(
                    self.place[a], self.place[b], self.starts, self.rows, self.below, self.diagonal
                )
        return out


def factorise(normal: Any, order: Array | None = None) -> SparseFactor:
    """Factorise a symmetric matrix (n, n) with positive pivots; vanished ones are stated, not used.

    Parameters
    ----------
    normal : sparse array (n, n)
    order : Array (n,), optional
        Order of elimination of an earlier matrix with the same pattern.
    """
    matrix = sparse.csc_array(normal)
    n = matrix.shape[0]
    order = _order(matrix) if order is None else order
    upper = sparse.csc_array(sparse.triu(matrix[order][:, order]))
    upper.sort_indices()
    pointers, indices = upper.indptr.astype(np.int64), upper.indices.astype(np.int64)
    parent, counts = _symbolic(n, pointers, indices)
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    rows, values, pivots, weak = _numeric(
        n, pointers, indices, upper.data.astype(float), parent, starts, PIVOT
    )
    return SparseFactor(order, starts, rows, values, pivots, np.sort(order[weak]))


def _order(matrix: Any) -> Array:
    """Minimum degree order of the pattern; the numbers only have to be factorisable."""
    n = matrix.shape[0]
    pattern = abs(matrix) + sparse.diags_array(np.asarray(abs(matrix).sum(axis=0)) + 1.0)
    found = splu(
        sparse.csc_matrix(pattern),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    order = np.empty(n, dtype=np.int64)
    order[found.perm_c] = np.arange(n)
    return order


@jit
def _symbolic(n: int, pointers: Any, indices: Any) -> Any:
    """Elimination tree and the number of entries in every column of L."""
    parent = np.full(n, -1, np.int64)
    counts = np.zeros(n, np.int64)
    seen = np.full(n, -1, np.int64)
    for k in range(n):
        seen[k] = k
        for p in range(pointers[k], pointers[k + 1]):
            i = indices[p]
            while i < k and seen[i] != k:
                if parent[i] == -1:
                    parent[i] = k
                counts[i] += 1
                seen[i] = k
                i = parent[i]
    return parent, counts


@jit
def _numeric(
    n: int, pointers: Any, indices: Any, data: Any, parent: Any, starts: Any, small: float
) -> Any:
    """Rows of L one after the other: each solves with the rows before it."""
    rows = np.empty(starts[n], np.int64)
    values = np.empty(starts[n])
    filled = np.zeros(n, np.int64)
    pivots = np.empty(n)
    weak = np.zeros(n, np.bool_)
    work = np.zeros(n)
    seen = np.full(n, -1, np.int64)
    path = np.empty(n, np.int64)
    stack = np.empty(n, np.int64)
    for k in range(n):
        seen[k] = k
        top = n
        own = 0.0
        for p in range(pointers[k], pointers[k + 1]):
            i = indices[p]
            if i == k:
                own = data[p]
                work[k] += data[p]
                continue
            work[i] += data[p]
            length = 0
            while seen[i] != k:
                path[length] = i
                length += 1
                seen[i] = k
                i = parent[i]
            while length > 0:
                top -= 1
                length -= 1
                stack[top] = path[length]
        pivot = work[k]
        work[k] = 0.0
        for t in range(top, n):
            i = stack[t]
            y = work[i]
            work[i] = 0.0
            for q in range(starts[i], starts[i] + filled[i]):
                work[rows[q]] -= values[q] * y
            low = y / pivots[i]
            pivot -= low * y
            q = starts[i] + filled[i]
            rows[q] = k
            values[q] = low
            filled[i] += 1
        if pivot <= small * own or own <= 0.0:
            weak[k] = True
            pivot = 1e300
        pivots[k] = pivot
    return rows, values, pivots, weak


@jit
def _solve(starts: Any, rows: Any, values: Any, pivots: Any, right: Any) -> None:
    n, wide = right.shape
    for j in range(n):
        for q in range(starts[j], starts[j + 1]):
            for c in range(wide):
                right[rows[q], c] -= values[q] * right[j, c]
    for j in range(n):
        for c in range(wide):
            right[j, c] /= pivots[j]
    for j in range(n - 1, -1, -1):
        for q in range(starts[j], starts[j + 1]):
            for c in range(wide):
                right[j, c] -= values[q] * right[rows[q], c]


@jit
def _entry(a: int, b: int, starts: Any, rows: Any, below: Any, diagonal: Any) -> float:
    """Entry of the inverse between two places; rows of a column are sorted."""
    if a == b:
        return diagonal[a]
    column, row = min(a, b), max(a, b)
    low, high = starts[column], starts[column + 1]
    while low < high:
        middle = (low + high) // 2
        if rows[middle] < row:
            low = middle + 1
        else:
            high = middle
    if low < starts[column + 1] and rows[low] == row:
        return below[low]
    return np.nan


@jit
def _invert(starts: Any, rows: Any, values: Any, pivots: Any) -> Any:
    """From the last column to the first: Z = D^-1 L^-1 + (I - L') Z."""
    n = len(pivots)
    below = np.zeros(len(values))
    diagonal = np.zeros(n)
    mark = np.full(n, -1, np.int64)
    for j in range(n - 1, -1, -1):
        first, end = starts[j], starts[j + 1]
        for t in range(first, end):
            mark[rows[t]] = t
        for t in range(first, end):
            c = rows[t]
            below[t] -= values[t] * diagonal[c]
            # each known entry Z[r, c] below the diagonal serves both of its rows
            for q in range(starts[c], starts[c + 1]):
                s = mark[rows[q]]
                if s >= 0:
                    below[s] -= values[t] * below[q]
                    below[t] -= values[s] * below[q]
        own = 1.0 / pivots[j]
        for t in range(first, end):
            own -= values[t] * below[t]
            mark[rows[t]] = -1
        diagonal[j] = own
    return below, diagonal


@jit
def _quadratic(
    pointers: Any,
    indices: Any,
    data: Any,
    place: Any,
    starts: Any,
    rows: Any,
    below: Any,
    diagonal: Any,
) -> Any:
    m = len(pointers) - 1
    out = np.zeros(m)
    for i in range(m):
        for p in range(pointers[i], pointers[i + 1]):
            for q in range(pointers[i], pointers[i + 1]):
                z = _entry(place[indices[p]], place[indices[q]], starts, rows, below, diagonal)
                out[i] += data[p] * data[q] * z
    return out
