//! From a determination in the record to the bench sheet that is evaluated.
//!
//! The sheet is the same value that a file gives: the record adds what its own things say (certificates, calibrations,
//! limits) and names the determinations that standardized a solution where a file would name a sheet. A lot, a bottle
//! and a piece of apparatus stand on every sheet under their name in the record, so an input shared by two
//! determinations is one input.

use crate::node::Node;
use crate::payload::{KnownBy, Piece, Plan, Slot, Source, TitrantRechecked};
use crate::state::{Determination, Run, Standing, World};
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;
use thiserror::Error;
use titrimetry::assay::{AssaySheet, RecheckSpec, SampleSpec, Solution};
use titrimetry::method::Method;
use titrimetry::sheet::{
    Apparatus, BalanceSpec, Concentration, CorrectionSpec, Fill, Kind as Quantity, Known, OwnPiece,
    PieceSpec, ReadingName, Rules, RunKind, RunSpec, Sheet, Sought, Written,
};

/// Why a determination makes no sheet.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum SheetMissing {
    /// A thing is not in the record, or of the wrong kind.
    #[error("{0} is not in the record")]
    Node(Node),
    /// A lot without the value that is needed.
    #[error("the certificate of {lot} does not state its {what}; enter the certificate")]
    Value {
        /// The lot.
        lot: Node,
        /// "purity" or "concentration".
        what: &'static str,
    },
    /// A solution that was not standardized.
    #[error("{0} is not standardized; standardize it, or take a lot with a certificate")]
    Standing(Node),
    /// A reading that cannot be read.
    #[error("{what}: {reason}")]
    Reading {
        /// Where it stands.
        what: String,
        /// What is wrong.
        reason: String,
    },
}

/// A determination as a sheet.
#[derive(Clone, Debug, PartialEq)]
pub enum BenchSheet {
    /// Of a standardization; with the determination that its known solution rests on.
    Standardization(Box<Sheet>, Option<Node>),
    /// Of samples, by a method.
    Assay(Box<AssaySheet>, Arc<Method>),
}

/// The determinations whose formulas a determination carries along.
pub fn parents(determination: &Determination) -> Vec<Node> {
    let of = |known: &KnownBy| match known {
        KnownBy::Solution { by, .. } => by.clone(),
        KnownBy::Lot(_) => None,
    };
    match &determination.opened.plan {
        Plan::Standardization { known, .. } => of(known).into_iter().collect(),
        Plan::Assay {
            titrant, reagents, ..
        } => {
            let mut found: Vec<Node> = std::iter::once(titrant)
                .chain(reagents.values())
                .filter_map(|source| of(&source.known))
                .chain(determination.rechecks.iter().map(|again| again.by.clone()))
                .collect();
            found.sort();
            found.dedup();
            found
        }
    }
}

/// Makes the sheet of a determination.
///
/// # Errors
/// [`SheetMissing`] naming what is not there.
pub fn bench_sheet(
    world: &World,
    determination: &Determination,
) -> Result<BenchSheet, SheetMissing> {
    match &determination.opened.plan {
        Plan::Standardization { .. } => standardization(world, determination),
        Plan::Assay { .. } => assay(world, determination),
    }
}

