"""Golden values for src/analysis/across.rs: one-way random effects on the sulphur-in-coal data of
ISO 5725-2:1994 B.1 (from memory). Run with numpy 2.4.6 and scipy 1.17.1; prints the constants."""
import numpy as np
from scipy import stats

DATA = [[.71, .71, .70, .71], [.69, .67, .68], [.66, .65, .69], [.67, .65, .66],
        [.70, .69, .66, .71, .69], [.73, .74, .73], [.71, .71, .69], [.70, .65, .68]]
groups = [np.array(g) for g in DATA]
p, sizes = len(groups), np.array([len(g) for g in groups])
n, values = sizes.sum(), np.concatenate(groups)
# The F statistic of an independent implementation gives the mean squares.
f = stats.f_oneway(*groups).statistic
msw = sum(((g - g.mean()) ** 2).sum() for g in groups) / (n - p)
msb = f * msw
n0 = (n - (sizes ** 2).sum() / n) / (p - 1)
dw, db = n - p, p - 1
chi, F = stats.chi2.ppf, stats.f.ppf
r = [np.sqrt(msw)] + [np.sqrt(dw * msw / chi(q, dw)) for q in (.975, .025)]
b = [np.sqrt((msb - msw) / n0)] + [
    np.sqrt(max(0, db * (msb - F(q, db, dw) * msw) / (n0 * chi(q, db)))) for q in (.975, .025)]
x, y = msb / n0, msw * (1 - 1 / n0)
spread = lambda q: np.hypot((1 - db / chi(q, db)) * x, (1 - dw / chi(q, dw)) * y)
R = [np.sqrt(x + y), np.sqrt(max(0, x + y - spread(.975))), np.sqrt(x + y + spread(.025))]
print("mean of means", np.mean([g.mean() for g in groups]), "grand mean", values.mean())
for name, row in (("REPEATABILITY", r), ("BETWEEN", b), ("REPRODUCIBILITY", R)):
    print(f"const {name}: [f64; 3] = [{', '.join(repr(float(v)) for v in row)}];")
