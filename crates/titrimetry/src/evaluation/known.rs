//! The known side: a weighed standard, a standard made up to volume, or a known solution.

use super::apparatus::{Bench, Masses};
use super::outcome::{Evaluation, Run};
use super::stated::{self, About};
use super::stoichiometry::{Species, species};
use crate::layout::Layout;
use crate::sheet::{Dissolved, Known as KnownSpec, Sheet, SheetError};
use chemistry::atomic_weights::AtomicWeights;
use chemistry::molar_mass::MolarMass;
use metrology::{Expr, Origin};
use volumetry::{Body, VolumetryError};

/// What one run starts from.
pub(super) enum KnownAmount {
    /// Amount of the known substance in the flask; the sought solution is in the burette.
    InFlask(Expr),
    /// Concentration of the known solution in the burette, and the volume of the sought one in the flask.
    InBurette {
        /// Of the known solution.
        concentration: Expr,
        /// Of the sought solution.
        sought_volume: Expr,
    },
}

/// The known side of a sheet.
pub(super) struct Known {
    kind: Kind,
    layout: Layout,
    pub(super) assumptions: Vec<String>,
    /// Name of the set of atomic weights, if one was used.
    pub(super) atomic_weights: Option<String>,
}

enum Kind {
    /// Weighed for each run: purity, molar mass and the body that is weighed.
    Weighed {
        purity: Expr,
        molar_mass: Expr,
        body: Body,
    },
    /// A solution of known concentration.
    Solution(Expr),
}

impl Known {
    pub(super) fn of(
        sheet: &Sheet,
        layout: Layout,
        parent: Option<&Evaluation>,
        bench: &mut Bench,
    ) -> Result<Self, SheetError> {
        let spec = &sheet.known;
        let ways = [
            spec.purity.is_some(),
            spec.concentration.is_some(),
            spec.sheet.is_some(),
        ];
        match ways.iter().filter(|given| **given).count() {
            1 => {}
            0 => {
                return Err(SheetError::entry(
                    "known",
                    "what is known about it is missing: purity of a weighed standard, concentration of a solution, or the sheet that standardized it",
                ));
            }
            _ => {
                return Err(SheetError::entry(
                    "known",
                    "more than one of purity, concentration and sheet is given; keep one",
                ));
            }
        }
        if spec.dissolved.is_some() && spec.purity.is_none() {
            return Err(SheetError::entry(
                "known.dissolved",
                "a standard that is made up needs its purity",
            ));
        }
        let substance = species(&spec.substance, "known.substance")?;
        let identity = spec
            .bottle
            .clone()
            .unwrap_or_else(|| format!("{} ({})", spec.substance, bench.determination));
        let mut known = Self {
            kind: Kind::Solution(Expr::number(0.0)),
            layout,
            assumptions: Vec::new(),
            atomic_weights: None,
        };
        if let Some(purity) = &spec.purity {
            let about = About {
                id: format!("{identity}/purity"),
                symbol: "w",
                description: format!("purity of {}", spec.substance),
                group: "purity of the standard",
                path: "known.purity",
            };
            let purity = stated::input(purity, about)?;
            let value = purity.unit.to_coherent(purity.value);
            if !(value > 0.0 && value <= 1.01) {
                return Err(SheetError::entry(
                    "known.purity",
                    format!(
                        "{} is no mass fraction of a standard; write it like \"99.97 %\"",
                        spec.purity
                            .as_ref()
                            .map_or_else(String::new, |p| p.value.to_string())
                    ),
                ));
            }
            let molar_mass = molar_mass(&substance, &mut known)?;
            let body = body(spec, &substance, &mut known.assumptions)?;
            known.kind = Kind::Weighed {
                purity: Expr::input(purity),
                molar_mass,
                body,
            };
            if let Some(dissolved) = &spec.dissolved {
                known.kind = Kind::Solution(known.make_up(sheet, dissolved, bench)?);
            } else if layout == Layout::SoughtInFlask {
                return Err(SheetError::entry(
                    "known",
                    "the sought solution is in the flask, so the known one is in the burette: it must be a solution (concentration, sheet, or dissolved)",
                ));
            }
        } else if let Some(concentration) = &spec.concentration {
            let about = About {
                id: format!("{identity}/concentration"),
                symbol: "c_known",
                description: format!("concentration of the known {}", spec.substance),
                group: "known solution",
                path: "known.concentration",
            };
            if concentration.value.value() <= 0.0 {
                return Err(SheetError::entry(
                    "known.concentration.value",
                    "a concentration must be above 0",
                ));
            }
            known.kind = Kind::Solution(Expr::input(stated::input(concentration, about)?));
        } else {
            let parent = parent.ok_or_else(|| {
                SheetError::entry(
                    "known.sheet",
                    "the sheet that standardized the known solution was not evaluated",
                )
            })?;
            // A prime keeps the parent's steps apart from ours.
            known.kind =
                Kind::Solution(parent.formula.to_expr(|symbol| format!("{symbol}\u{2032}")));
            known.atomic_weights.clone_from(&parent.atomic_weights);
            known.assumptions.extend(
                parent
                    .assumptions
                    .iter()
                    .map(|a| format!("{}: {a}", parent.sheet.title)),
            );
        }
        Ok(known)
    }

