"""Times one model in numpy, in GTC and here, side by side, and prints the ratios.

The model is example A3 of EURACHEM/CITAC Guide CG4 with its fourteen inputs, as in src/hydrochloric_acid.rs.
Run from the root of the repository, in a Python that has benches/requirements.txt:

    python benches/against_numpy.py

Both sides run on this machine in this one run; exit status 1 if a figure disagrees or a ratio misses its target.
"""

import json
import subprocess
import sys
import time

import numpy as np
from GTC import rp, type_b, ureal

TRIALS = 1_000_000
ROUNDS = 11
SIMULATION_TARGET = 8
PROPAGATION_TARGET = 50


def best_and_median(work, rounds):
    """Wall time, best and median, and the mean processor time."""
    times = []
    processor = time.process_time()
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    times.sort()
    processor = (time.process_time() - processor) / rounds
    return times[0], times[len(times) // 2], processor


def concentration(draw):
    """c = R·m·P·V2/(V1·M·Vp) in mol/L; draw has one method a distribution."""
    repeatability = draw.normal(1.0, 0.001)
    mass = 0.3888 + draw.rectangular(0.0, 0.15e-3) - draw.rectangular(0.0, 0.15e-3)
    purity = draw.rectangular(1.0, 0.0005)
    molar_mass = (
        8 * draw.rectangular(12.0107, 0.0008)
        + 5 * draw.rectangular(1.00794, 0.00007)
        + 4 * draw.rectangular(15.9994, 0.0003)
        + draw.rectangular(39.0983, 0.0001)
    )
    v1 = draw.triangular(18.64, 0.03) + draw.rectangular(0.0, 0.01596)
    v2 = draw.triangular(14.89, 0.03) + draw.rectangular(0.0, 0.0126)
    pipette = draw.triangular(15.0, 0.02) + draw.rectangular(0.0, 0.0126)
    return 1000 * repeatability * mass * purity * v2 / (v1 * molar_mass * pipette)


class Numpy:
    """Draws arrays with numpy's fastest generator."""

    def __init__(self, seed):
        self.random = np.random.Generator(np.random.SFC64(seed))

    def normal(self, value, u):
        return self.random.normal(value, u, TRIALS)

    def rectangular(self, value, half_width):
        return self.random.uniform(value - half_width, value + half_width, TRIALS)

    def triangular(self, value, half_width):
        return self.random.triangular(value - half_width, value, value + half_width, TRIALS)


class NumpyTwoUniforms(Numpy):
    """The same with triangles as the sum of two rectangles, which is faster in numpy."""

    def triangular(self, value, half_width):
        two = self.random.random(TRIALS) + self.random.random(TRIALS)
        return (value - half_width) + half_width * two


class Gtc:
    """Uncertain numbers of GTC."""

    def normal(self, value, u):
        return ureal(value, u)

    def rectangular(self, value, half_width):
        return ureal(value, type_b.uniform(half_width))

    def triangular(self, value, half_width):
        return ureal(value, type_b.triangular(half_width))


class Prepared:
    """Inputs made once beforehand, handed out in the order of use."""

    def __init__(self, inputs):
        self.inputs = iter(inputs)

    def next(self, *_):
        return next(self.inputs)

    normal = rectangular = triangular = next


class Recorder(Gtc):
    def __init__(self):
        self.inputs = []

    def kept(self, x):
        self.inputs.append(x)
        return x

    def normal(self, *a):
        return self.kept(super().normal(*a))

    def rectangular(self, *a):
        return self.kept(super().rectangular(*a))

    def triangular(self, *a):
        return self.kept(super().triangular(*a))


def simulate(draw):
    c = concentration(draw)
    return c.mean(), c.std(ddof=1), *np.quantile(c, [0.025, 0.975])


def main():
    build = ["cargo", "build", "--quiet", "--release", "-p", "benches", "--example", "hydrochloric_acid"]
    subprocess.run(build, check=True)
    run = ["cargo", "run", *build[2:]]
    ours = json.loads(subprocess.run(run, check=True, capture_output=True, text=True).stdout)

    array = best_and_median(lambda: simulate(Numpy(1)), ROUNDS)
    array_two = best_and_median(lambda: simulate(NumpyTwoUniforms(1)), ROUNDS)
    numpy_best = min(array[0], array_two[0])
    numpy_median = min(array[1], array_two[1])

    recorder = Recorder()
    concentration(recorder)

    def budget():
        c = concentration(Prepared(recorder.inputs))
        return c.x, c.u, rp.budget(c)

    gtc = best_and_median(budget, 300)
    gtc_with_inputs = best_and_median(lambda: rp.budget(concentration(Gtc())), 300)

    simulation = ours["simulation"]
    mean, u, lower, upper = simulate(Numpy(1))
    value, gtc_u, _ = budget()
    print(f"simulation, {TRIALS} trials, mean, u and 95 % interval     best       median    processor")
    row = "{:<52} {:8.2f} ms {:8.2f} ms {:8.2f} ms"
    print(row.format("numpy, Generator.triangular", *(1e3 * t for t in array)))
    print(row.format("numpy, triangle from two uniforms", *(1e3 * t for t in array_two)))
    for threads, times in ours["simulation_seconds"].items():
        name = f"halfdrop, {threads} thread(s), with shortest interval too"
        print("{:<52} {:8.2f} ms {:8.2f} ms".format(name, *(1e3 * t for t in times)), end="")
        print(f" {1e3 * ours['simulation_processor_seconds']:8.2f} ms" if threads == "1" else "")
    two = ours["simulation_seconds"]["2"]
    ratio = numpy_best / two[0]
    print(f"ratio, faster numpy : halfdrop on 2 threads          {ratio:8.1f}    {numpy_median / two[1]:8.1f}")
    busy = min(array[2], array_two[2]) / ours["simulation_processor_seconds"]
    print(f"ratio of processor time, one thread                  {busy:8.1f}    (not disturbed by other work)")
    print(f"peak memory of halfdrop: {ours['peak_memory_kib'] / 1024:.0f} MiB")
    print()
    print("propagation with budget")
    row = "{:<52} {:8.2f} µs {:8.2f} µs"
    print(row.format("GTC, inputs made beforehand", *(1e6 * t for t in gtc[:2])))
    print(row.format("GTC, inputs too", *(1e6 * t for t in gtc_with_inputs[:2])))
    print(row.format("halfdrop, formula built beforehand", *(1e6 * t for t in ours["propagation_seconds"])))
    print(row.format("halfdrop, formula built too, units parsed", *(1e6 * t for t in ours["build_seconds"])))
    propagation_ratio = gtc[0] / ours["propagation_seconds"][0]
    built_ratio = gtc_with_inputs[0] / ours["build_seconds"][0]
    print(f"ratio, both prepared                                 {propagation_ratio:8.0f}")
    print(f"ratio, nothing prepared                              {built_ratio:8.0f}")
    print()
    print(f"{'':12}{'mean':>14}{'u':>14}{'2.5 %':>14}{'97.5 %':>14}")
    print(f"{'numpy':12}{mean:14.8f}{u:14.4e}{lower:14.8f}{upper:14.8f}")
    print(f"{'halfdrop':12}" + "{mean:14.8f}{u:14.4e}{lower:14.8f}{upper:14.8f}".format(**simulation))
    print(f"{'first order':12}{ours['propagation']['value']:14.8f}{ours['propagation']['u']:14.4e}")

    # Five standard errors of a difference of two simulations: of a mean √2·u/√n, of u u/√n, of an end 3.8·u/√n.
    step = 5 * u / TRIALS**0.5
    agree = (
        abs(mean - simulation["mean"]) < 1.42 * step
        and abs(u - simulation["u"]) < step
        and abs(lower - simulation["lower"]) < 3.8 * step
        and abs(upper - simulation["upper"]) < 3.8 * step
        and abs(value / ours["propagation"]["value"] - 1) < 1e-12
        and abs(gtc_u / ours["propagation"]["u"] - 1) < 1e-9
    )
    fast = ratio >= SIMULATION_TARGET and propagation_ratio >= PROPAGATION_TARGET
    small = ours["peak_memory_kib"] < 100_000
    print()
    print("results agree" if agree else "RESULTS DISAGREE")
    print("targets met" if fast and small else f"TARGETS MISSED: {SIMULATION_TARGET}, {PROPAGATION_TARGET}, 100 MB")
    sys.exit(0 if agree and fast and small else 1)


if __name__ == "__main__":
    main()
