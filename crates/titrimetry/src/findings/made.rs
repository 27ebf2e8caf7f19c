//! Made-up sheets for the tests of the findings.

use crate::evaluation::{Evaluation, evaluate};
use crate::finding::Finding;
use crate::layout::Layout;
use crate::sheet::{Sheet, SheetError};
use std::fmt::Write;

/// The codes of findings, in order.
pub(super) fn codes(findings: &[Finding]) -> Vec<&'static str> {
    findings.iter().map(|f| f.code).collect()
}

/// A sheet under construction: sodium hydroxide, about 0.1 mol/L, in either layout.
#[derive(Clone)]
pub(super) struct Made {
    layout: Layout,
    nominal: f64,
    earlier: String,
    indicator: String,
    certified: bool,
    repeatability: String,
    runs: Vec<MadeRun>,
    blanks: Vec<(String, String)>,
}

#[derive(Clone)]
struct MadeRun {
    initial: String,
    last: String,
    /// Amount of the standard over that of the others.
    amount: f64,
    /// Further entries of the run, and sub-tables after them.
    entries: String,
    tables: String,
}

impl Made {
    /// Runs from pairs of readings as written.
    pub(super) fn readings(layout: Layout, pairs: &[(&str, &str)]) -> Self {
        Self {
            layout,
            nominal: 0.1,
            earlier: String::new(),
            indicator: String::new(),
            certified: true,
            repeatability: String::new(),
            runs: pairs
                .iter()
                .map(|(initial, last)| MadeRun {
                    initial: (*initial).into(),
                    last: (*last).into(),
                    amount: 1.0,
                    entries: String::new(),
                    tables: String::new(),
                })
                .collect(),
            blanks: Vec::new(),
        }
    }

    /// Runs from titres; each begins a little elsewhere, after a refill.
    pub(super) fn titres(layout: Layout, titres: &[f64]) -> Self {
        let pairs: Vec<(String, String)> = titres
            .iter()
            .enumerate()
            .map(|(i, titre)| {
                let initial = f64::from(u32::try_from((7 * i + 3) % 20).unwrap()) / 100.0;
                (format!("{initial:.2}"), format!("{:.2}", initial + titre))
            })
            .collect();
        let pairs: Vec<(&str, &str)> = pairs
            .iter()
            .map(|(a, b)| (a.as_str(), b.as_str()))
            .collect();
        Self::readings(layout, &pairs)
    }

    /// Three runs that nobody would remark upon.
    pub(super) fn clean(layout: Layout) -> Self {
        Self::titres(layout, &[24.53, 24.50, 24.56])
    }

    pub(super) fn nominal(mut self, nominal: f64) -> Self {
        self.nominal = nominal;
        self
    }

    /// What the solution was found to be before, mol/L, with its standard uncertainty.
    pub(super) fn earlier(mut self, value: f64, u: f64) -> Self {
        self.earlier =
            format!("earlier = {{ value = \"{value:.6} mol/L\", u = \"{u:.6} mol/L\" }}\n");
        self
    }

    pub(super) fn indicator(mut self, name: &str) -> Self {
        self.indicator = format!("indicator = \"{name}\"\n");
        self
    }

    /// Amounts of standard over that of the first run.
    pub(super) fn amounts(mut self, amounts: &[f64]) -> Self {
        for (run, amount) in self.runs.iter_mut().zip(amounts) {
            run.amount = *amount;
        }
        self
    }

    pub(super) fn analysts(self, names: &[&str]) -> Self {
        self.each("analyst", names)
    }

    pub(super) fn times(self, times: &[&str]) -> Self {
        self.each("time", times)
    }

    fn each(mut self, key: &str, values: &[&str]) -> Self {
        for (run, value) in self.runs.iter_mut().zip(values) {
            writeln!(run.entries, "{key} = \"{value}\"").unwrap();
        }
        self
    }

    pub(super) fn name(self, run: usize, name: &str) -> Self {
        self.entry(run, &format!("name = \"{name}\""))
    }

    pub(super) fn rough(self, run: usize) -> Self {
        self.entry(run, "kind = \"rough\"")
    }

    pub(super) fn set_aside(self, run: usize, reason: &str) -> Self {
        self.entry(run, &format!("set_aside = \"{reason}\""))
    }