    /// Concentration of a standard weighed once and made up to volume.
    fn make_up(
        &self,
        sheet: &Sheet,
        dissolved: &Dissolved,
        bench: &Bench,
    ) -> Result<Expr, SheetError> {
        let Kind::Weighed {
            purity,
            molar_mass,
            body,
        } = &self.kind
        else {
            return Err(SheetError::entry(
                "known.dissolved",
                "only a weighed standard can be made up",
            ));
        };
        let masses = Masses {
            net: dissolved.mass.as_ref(),
            gross: dissolved.gross.as_ref(),
            tare: dissolved.tare.as_ref(),
        };
        let mass = bench.mass(
            &bench.once("standard solution", "std"),
            &masses,
            Some(body),
            "known.dissolved",
        )?;
        let volume = bench.made_up(&dissolved.flask)?;
        Ok((mass * purity.clone() / (molar_mass.clone() * volume))
            .named(
                "c_std",
                format!("concentration of the made-up {}", sheet.known.substance),
            )
            .in_unit("mol/L".parse().unwrap_or_default()))
    }

    /// What the run starts from.
    pub(super) fn amount(
        &self,
        sheet: &Sheet,
        index: usize,
        bench: &mut Bench,
    ) -> Result<KnownAmount, SheetError> {
        let run = &sheet.run[index];
        let name = sheet.run_name(index);
        let path = format!("run[{}]", index + 1);
        let masses = Masses {
            net: run.mass.as_ref(),
            gross: run.gross.as_ref(),
            tare: run.tare.as_ref(),
        };
        if let Kind::Weighed {
            purity,
            molar_mass,
            body,
        } = &self.kind
        {
            let mass = bench.mass(&bench.occasion(index), &masses, Some(body), &path)?;
            let amount = mass * purity.clone() / molar_mass.clone();
            return Ok(KnownAmount::InFlask(
                amount
                    .named(
                        format!("n_{name}"),
                        format!("amount of {} in run {name}", sheet.known.substance),
                    )
                    .in_unit("mmol".parse().unwrap_or_default()),
            ));
        }
        let Kind::Solution(concentration) = &self.kind else {
            unreachable!("the other kind was handled above")
        };
        if masses.net.is_some() || masses.gross.is_some() || masses.tare.is_some() {
            return Err(SheetError::entry(
                path,
                format!("run {name} has a mass, but the known side is a solution that is pipetted"),
            ));
        }
        let volume = bench.aliquot(index)?;
        Ok(match self.layout {
            Layout::SoughtInBurette => KnownAmount::InFlask(
                (concentration.clone() * volume)
                    .named(
                        format!("n_{name}"),
                        format!("amount of {} in run {name}", sheet.known.substance),
                    )
                    .in_unit("mmol".parse().unwrap_or_default()),
            ),
            Layout::SoughtInFlask => KnownAmount::InBurette {
                concentration: concentration.clone(),
                sought_volume: volume,
            },
        })
    }

    /// Mean titre of the runs that count, for turning a scatter in mL into a relative one.
    pub(super) fn titre_of_mean(&self, runs: &[Run]) -> f64 {
        let titres: Vec<f64> = runs
            .iter()
            .filter(|r| r.counts())
            .map(|r| r.volume)
            .collect();
        titres.iter().sum::<f64>() / titres.len() as f64
    }
}

fn molar_mass(substance: &Species, known: &mut Known) -> Result<Expr, SheetError> {
    let set = AtomicWeights::default_set();
    known.atomic_weights = Some(set.name().to_string());
    Ok(MolarMass::of(&substance.formulas[0], set)
        .map_err(|error| SheetError::entry("known.substance", error.to_string()))?
        .expr())
}

/// The body that is weighed: its density on the sheet, in the catalogue, or an allowance for any salt.
fn body(
    spec: &KnownSpec,
    substance: &Species,
    assumptions: &mut Vec<String>,
) -> Result<Body, SheetError> {
    let fail = |e: VolumetryError| super::equipment::at("known.density", &e);
    let name = &spec.substance;
    if let Some(density) = &spec.density {
        let value = density.value_in("kg/m3");
        return Body::new(
            name,
            value,
            0.02 * value.abs(),
            Origin::Assumption("density as stated on the sheet, within 2 %".into()),
        )
        .map_err(fail);
    }
    if let Some(density) = substance.record.and_then(|record| record.density) {
        let origin = Origin::Table(format!("density of {name} (substance data)"));
        return Body::new(name, density.value, density.half_width, origin).map_err(fail);
    }
    assumptions.push(format!(
        "density of {name} not known: 1.2 to 5 g/mL allowed for air buoyancy"
    ));
    Body::new(
        name,
        2000.0,
        800.0,
        Origin::Assumption("density of a crystalline substance (common practice)".into()),
    )
    .map_err(fail)
}