fn standardization(
    world: &World,
    determination: &Determination,
) -> Result<BenchSheet, SheetMissing> {
    let opened = &determination.opened;
    let Plan::Standardization {
        sought,
        place,
        diluted,
        known,
        dissolved,
        reaction,
        indicator,
        end_point,
    } = &opened.plan
    else {
        return Err(SheetMissing::Node(Node::record()));
    };
    let solution = world
        .solution(sought)
        .ok_or_else(|| SheetMissing::Node(sought.clone()))?;
    let mut parent = None;
    let mut compared = Known {
        substance: String::new(),
        purity: None,
        concentration: None,
        sheet: None,
        dissolved: dissolved.clone(),
        density: None,
        bottle: None,
    };
    match known {
        KnownBy::Lot(lot) => {
            let state = world
                .lot(lot)
                .ok_or_else(|| SheetMissing::Node(lot.clone()))?;
            compared.substance.clone_from(&state.received.substance);
            compared.density.clone_from(&state.received.density);
            compared.bottle = Some(lot.name().to_string());
            let certificate = state.certificate.as_ref();
            compared.purity = certificate.and_then(|c| c.purity.clone());
            if let Some(purity) = &mut compared.purity {
                purity.certificate = certificate.map(|c| c.number.clone());
            } else {
                compared.concentration = certificate.and_then(|c| c.concentration.clone());
                match &mut compared.concentration {
                    Some(stated) => stated.certificate = certificate.map(|c| c.number.clone()),
                    None => {
                        return Err(SheetMissing::Value {
                            lot: lot.clone(),
                            what: "purity or concentration",
                        });
                    }
                }
            }
        }
        KnownBy::Solution { solution, by } => {
            let state = world
                .solution(solution)
                .ok_or_else(|| SheetMissing::Node(solution.clone()))?;
            let by = by
                .as_ref()
                .ok_or_else(|| SheetMissing::Standing(solution.clone()))?;
            compared.substance.clone_from(&state.prepared.substance);
            compared.bottle = Some(solution.name().to_string());
            compared.sheet = Some(by.to_string());
            parent = Some(by.clone());
        }
    }
    let sheet = Sheet {
        title: opened.title.clone(),
        analyst: Some(determination.who.clone()),
        date: Some(determination.at.day().to_string()),
        sought: Sought {
            substance: solution.prepared.substance.clone(),
            place: *place,
            nominal: Some(solution.prepared.nominal.clone()),
            earlier: solution
                .standing_before(determination.number)
                .and_then(earlier),
            bottle: Some(sought.name().to_string()),
            diluted: diluted.clone(),
        },
        known: compared,
        reaction: reaction.clone(),
        apparatus: apparatus(world, determination)?,
        conditions: determination.conditions.clone(),
        indicator: indicator.clone(),
        end_point: end_point.clone(),
        repeatability: opened.repeatability.clone(),
        rules: Rules::default(),
        coverage: opened.coverage.clone(),
        run: determination
            .runs
            .iter()
            .map(|run| run_spec(determination, run))
            .collect::<Result<_, _>>()?,
    };
    Ok(BenchSheet::Standardization(Box::new(sheet), parent))
}

/// What a solution was found to be before, as a sheet states it: the uncertainty with three digits, the value to match.
fn earlier(standing: &Standing) -> Option<titrimetry::sheet::Stated<Concentration>> {
    let found = standing.evaluated.results.first()?;
    let (value, u) = (found.value, found.standard_uncertainty);
    if !(u > 0.0 && u.is_finite() && value.is_finite()) {
        return None;
    }
    let decimals = (2.0 - u.log10().floor()).clamp(0.0, 15.0) as usize;
    let written = |x: f64| format!("{x:.decimals$} {}", found.unit).parse().ok();
    Some(titrimetry::sheet::Stated {
        value: written(value)?,
        expanded: None,
        k: None,
        standard: Some(written(u)?),
        within: None,
        shape: None,
        exact: false,
        degrees_of_freedom: found.degrees_of_freedom,
        certificate: Some(format!(
            "{}, {}",
            standing.determination.name(),
            standing.at.day()
        )),
    })
}

