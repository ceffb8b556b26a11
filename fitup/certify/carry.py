"""Which one-way seats carry, once more: the least work of the parts of all reactions.

With the seats' answer R = G' G, the reactions are r = q + G' y, and those that are true among all
that push have the least y (the least complementary energy): a least-distance problem, which is one
of non-negative least squares [1]. Its set of open seats is then held against every condition, and
the first seat that is wrong turned over until none is [2].

[1] C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, Prentice-Hall 1974, chapter 23.
[2] K. G. Murty, Note on a Bard-type scheme for solving the complementarity problem, Opsearch 11
    (1974). Both cited from memory.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import nnls

from fitup.errors import CertificateRefused
from fitup.frames import Array

#: a seat that answers to its own opening by less than this share of the greatest answers nothing
_NOTHING = 1e-12


def carry(q: Array, R: Array, one_way: Array) -> Array:
    """Return openings (n,) [m] so that one-way seats push or are open.

    Parameters
    ----------
    q : Array (n,)
        Reactions with no seat open [N].
    R : Array (n, n)
        Their change for a unit opening of every seat [N/m]; symmetric, never negative.
    one_way : Array (n,) of bool

    Raises
    ------
    CertificateRefused
        If none are found; those that are found are held against every condition.
    """
    size = max(1.0, float(np.abs(q).max(initial=0.0)))
    answers = np.diag(R)
    able = one_way & (answers > _NOTHING * answers.max(initial=0.0))
    opened = _guess(q, R, np.flatnonzero(able))
    for _ in range(200 + 50 * len(q)):
        z = np.zeros(len(q))
        own = sorted(opened)
        if own:
            scale = 1.0 / np.sqrt(answers[own])
            block = R[np.ix_(own, own)] * scale * scale[:, None]
            z[own] = scale * np.linalg.lstsq(block, -q[own] * scale, rcond=1e-11)[0]
        r = q + R @ z
        if (r[one_way & ~able] < -1e-9 * size).any():
            break
        wrong = [
            i
            for i in np.flatnonzero(able)
            if (i in opened and z[i] < -1e-12) or (i not in opened and r[i] < -1e-9 * size)
        ]
        if not wrong:
            if own and float(np.abs(r[own]).max()) > 1e-6 * size:
                break
            return z
        opened ^= {int(wrong[0])}
    raise CertificateRefused(["which seats carry was not found a second time"])


def _guess(q: Array, R: Array, own: Array) -> set[int]:
    """Numbers of the seats that open where the reactions do the least work."""
    if len(own) == 0 or q[own].min() >= 0.0:
        return set()
    scale = 1.0 / np.sqrt(np.diag(R)[own])
    values, vectors = np.linalg.eigh(R[np.ix_(own, own)] * scale * scale[:, None])
    real = values > _NOTHING
    G = np.sqrt(values[real])[:, None] * vectors[:, real].T
    load = q[own] * scale
    whole = np.vstack([G, -load / np.abs(load).max()])
    try:
        share, _ = nnls(whole, np.eye(len(whole))[-1])
    except RuntimeError:
        # the search below begins from nothing then
        return set()
    return {int(i) for i, u in zip(own, share, strict=True) if u > 0.0}
