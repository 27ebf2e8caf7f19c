//! Titrants and reagents of known concentration.

use super::addition::Spike;
use super::evaluate::Parents;
use super::sheet::{AssaySheet, Solution};
use crate::evaluation::stated::{self, About};
use crate::method::{Balanced, Measured, Method, MethodError, equivalents};
use crate::sheet::SheetError;
use chemistry::atomic_weights::AtomicWeights;
use chemistry::formula::Formula;
use chemistry::molar_mass::MolarMass;
use chemistry::reaction::Ratio;
use metrology::{Expr, Input, Unit};

/// A solution ready for the formula.
pub(super) struct Known {
    /// Amount concentration of the species that reacts.
    pub(super) concentration: Expr,
}

/// A titer: the mass of this species that a volume of titrant finds.
pub(super) struct Titer {
    pub(super) species: Formula,
    /// Amount of the species for one of the titrant, by the reactions.
    pub(super) per_titrant: f64,
}

/// What a method says about a solution.
pub(super) struct Plan<'a> {
    pub(super) name: &'a str,
    pub(super) substance: &'a str,
    pub(super) acts_as: Option<&'a str>,
    pub(super) equivalent: Option<&'a str>,
    /// What a titer (mass per volume) means, if the method says it.
    pub(super) titer: Option<Titer>,
    /// Path of the solution on the sheet.
    pub(super) path: String,
    /// Whether a sheet that standardized it is carried along whole, or its result alone as a leaf.
    pub(super) whole: bool,
}

/// Identity of the leaf that stands for the result of the sheet that standardized a solution.
pub(super) fn leaf_id(solution: &str) -> String {
    format!("result behind the {solution}")
}

impl Known {
    pub(super) fn of(
        spec: &Solution,
        plan: &Plan<'_>,
        parents: &Parents<'_>,
    ) -> Result<Self, SheetError> {
        let path = &plan.path;
        let teach = |e: MethodError| SheetError::entry(path.clone(), e.to_string());
        let substance = spec.substance.as_deref().unwrap_or(plan.substance);
        if substance != plan.substance && plan.acts_as.is_none() {
            return Err(SheetError::entry(
                format!("{path}.substance"),
                format!("the method needs {} itself", plan.substance),
            ));
        }
        let (species, ratio) = Method::acting(substance, plan.acts_as, path).map_err(teach)?;
        let concentration = match (&spec.concentration, &spec.sheet) {
            (Some(_), Some(_)) => {
                return Err(SheetError::entry(
                    path.clone(),
                    "both concentration and sheet are given; keep one",
                ));
            }
            (None, None) => {
                return Err(SheetError::entry(
                    path.clone(),
                    "its concentration is missing: write it with its uncertainty, or name the sheet that standardized it",
                ));
            }
            (None, Some(sheet)) => {
                let parent = parents(sheet).ok_or_else(|| {
                    SheetError::entry(
                        format!("{path}.sheet"),
                        "the sheet that standardized it was not evaluated",
                    )
                })?;
                if plan.whole {
                    parent.formula.to_expr(|symbol| format!("{symbol}\u{2032}"))
                } else {
                    let result = parent.formula.result();
                    Expr::input(Input::new(leaf_id(plan.name), plan.name, result))
                }
            }
            (Some(stated), None) => {
                let about = About {
                    id: format!(
                        "{}/concentration",
                        spec.bottle
                            .clone()
                            .unwrap_or_else(|| format!("{} ({substance})", plan.name))
                    ),
                    symbol: &format!("c_{}", plan.name),
                    description: format!("concentration of the {} ({substance})", plan.name),
                    group: &format!("concentration of the {}", plan.name),
                    path: &format!("{path}.concentration"),
                };
                if stated.value.quantity().number.value() <= 0.0 {
                    return Err(SheetError::entry(
                        format!("{path}.concentration.value"),
                        "a concentration must be above 0",
                    ));
                }
                Expr::input(stated::input(stated, about)?)
            }
        };
        let unit = |symbol: &str| symbol.parse::<Unit>().unwrap_or_default();
        let dimension = concentration
            .dimension()
            .map_err(|e| SheetError::entry(path.clone(), e.to_string()))?;
        let concentration = if dimension == unit("mol/L").dimension() {
            concentration
        } else if dimension == unit("eq/L").dimension() {
            // From equivalents to amount, by the reaction that defines an equivalent.
            let Some(reaction) = plan.equivalent else {
                return Err(SheetError::entry(
                    format!("{path}.concentration"),
                    format!(
                        "a normality needs the reaction that it means; the method does not say it for {}: give mol/L",
                        plan.substance
                    ),
                ));
            };
            let own = crate::method::species(substance).unwrap_or_else(|| species.clone());
            let per_own = equivalents(reaction, &own).or_else(|_| {
                equivalents(reaction, &species).and_then(|r| {
                    r.times(ratio).ok_or(MethodError::Entry {
                        entry: "equivalent".into(),
                        fault: "too large".into(),
                    })
                })
            });
            let per_own = per_own.map_err(teach)?;
            let equivalents_per_mole = metrology::Quantity::new(per_own.value(), unit("eq/mol"));
            (concentration / Expr::constant(equivalents_per_mole))
                .named(
                    format!("c_{},mol", plan.name),
                    format!("amount concentration of the {} by {reaction}", plan.name),
                )
                .in_unit(unit("mol/L"))
        } else if dimension == unit("g/L").dimension() {
            let Some(titer) = &plan.titer else {
                return Err(SheetError::entry(
                    format!("{path}.concentration"),
                    "a titer was given, but the method does not say of what: give mol/L, or eq/L (N)",
                ));
            };
            let molar_mass = MolarMass::of(&titer.species, AtomicWeights::default_set())
                .map_err(|e| SheetError::entry(path.clone(), e.to_string()))?;
            // The reactions' ratio is applied below; it cancels the one of `acts_as`.
            let amount =
                concentration / molar_mass.expr() / Expr::number(titer.per_titrant * ratio.value());
            amount
                .named(
                    format!("c_{}", plan.name),
                    format!(
                        "concentration of the {} by its titer of {}",
                        plan.name, titer.species
                    ),
                )
                .in_unit(unit("mol/L"))
        } else {
            return Err(SheetError::entry(
                format!("{path}.concentration"),
                format!(
                    "{dimension} was given, but an amount concentration (mol/L) or an equivalent concentration (eq/L, N) was expected"
                ),
            ));
        };
        Ok(Self {
            concentration: scaled(concentration, ratio),
        })
    }
}

