//! The bench of a sheet: what its runs delivered, took and weighed.

use super::equipment::{air, at, balance, celsius, piece, temperature, within};
use super::outcome::BuretteFacts;
use crate::sheet::{
    Apparatus, Conditions, Dilution as DilutionSpec, Fill as FillSpec, Mass, PieceSpec, RunKind,
    RunSpec, SheetError, Volume, Written,
};
use metrology::{Expr, QuantityError, WrittenQuantity};
use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::HashMap;
use volumetry::catalogue::Kind;
use volumetry::{
    Accuracy, AirDensity, Balance, Body, BuretteRun, Calibration, Fill, Liquid, LiquidTemperature,
    Occasion, Piece, VolumetryError, Weighed, Weighing,
};

/// Most fills of a burette in one run.
const MAX_FILLS: usize = 50;

/// A run with the name that people use for it.
#[derive(Clone)]
pub(crate) struct NamedRun {
    pub(crate) name: String,
    pub(crate) spec: RunSpec,
}

/// Everything that measures, and the runs in which it did.
pub(crate) struct Bench {
    pub(crate) runs: Vec<NamedRun>,
    temperature_within: f64,
    /// Starts the ids of what belongs to this determination alone.
    pub(crate) determination: String,
    pub(crate) burette_facts: BuretteFacts,
    pub(crate) assumptions: Vec<String>,
    burette: Piece,
    read_to: Option<f64>,
    pipette: Option<Piece>,
    balance: Option<Balance>,
    air: AirDensity,
    temperature: LiquidTemperature,
    liquid: Liquid,
    /// The titrant, where it is not a dilute aqueous solution.
    titrant: Option<Liquid>,
    /// Volumes that were asked for before, by run and end point.
    volumes: RefCell<HashMap<(usize, Option<usize>), Expr>>,
    /// Portions of the sample in the flasks of runs that were asked for before.
    portions: RefCell<HashMap<usize, Expr>>,
}

/// Initial and final reading of one fill.
type Readings<'a> = (&'a Written<Volume>, &'a Written<Volume>);

/// What ran out over these fills, as read, in mL.
fn run_out(fills: &[Readings<'_>]) -> f64 {
    fills
        .iter()
        .map(|(first, last)| last.value() - first.value())
        .sum()
}

/// A weighing as a sheet writes it.
pub(crate) struct Masses<'a> {
    pub(crate) net: Option<&'a Written<Mass>>,
    pub(crate) gross: Option<&'a Written<Mass>>,
    pub(crate) tare: Option<&'a Written<Mass>>,
}

impl Bench {
    /// The bench of a determination; `determination` starts the ids of what belongs to it alone.
    pub(crate) fn of(
        determination: String,
        apparatus: &Apparatus,
        conditions: &Conditions,
        runs: Vec<NamedRun>,
    ) -> Result<Self, SheetError> {
        let mut assumptions = Vec::new();
        let burette = piece(
            &apparatus.burette,
            "apparatus.burette",
            &determination,
            &[Kind::Burette],
        )?;
        let pipette = match &apparatus.pipette {
            Some(spec) => Some(piece(
                spec,
                "apparatus.pipette",
                &determination,
                &[Kind::Pipette, Kind::PistonPipette],
            )?),
            None => None,
        };
        let balance = apparatus
            .balance
            .as_ref()
            .map(|spec| balance(spec, &determination))
            .transpose()?;
        let temperature = temperature(conditions, &determination, &mut assumptions)?;
        let liquid = Liquid::dilute_aqueous(temperature.value_c)
            .map_err(|e| at("conditions.temperature", &e))?;
        let burette_facts = BuretteFacts {
            name: burette.description.clone(),
            capacity: burette.nominal_ml,
            graduation: burette.graduation_ml.unwrap_or(0.1),
            calibrated: matches!(burette.accuracy, Accuracy::Calibration(_)),
        };
        let read_to = apparatus.read_to.as_ref().map(Written::value);
        if read_to.is_some_and(|step| !(step > 0.0 && step < burette.nominal_ml)) {
            return Err(SheetError::entry(
                "apparatus.read_to",
                "a reading step must be above 0 and within the scale",
            ));
        }
        Ok(Self {
            air: air(conditions, &determination)?,
            temperature_within: within(conditions),
            runs,
            titrant: None,
            volumes: RefCell::default(),
            portions: RefCell::default(),
            determination,
            burette_facts,
            assumptions,
            burette,
            read_to,
            pipette,
            balance,
            temperature,
            liquid,
        })
    }

