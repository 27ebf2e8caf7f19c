//! What lies before the demo's first day: a bottle of base that was standardized every week and slowly loses strength, and
//! a vinegar of known content that was titrated with it each time.

use super::{ACETIC, Demo, DemoError, Dice, PHTHALATE, node, stated, written};
use crate::node::{Kind, Node};
use crate::payload::{
    DeterminationApproved, DeterminationClosed, DeterminationReviewed, KnownBy, Plan,
    SampleReceived, Slot, Source,
};
use std::collections::BTreeMap;
use titrimetry::assay::SampleKind;
use titrimetry::sheet::{Conditions, Place, RunKind};

/// Weeks of history.
pub(super) const WEEKS: i64 = 7;
/// Concentration of the base when it was made, in mol/L, and what it loses in a week: carbon dioxide of the air.
const BASE: f64 = 0.100_86;
const LOST_IN_A_WEEK: f64 = 0.000_5;
/// Content of the check vinegar in g/100 mL.
const CHECK: f64 = 5.00;

impl Demo {
    /// Writes the history up to the first day.
    pub(super) fn history(&mut self, seed: u64) -> Result<(), DemoError> {
        // Dice of its own: what follows does not depend on how much lies before it.
        let dice = std::mem::replace(&mut self.dice, Dice(seed ^ 0x51ab_0098));
        self.made()?;
        let first = self.now;
        for week in 0..WEEKS {
            self.now = first.plus(week * 7 * 86_400_000 + 3_600_000);
            let base = BASE * (1.0 - LOST_IN_A_WEEK * week as f64);
            self.weekly_standardization(week, base)?;
            self.weekly_check(week, base)?;
        }
        self.dice = dice;
        Ok(())
    }

    fn made(&mut self) -> Result<(), DemoError> {
        let prepared = self.base("8.2 g", "titrant shelf, right")?;
        self.says("sorrel", node(Kind::Solution, "T-0098")?, prepared);
        let check = SampleReceived {
            what: "check vinegar, 5.00 g/100 mL".into(),
            role: SampleKind::Check,
            from: Some("made up here by weighing".into()),
            limits: None,
            expected: Some(stated("5.00 % m/V", "0.02 % m/V")?),
            density: None,
        };
        self.says("fennel", node(Kind::Sample, "Q-0001")?, check);
        Ok(())
    }

    fn conditions(&mut self) -> Result<Conditions, DemoError> {
        let temperature = format!("{:.1} degC", 20.6 + 1.4 * self.dice.unit());
        Ok(Conditions {
            temperature: Some(written(&temperature)?),
            temperature_within: Some(written("1.5 K")?),
            pressure: None,
            humidity: None,
        })
    }

    fn weekly_standardization(&mut self, week: i64, base: f64) -> Result<(), DemoError> {
        let on = node(Kind::Determination, &format!("D-0098-{}", week + 1))?;
        let plan = Plan::Standardization {
            sought: node(Kind::Solution, "T-0098")?,
            place: Place::Burette,
            diluted: Vec::new(),
            known: KnownBy::Lot(node(Kind::Lot, "S-0041")?),
            dissolved: None,
            reaction: None,
            indicator: Some("phenolphthalein, first pink that stays 30 s".into()),
            end_point: None,
        };
        let mut opened = self.opened("Base 0.1 mol/L, weekly", plan)?;
        opened.balance = Some(node(Kind::Apparatus, "W-2")?);
        opened.conditions = self.conditions()?;
        self.says("sorrel", on.clone(), opened);
        for run in 1..=3 {
            let mass = 0.505 + 0.012 * self.dice.unit();
            let mass = (mass * 1e4).round() / 1e4;
            let titre = 1000.0 * mass / PHTHALATE / base;
            self.run("sorrel", &on, run, RunKind::Replicate, None, titre);
            self.reading("sorrel", &on, run, Slot::Mass, format!("{mass:.4} g"));
        }
        self.finished("sorrel", &on, Some(8));
        Ok(())
    }

    fn weekly_check(&mut self, week: i64, base: f64) -> Result<(), DemoError> {
        let on = node(Kind::Determination, &format!("D-Q1-{}", week + 1))?;
        let sample = node(Kind::Sample, "Q-0001")?;
        let plan = Plan::Assay {
            method: node(Kind::Method, "vinegar-acidity")?,
            titrant: Source {
                known: KnownBy::Solution {
                    solution: node(Kind::Solution, "T-0098")?,
                    by: None,
                },
                drift: None,
                standardized_at: None,
            },
            reagents: BTreeMap::new(),
            samples: vec![sample.clone()],
            blank_is: None,
            check_every: None,
        };
        let mut opened = self.opened("Check vinegar, weekly", plan)?;
        opened.pieces = BTreeMap::from([
            ("sample".to_string(), node(Kind::Apparatus, "P-10-2")?),
            ("flask".to_string(), node(Kind::Apparatus, "F-100-1")?),
            ("aliquot".to_string(), node(Kind::Apparatus, "P-25-1")?),
        ]);
        opened.conditions = self.conditions()?;
        self.says("marsh", on.clone(), opened);
        // The portion is made up once: all aliquots of a day share its error.
        let portion = 1.0 + 0.0006 * self.dice.normal();
        for run in 1..=3 {
            let titre = CHECK * portion * 10.0 * 2.5 / ACETIC / base;
            self.run("marsh", &on, run, RunKind::Replicate, Some(&sample), titre);
        }
        self.finished("marsh", &on, None);
        Ok(())
    }

    /// Closed, looked at and signed; a standardization holds for so many days.
    fn finished(&mut self, who: &str, on: &Node, days: Option<i64>) {
        self.says(who, on.clone(), DeterminationClosed { evaluated: None });
        let reviewed = DeterminationReviewed {
            accepted: true,
            note: None,
        };
        self.says("fennel", on.clone(), reviewed);
        let approved = DeterminationApproved {
            meaning: "approved for use".into(),
            name: None,
            evaluated: None,
            use_before: days.map(|days| self.now.day().plus(days)),
        };
        self.says("fennel", on.clone(), approved);
    }
}
