//! Standard addition against published worked examples, and whether its intervals tell the truth.
//!
//! No worked example of a titration by standard addition with its numbers was found. The line is the same for any signal
//! that is proportional to the amount, so two worked examples of other techniques stand in: their signals are written as
//! titres, their standards as solutions of calcium. Only the line and its uncertainty are checked by them; the chemistry of
//! the titration is not.
#![allow(clippy::unwrap_used)]

use metrology::{Plan, monte_carlo};
use rayon::prelude::*;
use titrimetry::assay::{Assay, AssaySheet, evaluate};
use titrimetry::method;

/// Molar mass of calcium in g/mol, CIAAW.
const CALCIUM: f64 = 40.078;

/// Portions of a sample with additions of a standard, and their titres, all in mL.
struct Sheet<'a> {
    portion: &'a str,
    measured_by: &'a str,
    burette: &'a str,
    /// Concentrations in mol/L.
    titrant: String,
    standard: String,
    runs: Vec<(String, String)>,
    more: String,
}

impl Sheet<'_> {
    fn evaluate(&self) -> Assay {
        let mut text = format!(
            "title = \"lines\"\nmethod = \"calcium-by-standard-addition\"\n[titrant]\nconcentration = {}\n\
             [reagent.standard]\nconcentration = {}\n[apparatus]\nburette = \"{}\"\n\
             [piece]\nsample = \"{}\"\nstandard = \"{}\"\n{}\n[[sample]]\nid = \"S\"\n",
            self.titrant, self.standard, self.burette, self.portion, self.measured_by, self.more
        );
        for (added, titre) in &self.runs {
            text += &format!(
                "[[sample.run]]\ninitial = \"0.00 mL\"\nfinal = \"{titre} mL\"\nadded = \"{added} mL\"\n"
            );
        }
        let sheet = AssaySheet::read(&text).unwrap_or_else(|e| panic!("{e}\n{text}"));
        let method = method::find("calcium-by-standard-addition").unwrap();
        evaluate(&sheet, method, &|_| None).unwrap_or_else(|e| panic!("{e}\n{text}"))
    }
}

fn exact(mol_per_l: f64) -> String {
    format!("{{ value = \"{mol_per_l:.15} mol/L\", exact = true }}")
}

/// Part of the standard uncertainty of the first result that the scatter of the runs makes.
fn by_scatter(assay: &Assay) -> f64 {
    let first = &assay.samples[0].results[0];
    let inputs = first.formula.inputs();
    let lines = first.budget.lines.iter();
    lines
        .filter(|line| inputs[line.input].group == "repeatability")
        .map(|line| line.contribution.powi(2))
        .sum::<f64>()
        .sqrt()
        / first.factor
}

/// Harvey, Analytical Chemistry 2.1, Solutions Manual, chapter 5, problem 9 (open textbook): 5.00 mL of sample with 0, 0.10,
/// 0.20 and 0.30 mL of a standard of 600 ppb give the signals 0.119, 0.231, 0.339 and 0.442; plotted as signal times total
/// volume against added amount. Printed: intercept 0.5955, slope 0.009713, content times volume 61.31, content 12.3 ppb,
/// standard deviation about regression 0.00155.
///
/// Here the signal times volume stands as titre, tenfold in mL, and ppb as mg/L; the titrant is so strong that the printed
/// slope is a recovery of 97.13 %.
#[test]
fn harvey_problem_5_9() {
    let signals = [(0.00, 0.119), (0.10, 0.231), (0.20, 0.339), (0.30, 0.442)];
    let runs = signals
        .map(|(added, signal)| {
            let titre = 10.0 * signal * (5.0 + added);
            (format!("{added:.2}"), format!("{titre:.4}"))
        })
        .to_vec();
    let assay = Sheet {
        portion: "pipette 5 mL A",
        measured_by: "piston pipette 1 mL",
        burette: "burette 25 mL A graduated 0.05",
        // 1 mg/L in 5 mL takes 10 mL per unit of signal times volume: slope 1 of the source is 100 recoveries.
        titrant: exact(0.01 / CALCIUM),
        standard: exact(0.600 / CALCIUM),
        runs,
        more: "[conditions]\ntemperature = \"20 degC\"\n[repeatability]\ns = \"0.0001 mL\"\ndegrees_of_freedom = 12".into(),
    }
    .evaluate();
    let sample = &assay.samples[0];
    let line = sample.addition.as_ref().unwrap();
    // 0.0097125, which the source rounds up.
    let slope = line.recovery.value / 1e4;
    assert!((slope - 0.009713).abs() < 0.5e-6 * (1.0 + 1e-6), "{slope}");
    assert_eq!(format!("{:.2}", sample.results[0].value * 5.0), "61.31");
    assert_eq!(format!("{:.1}", sample.results[0].value), "12.3");
    // The scatter that the runs show, over the mean titre, is that of the source: its unit is a tenth of ours.
    let mean = sample.runs.iter().map(|r| r.titres[0]).sum::<f64>() / 4.0;
    let scatter = sample.titrations[0].scatter.observed.unwrap() * mean / 10.0;
    assert_eq!(format!("{scatter:.5}"), "0.00155");
}

