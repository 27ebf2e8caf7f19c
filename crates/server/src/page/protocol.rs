//! What a determination asks for at the bench: its readings in the order in which they are taken, read off its plan and
//! its method, and off what is there already.

use super::result::Shown;
use super::run_table;
use crate::text::{filled, t};
use notebook::payload::{KnownBy, Plan, Slot};
use notebook::state::{Determination, Run};
use notebook::{Node, World};
use titrimetry::method::{BlankPlan, Method, Step, TitrationPlan};
use titrimetry::sheet::RunKind;

/// Where a reading stands: in a run, or (run 0) with a sample for all its runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Place<'a> {
    pub(crate) run: u32,
    pub(crate) sample: Option<&'a Node>,
    pub(crate) slot: Slot,
}

/// When something is weighed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Weighed {
    Never,
    EachRun,
    /// Once for all runs of a sample.
    Once,
}

/// What the address of the page says to look at: another run, or a refill that was announced.
#[derive(Debug, Default, serde::Deserialize)]
pub(crate) struct View {
    /// Run to go on with.
    pub(crate) run: Option<u32>,
    /// Run and number of a refill, such as "2.1".
    pub(crate) refill: Option<String>,
}

impl View {
    fn refill(&self) -> Option<(u32, u8)> {
        let (run, number) = self.refill.as_deref()?.split_once('.')?;
        Some((run.parse().ok()?, number.parse().ok()?))
    }
}

/// The plan of the readings.
pub(crate) struct Protocol<'a> {
    determination: &'a Determination,
    method: Option<&'a Method>,
    titrations: Vec<TitrationPlan>,
    weighed: Weighed,
    drifts: bool,
}

impl<'a> Protocol<'a> {
    pub(crate) fn of(shown: &Shown<'a>) -> Self {
        Self::by(shown.world, shown.determination)
    }

    pub(crate) fn by(world: &'a World, determination: &'a Determination) -> Self {
        let (method, weighed, drifts) = match &determination.opened.plan {
            Plan::Assay {
                method, titrant, ..
            } => {
                let method = world
                    .method(method)
                    .and_then(|card| card.at(determination.number))
                    .map(|method| &**method);
                let weighed = match method {
                    Some(m) if m.step.iter().any(|s| matches!(s, Step::Weigh { .. })) => {
                        if m.steps_once() > 0 {
                            Weighed::Once
                        } else {
                            Weighed::EachRun
                        }
                    }
                    _ => Weighed::Never,
                };
                (method, weighed, titrant.drift.is_some())
            }
            Plan::Standardization {
                known, dissolved, ..
            } => {
                let pure = match known {
                    KnownBy::Lot(lot) => world
                        .lot(lot)
                        .and_then(|lot| lot.certificate.as_ref())
                        .is_some_and(|certificate| certificate.purity.is_some()),
                    KnownBy::Solution { .. } => false,
                };
                let weighed = if pure && dissolved.is_none() {
                    Weighed::EachRun
                } else {
                    Weighed::Never
                };
                (None, weighed, false)
            }
        };
        Self {
            determination,
            method,
            titrations: method.map(Method::titrations).unwrap_or_default(),
            weighed,
            drifts,
        }
    }

    /// The titrations of the method, where it has several.
    pub(crate) fn titrations(&self) -> &[TitrationPlan] {
        if self.titrations.len() > 1 {
            &self.titrations
        } else {
            &[]
        }
    }

    /// The titration that a run is.
    pub(crate) fn titration(&self, run: &Run) -> Option<&TitrationPlan> {
        match &run.started.titration {
            Some(name) => self.titrations.iter().find(|t| t.name == *name),
            None => self.titrations.first(),
        }
    }

    /// What the blank is for.
    pub(crate) fn blank(&self) -> BlankPlan {
        self.method.map_or(BlankPlan::None, |method| method.blank)
    }

    /// End points before the last that are still to be read in a run.
    fn ends_to_come(&self, run: &Run) -> impl Iterator<Item = Slot> {
        let ends = self.titration(run).map_or(1, |t| t.end_point.len());
        let read: Vec<Slot> = run.readings.iter().map(|reading| reading.slot).collect();
        (1..ends)
            .filter_map(|n| u8::try_from(n).ok().map(Slot::End))
            .filter(move |slot| !read.contains(slot))
    }

    /// True if this reading closes a fill before the titration has come to its last end.
    pub(crate) fn closes_early(&self, run: &Run, slot: Slot) -> bool {
        let last = Slot::closing(run_table::refills(run));
        match slot {
            Slot::Final | Slot::RefillFinal(_) => {
                slot != last || self.ends_to_come(run).next().is_some()
            }
            _ => false,
        }
    }

    /// Weighed by difference or net, as was done here before.
    pub(crate) fn by_difference(&self, run: Option<&Run>) -> bool {
        let has = |slot: Slot| {
            let in_run = |run: &Run| run.reading(slot).is_some();
            match run {
                Some(run) if run.reading(Slot::Mass).is_some() => false,
                Some(run) if run.reading(Slot::Gross).is_some() => true,
                _ => {
                    self.determination.runs.iter().any(in_run)
                        || self
                            .determination
                            .of_samples
                            .iter()
                            .any(|(_, reading)| reading.slot == slot)
                }
            }
        };
        has(Slot::Gross) || has(Slot::Tare)
    }

