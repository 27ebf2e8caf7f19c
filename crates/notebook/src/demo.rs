//! The demo record: a fictional quality bench at a small pickle works. People, lots, bottles and readings are invented.
//!
//! A certified acid gives the concentration of a base, the base gives the acidity of vinegar. Then the acid's certificate
//! turns out to have been entered wrongly. Some weeks of weekly work lie before it. The same seed gives the same record.

mod history;

use crate::decide::Command;
use crate::ledger::Stamp;
use crate::moment::Moment;
use crate::node::{Kind, Node};
use crate::payload::{
    ApparatusCalibrated, ApparatusRegistered, CertificateIssued, CheckedOff, ConditionsNoted,
    DeterminationApproved, DeterminationClosed, DeterminationOpened, DeterminationReviewed,
    Ingredient, KnownBy, LotCertificate, LotCertificateCorrected, LotOpened, LotReceived, LotUse,
    MethodAdopted, PersonAdded, Piece, Plan, ReadingCorrected, ReadingTaken, RecordOpened,
    Remarked, Role, RulesAdopted, RunSetAside, RunStarted, SampleReceived, Slot, SolutionPrepared,
    Source,
};
use std::collections::BTreeMap;
use std::sync::Arc;
use titrimetry::RuleProfile;
use titrimetry::assay::Limits;
use titrimetry::method;
use titrimetry::sheet::{
    CalibrationSpec, Conditions, CorrectionPoint, CoverageSpec, Kind as Quantity, OwnBalance,
    OwnPiece, PieceSpec, Place, Repeatability, RunKind, Stated, Written,
};

/// One step of the demo: who says what, when.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Who, when, where.
    pub stamp: Stamp,
    /// What.
    pub command: Command,
}

/// Why the demo cannot be written: a defect of the program, reported rather than panicked on.
pub type DemoError = String;

/// Concentration of the certified acid in mol/L, as it is.
const ACID: f64 = 0.100_14;
/// As it was entered first: two digits swapped.
const ACID_ENTERED: &str = "0.10041 mol/L";
/// Concentration of the bases in mol/L.
const BASE_BY_ACID: f64 = 0.100_32;
const BASE_BY_PHTHALATE: f64 = 0.099_62;
/// Grams of phthalate for a mole (rounded; the demo only needs plausible titres).
const PHTHALATE: f64 = 204.22;
/// Grams of acetic acid for a mole (rounded).
const ACETIC: f64 = 60.05;

/// The demo record: some weeks of history, then its days from the first day on.
///
/// # Errors
/// If one of the demo's own texts cannot be read.
pub fn script(seed: u64, first_day: Moment) -> Result<Vec<Step>, DemoError> {
    let mut demo = Demo {
        steps: Vec::new(),
        now: first_day.plus(-(history::WEEKS * 7 + 1) * 86_400_000),
        dice: Dice(seed ^ 0x9e37_79b9_7f4a_7c15),
    };
    demo.found()?;
    demo.shelf()?;
    demo.history(seed)?;
    demo.now = first_day;
    demo.bottles_and_samples()?;
    demo.next_day(1);
    demo.base_by_phthalate()?;
    demo.next_day(1);
    demo.base_by_acid()?;
    demo.next_day(1);
    demo.vinegar(
        "D-0003",
        "T-0117",
        BASE_BY_PHTHALATE,
        &[("V-231", 5.21)],
        true,
    )?;
    demo.vinegar(
        "D-0004",
        "T-0123",
        BASE_BY_ACID,
        &[("V-232", 5.006), ("V-233", 5.34)],
        true,
    )?;
    demo.next_day(2);
    demo.correction()?;
    demo.vinegar("D-0005", "T-0123", BASE_BY_ACID, &[("V-234", 5.18)], false)?;
    Ok(demo.steps)
}

/// SplitMix64 (Steele, Lea and Flood, OOPSLA 2014): small, and the same everywhere.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Between 0 and 1.
    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Roughly normal with standard deviation 1: the sum of twelve.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