/// A tutorial on multiple standard additions (scribd.com 228626738): aluminium from chewing gum, 25 mL with 0, 0.1, 0.2 and
/// 0.3 mL of a standard of 300.0 ppm, signals 0.214, 0.386, 0.554 and 0.728. Printed: intercept 0.2140, slope 1.7100,
/// volume at no signal 0.1251 mL, content 1.5018 ppm, residual standard deviation 1.7321e-3, standard error of the volume
/// 1.6840e-3 mL.
///
/// The source's standard error holds the scatter of a new point, sqrt(1 + 1/n + ...), as in reading a value off a calibration
/// line. Nothing is read there: the intercept over the slope has sqrt(1/n + ...) (IUPAC 2023, 1.150). We give the latter,
/// and the test shows that the 1 is all the difference.
#[test]
fn aluminium_tutorial() {
    // Signals fiftyfold as titres; additions a hundredfold of a hundredth of the strength, so that pipettes add no scatter.
    let runs = [
        ("0", "10.70"),
        ("10", "19.30"),
        ("20", "27.70"),
        ("30", "36.40"),
    ]
    .map(|(added, titre)| (format!("{added}.00"), titre.to_string()))
    .to_vec();
    let assay = Sheet {
        portion: "pipette 25 mL A",
        measured_by: "pipette 10 mL A",
        burette: "burette 50 mL A graduated 0.1",
        titrant: exact(0.003 / CALCIUM / 0.855),
        standard: exact(0.003 / CALCIUM),
        runs,
        more: "[conditions]\ntemperature = \"20 degC\"\n[repeatability]\ns = \"0.0001 mL\"\ndegrees_of_freedom = 12".into(),
    }
    .evaluate();
    let sample = &assay.samples[0];
    let line = sample.addition.as_ref().unwrap();
    assert!(
        (line.recovery.value - 100.0).abs() < 1e-4,
        "{}",
        line.recovery.value
    );
    let content = sample.results[0].value;
    // Mass per volume: ppm are mg/L.
    assert_eq!(format!("{content:.4}"), "1.5018");
    assert_eq!(format!("{:.4}", content * 25.0 / 300.0), "0.1251");
    let mean = sample.runs.iter().map(|r| r.titres[0]).sum::<f64>() / 4.0;
    let residual = sample.titrations[0].scatter.observed.unwrap() * mean / 50.0;
    assert_eq!(format!("{residual:.7}"), "0.0017321");
    // Ours, in mL of the source; with a new point's scatter it is the figure printed.
    let u = by_scatter(&assay) * 25.0 / 300.0;
    let new_point = residual / 1.71;
    assert_eq!(format!("{:.7}", u.hypot(new_point)), "0.0016840");
    assert_eq!(format!("{u:.7}"), "0.0013453");
}

/// First order against simulation of the same formula, and what the line makes of shared inputs: the strength of the titrant
/// cancels in the content, that of the standard does not.
#[test]
fn the_line_is_one_formula() {
    let sheet = |titrant: &str, standard: &str| Sheet {
        portion: "pipette 10 mL A",
        measured_by: "pipette 2 mL A",
        burette: "burette 25 mL A graduated 0.05",
        titrant: format!("{{ value = \"{titrant} mol/L\", u = \"0.00002 mol/L\" }}"),
        standard: format!("{{ value = \"{standard} mol/L\", u = \"0.00002 mol/L\" }}"),
        runs: [
            ("0.00", "11.20"),
            ("2.00", "14.95"),
            ("4.00", "18.75"),
            ("6.00", "22.50"),
        ]
        .map(|(added, titre)| (added.to_string(), titre.to_string()))
        .to_vec(),
        more: "[conditions]\ntemperature = \"20 degC\"".into(),
    };
    let assay = sheet("0.01000", "0.02000").evaluate();
    let sample = &assay.samples[0];
    let first = &sample.results[0];
    let share = |group: &str| -> f64 {
        let inputs = first.formula.inputs();
        let lines = first.budget.lines.iter();
        lines
            .filter(|l| inputs[l.input].group == group)
            .map(|l| l.share)
            .sum()
    };
    assert!(share("concentration of the titrant") < 1e-12);
    assert!(share("concentration of the standard") > 0.0);
    let twice = sheet("0.01010", "0.02000").evaluate();
    let stronger = &twice.samples[0];
    assert!((stronger.results[0].value / first.value - 1.0).abs() < 1e-12);
    let recoveries = [sample, stronger].map(|s| s.addition.as_ref().unwrap().recovery.value);
    assert!((recoveries[1] / recoveries[0] - 1.01).abs() < 1e-12);
    let simulation = monte_carlo(
        &first.formula,
        &Plan {
            trials: 200_000,
            ..Plan::default()
        },
    )
    .unwrap();
    // Standard deviations of a t distribution with 10 degrees of freedom are wider than their scale.
    let ratio = simulation.standard_uncertainty / first.budget.standard_uncertainty;
    assert!((1.0..1.15).contains(&ratio), "{ratio}");
    assert!((simulation.mean / first.budget.value - 1.0).abs() < 1e-3);
}