    fn weighing(&self, run: Option<&Run>) -> &'static [Slot] {
        if self.by_difference(run) {
            &[Slot::Gross, Slot::Tare]
        } else {
            &[Slot::Mass]
        }
    }

    /// The readings of a run, in the order in which they are taken.
    pub(crate) fn order(&self, run: &Run) -> Vec<Slot> {
        let mut order = Vec::new();
        if self.weighed == Weighed::EachRun && run.started.run_kind != RunKind::Blank {
            order.extend(self.weighing(Some(run)));
        }
        let spiked = self.method.is_some_and(|method| method.spike().is_some());
        if spiked && run.started.run_kind != RunKind::Blank {
            order.push(Slot::Added);
        }
        order.push(Slot::Initial);
        // What was refilled ran out before; the ends that are still to come lie in the last fill.
        let refills = run_table::refills(run);
        for n in 1..=refills {
            order.extend([Slot::closing(n - 1), Slot::RefillInitial(n)]);
        }
        order.extend(self.ends_to_come(run));
        order.push(Slot::closing(refills));
        if self.drifts {
            order.push(Slot::Duration);
        }
        order
    }

    /// The readings after a fill was closed and the burette refilled: the ends that are still to come lie in this fill.
    pub(crate) fn after_refill(&self, run: &Run, n: u8) -> Vec<Slot> {
        let mut order = vec![Slot::RefillInitial(n)];
        order.extend(self.ends_to_come(run));
        order.push(Slot::RefillFinal(n));
        if self.drifts && run.reading(Slot::Duration).is_none() {
            order.push(Slot::Duration);
        }
        order
    }

    /// Weighings of a sample that serve all its runs and are still to be done.
    fn of_sample(&self, sample: &'a Node) -> Option<Place<'a>> {
        if self.weighed != Weighed::Once {
            return None;
        }
        let there =
            |slot: Slot| -> bool { self.determination.reading(0, Some(sample), slot).is_some() };
        if there(Slot::Mass) {
            return None;
        }
        let weighing: &[Slot] = if there(Slot::Gross) || self.by_difference(None) {
            &[Slot::Gross, Slot::Tare]
        } else {
            &[Slot::Mass]
        };
        let slot = *weighing.iter().find(|slot| !there(**slot))?;
        Some(Place {
            run: 0,
            sample: Some(sample),
            slot,
        })
    }

    fn missing(&self, run: &'a Run) -> Option<Place<'a>> {
        if let Some(place) = run
            .started
            .sample
            .as_ref()
            .and_then(|sample| self.of_sample(sample))
        {
            return Some(place);
        }
        let slot = self
            .order(run)
            .into_iter()
            .find(|slot| run.reading(*slot).is_none())?;
        Some(Place {
            run: run.started.run,
            sample: None,
            slot,
        })
    }

    /// The run at hand and what is asked for.
    pub(crate) fn asked(&self, view: &View) -> Option<(&'a Run, Place<'a>)> {
        let runs = || {
            self.determination
                .runs
                .iter()
                .filter(|run| run.set_aside.is_none())
        };
        if let Some((number, refill)) = view.refill()
            && let Some(run) = runs().find(|run| run.started.run == number)
            && run.reading(Slot::Initial).is_some()
            && refill == run_table::refills(run) + 1
        {
            let closed = Slot::closing(refill - 1);
            let slot = if run.reading(closed).is_some() {
                Slot::RefillInitial(refill)
            } else {
                closed
            };
            return Some((
                run,
                Place {
                    run: number,
                    sample: None,
                    slot,
                },
            ));
        }
        let wanted = view
            .run
            .and_then(|number| runs().find(|run| run.started.run == number));
        wanted
            .into_iter()
            .chain(runs())
            .find_map(|run| self.missing(run).map(|place| (run, place)))
    }

    /// Runs that wait for a reading.
    pub(crate) fn unfinished(&self) -> Vec<&'a Run> {
        self.determination
            .runs
            .iter()
            .filter(|run| run.set_aside.is_none() && self.missing(run).is_some())
            .collect()
    }

    /// How a reading is called, as one asks for it.
    pub(crate) fn words(&self, run: &Run, slot: Slot) -> String {
        match slot {
            Slot::Mass if self.method.is_some() => t("reading.mass_sample").into(),
            Slot::Mass => t("reading.mass_standard").into(),
            Slot::Gross => t("reading.gross").into(),
            Slot::Tare => t("reading.tare").into(),
            Slot::Initial => t("reading.initial").into(),
            Slot::Final | Slot::RefillFinal(_) => {
                let n = match slot {
                    Slot::RefillFinal(n) => n + 1,
                    _ => 1,
                };
                let ends = self.titration(run).map(|plan| plan.end_point.as_slice());
                match ends {
                    Some([_, .., last]) if !self.closes_early(run, slot) => {
                        filled("reading.end", &[("end", &last.name)])
                    }
                    _ if n > 1 || self.closes_early(run, slot) => {
                        filled("reading.refill_final", &[("n", &n.to_string())])
                    }
                    _ => t("reading.final").into(),
                }
            }
            Slot::End(n) => {
                let end = self
                    .titration(run)
                    .and_then(|plan| plan.end_point.get(usize::from(n) - 1));
                let end = end.map_or_else(|| n.to_string(), |end| end.name.clone());
                filled("reading.end", &[("end", &end)])
            }
            Slot::RefillInitial(n) => filled("reading.refill_initial", &[("n", &n.to_string())]),
            Slot::Temperature => t("reading.temperature").into(),
            Slot::Duration => t("reading.duration").into(),
            Slot::Added => t("reading.added").into(),
        }
    }

    /// The head over the field: which reading of which run.
    pub(crate) fn title(&self, run: &Run, slot: Slot) -> String {
        format!(
            "{}: {}",
            run_table::title(&self.determination.runs, run),
            self.words(run, slot)
        )
    }
}

/// The unit in which a reading is typed.
pub(crate) fn unit(slot: Slot) -> &'static str {
    match slot {
        Slot::Mass | Slot::Gross | Slot::Tare => "g",
        Slot::Temperature => "degC",
        Slot::Duration => "min",
        _ => "mL",
    }
}