struct Demo {
    steps: Vec<Step>,
    now: Moment,
    dice: Dice,
}

/// A text with two of its characters swapped; none if that changes nothing.
fn swapped(text: &str, a: usize, b: usize) -> Option<String> {
    let mut chars: Vec<char> = text.chars().collect();
    if chars.get(a)? == chars.get(b)? {
        return None;
    }
    chars.swap(a, b);
    Some(chars.into_iter().collect())
}

fn node(kind: Kind, name: &str) -> Result<Node, DemoError> {
    Node::new(kind, name).map_err(|e| e.to_string())
}

fn written<K: Quantity>(text: &str) -> Result<Written<K>, DemoError> {
    text.parse()
}

fn stated<K: Quantity>(value: &str, expanded: &str) -> Result<Stated<K>, DemoError> {
    Ok(Stated {
        value: written(value)?,
        expanded: Some(written(expanded)?),
        k: Some(2.0),
        standard: None,
        within: None,
        shape: None,
        exact: false,
        degrees_of_freedom: None,
        certificate: None,
    })
}

impl Demo {
    fn next_day(&mut self, days: i64) {
        self.now = self.now.plus(days * 86_400_000);
    }

    /// A step; the clock goes on by some minutes.
    fn says(&mut self, who: &str, on: Node, payload: impl Into<crate::payload::Payload>) {
        self.now = self
            .now
            .plus(45_000 + i64::try_from(self.dice.next() % 90_000).unwrap_or(0));
        let key = format!("demo-{:04}", self.steps.len() + 1);
        self.steps.push(Step {
            stamp: Stamp {
                at: self.now,
                who: who.into(),
                device: if who == "fennel" { "desk" } else { "bench 1" }.into(),
                key: Some(key),
            },
            command: Command::new(on, payload),
        });
    }

    fn found(&mut self) -> Result<(), DemoError> {
        self.says(
            "fennel",
            Node::record(),
            RecordOpened {
                name: "Pickle works, quality bench (demo)".into(),
            },
        );
        for (id, name, roles) in [
            ("fennel", "A. Fennel", vec![Role::Keeper, Role::Reviewer]),
            ("sorrel", "I. Sorrel", vec![Role::Analyst]),
            ("marsh", "T. Marsh", vec![Role::Analyst]),
        ] {
            let on = node(Kind::Person, id)?;
            let name = name.into();
            self.says("fennel", on, PersonAdded { name, roles });
        }
        let method = method::find("vinegar-acidity").map_err(|e| e.to_string())?;
        let on = node(Kind::Method, "vinegar-acidity")?;
        let method = method.clone();
        self.says("fennel", on, MethodAdopted { method });
        let profile = RuleProfile::named("pharmacopoeia").map_err(|e| e.to_string())?;
        let on = node(Kind::Rules, "pharmacopoeia")?;
        let profile = profile.clone();
        self.says("fennel", on, RulesAdopted { profile });
        Ok(())
    }

