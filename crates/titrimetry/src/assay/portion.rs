//! How much of the sample is in the flask: steps become a formula, chains that cannot be are refused.

use super::sheet::{AssaySheet, SampleSpec};
use crate::evaluation::apparatus::{Bench, Masses};
use crate::method::{Method, ReagentPlan, Step};
use crate::sheet::{PieceSpec, RunSpec, SheetError};
use metrology::{Expr, Unit};
use volumetry::catalogue::Kind;
use volumetry::{Occasion, Piece};

/// The steps of a method with the pieces of a sheet.
pub(super) struct Handling<'a> {
    method: &'a Method,
    sheet: &'a AssaySheet,
    /// Steps before this one are done once for all runs of a sample.
    once: usize,
}

/// What measures one volume.
const MEASURES: [Kind; 3] = [Kind::Pipette, Kind::PistonPipette, Kind::Flask];

/// A measured volume, with that of what it goes to; nominal values in mL.
struct GoesIn {
    volume: Expr,
    nominal: f64,
    added: Expr,
    added_nominal: f64,
}

/// What is at hand while the steps are followed.
struct AtHand {
    /// What is shared out: "sample", or the name of a reagent.
    what: String,
    /// Mass or volume of it that is at hand.
    portion: Expr,
    /// Its volume, once it is a liquid of known volume, with the nominal value in mL.
    volume: Option<(Expr, f64)>,
    /// True while what was taken has not been made up.
    fresh: bool,
}

impl<'a> Handling<'a> {
    pub(super) fn of(method: &'a Method, sheet: &'a AssaySheet) -> Result<Self, SheetError> {
        for name in sheet.piece.keys() {
            if !method.step.iter().any(|s| s.name() == name)
                && !method.reagent.iter().any(|r| r.name == *name)
            {
                let known: Vec<&str> = method.step.iter().map(Step::name).collect();
                return Err(SheetError::entry(
                    format!("piece.{name}"),
                    format!(
                        "the method {} has no step \"{name}\"; its steps are: {}",
                        method.name,
                        known.join(", ")
                    ),
                ));
            }
        }
        Ok(Self {
            method,
            sheet,
            once: method.steps_once(),
        })
    }

    /// True if the sample is weighed once for all its runs.
    fn weighed_once(&self) -> bool {
        self.once > 0
    }

    /// Mass or volume of the sample that is in the flask of a run.
    pub(super) fn portion(
        &self,
        bench: &Bench,
        sample: &SampleSpec,
        run: usize,
        spec: &RunSpec,
        path: &str,
    ) -> Result<Expr, SheetError> {
        bench.portion(run, || self.follow(bench, sample, run, spec, path, 0, None))
    }

    /// Volume of a measured reagent that is in the flask of a run.
    pub(super) fn reagent(
        &self,
        bench: &Bench,
        sample: &SampleSpec,
        run: usize,
        spec: &RunSpec,
        plan: &ReagentPlan,
        measured_by: &PieceSpec,
    ) -> Result<Expr, SheetError> {
        let piece = self.piece(bench, &plan.name, measured_by, &MEASURES)?;
        let path = format!("piece.{}", plan.name);
        let before = plan
            .before
            .as_ref()
            .and_then(|before| self.method.step.iter().position(|s| s.name() == before));
        let Some(step) = before else {
            return bench.held(&piece, &bench.occasion(run), &path);
        };
        let added = AtHand {
            what: plan.name.clone(),
            portion: bench.held(&piece, &self.occasion(bench, sample, run, step), &path)?,
            volume: None,
            fresh: true,
        };
        self.follow(bench, sample, run, spec, &path, step, Some(added))
    }

    fn occasion(&self, bench: &Bench, sample: &SampleSpec, run: usize, step: usize) -> Occasion {
        if step < self.once {
            bench.once(&format!("sample {}", sample.id), &sample.id)
        } else {
            bench.occasion(run)
        }
    }

    /// Follows the steps from one of them on.
    #[allow(clippy::too_many_arguments)]
    fn follow(
        &self,
        bench: &Bench,
        sample: &SampleSpec,
        run: usize,
        spec: &RunSpec,
        path: &str,
        from: usize,
        mut at_hand: Option<AtHand>,
    ) -> Result<Expr, SheetError> {
        for (index, step) in self.method.step.iter().enumerate().skip(from) {
            let occasion = self.occasion(bench, sample, run, index);
            at_hand = Some(match (step, at_hand) {
                (Step::Weigh { .. }, _) => {
                    let masses = if self.weighed_once() {
                        Masses {
                            net: sample.mass.as_ref(),
                            gross: sample.gross.as_ref(),
                            tare: sample.tare.as_ref(),
                        }
                    } else {
                        Masses {
                            net: spec.mass.as_ref(),
                            gross: spec.gross.as_ref(),
                            tare: spec.tare.as_ref(),
                        }
                    };
                    // A sample is weighed as the trade weighs it: the reading counts as its mass.
                    AtHand {
                        what: "sample".into(),
                        portion: bench.mass(&occasion, &masses, None, path)?,
                        volume: None,
                        fresh: true,
                    }
                }
                (Step::Take { name, with }, before) => {
                    self.take(bench, &occasion, name, with, before)?
                }
                (Step::MakeUp { name, to }, Some(before)) => {
                    let flask = self.piece(bench, name, to, &[Kind::Flask])?;
                    if let Some((_, taken)) = before.volume
                        && taken > flask.nominal_ml
                    {
                        return Err(self.refuse(
                            name,
                            &format!("{taken} mL cannot be made up to {} mL", flask.nominal_ml),
                        ));
                    }
                    if !before.fresh {
                        return Err(self.refuse(name, "nothing was taken since the last flask: take an aliquot before making up again"));
                    }
                    let volume = bench.held(&flask, &occasion, &format!("piece.{name}"))?;
                    AtHand {
                        what: before.what,
                        portion: before.portion,
                        volume: Some((volume, flask.nominal_ml)),
                        fresh: false,
                    }
                }
                (Step::Add { name, with }, Some(before)) => {
                    let known = "a diluent adds to a volume that is known; a weighed sample is made up to a mark instead";
                    let goes_in = self.goes_in(bench, &occasion, name, with, &before, known)?;
                    AtHand {
                        what: before.what,
                        portion: before.portion,
                        volume: Some((
                            goes_in.volume + goes_in.added,
                            goes_in.nominal + goes_in.added_nominal,
                        )),
                        fresh: false,
                    }
                }
                // What is added is known by itself; the portion of the sample stays what it was.
                (Step::SpikedWith(_), Some(before)) => before,
                (Step::Displace { name, with }, Some(before)) => {
                    self.displace(bench, &occasion, name, with, before)?
                }
                (
                    Step::MakeUp { name, .. }
                    | Step::Add { name, .. }
                    | Step::Displace { name, .. },
                    None,
                ) => {
                    return Err(self.refuse(name, "there is nothing to dilute yet"));
                }
                (Step::SpikedWith(plan), None) => {
                    return Err(self.refuse(&plan.name, "there is no sample yet to add to"));
                }
            });
        }
        at_hand
            .map(|a| a.portion)
            .ok_or_else(|| SheetError::entry("method", "the method has no steps"))
    }

