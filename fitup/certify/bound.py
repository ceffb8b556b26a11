"""One system of stiffness and constraints with multipliers, factorised once."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csc_array, lil_array
from scipy.sparse.linalg import splu

from fitup.frames import Array


class Bound:
    """K u + C' m = right with C u = 0, everything scaled to one size, factorised once."""

    _held: Array

    def __init__(self, K: csc_array, constraints: list[dict[int, float]]) -> None:
        self.size, c = K.shape[0], len(constraints)
        scale = np.abs(K).max()
        C = lil_array((c, self.size))
        for i, row in enumerate(constraints):
            for at, value in row.items():
                C[i, at] = value * scale
        both = lil_array((self.size + c, self.size + c))
        both[: self.size, : self.size], both[self.size :, : self.size] = K, C
        both[: self.size, self.size :] = C.T
        self.matrix = csc_array(both)
        self.fixed = np.array([len(row) == 1 for row in constraints], dtype=bool)
        self.factor = splu(self.matrix)

    def ground(self) -> Array:
        """Return what the ground puts on held motions (n, k) in the last solution."""
        result: Array = -(
            self.matrix[: self.size, self.size :][:, self.fixed] @ self._held[self.fixed]
        )
        return result

    def solve(self, right: Array) -> Array:
        """Return u (n, k) for right-hand sides (n, k)."""
        more = self.matrix.shape[0] - self.size
        whole = np.vstack([right, np.zeros((more, right.shape[1]))])
        answer = self.factor.solve(whole)
        # one step of refinement: the multipliers make the system indefinite
        answer += self.factor.solve(whole - self.matrix @ answer)
        self._held = answer[self.size :]
        u: Array = answer[: self.size]
        return u
