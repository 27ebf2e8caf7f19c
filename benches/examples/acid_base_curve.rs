//! Times the acid-base curve and prints one line a task: name, points, seconds (lowest of many repeats), sum of the pH values.
//!
//! `benches/curve_against_scipy.py` runs it beside scipy and numpy and prints the ratios.
#![expect(clippy::unwrap_used, reason = "a measurement, not a library")]

use std::hint::black_box;
use std::time::Instant;

use chemistry::acid_base::bulk::ph_of_curves;
use chemistry::acid_base::curve::AcidBaseCurve;
use chemistry::constant_set::{Conditions, ConstantSet};
use chemistry::solution::Solution;

fn main() {
    let constants = ConstantSet::default().with_pkw(13.997);
    let ideal = Conditions {
        constants: constants.clone(),
        ..Conditions::ideal()
    };
    let davies = Conditions {
        constants,
        ..Conditions::default()
    };
    let volumes: Vec<f64> = (0..1000).map(|i| 90.0 * f64::from(i) / 999.0).collect();
    let titrant = Solution::of("NaOH", 0.1);
    for (name, acid, conditions) in [
        ("acetic ideal", "CH3COOH", &ideal),
        ("phosphoric ideal", "H3PO4", &ideal),
        ("citric ideal", "H3Cit", &ideal),
        ("acetic davies", "CH3COOH", &davies),
        ("phosphoric davies", "H3PO4", &davies),
    ] {
        let curve =
            AcidBaseCurve::new(&Solution::of(acid, 0.1), 25.0, &titrant, conditions).unwrap();
        let seconds = lowest(201, || {
            black_box(
                black_box(&curve)
                    .ph_at_volumes(black_box(&volumes))
                    .unwrap(),
            );
        });
        let sum: f64 = curve.ph_at_volumes(&volumes).unwrap().iter().sum();
        println!("{name}\t1000\t{seconds:.3e}\t{sum:.9}");
    }
    let curves: Vec<AcidBaseCurve> = (0..1000)
        .map(|i| {
            let flask = Solution::of("H3PO4", 0.02 + 1e-4 * f64::from(i));
            AcidBaseCurve::new(&flask, 25.0, &titrant, &ideal).unwrap()
        })
        .collect();
    let seconds = lowest(5, || {
        black_box(ph_of_curves(black_box(&curves), &volumes).unwrap());
    });
    println!("phosphoric ideal, 1000 curves on all cores\t1000000\t{seconds:.3e}\t0");
}

/// The lowest of many repeats: the machine may be shared.
fn lowest(repeats: usize, mut task: impl FnMut()) -> f64 {
    (0..repeats)
        .map(|_| {
            let start = Instant::now();
            task();
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}