fn assay(world: &World, determination: &Determination) -> Result<BenchSheet, SheetMissing> {
    let opened = &determination.opened;
    let Plan::Assay {
        method,
        titrant,
        reagents,
        samples,
        blank_is,
        check_every,
    } = &opened.plan
    else {
        return Err(SheetMissing::Node(Node::record()));
    };
    let plan = world
        .method(method)
        .and_then(|card| card.at(determination.number))
        .ok_or_else(|| SheetMissing::Node(method.clone()))?;
    let sample = |node: &Node| -> Result<SampleSpec, SheetMissing> {
        let state = world
            .sample(node)
            .ok_or_else(|| SheetMissing::Node(node.clone()))?;
        let weighed = |slot: Slot| {
            determination
                .reading(0, Some(node), slot)
                .map(|reading| read(&reading.value, || format!("{node}, {slot}")))
                .transpose()
        };
        Ok(SampleSpec {
            id: node.name().to_string(),
            kind: state.received.role,
            mass: weighed(Slot::Mass)?,
            gross: weighed(Slot::Gross)?,
            tare: weighed(Slot::Tare)?,
            density: state.received.density.clone(),
            recovery: None,
            expected: state.received.expected.clone(),
            limits: state.received.limits.clone(),
            run: runs_of(determination, Some(node))?,
        })
    };
    let sheet = AssaySheet {
        title: opened.title.clone(),
        method: Some(plan.name.clone()),
        method_file: None,
        analyst: Some(determination.who.clone()),
        date: Some(determination.at.day().to_string()),
        titrant: source(world, titrant)?,
        reagent: reagents
            .iter()
            .map(|(name, known)| Ok((name.clone(), source(world, known)?)))
            .collect::<Result<BTreeMap<_, _>, SheetMissing>>()?,
        apparatus: apparatus(world, determination)?,
        piece: opened
            .pieces
            .iter()
            .map(|(step, node)| Ok((step.clone(), glass(world, determination, node)?)))
            .collect::<Result<BTreeMap<_, _>, SheetMissing>>()?,
        conditions: determination.conditions.clone(),
        repeatability: opened.repeatability.clone(),
        rules: Rules::default(),
        coverage: opened.coverage.clone(),
        end_point: None,
        blank: runs_of(determination, None)?,
        blank_is: *blank_is,
        check_every: *check_every,
        recheck: determination.rechecks.iter().map(recheck).collect(),
        sample: samples.iter().map(sample).collect::<Result<_, _>>()?,
    };
    Ok(BenchSheet::Assay(Box::new(sheet), Arc::clone(plan)))
}

fn recheck(again: &TitrantRechecked) -> RecheckSpec {
    RecheckSpec {
        after: again.after.name().to_string(),
        titrant: Solution {
            substance: None,
            concentration: None,
            sheet: Some(again.by.to_string()),
            bottle: None,
            drift: None,
            standardized_at: None,
        },
    }
}

fn source(world: &World, source: &Source) -> Result<Solution, SheetMissing> {
    let mut made = Solution {
        substance: None,
        concentration: None,
        sheet: None,
        bottle: None,
        drift: source.drift.clone(),
        standardized_at: source.standardized_at.clone(),
    };
    match &source.known {
        KnownBy::Lot(lot) => {
            let state = world
                .lot(lot)
                .ok_or_else(|| SheetMissing::Node(lot.clone()))?;
            let certificate = state.certificate.as_ref();
            let stated = certificate
                .and_then(|c| c.concentration.as_ref())
                .ok_or_else(|| SheetMissing::Value {
                    lot: lot.clone(),
                    what: "concentration",
                })?;
            // Written text goes through any unit that a concentration may have.
            let text = serde_json::to_value(stated).unwrap_or_default();
            let mut stated: titrimetry::sheet::Stated<titrimetry::sheet::Anything> =
                serde_json::from_value(text).map_err(|e| SheetMissing::Reading {
                    what: format!("certificate of {lot}"),
                    reason: e.to_string(),
                })?;
            stated.certificate = certificate.map(|c| c.number.clone());
            made.concentration = Some(stated);
            made.substance = Some(state.received.substance.clone());
            made.bottle = Some(lot.name().to_string());
        }
        KnownBy::Solution { solution, by } => {
            let state = world
                .solution(solution)
                .ok_or_else(|| SheetMissing::Node(solution.clone()))?;
            let by = by
                .as_ref()
                .ok_or_else(|| SheetMissing::Standing(solution.clone()))?;
            made.substance = Some(state.prepared.substance.clone());
            made.sheet = Some(by.to_string());
            made.bottle = Some(solution.name().to_string());
        }
    }
    Ok(made)
}

fn apparatus(world: &World, determination: &Determination) -> Result<Apparatus, SheetMissing> {
    let opened = &determination.opened;
    Ok(Apparatus {
        burette: glass(world, determination, &opened.burette)?,
        read_to: opened.read_to.clone(),
        pipette: opened
            .pipette
            .as_ref()
            .map(|node| glass(world, determination, node))
            .transpose()?,
        balance: opened
            .balance
            .as_ref()
            .map(|node| balance(world, determination, node))
            .transpose()?,
    })
}

