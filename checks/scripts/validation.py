"""Reference values for checks/tests/validation.rs: SciPy (t tests, line, ANOVA), and a search for the
line of least squared distance."""

from decimal import Decimal, getcontext

import numpy as np
import scipy.stats as st

# Student (1908), after Cushny and Peebles: hours of sleep gained by two drugs, the same ten patients.
SLEEP = (
    [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
)
# Bland and Altman (1986): peak flow, small meter and large meter, first readings.
FLOW = (
    [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
    [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427],
)
# Pearson (1901): ten points.
PEARSON = (
    [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4],
    [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5],
)
PORTIONS = [5, 5, 10, 10, 15, 15, 20, 20, 25, 25]
TITRES = [5.19, 5.21, 10.24, 10.22, 15.31, 15.27, 20.29, 20.33, 25.38, 25.36]
RECOVERIES = [98.7, 101.2, 99.4, 100.6, 97.9, 99.8]


def deming(x, y, ratio):
    """Slope and intercept of least squared distance, by search in 60 digits; `ratio` is the error variance of y over x."""
    getcontext().prec = 60
    x, y = ([Decimal(float(v)) for v in values] for values in (x, y))
    mx, my = sum(x) / len(x), sum(y) / len(y)

    def distance(slope):
        residuals = (b - my - slope * (a - mx) for a, b in zip(x, y))
        return sum(r * r for r in residuals) / (Decimal(ratio) + slope * slope)

    ordinary = Decimal(float(np.polyfit(np.array(x, float), np.array(y, float), 1)[0]))
    low, high = sorted((ordinary / 2, ordinary * 2))
    for _ in range(300):
        third = (high - low) / 3
        if distance(low + third) < distance(high - third):
            high -= third
        else:
            low += third
    slope = (low + high) / 2
    return np.array([float(slope), float(my - slope * mx)])


def jackknife(x, y, ratio):
    n = len(x)
    whole = deming(x, y, ratio)
    rest = np.array([deming(np.delete(x, i), np.delete(y, i), ratio) for i in range(n)])
    pseudo = n * whole - (n - 1) * rest
    return np.std(pseudo, axis=0, ddof=1) / np.sqrt(n)


def row(name, *values):
    print(f'("{name}", ' + ", ".join(f"{v:.9g}" for v in values) + ")")


def bare(*values):
    """A row that stands in the test as an array of its own."""
    print("[" + ", ".join(f"{v:.9g}" for v in values) + "]")



for name, (x, y) in (("sleep", SLEEP), ("flow", FLOW)):
    x, y = np.array(x, float), np.array(y, float)
    t = st.ttest_rel(y, x)
    low, high = t.confidence_interval(0.95)
    d = y - x
    s = d.std(ddof=1)
    z, k = st.norm.ppf(0.975), st.t.ppf(0.975, len(d) - 1)
    u_limit = s * np.sqrt(1 / len(d) + z**2 / (2 * (len(d) - 1)))
    line = st.linregress((x + y) / 2, d)
    row(name, d.mean(), s, t.statistic, t.pvalue, low, high)
    row(name, d.mean() - z * s, d.mean() + z * s, u_limit, k * u_limit, line.slope, line.pvalue)

for name, (x, y), ratio in (("pearson", PEARSON, 1.0), ("flow", FLOW, 1.0), ("flow, unequal", FLOW, 4.0)):
    x, y = np.array(x, float), np.array(y, float)
    slope, intercept = deming(x, y, ratio)
    u_slope, u_intercept = jackknife(x, y, ratio)
    row(name, ratio, slope, intercept, u_slope, u_intercept)

x, y = np.array(PORTIONS, float), np.array(TITRES)
line = st.linregress(x, y)
residual = y - line.intercept - line.slope * x
levels = sorted(set(PORTIONS))
within = sum(((y[x == v] - y[x == v].mean()) ** 2).sum() for v in levels)
lack = (residual**2).sum() - within
dof = (len(levels) - 2, len(x) - len(levels))
f = (lack / dof[0]) / (within / dof[1])
bare(line.slope, line.stderr, line.intercept, line.intercept_stderr)
bare(2 * st.t.sf(abs(line.intercept / line.intercept_stderr), len(x) - 2), f, st.f.sf(f, *dof), abs(residual).max())

t = st.ttest_1samp(RECOVERIES, 100)
low, high = t.confidence_interval(0.95)
row("recovery", np.mean(RECOVERIES), t.statistic, t.pvalue, low, high)