    fn shelf(&mut self) -> Result<(), DemoError> {
        let year = |demo: &Self| Some(demo.now.day().plus(365));
        for (id, catalogue) in [
            ("B-3", "burette 50 mL A"),
            ("P-25-1", "pipette 25 mL A"),
            ("P-10-2", "pipette 10 mL A"),
            ("F-100-1", "flask 100 mL A"),
        ] {
            let piece = Piece::Glass(PieceSpec::Name(catalogue.into()));
            let on = node(Kind::Apparatus, id)?;
            self.says("fennel", on, ApparatusRegistered { piece, due: None });
        }
        let balance = Piece::Balance(titrimetry::sheet::BalanceSpec::Own(Box::new(OwnBalance {
            id: None,
            readability: written("0.1 mg")?,
            repeatability: Some(written("0.1 mg")?),
            linearity: Some(written("0.2 mg")?),
            certificate: Some("W-2/2026-01".into()),
        })));
        let registered = ApparatusRegistered {
            piece: balance,
            due: year(self),
        };
        self.says("fennel", node(Kind::Apparatus, "W-2")?, registered);
        let mut points = Vec::new();
        for (at, correction, u) in [
            ("0 mL", "0.000 mL", "0.004 mL"),
            ("10 mL", "0.008 mL", "0.006 mL"),
            ("20 mL", "0.012 mL", "0.006 mL"),
            ("30 mL", "0.006 mL", "0.006 mL"),
            ("40 mL", "-0.003 mL", "0.007 mL"),
            ("50 mL", "-0.009 mL", "0.007 mL"),
        ] {
            points.push(CorrectionPoint {
                at: written(at)?,
                correction: written(correction)?,
                u: written(u)?,
            });
        }
        let calibrated = ApparatusCalibrated {
            certificate: "B-3/2026-02".into(),
            piece: Piece::Glass(PieceSpec::Own(Box::new(OwnPiece {
                catalogue: "burette 50 mL A".into(),
                id: None,
                tolerance: None,
                graduation: None,
                calibration: Some(Arc::new(CalibrationSpec {
                    certificate: "B-3/2026-02".into(),
                    date: Some(self.now.day().to_string()),
                    points,
                })),
            }))),
            due: year(self),
        };
        self.says("fennel", node(Kind::Apparatus, "B-3")?, calibrated);

        let phthalate = LotReceived {
            substance: "potassium hydrogen phthalate".into(),
            serves_as: LotUse::Standard,
            makers_lot: Some("K-771".into()),
            certificate: Some(LotCertificate {
                number: "K-771/A".into(),
                purity: Some(stated("99.97 %", "0.03 %")?),
                concentration: None,
            }),
            density: None,
            expires: Some(self.now.day().plus(700)),
        };
        self.says("fennel", node(Kind::Lot, "S-0041")?, phthalate);
        let acid = LotReceived {
            substance: "hydrochloric acid".into(),
            serves_as: LotUse::Standard,
            makers_lot: Some("A-2209".into()),
            certificate: Some(LotCertificate {
                number: "A-2209".into(),
                purity: None,
                concentration: Some(stated(ACID_ENTERED, "0.00010 mol/L")?),
            }),
            density: None,
            expires: Some(self.now.day().plus(365)),
        };
        self.says("marsh", node(Kind::Lot, "S-0107")?, acid);
        let hydroxide = LotReceived {
            substance: "sodium hydroxide".into(),
            serves_as: LotUse::Reagent,
            makers_lot: Some("N-18".into()),
            certificate: None,
            density: None,
            expires: Some(self.now.day().plus(500)),
        };
        self.says("fennel", node(Kind::Lot, "R-0012")?, hydroxide);
        for lot in ["S-0041", "S-0107", "R-0012"] {
            let on = node(Kind::Lot, lot)?;
            self.says("sorrel", on, LotOpened { expires: None });
        }
        Ok(())
    }

    /// A bottle of base, made today.
    fn base(&self, amount: &str, kept: &str) -> Result<SolutionPrepared, DemoError> {
        Ok(SolutionPrepared {
            substance: "sodium hydroxide".into(),
            nominal: written("0.1 mol/L")?,
            made_of: vec![Ingredient {
                from: node(Kind::Lot, "R-0012")?,
                amount: written(amount)?,
            }],
            volume: Some(written("2000 mL")?),
            apparatus: vec![node(Kind::Apparatus, "W-2")?],
            kept: Some(kept.into()),
            use_before: Some(self.now.day().plus(90)),
            hazard: Some("corrosive; see the safety data sheet".into()),
        })
    }