fn piece<'w>(
    world: &'w World,
    determination: &Determination,
    node: &Node,
) -> Result<&'w Piece, SheetMissing> {
    world
        .apparatus(node)
        .and_then(|a| a.piece_at(determination.number))
        .ok_or_else(|| SheetMissing::Node(node.clone()))
}

fn glass(
    world: &World,
    determination: &Determination,
    node: &Node,
) -> Result<PieceSpec, SheetMissing> {
    let id = Some(node.name().to_string());
    match piece(world, determination, node)? {
        Piece::Glass(PieceSpec::Name(catalogue)) => Ok(PieceSpec::Own(Box::new(OwnPiece {
            catalogue: catalogue.clone(),
            id,
            tolerance: None,
            graduation: None,
            calibration: None,
        }))),
        Piece::Glass(PieceSpec::Own(own)) => Ok(PieceSpec::Own(Box::new(OwnPiece {
            id,
            ..(**own).clone()
        }))),
        Piece::Balance(_) => Err(SheetMissing::Node(node.clone())),
    }
}

fn balance(
    world: &World,
    determination: &Determination,
    node: &Node,
) -> Result<BalanceSpec, SheetMissing> {
    match piece(world, determination, node)? {
        Piece::Balance(BalanceSpec::Own(own)) => {
            let mut own = own.clone();
            own.id = Some(node.name().to_string());
            Ok(BalanceSpec::Own(own))
        }
        Piece::Balance(name @ BalanceSpec::Name(_)) => Ok(name.clone()),
        Piece::Glass(_) => Err(SheetMissing::Node(node.clone())),
    }
}

/// The runs of a sample, or the blanks that serve all.
fn runs_of(
    determination: &Determination,
    sample: Option<&Node>,
) -> Result<Vec<RunSpec>, SheetMissing> {
    determination
        .runs
        .iter()
        .filter(|run| run.started.sample.as_ref() == sample)
        .map(|run| run_spec(determination, run))
        .collect()
}

/// A written quantity, with the place it stands at if it cannot be read.
pub(crate) fn read<K: Quantity>(
    text: &str,
    place: impl Fn() -> String,
) -> Result<Written<K>, SheetMissing> {
    text.parse().map_err(|reason| SheetMissing::Reading {
        what: place(),
        reason,
    })
}

