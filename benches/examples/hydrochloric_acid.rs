//! Times simulation and propagation of the model in `hydrochloric_acid` and prints them as JSON, for
//! `against_numpy.py`.

use benches::hydrochloric_acid::formula;
use metrology::{Plan, monte_carlo, propagate};
use std::hint::black_box;
use std::time::Instant;

const TRIALS: usize = 1_000_000;

/// Simulations timed for each number of threads.
const ROUNDS: usize = 101;

/// Propagations timed at a stroke: one alone is too short for the clock.
const AT_ONCE: usize = 1000;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let formula = formula()?;
    let mut outcome = monte_carlo(&formula, &Plan::default())?;
    let mut simulate = |threads| {
        best_and_median(ROUNDS, || {
            let plan = Plan {
                trials: TRIALS,
                threads,
                ..Plan::default()
            };
            if let Ok(simulation) = monte_carlo(black_box(&formula), &plan) {
                outcome = simulation;
            }
        })
    };
    let before = processor_seconds();
    let one = simulate(1);
    let processor = processor_seconds()
        .zip(before)
        .map(|(after, before)| (after - before) / ROUNDS as f64);
    let two = simulate(2);
    let budget = propagate(&formula);
    let propagation = best_and_median(21, || {
        for _ in 0..AT_ONCE {
            black_box(propagate(black_box(&formula)));
        }
    })
    .map(|seconds| seconds / AT_ONCE as f64);
    let building = best_and_median(21, || {
        for _ in 0..AT_ONCE {
            if let Ok(formula) = benches::hydrochloric_acid::formula() {
                black_box(propagate(&formula));
            }
        }
    })
    .map(|seconds| seconds / AT_ONCE as f64);
    let figures = serde_json::json!({
        "trials": TRIALS,
        "simulation_seconds": { "1": one, "2": two },
        "simulation_processor_seconds": processor,
        "propagation_seconds": propagation,
        "build_seconds": building,
        "simulation": {
            "mean": outcome.mean,
            "u": outcome.standard_uncertainty,
            "lower": outcome.symmetric.lower,
            "upper": outcome.symmetric.upper,
        },
        "propagation": { "value": budget.value, "u": budget.standard_uncertainty },
        "peak_memory_kib": peak_memory(),
    });
    println!("{figures}");
    Ok(())
}

/// Best and median time of some rounds, in seconds.
fn best_and_median(rounds: usize, mut work: impl FnMut()) -> [f64; 2] {
    let mut times: Vec<f64> = (0..rounds)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    [times[0], times[rounds / 2]]
}

/// Largest resident memory of this process so far, where the system tells it.
fn peak_memory() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Processor time of this process so far, where the system tells it (in steps of 1/100 s).
fn processor_seconds() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // After the name in brackets: user and system time are the 12th and 13th.
    let mut fields = stat.rsplit(')').next()?.split_whitespace().skip(11);
    let mut ticks = || fields.next()?.parse::<f64>().ok();
    Some((ticks()? + ticks()?) / 100.0)
}
