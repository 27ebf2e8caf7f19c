//! Random mixtures: every one is solved to 1e-12, and the balances are recomputed from the concentrations alone.
//!
//! What was put in is a composition that keeps the balances, so a solution exists: a refusal is a failure, whatever its reason.
//! 20,000 systems in the ordinary run. The full count, printed:
//! `RANDOM_SYSTEMS=1000000 cargo test --release -p checks --test random_systems -- --nocapture`; one system: `FIRST_SEED=n RANDOM_SYSTEMS=1`.
#![expect(clippy::unwrap_used, reason = "a test file")]

use std::collections::BTreeMap;

use chemistry::activity::ActivityModel;
use chemistry::constant_set::{CarbonDioxide, Conditions};
use chemistry::equilibrium::problem::{Known, Supply};
use chemistry::equilibrium::solve::State;
use chemistry::equilibrium::system::{Precipitates, Setup, System};
use chemistry::equilibrium_error::EquilibriumError;
use chemistry::solution::Solution;
use chemistry::species::charge;
use rayon::prelude::*;

const REAGENTS: [&str; 42] = [
    "HCl", "NaOH", "H3PO4", "CH3COOH", "NH3", "Na2CO3", "KHP", "H3Cit", "borax", "Na2EDTA",
    "CaCl2", "MgSO4", "ZnSO4", "Cd(NO3)2", "CuSO4", "NiSO4", "Pb(NO3)2", "FeCl3", "FeSO4", "AgNO3",
    "NaCl", "KBr", "KI", "KSCN", "K2CrO4", "BaCl2", "SrCl2", "Na2C2O4", "NaF", "H2SO4", "Na2S2O3",
    "KMnO4", "Ce^4+", "Cr2O7^2-", "I3-", "H3AsO3", "H3AsO4", "HCN", "H2Gly+", "H2S", "Na3PO4",
    "NaHCO3",
];

const COUPLES: [(&str, &[&str]); 9] = [
    ("Ce^4+/Ce^3+", &["Ce^4+"]),
    ("Fe^3+/Fe^2+", &["FeCl3", "FeSO4"]),
    ("MnO4-/Mn^2+", &["KMnO4"]),
    ("Cr2O7^2-/Cr^3+", &["Cr2O7^2-", "K2CrO4"]),
    ("I3-/I-", &["I3-", "KI"]),
    ("I2/I-", &["I3-", "KI"]),
    ("S4O6^2-/S2O3^2-", &["Na2S2O3"]),
    ("H3AsO4/H3AsO3", &["H3AsO3", "H3AsO4"]),
    ("CO2/H2C2O4", &["Na2C2O4"]),
];

/// SplitMix64: a small generator whose stream is the same everywhere.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }
}

struct Case {
    solution: Solution,
    conditions: Conditions,
    setup: Setup,
}