    fn bottles_and_samples(&mut self) -> Result<(), DemoError> {
        for (bottle, who) in [("T-0117", "sorrel"), ("T-0123", "marsh")] {
            let prepared = self.base("8.1 g", "titrant shelf, left")?;
            self.says(who, node(Kind::Solution, bottle)?, prepared);
        }
        for (sample, tank) in [("V-231", 4), ("V-232", 5), ("V-233", 6), ("V-234", 4)] {
            let received = SampleReceived {
                what: format!("pickling vinegar, tank {tank}"),
                role: titrimetry::assay::SampleKind::Sample,
                from: Some("filling hall".into()),
                limits: Some(Limits {
                    from: Some(written("5.0 % m/V")?),
                    to: None,
                    probability: None,
                    guard_band: None,
                    guard_factor: None,
                }),
                expected: None,
                density: None,
            };
            self.says("marsh", node(Kind::Sample, sample)?, received);
        }
        Ok(())
    }

    fn opened(&self, title: &str, plan: Plan) -> Result<DeterminationOpened, DemoError> {
        Ok(DeterminationOpened {
            title: title.into(),
            plan,
            burette: node(Kind::Apparatus, "B-3")?,
            read_to: None,
            pipette: None,
            balance: None,
            pieces: BTreeMap::new(),
            rules: Some(node(Kind::Rules, "pharmacopoeia")?),
            conditions: Conditions::default(),
            repeatability: Some(Repeatability {
                s: written("0.015 mL")?,
                degrees_of_freedom: 24.0,
                source: Some("twelve earlier sets of three on this bench".into()),
            }),
            coverage: CoverageSpec::default(),
            weigh: None,
        })
    }

    fn start(
        &mut self,
        who: &str,
        on: &Node,
        opened: DeterminationOpened,
    ) -> Result<(), DemoError> {
        self.says(who, on.clone(), opened);
        for step in [
            "burette rinsed with titrant",
            "tip free of air",
            "funnel taken out",
        ] {
            self.says(who, on.clone(), CheckedOff { step: step.into() });
        }
        let temperature = format!("{:.1} degC", 20.8 + 1.5 * self.dice.unit());
        let conditions = Conditions {
            temperature: Some(written(&temperature)?),
            temperature_within: Some(written("1.5 K")?),
            pressure: None,
            humidity: None,
        };
        self.says(who, on.clone(), ConditionsNoted { conditions });
        Ok(())
    }

    fn reading(&mut self, who: &str, on: &Node, run: u32, reading: Slot, value: String) {
        let sample = None;
        self.says(
            who,
            on.clone(),
            ReadingTaken {
                run,
                sample,
                reading,
                value,
                refilled: false,
            },
        );
    }

    /// A run with a titre about this size.
    fn run(
        &mut self,
        who: &str,
        on: &Node,
        run: u32,
        run_kind: RunKind,
        sample: Option<&Node>,
        titre: f64,
    ) {
        self.says(
            who,
            on.clone(),
            RunStarted {
                run,
                run_kind,
                sample: sample.cloned(),
                titration: None,
                name: None,
            },
        );
        let initial = (self.dice.unit() * 12.0).round() / 100.0;
        let (last, digits) = if run_kind == RunKind::Rough {
            (initial + titre + 0.2, 1)
        } else {
            (initial + titre + 0.013 * self.dice.normal(), 2)
        };
        self.reading(who, on, run, Slot::Initial, format!("{initial:.2} mL"));
        self.reading(who, on, run, Slot::Final, format!("{last:.digits$} mL"));
    }

    /// A standardization holds for a fortnight.
    fn close(&mut self, who: &str, on: &Node, certificate: &str) -> Result<(), DemoError> {
        let standardizes = self.steps.iter().any(|step| {
            step.command.on == *on
                && matches!(
                    &step.command.payload,
                    crate::payload::Payload::DeterminationOpened(p)
                        if matches!(p.plan, Plan::Standardization { .. })
                )
        });
        self.says(who, on.clone(), DeterminationClosed { evaluated: None });
        let note = Some("readings compared with the burette card".into());
        let accepted = true;
        self.says(
            "fennel",
            on.clone(),
            DeterminationReviewed { accepted, note },
        );
        let approved = DeterminationApproved {
            meaning: "approved for use".into(),
            name: None,
            evaluated: None,
            use_before: standardizes.then(|| self.now.day().plus(14)),
        };
        self.says("fennel", on.clone(), approved);
        self.issue(on, certificate, None)
    }

