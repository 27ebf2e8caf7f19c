//! Whether a determination can give a result at all, before it is opened: its plan is evaluated with imagined runs. What
//! cannot be computed is said beside the field that it is about.

use super::protocol::{Protocol, View, unit};
use crate::answer::Fault;
use crate::text::{filled, t};
use chemistry::substances::Catalogue;
use notebook::payload::{KnownBy, Payload, Plan, ReadingTaken, RunStarted, Slot};
use notebook::{
    Cause, EvaluateError, Evaluator, Event, Hash, Moment, Node, World, sheet::SheetMissing,
};
use store::StoreError;
use titrimetry::SheetError;
use titrimetry::method::BlankPlan;
use titrimetry::sheet::RunKind;

/// Why a form cannot be taken, and the field that it is about, where it is about one.
#[derive(Debug)]
pub(crate) struct Unfit {
    pub(crate) field: Option<String>,
    pub(crate) fault: Box<Fault>,
}

impl Unfit {
    pub(crate) fn beside(field: &str, why: impl Into<String>) -> Self {
        Self {
            field: Some(field.into()),
            fault: Box::new(Fault::Form(why.into())),
        }
    }
}

impl<E: Into<Fault>> From<E> for Unfit {
    fn from(error: E) -> Self {
        Self {
            field: None,
            fault: Box::new(error.into()),
        }
    }
}

/// What is imagined, on a world that knows what the determination needs.
pub(crate) struct Trial {
    world: World,
    node: Node,
    at: Moment,
    who: String,
}

impl Trial {
    pub(crate) fn new(world: World, node: &Node, at: Moment, who: &str) -> Self {
        Self {
            world,
            node: node.clone(),
            at,
            who: who.into(),
        }
    }

    pub(crate) fn world(&self) -> &World {
        &self.world
    }

    /// Something happens, in this world alone.
    pub(crate) fn happens(&mut self, to: &Node, payload: impl Into<Payload>) -> bool {
        let event = Event {
            // After all that was ever written.
            number: u64::MAX,
            id: String::new(),
            at: self.at,
            who: self.who.clone(),
            device: String::new(),
            cause: Cause::default(),
            stream: to.clone(),
            stream_version: self.world.version(to) + 1,
            payload: payload.into(),
            previous: Hash::of(&[]),
        };
        self.world.apply(&event).is_ok()
    }

    /// Does imagined runs and evaluates them.
    ///
    /// # Errors
    /// [`Unfit`] with the field that stands in the way. What only these readings are to blame for is no error.
    pub(crate) fn run(mut self) -> Result<(), Unfit> {
        self.substances()?;
        for run in self.runs() {
            if !self.happens(&self.node.clone(), run) {
                return Ok(());
            }
            while let Some(reading) = self.asked() {
                if !self.happens(&self.node.clone(), reading) {
                    return Ok(());
                }
            }
        }
        match Evaluator::new(&self.world).brief().so_far(&self.node) {
            Ok(_) => Ok(()),
            Err(error) => self.blame(&error),
        }
    }

    /// Runs of the first sample: three of each titration, and the blanks that the method needs.
    fn runs(&self) -> Vec<RunStarted> {
        let Some(determination) = self.world.determination(&self.node) else {
            return Vec::new();
        };
        let protocol = Protocol::by(&self.world, determination);
        let sample = match &determination.opened.plan {
            Plan::Assay { samples, .. } => samples.first().cloned(),
            Plan::Standardization { .. } => None,
        };
        let names: Vec<Option<String>> = match protocol.titrations() {
            [] => vec![None],
            several => several.iter().map(|t| Some(t.name.clone())).collect(),
        };
        let mut runs = Vec::new();
        for titration in &names {
            let blank = protocol.blank() == BlankPlan::Reagent;
            let kinds = [RunKind::Replicate; 3].into_iter();
            for run_kind in kinds.chain(blank.then_some(RunKind::Blank)) {
                runs.push(RunStarted {
                    run: u32::try_from(runs.len() + 1).unwrap_or(u32::MAX),
                    run_kind,
                    sample: sample.clone().filter(|_| run_kind != RunKind::Blank),
                    titration: titration.clone(),
                    name: None,
                });
            }
        }
        runs
    }

    /// The next reading, with a value that any bench could give.
    fn asked(&self) -> Option<ReadingTaken> {
        let determination = self.world.determination(&self.node)?;
        let protocol = Protocol::by(&self.world, determination);
        let (run, place) = protocol.asked(&View::default())?;
        let nth = f64::from(run.started.run % 3);
        let value = match place.slot {
            Slot::Initial | Slot::RefillInitial(_) => "0.00".into(),
            Slot::End(n) => format!("{:.2}", 0.3 * f64::from(n)),
            Slot::Final | Slot::RefillFinal(_) if run.started.run_kind == RunKind::Blank => {
                "1.90".into()
            }
            Slot::Final | Slot::RefillFinal(_) => format!("{:.2}", 1.4 + 0.01 * nth),
            Slot::Gross => "10.5000".into(),
            Slot::Tare => "10.0000".into(),
            Slot::Mass => "0.5000".into(),
            Slot::Temperature => "20.0".into(),
            Slot::Duration => "3.0".into(),
            Slot::Added => format!("{nth:.2}"),
        };
        Some(ReadingTaken {
            run: place.run,
            sample: place.sample.cloned(),
            reading: place.slot,
            value: format!("{value} {}", unit(place.slot)),
            refilled: false,
        })
    }