/// A mixture of two to seven reagents, each from 1e-12 to 10 mol/L.
fn case(seed: u64) -> Case {
    let mut random = Random(seed);
    let mut names = Vec::new();
    for _ in 0..2 + random.below(6) {
        let name = REAGENTS[random.below(REAGENTS.len())];
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let redox = random.below(2) == 0;
    let mut couples: Vec<(String, Option<String>)> = Vec::new();
    for (couple, needs) in COUPLES {
        if redox && needs.iter().any(|need| names.contains(need)) {
            // cerium has formal potentials only
            let medium = (couple == "Ce^4+/Ce^3+").then(|| "1 M H2SO4".to_owned());
            couples.push((couple.to_owned(), medium));
        }
    }
    let formal = couples.iter().any(|(_, medium)| medium.is_some());
    let activity = match random.below(3) {
        _ if formal => ActivityModel::None,
        0 => ActivityModel::None,
        1 => ActivityModel::Davies,
        _ => ActivityModel::ExtendedDebyeHueckel,
    };
    let carbon_dioxide = if random.below(8) == 0 {
        CarbonDioxide::OpenToAir {
            pressure_atm: 4.2e-4,
        }
    } else {
        CarbonDioxide::Closed
    };
    let precipitates = if random.below(3) == 0 {
        Precipitates::None
    } else {
        Precipitates::All
    };
    let fixed_ph = (random.below(4) == 0).then(|| 14.0 * random.unit());
    let solution = names.into_iter().fold(Solution::water(), |solution, name| {
        solution.with(name, 10f64.powf(-12.0 + 13.0 * random.unit()))
    });
    Case {
        solution,
        conditions: Conditions {
            activity,
            carbon_dioxide,
            ..Conditions::default()
        },
        setup: Setup {
            fixed_ph,
            held: Vec::new(),
            precipitates,
            couples,
        },
    }
}

/// Balances, saturation and charge, recomputed from the concentrations alone. Returns what is wrong.
fn audit(case: &Case, system: &System, state: &State) -> Result<(), String> {
    let problem = system.problem();
    let mut charge_scale = 0.0;
    for (j, component) in problem.components.iter().enumerate() {
        if !matches!(component.known, Known::Total(_)) {
            continue;
        }
        let total = system.totals_of(j).0;
        let (mut sum, mut scale) = (0.0, f64::abs(total));
        for (species, c) in problem.species.iter().zip(&state.concentrations) {
            if !(c.is_finite() && *c >= 0.0) {
                return Err(format!("{} is {c}", species.label));
            }
            let n: f64 = species
                .terms
                .iter()
                .filter(|(k, _)| *k == j)
                .map(|(_, n)| n)
                .sum();
            sum += n * c;
            scale += (n * c).abs();
        }
        for (phase, m) in problem.phases.iter().zip(&state.phases) {
            let n: f64 = phase
                .terms
                .iter()
                .filter(|(k, _)| *k == j)
                .map(|(_, n)| n)
                .sum();
            sum += n * m;
            scale += (n * m).abs();
        }
        charge_scale += f64::from(charge(&component.label).unwrap().abs()) * scale;
        if (sum - total).abs() > 1e-12 * scale {
            return Err(format!(
                "balance of {}: {:e} of {scale:e}",
                component.label,
                sum - total
            ));
        }
    }
    for (phase, m) in problem.phases.iter().zip(&state.phases) {
        let product: f64 = phase
            .terms
            .iter()
            .map(|(j, n)| n * state.ln_activity[*j])
            .sum();
        let above = product - phase.ln_k;
        let wrong = match phase.supply {
            Supply::Precipitate => *m < 0.0 || above > 1e-9 || (*m > 0.0 && above.abs() > 1e-9),
            Supply::Unlimited => above.abs() > 1e-9,
        };
        if wrong {
            return Err(format!(
                "{}: amount {m:e}, saturation {above:e}",
                phase.label
            ));
        }
    }
    if case.setup.fixed_ph.is_none() {
        let put_in = case.solution.species(&case.conditions.constants).unwrap();
        let known = |label: &str| problem.species.iter().any(|species| species.label == label);
        let bystanders = put_in
            .iter()
            .filter(|(label, _)| !known(label))
            .map(|(label, c)| f64::from(charge(label).unwrap()) * c);
        let dissolved = problem
            .species
            .iter()
            .zip(&state.concentrations)
            .map(|(s, c)| f64::from(s.charge) * c);
        let charges: Vec<f64> = bystanders.chain(dissolved).collect();
        // each balance may be off by 1e-12 of what it holds, and the net charge is their sum weighted by charge
        let charge_scale = charge_scale + charges.iter().map(|q| q.abs()).sum::<f64>();
        if charges.iter().sum::<f64>().abs() > 1e-12 * charge_scale {
            return Err(format!(
                "net charge {:e} of {charge_scale:e}",
                charges.iter().sum::<f64>()
            ));
        }
    }
    Ok(())
}

#[test]
fn random_systems_are_solved() {
    let count: u64 = std::env::var("RANDOM_SYSTEMS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(20_000);
    let first: u64 = std::env::var("FIRST_SEED")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(0);
    let outcomes: Vec<(String, usize, f64, Option<String>)> = (first..first + count)
        .into_par_iter()
        .map(|seed| {
            let case = case(seed);
            let system = match System::new(
                &case.solution,
                1.0,
                &Solution::water(),
                &case.conditions,
                &case.setup,
            ) {
                Ok(system) => system,
                Err(error) => {
                    let wrong = Some(format!("seed {seed}: not built, {error}"));
                    return ("not built".to_owned(), 0, 0.0, wrong);
                }
            };
            match system.at(0.0, None) {
                Ok(state) => {
                    let wrong = audit(&case, &system, &state)
                        .err()
                        .map(|why| format!("seed {seed}: {why}"));
                    ("solved".to_owned(), state.iterations, state.residual, wrong)
                }
                Err(EquilibriumError::Impossible { why }) => {
                    let wrong = Some(format!("seed {seed}: called impossible, {why}"));
                    ("called impossible".to_owned(), 0, 0.0, wrong)
                }
                Err(EquilibriumError::NotConverged {
                    worst, residual, ..
                }) => (
                    format!("not converged: {worst}"),
                    0,
                    0.0,
                    Some(format!(
                        "seed {seed}: not converged at {worst} ({residual:.1e})"
                    )),
                ),
                Err(error) => (
                    "other".to_owned(),
                    0,
                    0.0,
                    Some(format!("seed {seed}: {error}")),
                ),
            }
        })
        .collect();
    let mut tally: BTreeMap<&str, u64> = BTreeMap::new();
    for (outcome, ..) in &outcomes {
        *tally.entry(outcome).or_default() += 1;
    }
    let solved: Vec<_> = outcomes
        .iter()
        .filter(|(outcome, ..)| outcome == "solved")
        .collect();
    let steps: usize = solved.iter().map(|o| o.1).sum();
    let worst = solved.iter().map(|o| o.2).fold(0.0, f64::max);
    println!(
        "{count} random systems; {} solved, mean {} Newton steps, worst residual {worst:.1e}",
        solved.len(),
        steps / solved.len().max(1)
    );
    for (outcome, number) in &tally {
        println!("{number:>9}  {outcome}");
    }
    let wrong: Vec<&String> = outcomes.iter().filter_map(|o| o.3.as_ref()).collect();
    for line in wrong.iter().take(20) {
        println!("{line}");
    }
    assert!(
        wrong.is_empty(),
        "{} of {count} went wrong, first: {}",
        wrong.len(),
        wrong[0]
    );
}