    fn issue(
        &mut self,
        on: &Node,
        certificate: &str,
        replaces: Option<&str>,
    ) -> Result<(), DemoError> {
        let issued = CertificateIssued {
            determination: on.clone(),
            meaning: "issued for the quality bench".into(),
            evaluated: None,
            use_before: None,
            replaces: replaces
                .map(|old| node(Kind::Certificate, old))
                .transpose()?,
        };
        self.says("fennel", node(Kind::Certificate, certificate)?, issued);
        Ok(())
    }

    fn base_by_phthalate(&mut self) -> Result<(), DemoError> {
        let on = node(Kind::Determination, "D-0001")?;
        let plan = Plan::Standardization {
            sought: node(Kind::Solution, "T-0117")?,
            place: Place::Burette,
            diluted: Vec::new(),
            known: KnownBy::Lot(node(Kind::Lot, "S-0041")?),
            dissolved: None,
            reaction: None,
            indicator: Some("phenolphthalein, first pink that stays 30 s".into()),
            end_point: None,
        };
        let mut opened = self.opened("Base 0.1 mol/L by phthalate", plan)?;
        opened.balance = Some(node(Kind::Apparatus, "W-2")?);
        self.start("sorrel", &on, opened)?;
        for (number, mass) in [0.5118, 0.5094, 0.5141, 0.5120, 0.5107]
            .into_iter()
            .enumerate()
        {
            let run = u32::try_from(number).unwrap_or(0) + 1;
            let kind = if run == 1 {
                RunKind::Rough
            } else {
                RunKind::Replicate
            };
            // The third run lost some liquid: it reads low and is set aside.
            let spilled = if run == 3 { 0.9 } else { 0.0 };
            let titre = 1000.0 * mass / PHTHALATE / BASE_BY_PHTHALATE - spilled;
            self.run("sorrel", &on, run, kind, None, titre);
            self.reading("sorrel", &on, run, Slot::Mass, format!("{mass:.4} g"));
        }
        let wrong = self.last_reading(&on, 4, Slot::Final);
        // What was typed first: two digits swapped, beside the point or behind it; the correction follows.
        let swapped = swapped(&wrong, 1, 3)
            .or_else(|| swapped(&wrong, 3, 4))
            .unwrap_or_else(|| wrong.replace("25.", "22."));
        self.retype(&on, 4, Slot::Final, &swapped);
        self.says(
            "sorrel",
            on.clone(),
            ReadingCorrected {
                run: 4,
                sample: None,
                reading: Slot::Final,
                was: None,
                value: wrong,
                refilled: None,
                reason: "digits swapped when typed; the burette card has it right".into(),
            },
        );
        self.says(
            "sorrel",
            on.clone(),
            RunSetAside {
                run: 3,
                reason: "flask knocked against the stand, some liquid lost".into(),
            },
        );
        self.says(
            "sorrel",
            on.clone(),
            Remarked {
                run: Some(5),
                text: "last drop was a half drop from the tip".into(),
            },
        );
        self.close("sorrel", &on, "C-0001")
    }

    fn last_reading(&self, on: &Node, run: u32, slot: Slot) -> String {
        self.steps
            .iter()
            .rev()
            .find_map(|step| match &step.command.payload {
                crate::payload::Payload::ReadingTaken(p)
                    if step.command.on == *on && p.run == run && p.reading == slot =>
                {
                    Some(p.value.clone())
                }
                _ => None,
            })
            .unwrap_or_default()
    }

    fn retype(&mut self, on: &Node, run: u32, slot: Slot, value: &str) {
        for step in self.steps.iter_mut().rev() {
            if let crate::payload::Payload::ReadingTaken(p) = &mut step.command.payload
                && step.command.on == *on
                && p.run == run
                && p.reading == slot
            {
                p.value = value.into();
                return;
            }
        }
    }