    fn entry(mut self, run: usize, line: &str) -> Self {
        writeln!(self.runs[run].entries, "{line}").unwrap();
        self
    }

    pub(super) fn refill(mut self, run: usize, initial: &str, last: &str) -> Self {
        writeln!(
            self.runs[run].tables,
            "[[run.refill]]\ninitial = \"{initial} mL\"\nfinal = \"{last} mL\""
        )
        .unwrap();
        self
    }

    pub(super) fn corrected(mut self, run: usize, was: &str, reason: &str) -> Self {
        writeln!(
            self.runs[run].tables,
            "[[run.corrected]]\nreading = \"final\"\nwas = \"{was}\"\nreason = \"{reason}\""
        )
        .unwrap();
        self
    }

    pub(super) fn blanks(mut self, pairs: &[(&str, &str)]) -> Self {
        self.blanks = pairs
            .iter()
            .map(|(a, b)| ((*a).into(), (*b).into()))
            .collect();
        self
    }

    pub(super) fn repeatability(mut self, s: &str, degrees_of_freedom: u32) -> Self {
        self.repeatability =
            format!("[repeatability]\ns = \"{s}\"\ndegrees_of_freedom = {degrees_of_freedom}\n");
        self
    }

    pub(super) fn uncertified(mut self) -> Self {
        self.certified = false;
        self
    }

    pub(super) fn initial_reading(&self, run: usize) -> f64 {
        self.runs[run].initial.parse().unwrap()
    }

    pub(super) fn final_reading(&self, run: usize) -> f64 {
        self.runs[run].last.parse().unwrap()
    }

    pub(super) fn write_final(&mut self, run: usize, value: f64) {
        self.runs[run].last = format!("{value:.2}");
    }

    pub(super) fn text(&self) -> String {
        let certificate = if self.certified {
            ", certificate = \"RM 12\""
        } else {
            ""
        };
        let (place, known, pipette) = match self.layout {
            Layout::SoughtInBurette => (
                "burette",
                format!(
                    "substance = \"potassium hydrogen phthalate\"\npurity = {{ value = \"99.97 %\", U = \"0.07 %\"{certificate} }}"
                ),
                "balance = \"four-place balance\"",
            ),
            Layout::SoughtInFlask => (
                "flask",
                format!(
                    "substance = \"hydrochloric acid\"\nconcentration = {{ value = \"0.1020 mol/L\", U = \"0.0002 mol/L\"{certificate} }}"
                ),
                "pipette = \"pipette 25 mL A\"",
            ),
        };
        let mut text = format!(
            "title = \"made up\"\n{}[sought]\nsubstance = \"sodium hydroxide\"\nplace = \"{place}\"\nnominal = \"{} mol/L\"\n{}[known]\n{known}\n[apparatus]\nburette = \"burette 50 mL A\"\n{pipette}\n[conditions]\ntemperature = \"20 degC\"\n{}",
            self.indicator, self.nominal, self.earlier, self.repeatability
        );
        for (initial, last) in &self.blanks {
            write!(
                text,
                "[[run]]\nkind = \"blank\"\ninitial = \"{initial} mL\"\nfinal = \"{last} mL\"\n"
            )
            .unwrap();
        }
        for run in &self.runs {
            write!(
                text,
                "[[run]]\ninitial = \"{} mL\"\nfinal = \"{} mL\"\n{}",
                run.initial, run.last, run.entries
            )
            .unwrap();
            if self.layout == Layout::SoughtInBurette {
                writeln!(
                    text,
                    "mass = \"{:.4} g\"",
                    0.5007 * run.amount * self.scale()
                )
                .unwrap();
            }
            text.push_str(&run.tables);
        }
        text
    }

    /// Masses that make 0.1 mol/L of the first titre.
    fn scale(&self) -> f64 {
        let read = |text: &str| text.parse::<f64>().unwrap();
        let titre = read(&self.runs[0].last) - read(&self.runs[0].initial);
        if (20.0..30.0).contains(&titre) {
            1.0
        } else {
            titre / 24.53
        }
    }

    pub(super) fn evaluate(&self) -> Evaluation {
        self.try_evaluate()
            .unwrap_or_else(|error| panic!("{error}\n{}", self.text()))
    }

    pub(super) fn try_evaluate(&self) -> Result<Evaluation, SheetError> {
        evaluate(&Sheet::read(&self.text())?, None)
    }
}
