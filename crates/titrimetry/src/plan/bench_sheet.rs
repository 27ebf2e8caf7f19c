//! The bench sheet of a plan, ready to be filled in: readings are left to the bench.

use super::Plan;
use super::candidate::Dose;
use crate::sheet::Sheet;
use std::fmt::Write;

impl Plan {
    /// The text of the bench sheet: everything that is known beforehand, and a place for every reading.
    ///
    /// Nothing that has to be read at the bench is filled in, so a forgotten reading cannot pass for one.
    ///
    /// # Errors
    /// If the sheet cannot be written as TOML; none is known.
    pub fn bench_sheet(&self) -> Result<String, toml::ser::Error> {
        let expected = &self.chosen().expected;
        let candidate = &expected.candidate;
        let mut sheet: Sheet = candidate.sheet(&self.case, &[]);
        sheet.run.clear();
        let made_up = sheet.known.dissolved.as_mut().map(|dissolved| {
            dissolved.mass = None;
        });
        let mut text = format!(
            "# Bench sheet from a plan. Fill in what is read, as it is read: the decimals count.\n\
             # Expected: titre {:.1} mL ({:.1} to {:.1} mL), U = {:.2} %.\n",
            expected.titre_ml,
            self.titre_range_ml.0,
            self.titre_range_ml.1,
            expected.relative_uncertainty * 100.0
        );
        text.push_str("#analyst = \"\"\n#date = \"\"\n");
        // The runs follow as tables of their own.
        text.push_str(&toml::to_string(&sheet)?.replace("run = []\n", ""));
        if made_up.is_some() {
            // The table of the made-up standard is the last one written for the known side.
            let about = format!(
                "\n# The standard made up: about {}; write the mass that was read into [known.dissolved].\n",
                self.case.mass(candidate.dose.mass_g().unwrap_or_default())
            );
            text = text.replacen(
                "[known.dissolved]\n",
                &format!("{}[known.dissolved]\n#mass = \" g\"\n", about.trim_start()),
                1,
            );
        }
        let weigh = match (&candidate.dose, expected.mass_window_g) {
            (Dose::Weighed { mass_g }, Some((from, to))) => {
                let _ = write!(
                    text,
                    "\n# Weigh about {} for each run ({from:.4} to {to:.4} g).\n",
                    self.case.mass(*mass_g)
                );
                true
            }
            _ => false,
        };
        let mut run = |kind: &str| {
            text.push_str("\n[[run]]\n");
            if !kind.is_empty() {
                let _ = writeln!(text, "kind = \"{kind}\"");
            }
            if weigh && kind != "blank" {
                text.push_str("#mass = \" g\"\n");
            }
            text.push_str("#initial = \" mL\"\n#final = \" mL\"\n");
        };
        run("rough");
        for _ in 0..candidate.runs {
            run("");
        }
        if self.case.wishes.run.blank.is_some() {
            run("blank");
        }
        Ok(text)
    }
}