    /// A method's titrant and reagents are of the substance that the method names.
    fn substances(&self) -> Result<(), Unfit> {
        let Some(determination) = self.world.determination(&self.node) else {
            return Ok(());
        };
        let Plan::Assay {
            method,
            titrant,
            reagents,
            ..
        } = &determination.opened.plan
        else {
            return Ok(());
        };
        let Some(method) = self.world.method(method).and_then(|card| card.at(u64::MAX)) else {
            return Ok(());
        };
        let wanted = method
            .reagent
            .iter()
            .map(|reagent| (&reagent.name, &reagent.substance))
            .chain(method.spike().map(|spike| (&spike.name, &spike.substance)));
        let reagents = wanted.filter_map(|(name, substance)| {
            Some((
                format!("reagent.{name}"),
                substance,
                &reagents.get(name)?.known,
            ))
        });
        let all = std::iter::once((
            "titrant".to_string(),
            &method.titrant.substance,
            &titrant.known,
        ));
        for (field, wanted, known) in all.chain(reagents) {
            let (node, is) = self.substance(known);
            if let Some(is) = is.filter(|is| are_two(wanted, is)) {
                let places = [
                    ("name", node.name()),
                    ("is", is),
                    ("wanted", wanted.as_str()),
                ];
                return Err(Unfit::beside(
                    &field,
                    filled("new.other_substance", &places),
                ));
            }
        }
        Ok(())
    }

    fn substance<'a>(&'a self, known: &'a KnownBy) -> (&'a Node, Option<&'a str>) {
        match known {
            KnownBy::Lot(lot) => {
                let found = self
                    .world
                    .lot(lot)
                    .map(|lot| lot.received.substance.as_str());
                (lot, found)
            }
            KnownBy::Solution { solution, .. } => {
                let found = self.world.solution(solution);
                (solution, found.map(|s| s.prepared.substance.as_str()))
            }
        }
    }

    /// The field that stands in the way of an evaluation.
    fn blame(&self, error: &EvaluateError) -> Result<(), Unfit> {
        let assay = self
            .world
            .determination(&self.node)
            .is_some_and(|d| matches!(d.opened.plan, Plan::Assay { .. }));
        let known = if assay { "titrant" } else { "known" };
        match error {
            EvaluateError::Sheet { missing, .. } => match missing {
                SheetMissing::Value { lot, what } => {
                    let what = match *what {
                        "purity" => t("shelf.purity"),
                        _ => t("facts.concentration"),
                    };
                    let places = [("lot", lot.name()), ("what", what)];
                    Err(Unfit::beside(known, filled("new.not_stated", &places)))
                }
                SheetMissing::Standing(node) => Err(Unfit::beside(
                    known,
                    filled("new.not_standardized", &[("name", node.name())]),
                )),
                other => Err(Unfit::from(Fault::Form(other.to_string()))),
            },
            EvaluateError::Evaluation {
                error: SheetError::Entry { path, message, .. },
                ..
            } => {
                let lies = |under: &str| path.starts_with(under);
                let of_runs = ["run", "sample", "blank"].iter().any(|own| lies(own));
                if of_runs && !lies("blank_is") {
                    return Ok(());
                }
                let field = if message.contains("no balance") {
                    return Err(Unfit::beside("balance", t("new.needs_balance")));
                } else if message.contains("no pipette") {
                    return Err(Unfit::beside("pipette", t("new.needs_pipette")));
                } else if lies("conditions.temperature_within") {
                    Some("temperature_within")
                } else if lies("conditions") {
                    Some("temperature")
                } else if lies("known") && message.contains("do react") {
                    return Err(Unfit::beside(known, t("new.no_reaction")));
                } else if lies("known.dissolved") {
                    Some("dissolved.flask")
                } else if lies("known") {
                    Some("known")
                } else {
                    ["sought", "reaction", "titrant", "blank_is"]
                        .into_iter()
                        .chain([
                            "apparatus.burette",
                            "apparatus.balance",
                            "apparatus.pipette",
                        ])
                        .chain(["apparatus.read_to"])
                        .find(|entry| lies(entry))
                        .map(|entry| entry.rsplit('.').next().unwrap_or(entry))
                };
                Err(Unfit {
                    field: field.map(String::from),
                    fault: Box::new(Fault::Form(filled("new.no_result", &[("why", message)]))),
                })
            }
            other => Err(Unfit::from(Fault::Form(other.to_string()))),
        }
    }
}

/// True if both are known substances and not the same one.
fn are_two(one: &str, other: &str) -> bool {
    let catalogue = Catalogue::embedded();
    match (catalogue.find(one), catalogue.find(other)) {
        (Ok(one), Ok(other)) => one.name != other.name,
        _ => false,
    }
}

/// The refusal of the record, beside the field whose thing it is about.
pub(crate) fn refused(error: StoreError, fields: &[(String, String)]) -> Unfit {
    let named = match &error {
        StoreError::Refused(
            notebook::Refusal::NotUsable { node, .. } | notebook::Refusal::Missing(node),
        ) => Some(node.to_string()),
        _ => None,
    };
    let field = fields
        .iter()
        .find(|(_, value)| Some(value.trim()) == named.as_deref())
        .map(|(name, _)| name.clone());
    Unfit {
        field,
        fault: Box::new(error.into()),
    }
}
