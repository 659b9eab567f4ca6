"""Golden values for src/analysis/{stats,serial,agreement,conformity,hat}.rs.

Run with numpy 2.4.6, scipy 1.17.1, statsmodels 0.15 (for the two one-sided tests) and allantools
2024.6 (for the three-cornered hat); the last two are skipped where they are absent. Reads the published data out of src/stats/vectors.rs, so that
both sides look at the same numbers, and prints what the tests compare with."""
import pathlib
import re
import warnings

import numpy as np
from scipy import odr, optimize, stats

warnings.simplefilter("ignore")
ROOT = pathlib.Path(__file__).resolve().parents[2]
TEXT = (ROOT / "src/stats/vectors.rs").read_text()


def vector(name):
    body = re.search(rf"pub const {name}: &\[f64\] = &\[(.*?)\];", TEXT, re.S).group(1)
    return np.array([float(v) for v in body.replace("\n", " ").split(",") if v.strip()])


def lcg(count):
    n, out = 1234567890, []
    for _ in range(count):
        out.append(n / 2147483647)
        n = 16807 * n % 2147483647
    return np.array(out)


def show(name, *values):
    print(f"{name:<44}", " ".join(f"{float(v):.13g}" for v in values))


# Quantiles.
show("t.ppf .975: 16, 3.943662653, 1", *stats.t.ppf(.975, [16, 3.943662653, 1]))
show("t.ppf .025: 2.5", stats.t.ppf(.025, 2.5))
show("norm.cdf 1.4", stats.norm.cdf(1.4))
show("chi2.ppf .975: 10", stats.chi2.ppf(.975, 10))
show("f.ppf .975: 3, 20", stats.f.ppf(.975, 3, 20))

# The interval of a mean under serial correlation.
x, previous = [], 0.0
for u in lcg(120):
    previous = .7 * previous + u - .5
    x.append(previous)
x = np.array(x)
show("golden series: mean, SD", x.mean(), x.std(ddof=1))


def weighed_half_width(means, places, design, contrast, correlations):
    """95 % half-width: correlations of neighbouring blocks weighed by how well they explain the means."""
    means, design = np.asarray(means), np.asarray(design, float).T
    k, p = design.shape
    lag = np.abs(np.subtract.outer(places, places))
    w = design @ np.linalg.solve(design.T @ design, contrast)
    logs, scales = [], []
    for rho in correlations:
        matrix = np.where(lag == 0, 1.0, np.sign(rho) ** lag * np.abs(rho) ** lag)
        inverse = np.linalg.inv(matrix)
        information = design.T @ inverse @ design
        left = means - design @ np.linalg.solve(information, design.T @ inverse @ means)
        squares = left @ inverse @ left
        logs.append(-.5 * np.linalg.slogdet(matrix)[1] - .5 * np.linalg.slogdet(information)[1]
                    - .5 * (k - p) * np.log(squares))
        scales.append(np.sqrt(w @ matrix @ w * squares / (k - p)))
    weights, scales = np.exp(np.array(logs) - max(logs)), np.array(scales)
    weights /= weights.sum()
    outside = lambda h: (weights * 2 * stats.t.sf(h / scales, k - p)).sum() - .05
    return w @ means, optimize.brentq(outside, 1e-12, 1e6, xtol=1e-15)


def of_mean(series):
    block = max(5, len(series) // 12)
    k = len(series) // block
    means = series[:k * block].reshape(k, block).mean(1)
    memories = np.exp(np.linspace(0, np.log(k * block), 16))
    return weighed_half_width(means, np.arange(k), [np.ones(k)], [1], np.exp(-block / memories))[1]


def of_slope(series, missing=(), values=16):
    means = series.reshape(12, 10).mean(1)
    places = np.array([i for i in range(12) if i not in missing])
    evenly = (2 * np.arange(values) + 1) / values - 1
    return weighed_half_width(means[places], places, [np.ones(len(places)), places], [0, 1], evenly)


show("half-widths: golden series, 60 s white", of_mean(x), of_mean(lcg(60) - .5))
show("slope a block, half-width, with 400 values", *of_slope(x), of_slope(x, values=400)[1])
show("the same without blocks 3, 4, 8", *of_slope(x, missing=(3, 4, 8)))

# Peak flows: agreement, concordance, two one-sided tests.
a, b = vector("WRIGHT1"), vector("MINI1")
difference = a - b
bias, sd, n = difference.mean(), difference.std(ddof=1), len(a)
show("peak flow: bias, SD", bias, sd)
show("limits at 1.96", bias - 1.96 * sd, bias + 1.96 * sd)
show("SE of a limit, 1986 and 1999", sd * np.sqrt(3 / n), sd * np.sqrt(1 / n + 1.96 ** 2 / (2 * (n - 1))))
sxy = ((a - a.mean()) * (b - b.mean())).mean()
ccc = 2 * sxy / (a.var() + b.var() + bias ** 2)
show("concordance, correlation", ccc, np.corrcoef(a, b)[0, 1])
se = sd / np.sqrt(n)
for margin in (30, 15):
    p = max(stats.t.sf((bias + margin) / se, n - 1), stats.t.cdf((bias - margin) / se, n - 1))
    show(f"two one-sided tests, ±{margin} (scipy)", p)
try:
    from statsmodels.stats.weightstats import DescrStatsW
    for margin in (30, 15):
        show(f"two one-sided tests, ±{margin} (statsmodels)", DescrStatsW(difference).ttost_mean(-margin, margin)[0])
except ImportError:
    print("statsmodels is absent: skipped")

# Errors in variables, against orthogonal distance regression.
y, x = vector("ARSENATE_AAS"), vector("ARSENATE_AES")
for ratio in (1.0, 2.0):
    data = odr.RealData(y, x, sx=1.0, sy=np.sqrt(ratio))
    fit = odr.ODR(data, odr.unilinear, beta0=[1, 0], sstol=1e-15, partol=1e-15).run()
    show(f"arsenate, error ratio {ratio}: slope, intercept", *fit.beta)

# Three streams without a truth.
f, c, t = vector("GRUBBS_FOTOBALK"), vector("GRUBBS_COUNTER"), vector("GRUBBS_TERMA")
v = lambda p, q: (p - q).var(ddof=1)
show("velocities: error variances", *[(v(p, q) + v(p, s) - v(q, s)) / 2 for p, q, s in ((f, c, t), (c, f, t), (t, f, c))])

# The three-cornered hat of allantools, from Allan variances of 1 s of phase data.
try:
    import allantools
    u = lcg(4000).reshape(4, 1000)
    phases = [np.cumsum(scale * (u[i] - .5)) for i, scale in ((1, 4.), (2, 8.), (3, 12.))]
    pairs = [phases[i] - phases[j] for i, j in ((0, 1), (1, 2), (2, 0))]
    variances = [allantools.adev(p, rate=1, data_type="phase", taus=[1])[1][0] ** 2 for p in pairs]
    show("Allan variances of the pairs ab, bc, ca", *variances)
    hats = [allantools.three_cornered_hat_phase(*(np.roll(np.array(pairs), -k, 0)), 1, [1], allantools.adev)[1][0] ** 2
            for k in range(3)]
    show("three-cornered hat: a, b, c", *hats)
except ImportError:
    print("allantools is absent: skipped")