/// A small generator of its own (splitmix64), so that the simulation shares nothing with what it judges.
struct Dice(u64);

impl Dice {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn triangular(&mut self, half_width: f64) -> f64 {
        half_width * (self.uniform() - self.uniform())
    }

    fn normal(&mut self, sd: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        sd * radius * (2.0 * std::f64::consts::PI * self.uniform()).cos()
    }

    fn chi_square(&mut self, degrees_of_freedom: usize) -> f64 {
        (0..degrees_of_freedom)
            .map(|_| self.normal(1.0).powi(2))
            .sum()
    }
}

/// Additions in mL of each portion.
const DESIGNS: [&[f64]; 3] = [
    &[0.0, 6.0],
    &[0.0, 2.0, 4.0, 6.0],
    &[0.0, 0.0, 0.0, 6.0, 6.0, 6.0],
];

/// One sample whose matrix hides a share of the calcium; whether the intervals of content and recovery hold the truth.
fn covers(design: &[f64], seed: u64) -> (bool, bool) {
    let mut dice = Dice(seed);
    let recovery = 0.90 + 0.12 * dice.uniform();
    let content = 0.012 * (0.8 + 0.4 * dice.uniform());
    // The bench: limits of ISO 648 and 385 class A in mL, standard uncertainties of the solutions.
    let portion = 10.0 + dice.triangular(0.02);
    let fill = 2.0 + dice.triangular(0.01);
    let burette = dice.triangular(0.05);
    let titrant = 0.01 + dice.normal(0.00001);
    let standard = 0.02 + dice.normal(0.00002);
    let sd = 0.03;
    // Earlier sets show the whole scatter of a titre: hand, two readings, rounding to 0.01 mL.
    let whole = (sd * sd + 2.0 * 0.02f64.powi(2) / 6.0 + 0.01f64.powi(2) / 12.0).sqrt();
    let shown = whole * (dice.chi_square(10) / 10.0).sqrt();
    let mut runs = Vec::new();
    for added in design {
        let there = content * portion + standard * fill * added / 2.0;
        let volume = recovery * there / titrant + dice.normal(sd) - burette;
        let start = dice.triangular(0.02);
        let end = volume + dice.triangular(0.02);
        runs.push((format!("{added:.2}"), format!("{:.2}", end - start)));
    }
    let assay = Sheet {
        portion: "pipette 10 mL A",
        measured_by: "pipette 2 mL A",
        burette: "burette 50 mL A graduated 0.1",
        titrant: "{ value = \"0.01000 mol/L\", u = \"0.00001 mol/L\" }".into(),
        standard: "{ value = \"0.02000 mol/L\", u = \"0.00002 mol/L\" }".into(),
        runs,
        more: format!("[conditions]\ntemperature = \"20 degC\"\n[repeatability]\ns = \"{shown:.5} mL\"\ndegrees_of_freedom = 10"),
    }
    .evaluate();
    let sample = &assay.samples[0];
    let within = |of: &titrimetry::assay::Reported, truth: f64| {
        of.expanded.lower <= truth && truth <= of.expanded.upper
    };
    (
        within(&sample.results[0], content * CALCIUM * 1000.0),
        within(
            &sample.addition.as_ref().unwrap().recovery,
            100.0 * recovery,
        ),
    )
}

/// With 2,000 trials the binomial standard error of 95 % is 0.49 %; the band is three of them.
#[test]
fn intervals_hold_a_planted_truth() {
    const TRIALS: u64 = 2_000;
    let error = (0.95 * 0.05 / TRIALS as f64).sqrt();
    for (index, design) in DESIGNS.iter().enumerate() {
        let hits: Vec<(bool, bool)> = (0..TRIALS)
            .into_par_iter()
            .map(|trial| covers(design, (index as u64 * 1_000_003 + trial) << 20))
            .collect();
        let share = |which: fn(&(bool, bool)) -> bool| {
            hits.iter().filter(|hit| which(hit)).count() as f64 / TRIALS as f64
        };
        for (name, held) in [("content", share(|h| h.0)), ("recovery", share(|h| h.1))] {
            println!("{name}, additions {design:?}: {:.2} %", 100.0 * held);
            assert!(
                (held - 0.95).abs() < 3.0 * error,
                "{name}, {design:?}: {held}"
            );
        }
    }
}