    /// Sets a titrant that expands otherwise than a dilute aqueous solution; its volumes count at 20 degC.
    pub(crate) fn set_titrant(&mut self, liquid: Liquid) {
        self.volumes.take();
        self.titrant = Some(liquid);
    }

    /// Identity of the burette and its calibration, if it has one.
    pub(crate) fn burette_calibration(&self) -> Option<(&str, &Calibration)> {
        match &self.burette.accuracy {
            Accuracy::Calibration(calibration) => Some((&self.burette.id, calibration)),
            Accuracy::Tolerance { .. } => None,
        }
    }

    /// Identity of a run.
    pub(crate) fn run_key(&self, index: usize) -> String {
        format!("{} run {}", self.determination, self.runs[index].name)
    }

    pub(crate) fn occasion(&self, index: usize) -> Occasion {
        Occasion::run(self.run_key(index)).labelled(self.runs[index].name.clone())
    }

    /// The pairs of readings of a run.
    fn fills(&self, index: usize) -> Result<Vec<Readings<'_>>, SheetError> {
        let NamedRun { name, spec: run } = &self.runs[index];
        let path = |entry: &str| format!("run[{}]{entry}", index + 1);
        let missing = |which: &str| {
            SheetError::entry(
                path(""),
                format!(
                    "run {name} has no {which} reading; write {which} = \"24.53 mL\" as it was read"
                ),
            )
        };
        let first = run.initial.as_ref().ok_or_else(|| missing("initial"))?;
        let last = run.final_reading.as_ref().ok_or_else(|| missing("final"))?;
        if run.refill.len() >= MAX_FILLS {
            return Err(SheetError::entry(
                path(".refill"),
                format!("more than {MAX_FILLS} fills in one run"),
            ));
        }
        let refills = run.refill.iter().map(
            |FillSpec {
                 initial,
                 final_reading,
             }| (initial, final_reading),
        );
        let fills: Vec<_> = std::iter::once((first, last)).chain(refills).collect();
        for (i, (initial, last)) in fills.iter().enumerate() {
            let entry = |which: &str| {
                if i == 0 {
                    path(&format!(".{which}"))
                } else {
                    path(&format!(".refill[{i}].{which}"))
                }
            };
            for (which, reading) in [("initial", initial), ("final", last)] {
                if reading.value() < 0.0 {
                    return Err(SheetError::entry(
                        entry(which),
                        format!(
                            "the {which} reading of run {name} is {reading}; a burette has nothing below its zero mark"
                        ),
                    ));
                }
            }
            if last.value() < initial.value() {
                return Err(SheetError::entry(
                    entry("final"),
                    format!(
                        "the final reading of run {name} ({last}) lies above the liquid's start ({initial}); \
                         swapped, or the burette was refilled (then write the refill)"
                    ),
                ));
            }
        }
        Ok(fills)
    }

    /// The fills up to an end point before the last (`end`, counted from 0), whose reading ends them; all of them for the
    /// last end point.
    fn fills_to(&self, index: usize, end: Option<usize>) -> Result<Vec<Readings<'_>>, SheetError> {
        let mut fills = self.fills(index)?;
        let Some(end) = end else { return Ok(fills) };
        let NamedRun { name, spec: run } = &self.runs[index];
        let wrong = |entry: &str, fault: String| {
            Err(SheetError::entry(
                format!("run[{}].{entry}", index + 1),
                fault,
            ))
        };
        let number = end + 1;
        let Some(reading) = run.ends.get(end) else {
            return wrong(
                "ends",
                format!(
                    "run {name} lacks the reading at end point {number}; write ends = [\"8.30 mL\"]"
                ),
            );
        };
        let mut fill = 0;
        if fills.len() > 1 {
            let holds = |(first, last): &Readings<'_>| {
                (first.value()..=last.value()).contains(&reading.value())
            };
            let able: Vec<usize> = (0..fills.len()).filter(|i| holds(&fills[*i])).collect();
            let said = run.end_fills.get(end);
            fill = match (said, able.as_slice()) {
                (Some(said), _) => match able.iter().find(|i| *i + 1 == *said) {
                    Some(fill) => *fill,
                    None => {
                        return wrong(
                            &format!("end_fills[{number}]"),
                            format!(
                                "end point {number} of run {name} was read at {reading}, which lies between no two readings of a fill {said}"
                            ),
                        );
                    }
                },
                (None, [only]) => *only,
                (None, []) => {
                    return wrong(
                        &format!("ends[{number}]"),
                        format!(
                            "end point {number} of run {name} was read at {reading}, which lies between the readings of no fill"
                        ),
                    );
                }
                (None, several) => {
                    let numbers: Vec<String> =
                        several.iter().map(|i| (i + 1).to_string()).collect();
                    return wrong(
                        &format!("ends[{number}]"),
                        format!(
                            "end point {number} of run {name}, {reading}, may lie in fill {}; write in which fill each end point was read, such as end_fills = [{}]",
                            numbers.join(" or "),
                            numbers[0]
                        ),
                    );
                }
            };
        }
        fills.truncate(fill + 1);
        fills[fill].1 = reading;
        Ok(fills)
    }

    /// Volume delivered by the burette in a run, at 20 degC.
    pub(crate) fn titrant_volume(&self, index: usize) -> Result<Expr, SheetError> {
        self.volume_to(index, None)
    }

    /// Volume delivered up to an end point before the last (`end`, counted from 0), or up to the last.
    pub(crate) fn volume_to(&self, index: usize, end: Option<usize>) -> Result<Expr, SheetError> {
        if let Some(known) = self.volumes.borrow().get(&(index, end)) {
            return Ok(known.clone());
        }
        let volume = self.reckon_volume(index, end)?;
        self.volumes
            .borrow_mut()
            .insert((index, end), volume.clone());
        Ok(volume)
    }

    /// The portion in the flask of a run, reckoned once.
    pub(crate) fn portion(
        &self,
        run: usize,
        reckon: impl FnOnce() -> Result<Expr, SheetError>,
    ) -> Result<Expr, SheetError> {
        if let Some(known) = self.portions.borrow().get(&run) {
            return Ok(known.clone());
        }
        let portion = reckon()?;
        self.portions.borrow_mut().insert(run, portion.clone());
        Ok(portion)
    }

    fn reckon_volume(&self, index: usize, end: Option<usize>) -> Result<Expr, SheetError> {
        let run = &self.runs[index].spec;
        let fills: Vec<Fill> = self
            .fills_to(index, end)?
            .into_iter()
            .map(|(first, last)| Fill {
                initial: first.quantity().clone(),
                last: last.quantity().clone(),
            })
            .collect();
        let path = match end {
            Some(end) => format!("run[{}].ends[{}]", index + 1, end + 1),
            None => format!("run[{}].final", index + 1),
        };
        let name = end.map(|end| (end + 1).to_string());
        let (temperature, liquid) = self.temperature_of(index)?;
        self.burette_of(index)
            .delivered_in_run(&BuretteRun {
                occasion: &self.occasion(index),
                fills: &fills,
                step_ml: self.read_to,
                temperature: &temperature,
                liquid: &liquid,
                drainage: None,
                end: name.as_deref(),
                refilled: !run.refill.is_empty(),
            })
            .map_err(|e| at(&path, &e))
    }

    /// The burette as it counts in a run. A tolerance bounds the error of any volume, not of each part of a difference:
    /// the volume less the blank carries it once, so the blank by itself carries none. Were it one error of both, it
    /// would cancel where nothing says that it does.
    fn burette_of(&self, index: usize) -> Cow<'_, Piece> {
        let is_blank = self.runs[index].spec.kind == RunKind::Blank;
        match &self.burette.accuracy {
            Accuracy::Tolerance { origin, .. } if is_blank => {
                let accuracy = Accuracy::Tolerance {
                    half_width_ml: 0.0,
                    origin: origin.clone(),
                };
                let id = format!("{}, blank", self.burette.id);
                Cow::Owned(Piece {
                    id,
                    accuracy,
                    ..self.burette.clone()
                })
            }
            _ => Cow::Borrowed(&self.burette),
        }
    }

    /// Temperature of the titrant in a run, and the titrant by its expansion.
    fn temperature_of(&self, index: usize) -> Result<(LiquidTemperature, Liquid), SheetError> {
        let Some(read) = &self.runs[index].spec.temperature else {
            let liquid = self.titrant.clone().unwrap_or_else(|| self.liquid.clone());
            return Ok((self.temperature.clone(), liquid));
        };
        let fail = |e: VolumetryError| at(&format!("run[{}].temperature", index + 1), &e);
        let id = format!("{}/temperature", self.run_key(index));
        let temperature =
            LiquidTemperature::read(id, celsius(read), self.temperature_within).map_err(fail)?;
        let liquid = match &self.titrant {
            Some(titrant) => titrant.clone(),
            None => Liquid::dilute_aqueous(temperature.value_c).map_err(fail)?,
        };
        Ok((temperature, liquid))
    }

    /// What had run out at an end point before the last, as read, in mL.
    pub(crate) fn titre_to(&self, index: usize, end: usize) -> Result<f64, SheetError> {
        Ok(run_out(&self.fills_to(index, Some(end))?))
    }

    /// Final minus initial readings over all fills in mL, and the decimals they were written with.
    pub(crate) fn titre_as_read(&self, index: usize) -> Result<(f64, usize), SheetError> {
        Ok(titre_of(&self.fills(index)?))
    }

    /// Volume that the pipette puts into the flask in a run, at 20 degC.
    pub(crate) fn aliquot(&self, index: usize) -> Result<Expr, SheetError> {
        let pipette = self.pipette.as_ref().ok_or_else(|| {
            SheetError::entry("apparatus", "no pipette: say which one measured the solution in the flask, such as pipette = \"pipette 25 mL A\"")
        })?;
        pipette
            .held(&self.occasion(index), None, &self.temperature, &self.liquid)
            .map_err(|e| at("apparatus.pipette", &e))
    }

    /// Volumes that one step of a dilution takes and makes up to, at 20 degC.
    pub(super) fn dilution(
        &self,
        step: &DilutionSpec,
        number: usize,
    ) -> Result<(Expr, Expr), SheetError> {
        let occasion = self.once(&format!("dilution {number}"), &format!("dil{number}"));
        let held = |spec: &PieceSpec, entry: &str, kinds: &[Kind]| {
            let path = format!("sought.diluted[{number}].{entry}");
            let piece = piece(spec, &path, &self.determination, kinds)?;
            self.held(&piece, &occasion, &path)
        };
        Ok((
            held(&step.take, "take", &[Kind::Pipette, Kind::PistonPipette])?,
            held(&step.to, "to", &[Kind::Flask])?,
        ))
    }

    /// Volume of the flask in which a standard was made up, at 20 degC.
    pub(crate) fn made_up(&self, spec: &PieceSpec) -> Result<Expr, SheetError> {
        let path = "known.dissolved.flask";
        let flask = piece(spec, path, &self.determination, &[Kind::Flask])?;
        self.held(&flask, &self.once("standard solution", "std"), path)
    }

    /// An occasion that belongs to no single run.
    pub(crate) fn once(&self, what: &str, label: &str) -> Occasion {
        Occasion::once(format!("{} {what}", self.determination)).labelled(label)
    }

    /// A piece of glass of this bench in the place `slot`; `kinds` are those that can serve.
    pub(crate) fn piece(
        &self,
        spec: &PieceSpec,
        slot: &str,
        path: &str,
        kinds: &[Kind],
    ) -> Result<Piece, SheetError> {
        Ok(piece(
            spec,
            path,
            &format!("{}, {slot}", self.determination),
            kinds,
        )?
        .with_symbol(slot))
    }

    /// Volume that a pipette delivers or a flask holds, at 20 degC.
    pub(crate) fn held(
        &self,
        piece: &Piece,
        occasion: &Occasion,
        path: &str,
    ) -> Result<Expr, SheetError> {
        piece
            .held(occasion, None, &self.temperature, &self.liquid)
            .map_err(|e| at(path, &e))
    }

    /// Volume of a standard that a piece added to the flask of a run, at 20 degC: by difference of a burette, as set on a
    /// piston pipette, or as so many fills of a one-mark pipette.
    pub(crate) fn added(
        &self,
        piece: &Piece,
        index: usize,
        volume: &Written<Volume>,
        path: &str,
    ) -> Result<Expr, SheetError> {
        let occasion = self
            .occasion(index)
            .labelled(format!("add,{}", self.runs[index].name));
        let ml = volume.value();
        let held = |set| piece.held(&occasion, set, &self.temperature, &self.liquid);
        let expr = match piece.kind {
            Kind::Burette => {
                let zero: WrittenQuantity = "0 mL"
                    .parse()
                    .map_err(|e: QuantityError| SheetError::entry(path, e.to_string()))?;
                piece.delivered_in_run(&BuretteRun {
                    occasion: &occasion,
                    fills: &[Fill {
                        initial: zero,
                        last: volume.quantity().clone(),
                    }],
                    step_ml: Some(volume.quantity().step() * volume.quantity().unit.factor()),
                    temperature: &self.temperature,
                    liquid: &self.liquid,
                    drainage: None,
                    end: None,
                    refilled: false,
                })
            }
            Kind::PistonPipette => held(Some(ml)),
            _ => {
                let fills = ml / piece.nominal_ml;
                let whole = fills.round();
                if whole < 1.0 || (fills - whole).abs() > 1e-6 {
                    return Err(SheetError::entry(
                        path,
                        format!(
                            "{volume} is no whole number of fills of {}, which holds {} mL; name the piece that measured it, such as a piston pipette",
                            piece.description, piece.nominal_ml
                        ),
                    ));
                }
                held(None).map(|one| match whole {
                    1.0 => one,
                    many => Expr::number(many) * one,
                })
            }
        };
        expr.map_err(|e| at(path, &e))
    }

    /// Mass of what was weighed; corrected for air buoyancy if its density is known.
    pub(crate) fn mass(
        &self,
        occasion: &Occasion,
        masses: &Masses<'_>,
        body: Option<&Body>,
        path: &str,
    ) -> Result<Expr, SheetError> {
        let balance = self.balance.as_ref().ok_or_else(|| {
            SheetError::entry(
                "apparatus",
                "no balance: say which one was used, such as balance = \"four-place balance\"",
            )
        })?;
        let weighed = match (masses.net, masses.gross, masses.tare) {
            (Some(net), None, None) => Weighed::Net(net.quantity().clone()),
            (None, Some(gross), Some(tare)) => Weighed::ByDifference {
                gross: gross.quantity().clone(),
                tare: tare.quantity().clone(),
            },
            (None, None, None) => {
                return Err(SheetError::entry(
                    path,
                    "no mass: write mass = \"0.5123 g\", or gross and tare, as the balance showed them",
                ));
            }
            (Some(_), ..) => {
                return Err(SheetError::entry(
                    path,
                    "both a net mass and gross or tare are given; keep what the balance showed",
                ));
            }
            _ => {
                return Err(SheetError::entry(
                    path,
                    "gross and tare belong together; one of them is missing",
                ));
            }
        };
        Weighing {
            occasion,
            balance,
            weighed: &weighed,
            buoyancy: body.map(|body| (&self.air, body)),
        }
        .mass()
        .map_err(|e| at(path, &e))
    }
}

/// Final minus initial readings over all fills in mL, and the decimals they were written with; none without readings.
pub(crate) fn titre_as_read(run: &RunSpec) -> Option<(f64, usize)> {
    let first = (run.initial.as_ref()?, run.final_reading.as_ref()?);
    let refills = run.refill.iter().map(|f| (&f.initial, &f.final_reading));
    let fills: Vec<Readings<'_>> = std::iter::once(first).chain(refills).collect();
    Some(titre_of(&fills))
}

fn titre_of(fills: &[Readings<'_>]) -> (f64, usize) {
    let decimals = |written: &Written<Volume>| {
        let quantity = written.quantity();
        // A unit other than mL moves the decimals.
        let moved = quantity.unit.factor().log10().round() as i32;
        usize::try_from((quantity.number.decimals() - moved).clamp(0, 6)).unwrap_or(0)
    };
    let titre = run_out(fills);
    let shown = fills
        .iter()
        .flat_map(|(first, last)| [decimals(first), decimals(last)])
        .max();
    (titre, shown.unwrap_or(2))
}
