//! A determination: its runs with every reading, the first values of corrected readings included.

use super::State;
use crate::event::Event;
use crate::moment::Moment;
use crate::node::Node;
use crate::payload::{
    DeterminationOpened, Evaluated, FileAttached, Payload, RunStarted, Slot, TitrantRechecked,
};
use serde::{Deserialize, Serialize};
use titrimetry::sheet::Conditions;

/// How far a determination is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Readings are taken.
    Open,
    /// The result stands, nobody looked at it yet.
    Closed,
    /// A second person looked at it.
    Reviewed,
    /// It was signed.
    Approved,
    /// It was given up.
    GivenUp,
}

impl Status {
    /// The status in a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Closed => "closed",
            Self::Reviewed => "reviewed",
            Self::Approved => "approved",
            Self::GivenUp => "given up",
        }
    }
}

/// A determination.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Determination {
    /// As it was opened.
    pub opened: DeterminationOpened,
    /// Number of the event that opened it.
    pub number: u64,
    /// When.
    pub at: Moment,
    /// By whom.
    pub who: String,
    /// How far it is.
    pub status: Status,
    /// Temperature and air.
    pub conditions: Conditions,
    /// The runs, in the order of beginning.
    pub runs: Vec<Run>,
    /// Readings of a sample that serve all its runs.
    pub of_samples: Vec<(Node, Reading)>,
    /// Remarks about no run.
    pub remarks: Vec<Remark>,
    /// The checklist.
    pub ticks: Vec<Tick>,
    /// Standardizations of the titrant between samples.
    pub rechecks: Vec<TitrantRechecked>,
    /// Files.
    pub files: Vec<FileAttached>,
    /// What it gives, by the latest computation that was written down.
    pub evaluated: Option<Evaluated>,
    /// Who reviewed it.
    pub reviewed: Option<Signature>,
    /// Who signed it.
    pub approved: Option<Signature>,
    /// Moment of the latest change to what was entered; a reviewer asks what changed since entry.
    pub changed: Moment,
    /// What was computed again after corrections upstream, the latest last.
    pub recomputed: Vec<Recomputation>,
    /// True if it was computed again since it was approved: nobody signed the value that it has now.
    pub unapproved: bool,
    /// Why it cannot be computed any more, if so; what it gave before is no result then.
    pub failed: Option<String>,
}

/// That a determination was computed again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recomputation {
    /// Number of the event that says so, with what it was and what it is.
    pub event: u64,
    /// Number of the correction that is the reason.
    pub because: u64,
    /// When.
    pub at: Moment,
}

/// A run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Run {
    /// As it was begun.
    pub started: RunStarted,
    /// When.
    pub at: Moment,
    /// By whom.
    pub who: String,
    /// Its readings, in the order in which they were first taken.
    pub readings: Vec<Reading>,
    /// Why it does not count, if so.
    pub set_aside: Option<SetAside>,
    /// Remarks about it.
    pub remarks: Vec<Remark>,
}

/// A reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Which.
    pub slot: Slot,
    /// The value that counts, as written.
    pub value: String,
    /// When it was first taken.
    pub at: Moment,
    /// By whom.
    pub who: String,
    /// Number of the event that brought the value that counts.
    pub event: u64,
    /// What stood there before, the first value first.
    pub corrections: Vec<Correction>,
    /// True if the burette is refilled after it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub refilled: bool,
}

/// A value that was corrected.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Correction {
    /// What stood there.
    pub was: String,
    /// Why it was corrected.
    pub reason: String,
    /// Who corrected it.
    pub who: String,
    /// When.
    pub at: Moment,
}

/// Why a run does not count.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SetAside {
    /// Why.
    pub reason: String,
    /// Who said so.
    pub who: String,
    /// When.
    pub at: Moment,
}

/// A remark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Remark {
    /// What was seen.
    pub text: String,
    /// By whom.
    pub who: String,
    /// When.
    pub at: Moment,
}

/// A step of the checklist.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tick {
    /// The step.
    pub step: String,
    /// Who did it.
    pub who: String,
    /// When.
    pub at: Moment,
}

