//! Sheets for published worked examples: glass at 20 degC, stated values taken as exact.

#![allow(dead_code, reason = "each file of checks uses its own part")]

use titrimetry::assay::{Assay, AssaySheet, Reported, evaluate};
use titrimetry::method;

/// A sheet for one sample; the lines that differ are added one by one.
pub(crate) struct Example {
    method: &'static str,
    head: String,
    tables: String,
    sample: String,
    runs: String,
}

pub(crate) fn example(method: &'static str, titrant: &str) -> Example {
    Example {
        method,
        head: format!("[titrant]\nconcentration = {{ value = \"{titrant}\", exact = true }}\n"),
        tables: String::new(),
        sample: String::new(),
        runs: String::new(),
    }
}

impl Example {
    /// A further line about the titrant.
    pub(crate) fn titrant(mut self, line: &str) -> Self {
        self.head.push_str(line);
        self.head.push('\n');
        self
    }

    pub(crate) fn reagent(mut self, name: &str, concentration: &str) -> Self {
        self.tables.push_str(&format!(
            "[reagent.\"{name}\"]\nconcentration = {{ value = \"{concentration}\", exact = true }}\n"
        ));
        self
    }

    pub(crate) fn pieces(mut self, lines: &str) -> Self {
        self.tables.push_str(&format!("[piece]\n{lines}\n"));
        self
    }

    pub(crate) fn blank(mut self, titre: &str) -> Self {
        self.tables.push_str(&format!(
            "[[blank]]\ninitial = \"0.00 mL\"\nfinal = \"{titre} mL\"\n"
        ));
        self
    }

    /// A line about the sample, such as its density or mass.
    pub(crate) fn sample(mut self, line: &str) -> Self {
        self.sample.push_str(line);
        self.sample.push('\n');
        self
    }

    pub(crate) fn run(mut self, titre: &str) -> Self {
        self.runs.push_str(&format!(
            "[[sample.run]]\ninitial = \"0.00 mL\"\nfinal = \"{titre} mL\"\n"
        ));
        self
    }

    /// A further line about the last run, such as its mass.
    pub(crate) fn with(mut self, line: &str) -> Self {
        self.runs.push_str(line);
        self.runs.push('\n');
        self
    }

    #[track_caller]
    pub(crate) fn assay(self) -> Assay {
        let text = format!(
            "title = \"published example\"\n{}{}[apparatus]\nburette = \"burette 50 mL A\"\nbalance = \"four-place balance\"\n[conditions]\ntemperature = \"20 degC\"\n[[sample]]\nid = \"1\"\n{}{}",
            self.head, self.tables, self.sample, self.runs
        );
        let sheet = AssaySheet::read(&text).unwrap_or_else(|e| panic!("{e}\n{text}"));
        let method = method::find(self.method).unwrap_or_else(|e| panic!("{e}"));
        evaluate(&sheet, method, &|_| None).unwrap_or_else(|e| panic!("{}: {e}", self.method))
    }

    /// The value of a result in one of its units.
    #[track_caller]
    pub(crate) fn find(self, name: &str, unit: &str) -> f64 {
        in_unit(&self.assay(), name, unit)
    }
}

/// The value of a result in one of its units.
#[track_caller]
pub(crate) fn in_unit(assay: &Assay, name: &str, unit: &str) -> f64 {
    let result = assay.samples[0]
        .results
        .iter()
        .find(|r| r.name == name)
        .unwrap_or_else(|| panic!("no result {name}"));
    let shown: Vec<&Reported> = std::iter::once(result).chain(&result.also).collect();
    shown
        .iter()
        .find(|r| r.unit == unit)
        .unwrap_or_else(|| panic!("{name} is not shown in {unit}"))
        .value
}

/// The value rounds to the digits that the source prints.
#[track_caller]
pub(crate) fn prints(value: f64, printed: &str) {
    let decimals = printed.split_once('.').map_or(0, |(_, d)| d.len());
    assert_eq!(format!("{value:.decimals$}"), printed, "{value}");
}

/// The value equals one worked out by hand, to the relative size of what the source leaves out.
#[track_caller]
pub(crate) fn near(value: f64, by_hand: f64, relative: f64) {
    assert!(
        (value / by_hand - 1.0).abs() <= relative,
        "{value} is not {by_hand}"
    );
}
