"""Golden values for src/stats/compare.rs: paired differences, Welch, two one-sided tests, Holm.
Run with scipy 1.17.1 and statsmodels 0.15.0; prints what the tests hold."""
import numpy as np
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

d = np.array([.5, .3, .4])
own = DescrStatsW(d)
print("paired", own.mean, own.std_mean, own.tconfint_mean(alpha=.1), own.ttost_mean(-1, 1)[0])
a = np.array([.82, 1.10, .55, 1.31, .74, .96])
b = np.array([.31, .70, .12, .52, .88, .41])
two = CompareMeans.from_data(a, b)
print("welch", a.mean() - b.mean(), two.std_meandiff_separatevar, two.dof_satt(),
      two.tconfint_diff(alpha=.1, usevar="unequal"), stats.ttest_ind(a, b, equal_var=False).pvalue,
      two.ttost_ind(-1, 1, usevar="unequal")[0])
print("holm", multipletests([.01, .04, .03, .005, .5], method="holm")[1])