/// A signature.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Signature {
    /// Who signed.
    pub who: String,
    /// The printed name.
    pub name: Option<String>,
    /// What it means.
    pub meaning: String,
    /// When.
    pub at: Moment,
}

impl Determination {
    /// A run by its number.
    pub fn run(&self, number: u32) -> Option<&Run> {
        self.runs.iter().find(|run| run.started.run == number)
    }

    fn run_mut(&mut self, number: u32) -> Option<&mut Run> {
        self.runs.iter_mut().find(|run| run.started.run == number)
    }

    /// A reading: of a run, or (run 0) of a sample.
    pub fn reading(&self, run: u32, sample: Option<&Node>, slot: Slot) -> Option<&Reading> {
        if run == 0 {
            self.of_samples
                .iter()
                .find(|(node, reading)| Some(node) == sample && reading.slot == slot)
                .map(|(_, reading)| reading)
        } else {
            self.run(run)?.reading(slot)
        }
    }

    /// The moment it was done at the bench: when its last reading was taken.
    pub fn done(&self) -> Moment {
        let of_runs = self.runs.iter().flat_map(|run| &run.readings);
        of_runs
            .map(|reading| reading.at)
            .max_by_key(|at| at.milliseconds())
            .unwrap_or(self.at)
    }

    /// True if readings may be taken.
    pub fn is_open(&self) -> bool {
        self.status == Status::Open
    }
}

impl Run {
    /// A reading of this run.
    pub fn reading(&self, slot: Slot) -> Option<&Reading> {
        self.readings.iter().find(|reading| reading.slot == slot)
    }

    /// How many times the burette was refilled, or is to be by what was said at the last final reading.
    pub fn refills(&self) -> u8 {
        let numbers = self
            .readings
            .iter()
            .filter_map(|reading| match reading.slot {
                Slot::RefillInitial(n) => Some(n),
                Slot::Final if reading.refilled => Some(1),
                Slot::RefillFinal(n) if reading.refilled => n.checked_add(1),
                _ => None,
            });
        numbers.max().unwrap_or(0)
    }

    /// True if every fill of the burette was read at both of its ends.
    pub fn is_finished(&self) -> bool {
        (0..=self.refills()).all(|n| {
            self.reading(Slot::opening(n)).is_some() && self.reading(Slot::closing(n)).is_some()
        })
    }
}

pub(super) fn apply(state: &mut State, event: &Event) -> bool {
    match (state, &event.payload) {
        (state @ State::Nothing, Payload::DeterminationOpened(opened)) => {
            *state = State::Determination(Box::new(Determination {
                conditions: opened.conditions.clone(),
                opened: (**opened).clone(),
                number: event.number,
                at: event.at,
                who: event.who.clone(),
                status: Status::Open,
                runs: Vec::new(),
                of_samples: Vec::new(),
                remarks: Vec::new(),
                ticks: Vec::new(),
                rechecks: Vec::new(),
                files: Vec::new(),
                evaluated: None,
                reviewed: None,
                approved: None,
                changed: event.at,
                recomputed: Vec::new(),
                unapproved: false,
                failed: None,
            }));
            true
        }
        (State::Determination(determination), payload) => {
            changed(determination, event, payload).is_some()
        }
        _ => false,
    }
}

fn remark(event: &Event, text: &str) -> Remark {
    Remark {
        text: text.to_string(),
        who: event.who.clone(),
        at: event.at,
    }
}

