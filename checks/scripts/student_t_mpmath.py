"""Two-sided Student t quantiles with 50-digit arithmetic, for checks/tests/student_t_table.rs.

Needs mpmath and scipy (for the start of the root search only):  pip install mpmath==1.4.1 scipy==1.17.1
"""
from mpmath import betainc, exp, findroot, log, mp, mpf, nstr
from scipy import stats

mp.dps = 50


def two_sided_tail(t, dof):
    return betainc(dof / 2, mpf(1) / 2, 0, dof / (dof + t * t), regularized=True)


def quantile(level, dof):
    tail, dof = 1 - mpf(level), mpf(dof)
    start = log(mpf(float(stats.t.isf(float(tail) / 2, float(dof)))))
    near = start * (1 + mpf(10) ** -8) + mpf(10) ** -9
    return exp(findroot(lambda s: log(two_sided_tail(exp(s), dof)) - log(tail), (start, near), tol=1e-35))


for dof in "0.1 0.3 0.5 1 1.5 2 2.5 3.7 4 5 7.3 16.75 30 50.5 100 1000 12345.6 1e6 1e9".split():
    values = [nstr(quantile(p, dof), 17) for p in "0.5 0.6827 0.9 0.95 0.99 0.9973 0.999999".split()]
    print(f"({dof}, [{', '.join(values)}]),")
