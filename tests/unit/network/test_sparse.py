"""The sparse factorisation against dense algebra."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import sparse

from fitup.network.sparse import factorise


def system(n: int, seed: int) -> sparse.csr_array:
    rng = np.random.default_rng(seed)
    loose = sparse.random_array((3 * n, n), density=min(1.0, 3.0 / n), rng=rng)
    return sparse.csr_array(sparse.vstack([loose, sparse.eye_array(n)]))


@pytest.mark.parametrize(("n", "seed"), [(1, 0), (2, 1), (7, 2), (40, 3), (150, 4)])
def test_against_dense_algebra(n: int, seed: int):
    rows = system(n, seed)
    normal = rows.T @ rows
    factor = factorise(normal)
    inverse = np.linalg.inv(normal.toarray())
    right = np.random.default_rng(seed).normal(size=(n, 3))
    assert factor.solve(right) == pytest.approx(inverse @ right, abs=1e-11)
    assert factor.solve(right[:, 0]) == pytest.approx(inverse @ right[:, 0], abs=1e-11)
    selected = factor.selected_inverse()
    dense = rows.toarray()
    assert selected.quadratic(rows) == pytest.approx(np.diag(dense @ inverse @ dense.T), abs=1e-11)
    columns = rows.indices[rows.indptr[0] : rows.indptr[1]]
    assert selected.block(columns) == pytest.approx(inverse[np.ix_(columns, columns)], abs=1e-11)
    assert factor.weak.size == 0


def test_what_nothing_determines_is_told():
    rows = system(12, 5).tolil()
    rows[:, 4] = 0.0
    normal = sparse.csr_array(rows).T @ sparse.csr_array(rows)
    assert factorise(normal).weak.tolist() == [4]


def test_an_indefinite_matrix_is_not_believed():
    assert factorise(sparse.csr_array(np.array([[1.0, 2.0], [2.0, 1.0]]))).weak.size == 1
