//! Simulation and propagation of EURACHEM/CITAC example A3: `cargo bench -p benches --bench hydrochloric_acid`.

use benches::hydrochloric_acid::{Error, formula};
use divan::{Bencher, black_box};
use metrology::{AdaptivePlan, Formula, Plan, adaptive, monte_carlo, propagate};

fn main() -> Result<(), Error> {
    // Fails here, in words, rather than in the middle of a measurement.
    formula()?;
    divan::main();
    Ok(())
}

fn with_formula(bencher: Bencher<'_, '_>, work: impl Fn(&Formula) + Sync) {
    if let Ok(formula) = formula() {
        bencher.bench(|| work(black_box(&formula)));
    }
}

/// A million trials with both intervals and the histogram.
#[divan::bench(args = [1, 2])]
fn simulation(bencher: Bencher<'_, '_>, threads: usize) {
    let plan = Plan {
        threads,
        ..Plan::default()
    };
    with_formula(bencher, |formula| {
        black_box(monte_carlo(formula, &plan)).ok();
    });
}

/// Until two digits of the standard uncertainty have settled.
#[divan::bench]
fn adaptive_simulation(bencher: Bencher<'_, '_>) {
    with_formula(bencher, |formula| {
        black_box(adaptive(formula, &AdaptivePlan::default())).ok();
    });
}

#[divan::bench]
fn propagation_with_budget(bencher: Bencher<'_, '_>) {
    with_formula(bencher, |formula| {
        black_box(propagate(formula));
    });
}

#[divan::bench]
fn building_the_formula(bencher: Bencher<'_, '_>) {
    bencher.bench(|| black_box(formula()).ok());
}