fn run_spec(determination: &Determination, run: &Run) -> Result<RunSpec, SheetMissing> {
    let number = run.started.run;
    let mut spec = RunSpec {
        kind: run.started.run_kind,
        name: run.started.name.clone(),
        analyst: (run.who != determination.who).then(|| run.who.clone()),
        time: Some(run.at.clock()),
        titration: run.started.titration.clone(),
        set_aside: run.set_aside.as_ref().map(|s| s.reason.clone()),
        ..RunSpec::default()
    };
    let remarks: Vec<&str> = run.remarks.iter().map(|r| r.text.as_str()).collect();
    if !remarks.is_empty() {
        spec.remark = Some(remarks.join("; "));
    }
    let mut ends = BTreeMap::new();
    let mut refills: BTreeMap<u8, (Option<&str>, Option<&str>)> = BTreeMap::new();
    for reading in &run.readings {
        let place = || format!("run {number}, {}", reading.slot);
        let text = &reading.value;
        match reading.slot {
            Slot::Initial => spec.initial = Some(read(text, place)?),
            Slot::Final => spec.final_reading = Some(read(text, place)?),
            Slot::Mass => spec.mass = Some(read(text, place)?),
            Slot::Gross => spec.gross = Some(read(text, place)?),
            Slot::Tare => spec.tare = Some(read(text, place)?),
            Slot::Temperature => spec.temperature = Some(read(text, place)?),
            Slot::Duration => spec.duration = Some(read(text, place)?),
            Slot::Added => spec.added = Some(read(text, place)?),
            Slot::End(n) => {
                // Readings stand in the order in which they were taken.
                ends.insert(n, (read(text, place)?, refills.len() + 1));
            }
            Slot::RefillInitial(n) => refills.entry(n).or_default().0 = Some(text),
            Slot::RefillFinal(n) => refills.entry(n).or_default().1 = Some(text),
        }
        let name = match reading.slot {
            Slot::Initial => ReadingName::Initial,
            Slot::Final => ReadingName::Final,
            Slot::Mass => ReadingName::Mass,
            Slot::Gross => ReadingName::Gross,
            Slot::Tare => ReadingName::Tare,
            // A sheet names corrections of these five only; the record keeps all.
            _ => continue,
        };
        for correction in &reading.corrections {
            spec.corrected.push(CorrectionSpec {
                reading: name,
                was: read(&correction.was, place)?,
                reason: correction.reason.clone(),
                by: Some(correction.who.clone()),
                when: Some(format!("{} {}", correction.at.day(), correction.at.clock())),
            });
        }
    }
    for (n, (initial, last)) in refills {
        let (Some(initial), Some(last)) = (initial, last) else {
            return Err(SheetMissing::Reading {
                what: format!("run {number}, refill {n}"),
                reason: "one of its two readings is missing".into(),
            });
        };
        spec.refill.push(Fill {
            initial: read(initial, || format!("run {number}, refill-{n}-initial"))?,
            final_reading: read(last, || format!("run {number}, refill-{n}-final"))?,
        });
    }
    if !spec.refill.is_empty() {
        spec.end_fills = ends
            .values()
            .map(|(end, fill)| fill_of(&spec, end.value(), *fill))
            .collect();
    }
    spec.ends = ends.into_values().map(|(end, _)| end).collect();
    Ok(spec)
}

/// The fill in which an end was read: the one that was in the burette when it was written down, unless only another one can
/// hold it (it was written down afterwards).
fn fill_of(spec: &RunSpec, ml: f64, written_in: usize) -> usize {
    let first = spec.initial.iter().zip(&spec.final_reading);
    let fills: Vec<_> = first
        .chain(spec.refill.iter().map(|f| (&f.initial, &f.final_reading)))
        .map(|(initial, last)| (initial.value()..=last.value()).contains(&ml))
        .collect();
    if fills.get(written_in - 1) == Some(&true) {
        return written_in;
    }
    fills
        .iter()
        .position(|holds| *holds)
        .map_or(written_in, |i| i + 1)
}

/// What an open determination gives so far: runs of which a fill is not closed are left out.
pub(crate) fn finished_only(determination: &Determination) -> Cow<'_, Determination> {
    let mut finished = Cow::Borrowed(determination);
    if !determination.runs.iter().all(Run::is_finished) {
        finished.to_mut().runs.retain(Run::is_finished);
    }
    finished
}

/// The same, without the samples of an open determination that lack a run that counts in one of the method's titrations.
pub(crate) fn begun_only<'d>(
    world: &World,
    determination: &'d Determination,
) -> Cow<'d, Determination> {
    let mut finished = finished_only(determination);
    if !determination.is_open() {
        return finished;
    }
    let begun = finished.to_mut();
    let number = begun.number;
    let Plan::Assay {
        method, samples, ..
    } = &mut begun.opened.plan
    else {
        return finished;
    };
    let titrations = world
        .method(method)
        .and_then(|card| card.at(number))
        .map(|method| method.titrations())
        .unwrap_or_default();
    let runs = &begun.runs;
    let has = |sample: &Node, titration: &str| {
        runs.iter().any(|run| {
            run.set_aside.is_none()
                && run.started.run_kind == RunKind::Replicate
                && run.started.sample.as_ref() == Some(sample)
                && (titrations.len() == 1 || run.started.titration.as_deref() == Some(titration))
        })
    };
    let begun_samples: Vec<Node> = samples
        .iter()
        .filter(|sample| titrations.iter().all(|t| has(sample, &t.name)))
        .cloned()
        .collect();
    // With none at all, what is missing is said of all.
    if !begun_samples.is_empty() {
        begun.rechecks.retain(|r| begun_samples.contains(&r.after));
        *samples = begun_samples;
    }
    finished
}
