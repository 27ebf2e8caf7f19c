#!/usr/bin/env python3
"""Acid-base curves: this engine beside scipy and numpy, one core each, ratios in one run.

Needs numpy and scipy; builds the Rust part itself:  python benches/curve_against_scipy.py
The same task for all: pH at 1,000 given volumes from 0 to 90 mL, 25 mL of 0.1 mol/L acid with 0.1 mol/L NaOH, pKw 13.997,
no activity coefficients. Times are the lowest of many repeats, as the machine may be shared. The sum of all pH values must agree, so that nobody times a wrong answer.
"""
import os
import subprocess
import time

os.environ.setdefault("OMP_NUM_THREADS", "1")
import numpy as np
from scipy.optimize import brentq

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
V0, CA, CB, PKW = 25.0, 0.1, 0.1, 13.997
VOLUMES = np.linspace(0.0, 90.0, 1000)
ACIDS = {"acetic": [4.757], "phosphoric": [2.148, 7.198, 12.375], "citric": [3.128, 4.761, 6.396]}


def betas(pks):
    return np.concatenate([[1.0], 10.0 ** -np.cumsum(pks)])


def brentq_loop(pks):
    beta = betas(pks).tolist()
    kw = 10.0**-PKW

    def charge(ph, volume):
        h = 10.0**-ph
        total = V0 + volume
        weight, top, power = 0.0, 0.0, 1.0
        for k, b in enumerate(beta):
            term = b * power
            weight += term
            top += k * term
            power /= h
        return h - kw / h + CB * volume / total - CA * V0 / total * top / weight

    return np.array([brentq(charge, -2.0, 16.0, args=(v,), xtol=1e-13) for v in VOLUMES])


def numpy_newton(pks):
    """All points at once: Newton in ln h, kept in a bracket by bisection, until every point has settled."""
    beta = betas(pks)
    kw = 10.0**-PKW
    total = V0 + VOLUMES
    acid, base = CA * V0 / total, CB * VOLUMES / total
    low, high = np.full_like(VOLUMES, -16.0 * np.log(10)), np.full_like(VOLUMES, 2.0 * np.log(10))
    x = 0.5 * (low + high)
    previous = high - low
    for _ in range(200):
        h = np.exp(x)
        u = 1.0 / h
        weight, first, second = np.zeros_like(h), np.zeros_like(h), np.zeros_like(h)
        for k in range(len(beta) - 1, -1, -1):
            weight = weight * u + beta[k]
            first = first * u + k * beta[k]
            second = second * u + k * k * beta[k]
        mean = first / weight
        value = h - kw * u + base - acid * mean
        slope = h + kw * u + acid * (second / weight - mean * mean)
        above = value > 0
        high, low = np.where(above, x, high), np.where(above, low, x)
        step = value / slope
        newton = x - step
        good = (newton > low) & (newton < high) & (2 * np.abs(step) <= previous)
        middle = 0.5 * (low + high)
        following = np.where(good, newton, middle)
        previous = np.abs(following - x)
        x = following
        if np.max(previous) < 1e-12:
            break
    return -x / np.log(10)


def lowest(repeats, task):
    seconds = []
    for _ in range(repeats):
        start = time.perf_counter()
        result = task()
        seconds.append(time.perf_counter() - start)
    return min(seconds), result


def main():
    subprocess.run(["cargo", "build", "--release", "-q", "-p", "benches", "--example", "acid_base_curve"], cwd=ROOT, check=True)
    out = subprocess.run([os.path.join(ROOT, "target/release/examples/acid_base_curve")], capture_output=True, text=True, check=True)
    ours = {}
    for line in out.stdout.splitlines():
        name, _, seconds, total = line.split("\t")
        ours[name] = (float(seconds), float(total))
    print(f"{'1,000 points':<14}{'scipy brentq':>14}{'numpy Newton':>14}{'halfdrop':>12}{'brentq/ours':>13}{'numpy/ours':>12}")
    for acid, pks in ACIDS.items():
        slow, phs = lowest(5, lambda: brentq_loop(pks))
        vector, phs2 = lowest(31, lambda: numpy_newton(pks))
        fast, total = ours[f"{acid} ideal"]
        assert abs(phs.sum() - total) < 1e-6, (acid, phs.sum(), total)
        assert abs(phs2.sum() - total) < 1e-6, (acid, phs2.sum(), total)
        print(f"{acid:<14}{slow*1e3:>11.2f} ms{vector*1e3:>11.3f} ms{fast*1e6:>9.1f} us{slow/fast:>13.0f}{vector/fast:>12.1f}")
    for name, (seconds, _) in ours.items():
        if "ideal" not in name or "cores" in name:
            print(f"{name}: {seconds*1e3:.3f} ms")


if __name__ == "__main__":
    main()
