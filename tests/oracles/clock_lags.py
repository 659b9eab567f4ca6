"""Golden values for tests/clocks.rs, and the time that scipy takes for the correlations of
tests/benches/clocks.rs.

    python clock_lags.py > clock_lags.json      writes the golden values
    python clock_lags.py --time                 prints times, one line a case

Lag: sample i of a meets sample i + lag of b, so that scipy.signal.correlate(b, a, "full") has it
at index lag + len(a) - 1. The masked r is Pearson's, pair by pair (scipy.stats.pearsonr).
"""
import json
import sys
import time

import numpy as np
import scipy
from scipy import signal, stats


def wander(n, keep, rng):
    out, value = np.empty(n), 0.0
    for i in range(n):
        value = keep * value + rng.standard_normal()
        out[i] = value
    return out


def cases():
    rng = np.random.default_rng(20240229)
    ride = wander(700, 0.9, rng)
    blocks = np.where((np.arange(700) // 60) % 2, 3.0, -3.0)
    for name, base, a0, b0, na, nb, noise in [
        ("later", ride, 0, 37, 400, 400, 0.3),
        ("earlier", ride, 151, 0, 300, 500, 0.3),
        ("short overlap", ride, 0, 250, 400, 400, 0.1),
        ("repeats", ride + 3 * blocks, 0, 5, 600, 600, 0.5),
    ]:
        a = base[a0:a0 + na] + noise * rng.standard_normal(na)
        b = base[b0:b0 + nb] + noise * rng.standard_normal(nb)
        a, b = np.round(a - a.mean(), 4), np.round(b - b.mean(), 4)
        full = signal.correlate(b, a, "full")
        yield name, a, b, int(full.argmax()) - (na - 1)


def masked(a, b, lag):
    i = np.arange(max(0, -lag), min(len(a), len(b) - lag))
    x, y = a[i], b[i + lag]
    ok = ~(np.isnan(x) | np.isnan(y))
    return int(ok.sum()), float(stats.pearsonr(x[ok], y[ok])[0])


def golden():
    rng = np.random.default_rng(7)
    out = []
    for name, a, b, lag in cases():
        ga, gb = a.copy(), b.copy()
        ga[rng.random(len(a)) < 0.15] = np.nan
        gb[100:160] = np.nan
        lags = sorted({lag, lag - 1, lag + 1, 0, -60, 60, lag - 120})
        out.append({
            "name": name, "lag": lag,
            "a": a.tolist(), "b": b.tolist(),
            "missing_a": np.flatnonzero(np.isnan(ga)).tolist(),
            "missing_b": np.flatnonzero(np.isnan(gb)).tolist(),
            "masked": [[k, *masked(ga, gb, k)] for k in lags],
        })
    print(json.dumps({"numpy": np.__version__, "scipy": scipy.__version__, "cases": out}))


def best(run, times=7):
    took = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        took.append(time.perf_counter() - start)
    return min(took) * 1e3


def timing():
    rng = np.random.default_rng(1)
    n = 6 * 3600
    values = [rng.standard_normal(n) for _ in range(12)]
    present = [(rng.random(n) > 0.01).astype(float) for _ in range(12)]

    def masked_sums(i, j):
        a, b, p, q = values[i] * present[i], values[j] * present[j], present[i], present[j]
        for x, y in [(p, q), (a, q), (p, b), (a * a, q), (p, b * b), (a, b)]:
            signal.correlate(y, x, "full", method="fft")

    pairs = [(3 * s + c, 3 * t + c) for s in range(4) for t in range(s + 1, 4) for c in range(3)]
    print(f"scipy {scipy.__version__}, numpy {np.__version__}, {n} samples")
    plain = best(lambda: signal.correlate(values[0], values[1], "full", method="fft"))
    print(f"plain correlation, all lags:            {plain:8.2f} ms")
    print(f"masked correlation, all lags:           {best(lambda: masked_sums(0, 1)):8.2f} ms")
    every = best(lambda: [masked_sums(i, j) for i, j in pairs], 3)
    print(f"4 streams x 3 channels, all pairs:      {every:8.2f} ms")


if __name__ == "__main__":
    timing() if "--time" in sys.argv else golden()