/// None if the event speaks of a run or reading that is not there.
fn changed(determination: &mut Determination, event: &Event, payload: &Payload) -> Option<()> {
    let who = || event.who.clone();
    match payload {
        Payload::RunStarted(p) => determination.runs.push(Run {
            started: (**p).clone(),
            at: event.at,
            who: who(),
            readings: Vec::new(),
            set_aside: None,
            remarks: Vec::new(),
        }),
        Payload::ReadingTaken(p) => {
            let reading = Reading {
                slot: p.reading,
                value: p.value.clone(),
                at: event.at,
                who: who(),
                event: event.number,
                corrections: Vec::new(),
                refilled: p.refilled,
            };
            if p.run == 0 {
                determination.of_samples.push((p.sample.clone()?, reading));
            } else {
                determination.run_mut(p.run)?.readings.push(reading);
            }
        }
        Payload::ReadingCorrected(p) => {
            let reading = if p.run == 0 {
                determination
                    .of_samples
                    .iter_mut()
                    .find(|(node, r)| Some(node) == p.sample.as_ref() && r.slot == p.reading)
                    .map(|(_, reading)| reading)
            } else {
                let run = determination.run_mut(p.run)?;
                run.readings.iter_mut().find(|r| r.slot == p.reading)
            }?;
            let was = std::mem::replace(&mut reading.value, p.value.clone());
            reading.event = event.number;
            reading.refilled = p.refilled.unwrap_or(reading.refilled);
            // That it was not refilled puts no value right.
            if was != p.value {
                reading.corrections.push(Correction {
                    was,
                    reason: p.reason.clone(),
                    who: who(),
                    at: event.at,
                });
            }
        }
        Payload::RunSetAside(p) => {
            determination.run_mut(p.run)?.set_aside = Some(SetAside {
                reason: p.reason.clone(),
                who: who(),
                at: event.at,
            });
        }
        Payload::RunRestored(p) => determination.run_mut(p.run)?.set_aside = None,
        Payload::Remarked(p) => match p.run {
            Some(run) => determination
                .run_mut(run)?
                .remarks
                .push(remark(event, &p.text)),
            None => determination.remarks.push(remark(event, &p.text)),
        },
        Payload::ConditionsNoted(p) => {
            let (now, read) = (&mut determination.conditions, p.conditions.clone());
            now.temperature = read.temperature.or(now.temperature.take());
            now.temperature_within = read.temperature_within.or(now.temperature_within.take());
            now.pressure = read.pressure.or(now.pressure.take());
            now.humidity = read.humidity.or(now.humidity.take());
        }
        Payload::CheckedOff(p) => determination.ticks.push(Tick {
            step: p.step.clone(),
            who: who(),
            at: event.at,
        }),
        Payload::TitrantRechecked(p) => determination.rechecks.push((**p).clone()),
        Payload::FileAttached(p) => determination.files.push((**p).clone()),
        Payload::DeterminationClosed(p) => {
            determination.status = Status::Closed;
            determination.evaluated.clone_from(&p.evaluated);
            determination.failed = None;
        }
        Payload::DeterminationReopened(_) => {
            determination.status = Status::Open;
            determination.reviewed = None;
        }
        Payload::DeterminationGivenUp(_) => determination.status = Status::GivenUp,
        Payload::DeterminationReviewed(p) => {
            if p.accepted {
                determination.status = Status::Reviewed;
            }
            determination.reviewed = Some(Signature {
                who: who(),
                name: None,
                meaning: if p.accepted { "reviewed" } else { "returned" }.into(),
                at: event.at,
            });
        }
        Payload::DeterminationApproved(p) => {
            determination.status = Status::Approved;
            determination.evaluated.clone_from(&p.evaluated);
            determination.unapproved = false;
            determination.failed = None;
            determination.approved = Some(Signature {
                who: who(),
                name: p.name.clone(),
                meaning: p.meaning.clone(),
                at: event.at,
            });
        }
        Payload::DeterminationRecomputed(p) => {
            if p.now.is_some() {
                determination.evaluated.clone_from(&p.now);
            }
            determination.failed.clone_from(&p.failed);
            determination.unapproved |= determination.status == Status::Approved;
            determination.recomputed.push(Recomputation {
                event: event.number,
                because: p.because,
                at: event.at,
            });
        }
        _ => return None,
    }
    if matches!(
        payload,
        Payload::ReadingTaken(_)
            | Payload::ReadingCorrected(_)
            | Payload::RunSetAside(_)
            | Payload::RunRestored(_)
            | Payload::ConditionsNoted(_)
            | Payload::TitrantRechecked(_)
    ) {
        determination.changed = event.at;
    }
    Some(())
}