    /// A measured volume that goes to what is at hand, which must have a known volume.
    fn goes_in(
        &self,
        bench: &Bench,
        occasion: &Occasion,
        name: &str,
        with: &PieceSpec,
        before: &AtHand,
        unknown: &str,
    ) -> Result<GoesIn, SheetError> {
        let piece = self.piece(bench, name, with, &MEASURES)?;
        let Some((volume, nominal)) = before.volume.clone() else {
            return Err(self.refuse(name, unknown));
        };
        Ok(GoesIn {
            volume,
            nominal,
            added: bench.held(&piece, occasion, &format!("piece.{name}"))?,
            added_nominal: piece.nominal_ml,
        })
    }

    fn take(
        &self,
        bench: &Bench,
        occasion: &Occasion,
        name: &str,
        with: &PieceSpec,
        before: Option<AtHand>,
    ) -> Result<AtHand, SheetError> {
        let piece = self.piece(bench, name, with, &MEASURES)?;
        let taken = bench.held(&piece, occasion, &format!("piece.{name}"))?;
        let Some(before) = before else {
            return Ok(AtHand {
                what: "sample".into(),
                portion: taken.clone(),
                volume: Some((taken, piece.nominal_ml)),
                fresh: true,
            });
        };
        let Some((volume, nominal)) = before.volume else {
            return Err(self.refuse(
                name,
                "an aliquot of a weighed sample is taken after it was made up to a mark",
            ));
        };
        if piece.nominal_ml > nominal {
            return Err(self.refuse(
                name,
                &format!("{} mL cannot be taken from {nominal} mL", piece.nominal_ml),
            ));
        }
        let what = before.what;
        let portion = (before.portion * taken.clone() / volume).named(
            symbol(&what, name, occasion),
            format!("{what} in {name}, {}", occasion.id),
        );
        Ok(AtHand {
            what,
            portion,
            volume: Some((taken, piece.nominal_ml)),
            fresh: true,
        })
    }

    /// What goes into a full vessel pushes as much of its contents out before they mix.
    fn displace(
        &self,
        bench: &Bench,
        occasion: &Occasion,
        name: &str,
        with: &PieceSpec,
        before: AtHand,
    ) -> Result<AtHand, SheetError> {
        let known = "only a vessel of known volume can be full";
        let GoesIn {
            volume,
            nominal,
            added: pushed_out,
            added_nominal,
        } = self.goes_in(bench, occasion, name, with, &before, known)?;
        if added_nominal >= nominal {
            return Err(self.refuse(
                name,
                &format!("{added_nominal} mL would push everything out of {nominal} mL"),
            ));
        }
        let what = before.what;
        let portion = (before.portion * (volume.clone() - pushed_out) / volume.clone()).named(
            symbol(&what, name, occasion),
            format!("{what} left beside {name}, {}", occasion.id),
        );
        Ok(AtHand {
            what,
            portion,
            volume: Some((volume, nominal)),
            fresh: false,
        })
    }

    /// The piece of a step: the sheet's, or the method's.
    pub(super) fn piece(
        &self,
        bench: &Bench,
        name: &str,
        planned: &PieceSpec,
        kinds: &[Kind],
    ) -> Result<Piece, SheetError> {
        let (spec, path) = match self.sheet.piece.get(name) {
            Some(own) => (own, format!("piece.{name}")),
            None => (planned, format!("method {}, step {name}", self.method.name)),
        };
        bench.piece(spec, name, &path, kinds)
    }

    fn refuse(&self, step: &str, fault: &str) -> SheetError {
        SheetError::entry(
            format!("piece.{step}"),
            format!(
                "{fault}. \"10 mL made up to 50 mL\" and \"10 mL plus 50 mL\" are different things: say which was done"
            ),
        )
    }
}

/// Symbol of what is shared out, after a step.
fn symbol(what: &str, step: &str, occasion: &Occasion) -> String {
    match what {
        "sample" => format!("q_{step},{}", occasion.label),
        reagent => format!("V_{reagent} in {step},{}", occasion.label),
    }
}

/// The unit in which a portion is shown.
pub(super) fn is_mass(portion: &Expr) -> bool {
    let gram: Unit = "g".parse().unwrap_or_default();
    portion.dimension().is_ok_and(|d| d == gram.dimension())
}