    fn base_by_acid(&mut self) -> Result<(), DemoError> {
        let on = node(Kind::Determination, "D-0002")?;
        let plan = Plan::Standardization {
            sought: node(Kind::Solution, "T-0123")?,
            place: Place::Burette,
            diluted: Vec::new(),
            known: KnownBy::Lot(node(Kind::Lot, "S-0107")?),
            dissolved: None,
            reaction: None,
            indicator: Some("methyl red".into()),
            end_point: None,
        };
        let mut opened = self.opened("Base 0.1 mol/L by the certified acid", plan)?;
        opened.pipette = Some(node(Kind::Apparatus, "P-25-1")?);
        self.start("marsh", &on, opened)?;
        let titre = 25.0 * ACID / BASE_BY_ACID;
        self.run("marsh", &on, 1, RunKind::Rough, None, titre);
        for run in 2..=4 {
            self.run("marsh", &on, run, RunKind::Replicate, None, titre);
        }
        self.close("marsh", &on, "C-0002")
    }

    /// Vinegar: 10 mL made up to 100 mL, 25 mL of that titrated. `contents` are in g/100 mL.
    fn vinegar(
        &mut self,
        id: &str,
        bottle: &str,
        base: f64,
        contents: &[(&str, f64)],
        to_the_end: bool,
    ) -> Result<(), DemoError> {
        let on = node(Kind::Determination, id)?;
        let samples = contents
            .iter()
            .map(|(sample, _)| node(Kind::Sample, sample))
            .collect::<Result<Vec<_>, _>>()?;
        let plan = Plan::Assay {
            method: node(Kind::Method, "vinegar-acidity")?,
            titrant: Source {
                known: KnownBy::Solution {
                    solution: node(Kind::Solution, bottle)?,
                    by: None,
                },
                drift: None,
                standardized_at: None,
            },
            reagents: BTreeMap::new(),
            samples: samples.clone(),
            blank_is: None,
            check_every: None,
        };
        let names: Vec<&str> = contents.iter().map(|(name, _)| *name).collect();
        let mut opened = self.opened(&format!("Vinegar {}", names.join(", ")), plan)?;
        opened.pieces = BTreeMap::from([
            ("sample".to_string(), node(Kind::Apparatus, "P-10-2")?),
            ("flask".to_string(), node(Kind::Apparatus, "F-100-1")?),
            ("aliquot".to_string(), node(Kind::Apparatus, "P-25-1")?),
        ]);
        self.start("marsh", &on, opened)?;
        let mut number = 0;
        for (sample, (_, content)) in samples.iter().zip(contents) {
            let titre = content * 10.0 * 2.5 / ACETIC / base;
            let runs = if to_the_end { 4 } else { 2 };
            for index in 0..runs {
                number += 1;
                let kind = if index == 0 {
                    RunKind::Rough
                } else {
                    RunKind::Replicate
                };
                self.run("marsh", &on, number, kind, Some(sample), titre);
            }
        }
        if to_the_end {
            self.close("marsh", &on, &id.replace('D', "C"))?;
        }
        Ok(())
    }

    fn correction(&mut self) -> Result<(), DemoError> {
        let right = format!("{ACID:.5} mol/L");
        let corrected = LotCertificateCorrected {
            certificate: LotCertificate {
                number: "A-2209".into(),
                purity: None,
                concentration: Some(stated(&right, "0.00010 mol/L")?),
            },
            was: None,
            reason: "two digits swapped when the certificate was entered; seen on the paper".into(),
        };
        self.says("fennel", node(Kind::Lot, "S-0107")?, corrected);
        let on = node(Kind::Determination, "D-0002")?;
        let approved = DeterminationApproved {
            meaning: "approved for use".into(),
            name: None,
            evaluated: None,
            use_before: None,
        };
        self.says("fennel", on.clone(), approved);
        self.issue(&on, "C-0005", Some("C-0002"))
    }
}
