#!/usr/bin/env python3
"""Check values of src/stats/noise.rs with matrices instead of recursions (numpy, scipy).

Block means of five rows, one block missing; the likelihood and the generalised residual sum of squares about
a mean, the spread of a mean, and the correlation of block means counted row by row.
"""
import numpy as np

M = 5


def block_correlation(tau, ratio, places):
    """R of the block means by averaging the rows' own correlation."""
    phi = np.exp(-1 / tau)
    rows = [np.arange(M * p, M * p + M) for p in places]
    slow = lambda a, b: np.mean(phi ** np.abs(a[:, None] - b[None, :]))
    own = slow(rows[0], rows[0])
    density = (1 + phi) / (1 - phi) / M / own
    w = 1.0 if np.isinf(ratio) else ratio / (ratio + density)
    k = len(places)
    return np.array([[1.0 if i == j else w * slow(rows[i], rows[j]) / own for j in range(k)] for i in range(k)])


places = [0, 1, 2, 4, 5, 6, 7]
values = np.array([1.0, 1.5, 0.7, -0.4, -0.2, 0.3, 0.9])
for tau, ratio in [(3.0, np.inf), (12.0, 2.0), (96.0, 32.0)]:
    R = block_correlation(tau, ratio, places)
    I = np.linalg.inv(R)
    one = np.ones(len(places))
    mean = one @ I @ values / (one @ I @ one)
    rest = values - mean
    L = -0.5 * np.linalg.slogdet(R)[1] - 0.5 * np.log(one @ I @ one)
    print(f"({tau}, {ratio}, {L:.12f}, {rest @ I @ rest:.12f}, {one @ R @ one:.12f}),")
    X = np.column_stack([one, np.array(places) - 3.5])
    G = X.T @ I @ X
    b = np.linalg.solve(G, X.T @ I @ values)
    r = values - X @ b
    w = np.linalg.inv(X.T @ X) @ X.T
    print(f"   line: S {r @ I @ r:.12f}, w'Rw of the slope {w[1] @ R @ w[1]:.12f}")
