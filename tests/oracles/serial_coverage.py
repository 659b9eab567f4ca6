"""Coverage of the 95 % limits of src/stats/contrast.rs on Gaussian series that no ride was made of.

Run with numpy 2.4.6 and scipy 1.17.1: `python serial_coverage.py [SERIES]` (2000 a figure by default).
Prints the two tables of that module's documentation, in %, with the median half-width in standard
deviations of a second in brackets (of a slope: of the change over the window)."""
import sys

import numpy as np
from scipy import stats

SERIES = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
RNG = np.random.default_rng(20260)


def autoregressive(rho, n):
    x = RNG.standard_normal((SERIES, n + 500))
    for t in range(1, n + 500):
        x[:, t] = rho * x[:, t - 1] + np.sqrt(1 - rho * rho) * x[:, t]
    return x[:, 500:]


def white(n):
    return RNG.standard_normal((SERIES, n))


def smoothed(n):
    x = white(n + 4)
    return sum(x[:, i:i + n] for i in range(5)) / 5 ** .5


def lagged(n):
    """What a lag of 2 s makes of a wander of 6 W with a memory of 2.5 s, beside 1.5 W of noise."""
    ridden = 6 * autoregressive(np.exp(-1 / 2.5), n + 100)
    read, keep = np.zeros_like(ridden), np.exp(-1 / 2)
    for t in range(1, n + 100):
        read[:, t] = keep * read[:, t - 1] + (1 - keep) * ridden[:, t]
    return (read - ridden)[:, 100:] + 1.5 * white(n)


PROCESSES = {
    "white": white,
    "0.5": lambda n: autoregressive(.5, n),
    "0.7": lambda n: autoregressive(.7, n),
    "0.9": lambda n: autoregressive(.9, n),
    "0.95": lambda n: autoregressive(.95, n),
    "mean of 5 s": smoothed,
    "0.95 + white": lambda n: autoregressive(.95, n) + white(n),
    "0.98 + white": lambda n: autoregressive(.98, n) + white(n),
    "lag + white": lagged,
}


def half_widths(y, design, w, correlations):
    k, p = design.shape
    lag = np.abs(np.subtract.outer(np.arange(k), np.arange(k)))
    logs, scales = [], []
    for rho in correlations:
        matrix = np.where(lag == 0, 1.0, np.sign(rho) ** lag * np.abs(rho) ** lag)
        inverse = np.linalg.inv(matrix)
        information = design.T @ inverse @ design
        maker = inverse - inverse @ design @ np.linalg.solve(information, design.T @ inverse)
        squares = np.einsum("ni,ij,nj->n", y, maker, y)
        logs.append(-.5 * np.linalg.slogdet(matrix)[1] - .5 * np.linalg.slogdet(information)[1]
                    - .5 * (k - p) * np.log(squares))
        scales.append(np.sqrt(w @ matrix @ w * squares / (k - p)))
    logs, scales = np.array(logs), np.array(scales)
    weights = np.exp(logs - logs.max(0))
    weights /= weights.sum(0)
    t = stats.t(k - p)
    low, high = t.ppf(.975) * scales.min(0), t.ppf(.975) * scales.max(0)
    for _ in range(30):
        middle = .5 * (low + high)
        wider = (weights * 2 * t.sf(middle / scales)).sum(0) > .05
        low, high = np.where(wider, middle, low), np.where(wider, high, middle)
    return .5 * (low + high)


def covered(process, n, slope, bend):
    block = min(max(5, n // 12), 60)
    k = n // block
    x = process(n)
    y = x[:, :k * block].reshape(SERIES, k, block).mean(2) / x.std()
    one, u = np.ones(k), (np.arange(k) - (k - 1) / 2) * block / n
    nodes = max(16, int(np.ceil(4 * np.sqrt(k))))
    if slope:
        design = np.stack([one, u] + ([u * u - (u * u).mean()] if bend else []), 1)
        w, rhos = u / (u @ u), (2 * np.arange(nodes) + 1) / nodes - 1
    else:
        design, w = one[:, None], one / k
        rhos = np.exp(-block / np.exp(np.linspace(0, np.log(k * block), nodes)))
    half = half_widths(y, design, w, rhos)
    return f"{100 * np.mean(np.abs(y @ w) <= half):.1f} ({np.median(half):.2f})"


for name, slope, lengths in (("mean", False, (60, 120, 180, 300, 1200)), ("slope", True, (120, 180, 300, 1200, 3000))):
    print(f"| {name} over, s | " + " | ".join(PROCESSES) + " |")
    print("| --- |" + " --- |" * len(PROCESSES))
    for n in lengths:
        cells = [covered(process, n, slope, n >= 1200) for process in PROCESSES.values()]
        print(f"| {n} | " + " | ".join(cells) + " |", flush=True)
