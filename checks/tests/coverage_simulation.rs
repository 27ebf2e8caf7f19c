//! Do the reported intervals tell the truth? Virtual standardizations with a known concentration.
//!
//! Each trial draws a bench from what the evaluation says it believes about it (JCGM 101, table 1: the shapes of the
//! tolerances are those of `metrology::Distribution`), titrates with it, writes the readings down as a person would,
//! and evaluates the sheet. The 95 % interval must then hold the true concentration 94 to 96 times in 100. The
//! physics here is written out again from the definitions, not taken from the crates under test.

use rayon::prelude::*;
use titrimetry::Sheet;
use titrimetry::evaluation::evaluate;

const TRIALS: u64 = 20_000;

/// Molar mass of KHC8H4O4 in g/mol, CIAAW 2021 abridged.
const MOLAR_MASS: f64 = 204.2223;

/// A small generator of its own (splitmix64), so that the simulation shares nothing with the Monte Carlo it judges.
struct Dice(u64);

impl Dice {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn rectangular(&mut self, half_width: f64) -> f64 {
        half_width * (2.0 * self.uniform() - 1.0)
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

/// What the hand's scatter is and what the sheet says about it.
#[derive(Clone, Copy)]
enum Hand {
    /// True scatter 0.03 mL; the sheet gives a pooled standard deviation from earlier work, 10 degrees of freedom.
    KnownFromEarlierWork,
    /// Nothing on the sheet; the true scatter is drawn from the belief that the evaluation states (0.025 mL with 8
    /// degrees of freedom, that is a scaled inverse chi-square).
    AsAssumed,
}

/// One virtual standardization of n runs; true if the interval holds the truth.
fn covers(n: usize, hand: Hand, seed: u64) -> bool {
    let mut dice = Dice(seed);
    let truth = 0.1 * (1.0 + dice.rectangular(0.02));
    let purity = 0.9997 + dice.normal(0.00035);
    let burette = dice.triangular(0.05);
    let (linear_gross, linear_tare) = (dice.rectangular(0.0002), dice.rectangular(0.0002));
    // Sheet: 22 degC within 1 K; water expands 2.1e-4/K and borosilicate 1e-5/K around there.
    let temperature = 22.0 + dice.rectangular(1.0);
    let expansion = |t: f64| 1.0 + (9.9e-6 - 2.17e-4) * (t - 20.0);
    let sd = match hand {
        Hand::KnownFromEarlierWork => 0.03,
        Hand::AsAssumed => 0.025 * (8.0 / dice.chi_square(8)).sqrt(),
    };
    let mut text = String::from(
        "title = \"virtual\"\n[sought]\nsubstance = \"NaOH\"\nplace = \"burette\"\n\
         [known]\nsubstance = \"KHP\"\npurity = { value = \"99.97 %\", u = \"0.035 %\" }\n\
         [apparatus]\nburette = \"burette 50 mL A\"\n\
         balance = { readability = \"0.0001 g\", repeatability = \"0.0001 g\", linearity = \"0.0002 g\" }\n\
         [conditions]\ntemperature = \"22 degC\"\ntemperature_within = \"1 K\"\n",
    );
    if let Hand::KnownFromEarlierWork = hand {
        // Earlier sets show the whole scatter of a titre: hand, two readings, weighing (0.5 g, twice 0.1 mg and rounding).
        let reading = 2.0 * 0.02f64.powi(2) / 6.0;
        let weighing = 25.0f64.powi(2) * (2.0 * 0.0001f64.powi(2) + 2.0 * 0.00005f64.powi(2) / 3.0)
            / 0.51f64.powi(2);
        let whole = (sd * sd + reading + weighing).sqrt();
        let shown = whole * (dice.chi_square(10) / 10.0).sqrt();
        text += &format!("[repeatability]\ns = \"{shown:.5} mL\"\ndegrees_of_freedom = 10\n");
    }
    for _ in 0..n {
        // Weigh: what is in the flask differs from what the balance shows.
        let shown = 0.51 + dice.rectangular(0.01);
        let (gross, tare) = (20.0 + shown, 20.0);
        let read =
            |value: f64, dice: &mut Dice| ((value + dice.normal(0.0001)) * 1e4).round() / 1e4;
        let (gross_read, tare_read) = (
            read(gross + linear_gross, &mut dice),
            read(tare + linear_tare, &mut dice),
        );
        let mass = (gross - tare) * 1.000_583_9;
        let volume_20 = mass * purity / (MOLAR_MASS * truth) * 1000.0 + dice.normal(sd);
        // The burette shows less than it delivers by its error, and the solution is warm.
        let volume_shown = volume_20 / expansion(temperature) - burette;
        let initial = 0.2 + dice.rectangular(0.15);
        let eye =
            |value: f64, dice: &mut Dice| ((value + dice.triangular(0.02)) * 100.0).round() / 100.0;
        let (initial_read, final_read) = (
            eye(initial, &mut dice),
            eye(initial + volume_shown, &mut dice),
        );
        text += &format!(
            "[[run]]\ngross = \"{gross_read:.4} g\"\ntare = \"{tare_read:.4} g\"\n\
             initial = \"{initial_read:.2} mL\"\nfinal = \"{final_read:.2} mL\"\n"
        );
    }
    let sheet = Sheet::read(&text).expect("a virtual sheet reads");
    let evaluation = evaluate(&sheet, None).expect("a virtual sheet evaluates");
    evaluation.expanded.lower <= truth && truth <= evaluation.expanded.upper
}

fn coverage(n: usize, hand: Hand) -> f64 {
    let salt = n as u64 * 1_000_003
        + if matches!(hand, Hand::AsAssumed) {
            500_000_000
        } else {
            0
        };
    let hits = (0..TRIALS)
        .into_par_iter()
        .filter(|trial| covers(n, hand, (salt + trial) << 20))
        .count();
    hits as f64 / TRIALS as f64
}

/// Binomial sampling error of 20,000 trials is 0.15 %; the band of 94 to 96 % is asked of the measured figure itself.
fn judge(hand: Hand, name: &str) {
    for n in [1, 2, 3, 5] {
        let share = coverage(n, hand);
        println!(
            "{name}, n = {n}: {:.2} % of {TRIALS} intervals hold the truth",
            share * 100.0
        );
        assert!((0.94..=0.96).contains(&share), "{name}, n = {n}: {share}");
    }
}

#[test]
fn intervals_hold_the_truth_with_repeatability_from_earlier_work() {
    judge(Hand::KnownFromEarlierWork, "earlier work");
}

#[test]
fn intervals_hold_the_truth_with_the_assumed_repeatability() {
    judge(Hand::AsAssumed, "assumed");
}