/// Multiplies by a whole-number ratio; a ratio of one is not written.
pub(super) fn scaled(expr: Expr, ratio: Ratio) -> Expr {
    let number = |n: u64| Expr::number(n as f64);
    match (ratio.numerator, ratio.denominator) {
        (1, 1) => expr,
        (n, 1) => number(n) * expr,
        (1, d) => expr / number(d),
        (n, d) => number(n) * expr / number(d),
    }
}

/// Names of the solutions beside the titrant whose concentrations a sheet gives.
fn names(method: &Method) -> impl Iterator<Item = &str> {
    let reagents = method.reagent.iter().map(|r| r.name.as_str());
    reagents.chain(method.spike().map(|plan| plan.name.as_str()))
}

/// The standard that is added to portions, if the method adds one.
pub(super) fn spike(
    sheet: &AssaySheet,
    method: &Method,
    parents: &Parents<'_>,
) -> Result<Option<Spike>, SheetError> {
    let Some(plan) = method.spike() else {
        return Ok(None);
    };
    let of = Plan {
        name: &plan.name,
        substance: &plan.substance,
        acts_as: plan.acts_as.as_deref(),
        equivalent: plan.equivalent.as_deref(),
        titer: None,
        path: format!("reagent.{}", plan.name),
        whole: true,
    };
    Ok(Some(Spike {
        plan: plan.clone(),
        standard: stated(sheet, of, " that is added to the portions", parents)?,
    }))
}

/// A solution beside the titrant, with the concentration that the sheet gives it.
fn stated(
    sheet: &AssaySheet,
    plan: Plan<'_>,
    what_for: &str,
    parents: &Parents<'_>,
) -> Result<Known, SheetError> {
    let spec = sheet.reagent.get(plan.name).ok_or_else(|| {
        SheetError::entry(
            plan.path.clone(),
            format!(
                "the concentration of the {} ({}){what_for} is missing",
                plan.name, plan.substance
            ),
        )
    })?;
    Known::of(spec, &plan, parents)
}

/// The reagents whose amounts are measured; `whole` as in [`Plan`].
pub(super) fn reagents(
    sheet: &AssaySheet,
    method: &Method,
    parents: &Parents<'_>,
    whole: bool,
) -> Result<Vec<Option<Known>>, SheetError> {
    if let Some(name) = sheet
        .reagent
        .keys()
        .find(|name| !names(method).any(|known| known == **name))
    {
        let known: Vec<&str> = names(method).collect();
        return Err(SheetError::entry(
            format!("reagent.{name}"),
            format!(
                "the method {} measures no reagent \"{name}\"; it measures: {}",
                method.name,
                if known.is_empty() {
                    "none".into()
                } else {
                    known.join(", ")
                }
            ),
        ));
    }
    method
        .reagent
        .iter()
        .map(|plan| {
            if plan.measured_by.is_none() {
                return Ok(None);
            }
            let plan = Plan {
                name: &plan.name,
                substance: &plan.substance,
                acts_as: plan.acts_as.as_deref(),
                equivalent: plan.equivalent.as_deref(),
                titer: None,
                path: format!("reagent.{}", plan.name),
                whole,
            };
            stated(sheet, plan, "", parents).map(Some)
        })
        .collect()
}

/// What a titer of the method's titrant means: the analyte, and how much of it one mole of titrant finds.
pub(super) fn titer(method: &Method, balanced: &Balanced) -> Result<Option<Titer>, SheetError> {
    let Some(of) = &method.titrant.titer_of else {
        return Ok(None);
    };
    let fail =
        |fault: &str| SheetError::entry(format!("method {}, titrant.titer_of", method.name), fault);
    let analyte = method
        .analyte
        .iter()
        .position(|a| a.species == *of)
        .ok_or_else(|| fail("name an analyte of the method"))?;
    let column = balanced
        .measured
        .iter()
        .position(|m| matches!(m, Measured::Titrant { .. }));
    let ratio = column.map(|c| balanced.answer[analyte][c].value().abs());
    let species =
        crate::method::species(of).ok_or_else(|| fail("neither a known name nor a formula"))?;
    match ratio {
        Some(per_titrant) if per_titrant > 0.0 => Ok(Some(Titer {
            species,
            per_titrant,
        })),
        _ => Err(fail("the titrant does not find this analyte")),
    }
}
