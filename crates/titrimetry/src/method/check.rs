//! Reading a method and checking that it can work, with messages that teach.

use super::{Method, ReagentPlan, Step, TitrationPlan};
use crate::sheet::SheetError;
use chemistry::end_point_balance::{EndPoint, EndPointError, Rational, Unknown, amounts};
use chemistry::formula::Formula;
use chemistry::reaction::{Ratio, Reaction};
use chemistry::substances::Catalogue;
use thiserror::Error;

/// Why a method cannot be used.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum MethodError {
    /// The file does not read.
    #[error("{0}")]
    Syntax(SheetError),
    /// No such method.
    #[error("no method \"{asked}\"; there are: {}", .near.join(", "))]
    Unknown {
        /// What was asked for.
        asked: String,
        /// What there is.
        near: Vec<String>,
    },
    /// An entry that cannot be.
    #[error("{entry}: {fault}")]
    Entry {
        /// The entry.
        entry: String,
        /// What is wrong and what was expected.
        fault: String,
    },
    /// The reactions and end points do not give the analytes.
    #[error(transparent)]
    EndPoints(#[from] EndPointError),
}

/// What the reactions of a method say.
pub(crate) struct Balanced {
    /// Amount of each analyte as a combination of what was measured: `answer[analyte][measured]`.
    pub(crate) answer: Vec<Vec<Rational>>,
    /// What is measured, in the order of the columns.
    pub(crate) measured: Vec<Measured>,
}

/// An amount that is measured.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Measured {
    /// Titrant up to an end point: titration and end point by index.
    Titrant {
        /// Index of the titration.
        titration: usize,
        /// Index of the end point.
        end_point: usize,
    },
    /// Titrant of the blank of a titration, to its last end point.
    Blank {
        /// Index of the titration.
        titration: usize,
    },
    /// A reagent in known amount, in a titration.
    Reagent {
        /// Index of the titration.
        titration: usize,
        /// Index of the reagent.
        reagent: usize,
    },
}

impl Measured {
    /// The titration it belongs to.
    pub(crate) fn titration(&self) -> usize {
        match self {
            Self::Titrant { titration, .. }
            | Self::Blank { titration }
            | Self::Reagent { titration, .. } => *titration,
        }
    }
}

impl Method {
    /// Reads a method and checks it.
    ///
    /// # Errors
    /// [`MethodError`], naming the entry and what was expected.
    pub fn read(text: &str) -> Result<Self, MethodError> {
        let method: Self = crate::sheet::read_toml(text).map_err(MethodError::Syntax)?;
        method.check()?;
        Ok(method)
    }

    /// Checks that the method can work: reactions balanced, every species found, the analytes fixed by the end points.
    ///
    /// # Errors
    /// [`MethodError::Entry`] or [`MethodError::EndPoints`].
    pub fn check(&self) -> Result<(), MethodError> {
        let name_is_plain = !self.name.is_empty()
            && self
                .name
                .chars()
                .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
        if !name_is_plain {
            return Err(entry(
                "name",
                "write it in small letters with hyphens, such as vinegar-acidity",
            ));
        }
        if self.source.is_empty() {
            return Err(entry(
                "source",
                "name where the method comes from, or say \"common practice\"",
            ));
        }
        let holds_sample = |step: &Step| matches!(step, Step::Weigh { .. } | Step::Take { .. });
        if !self.step.first().is_some_and(holds_sample) {
            return Err(entry(
                "step",
                "the first step must weigh or take the sample",
            ));
        }
        if self
            .step
            .iter()
            .skip(1)
            .any(|s| matches!(s, Step::Weigh { .. }))
        {
            return Err(entry(
                "step",
                "only the sample itself is weighed; later steps take, make up or add",
            ));
        }
        let mut names: Vec<&str> = self.step.iter().map(Step::name).collect();
        names.sort_unstable();
        if names.windows(2).any(|pair| pair[0] == pair[1]) {
            return Err(entry(
                "step",
                "two steps have one name; a sheet could not tell them apart",
            ));
        }
        for (i, reagent) in self.reagent.iter().enumerate() {
            let Some(before) = &reagent.before else {
                continue;
            };
            let path = format!("reagent[{}].before", i + 1);
            if reagent.measured_by.is_none() {
                return Err(entry(
                    &path,
                    "only a measured reagent is shared out; one that a blank fixes goes through the same steps in the blank",
                ));
            }
            if !self.step.iter().skip(1).any(|s| s.name() == before) {
                return Err(entry(
                    &path,
                    &format!("\"{before}\" is not the name of a step after the first"),
                ));
            }
        }
        self.check_spike()?;
        if self.in_water && self.family != super::Family::AcidBase {
            return Err(entry(
                "in_water",
                "serves acids and bases, whose curve the engine draws without knowing the medium",
            ));
        }
        self.balanced()?;
        if self.result.is_empty() {
            return Err(entry("result", "say what is reported"));
        }
        for (i, result) in self.result.iter().enumerate() {
            let path = |field: &str| format!("result[{}].{field}", i + 1);
            if result.of.is_empty() {
                return Err(entry(&path("of"), "name the analyte it tells of"));
            }
            for of in &result.of {
                if !self.analyte.iter().any(|a| a.species == *of) {
                    let known: Vec<&str> =
                        self.analyte.iter().map(|a| a.species.as_str()).collect();
                    return Err(entry(
                        &path("of"),
                        &format!(
                            "\"{of}\" is not an analyte of the method ({})",
                            known.join(", ")
                        ),
                    ));
                }
                self.per_analyte(i, of)?;
            }
            for unit in std::iter::once(&result.unit).chain(&result.also) {
                let unit = crate::quantity::ReportUnit::parse(unit)
                    .map_err(|fault| entry(&path("unit"), &fault))?;
                if unit.counts_equivalents() {
                    self.equivalents_per(i)?;
                }
            }
            self.check_excess(i)?;
        }
        self.check_ranges()?;
        self.check_precision()
    }

    /// A standard addition is the last step, of the one analyte, with one end to titrate to.
    fn check_spike(&self) -> Result<(), MethodError> {
        let Some(plan) = self.spike() else {
            return Ok(());
        };
        let path = format!("step.{}", plan.name);
        let refuse = |fault: &str| Err(entry(&path, fault));
        if !matches!(self.step.last(), Some(Step::SpikedWith(_)))
            || self
                .step
                .iter()
                .filter(|s| matches!(s, Step::SpikedWith(_)))
                .count()
                > 1
        {
            return refuse(
                "the standard goes once into the flask that is titrated: spiked_with must be the last step",
            );
        }
        if self.reagent.iter().any(|reagent| reagent.name == plan.name) {
            return refuse("a reagent has the same name; a sheet could not tell them apart");
        }
        let [analyte] = self.analyte.as_slice() else {
            return refuse("standard addition serves methods with one analyte");
        };
        if self.titrations().len() > 1 || self.titrations().iter().any(|t| t.end_point.len() > 1) {
            return refuse("standard addition serves methods with one titration to one end point");
        }
        let (species, _) = Self::acting(
            &plan.substance,
            plan.acts_as.as_deref(),
            &format!("{path}.acts_as"),
        )?;
        if !species.is_same_species(&formula("analyte", &analyte.species)?) {
            return refuse(&format!(
                "{} is added, but the analyte is {}: add the analyte itself",
                species, analyte.species
            ));
        }
        Ok(())
    }

    /// More than the sample weighs can only be told of a mass in a mass.
    fn check_excess(&self, result: usize) -> Result<(), MethodError> {
        let plan = &self.result[result];
        let Some(reason) = &plan.may_exceed_sample else {
            return Ok(());
        };
        let path = format!("result[{}].may_exceed_sample", result + 1);
        if reason.trim().is_empty() {
            return Err(entry(
                &path,
                "say why, such as \"what the fat takes up, no part of it\"",
            ));
        }
        let is_share = crate::quantity::ReportUnit::parse(&plan.unit)
            .is_ok_and(|unit| unit.dimension() == metrology::Dimension::NUMBER);
        if is_share {
            return Ok(());
        }
        Err(entry(
            &path,
            &format!(
                "a result in {} is not compared with the mass of the sample: leave the entry out",
                plan.unit
            ),
        ))
    }

    /// Limits of precision speak of results that there are, in a quantity of theirs.
    fn check_precision(&self) -> Result<(), MethodError> {
        for (i, plan) in self.precision.iter().enumerate() {
            let path = |field: &str| format!("precision[{}].{field}", i + 1);
            let Some(result) = self.result.iter().find(|r| r.name == plan.result) else {
                return Err(entry(
                    &path("result"),
                    &format!("\"{}\" is not a result of the method", plan.result),
                ));
            };
            let unit = crate::quantity::ReportUnit::parse(&result.unit)
                .map_err(|fault| entry("result.unit", &fault))?;
            let limits = [
                ("repeatability", Some(&plan.repeatability)),
                ("reproducibility", plan.reproducibility.as_ref()),
            ];
            for (field, limit) in limits {
                let Some(limit) = limit else { continue };
                if limit.constant.is_none() && limit.share.is_none() {
                    return Err(entry(
                        &path(field),
                        "give a constant, a share of the result, or both",
                    ));
                }
                if let Some(constant) = &limit.constant {
                    constant
                        .quantity()
                        .value_in(unit.unit())
                        .map_err(|e| entry(&path(field), &e.to_string()))?;
                }
            }
            for (field, end) in [("from", &plan.from), ("to", &plan.to)] {
                if let Some(end) = end {
                    end.quantity()
                        .value_in(unit.unit())
                        .map_err(|e| entry(&path(field), &e.to_string()))?;
                }
            }
        }
        Ok(())
    }

    /// Ranges speak of results that there are, in a quantity of theirs, from less to more.
    fn check_ranges(&self) -> Result<(), MethodError> {
        for (i, range) in self.range.iter().enumerate() {
            let path = |field: &str| format!("range[{}].{field}", i + 1);
            let Some(plan) = self.result.iter().find(|r| r.name == range.result) else {
                let known: Vec<&str> = self.result.iter().map(|r| r.name.as_str()).collect();
                return Err(entry(
                    &path("result"),
                    &format!(
                        "\"{}\" is not a result of the method ({})",
                        range.result,
                        known.join(", ")
                    ),
                ));
            };
            let unit = crate::quantity::ReportUnit::parse(&plan.unit)
                .map_err(|fault| entry("result.unit", &fault))?;
            for (field, written) in [("from", &range.from), ("to", &range.to)] {
                written
                    .quantity()
                    .value_in(unit.unit())
                    .map_err(|e| entry(&path(field), &e.to_string()))?;
            }
            if range.from.quantity().quantity().coherent()
                >= range.to.quantity().quantity().coherent()
            {
                return Err(entry(
                    &path("to"),
                    "the upper end must lie above the lower one",
                ));
            }
        }
        Ok(())
    }

    /// Molecules of what the result is expressed as, for one of the analyte.
    pub(crate) fn per_analyte(&self, result: usize, analyte: &str) -> Result<Ratio, MethodError> {
        let plan = &self.result[result];
        let analyte = formula("result.of", analyte)?;
        let one = Ratio {
            numerator: 1,
            denominator: 1,
        };
        let Some(expressed_as) = &plan.expressed_as else {
            return Ok(one);
        };
        let expressed_as = species(expressed_as)
            .ok_or_else(|| entry("result.as", "neither a known name nor a formula"))?;
        if expressed_as.is_same_species(&analyte) {
            return Ok(one);
        }
        let path = format!("result[{}].basis", result + 1);
        let Some(basis) = &plan.basis else {
            return Err(entry(
                &path,
                &format!(
                    "{analyte} is expressed as {expressed_as}: write the reaction that ties them, such as \"CaCO3 -> Ca^2+ + CO3^2-\""
                ),
            ));
        };
        let mut refusal = None;
        for text in basis.reactions() {
            let reaction = Reaction::parse(text).map_err(|e| entry(&path, &e.to_string()))?;
            reaction
                .check_balance()
                .map_err(|e| entry(&path, &e.to_string()))?;
            match reaction.ratio(&expressed_as, &analyte) {
                Ok(ratio) => return Ok(ratio),
                Err(error) => refusal = Some(error.to_string()),
            }
        }
        let refusal = refusal.unwrap_or_else(|| "no reaction is given".into());
        Err(entry(&path, &refusal))
    }

    /// Equivalents for one of what a result is expressed as.
    pub(crate) fn equivalents_per(&self, result: usize) -> Result<Ratio, MethodError> {
        let plan = &self.result[result];
        let text = plan.expressed_as.as_ref().or(plan.of.first());
        let text = text.map_or("", String::as_str);
        let path = format!("result[{}].equivalent", result + 1);
        let own =
            species(text).ok_or_else(|| entry(&path, "neither a known name nor a formula"))?;
        if let Some(reaction) = &plan.equivalent {
            return equivalents(reaction, &own);
        }
        for one in [
            Formula::electron(),
            formula(&path, "H+")?,
            formula(&path, "OH^-")?,
        ] {
            if own.is_same_species(&one) {
                return Ok(Ratio {
                    numerator: 1,
                    denominator: 1,
                });
            }
        }
        Err(entry(
            &path,
            &format!(
                "{text} in equivalents: how many H+, OH^- or e- one {text} stands for is not said, and counting molecules would be wrong for most; write the reaction that means it, such as equivalent = \"CaCO3 + 2 H+ -> Ca^2+ + CO2 + H2O\", or express the result as H+, OH^- or e-"
            ),
        ))
    }

    /// The titrations, with the default one filled in.
    pub fn titrations(&self) -> Vec<TitrationPlan> {
        if !self.titration.is_empty() {
            return self.titration.clone();
        }
        vec![TitrationPlan {
            name: "titration".into(),
            condition: None,
            end_point: vec![super::EndPointPlan {
                name: self.end_point.clone(),
                reactions: (1..=self.reaction.len()).collect(),
            }],
        }]
    }

    /// Species that a dissolved substance acts as, and how many of them one formula unit gives.
    pub(crate) fn acting(
        substance: &str,
        acts_as: Option<&str>,
        path: &str,
    ) -> Result<(Formula, Ratio), MethodError> {
        let one = Ratio {
            numerator: 1,
            denominator: 1,
        };
        let record = Catalogue::embedded().find(substance).ok();
        let own = match record {
            Some(record) => record.formula.clone(),
            None => formula(path, substance)?,
        };
        let Some(acts_as) = acts_as else {
            return Ok((own, one));
        };
        let acts_as = formula(path, acts_as)?;
        if let Some(record) = record
            && let Ok(ratio) = record.delivers(&acts_as)
        {
            return Ok((acts_as, ratio));
        }
        if own.is_same_species(&acts_as) {
            return Ok((acts_as, one));
        }
        Err(entry(
            path,
            &format!(
                "how many {acts_as} one {own} gives is not known: add a dissolves reaction to the substance's data file"
            ),
        ))
    }

    /// Solves the reactions and end points for the analytes.
    pub(crate) fn balanced(&self) -> Result<Balanced, MethodError> {
        let reactions: Vec<Reaction> = self
            .reaction
            .iter()
            .enumerate()
            .map(|(i, text)| {
                let path = format!("reaction[{}]", i + 1);
                let reaction = Reaction::parse(text).map_err(|e| entry(&path, &e.to_string()))?;
                reaction
                    .check_balance()
                    .map_err(|e| entry(&path, &e.to_string()))?;
                Ok(reaction)
            })
            .collect::<Result<_, MethodError>>()?;
        let (titrant, _) = Self::acting(
            &self.titrant.substance,
            self.titrant.acts_as.as_deref(),
            "titrant.acts_as",
        )?;
        let acting = |(i, r): (usize, &ReagentPlan)| {
            Self::acting(
                &r.substance,
                r.acts_as.as_deref(),
                &format!("reagent[{}].acts_as", i + 1),
            )
            .map(|(species, _)| species)
        };
        let reagents: Vec<Formula> = self
            .reagent
            .iter()
            .enumerate()
            .map(acting)
            .collect::<Result<_, _>>()?;
        let mut unknowns: Vec<Unknown> = self
            .analyte
            .iter()
            .map(|a| {
                Ok(Unknown {
                    species: formula("analyte", &a.species)?,
                    in_blank: false,
                })
            })
            .collect::<Result<_, MethodError>>()?;
        for (plan, species) in self.reagent.iter().zip(&reagents) {
            if plan.measured_by.is_none() {
                if self.blank != super::BlankPlan::Reagent {
                    return Err(entry(
                        "reagent",
                        &format!(
                            "{} is not measured: say measured_by, or blank = \"reagent\"",
                            plan.name
                        ),
                    ));
                }
                unknowns.push(Unknown {
                    species: species.clone(),
                    in_blank: true,
                });
            }
        }
        let mut measured = Vec::new();
        let mut end_points = Vec::new();
        for (titration, plan) in self.titrations().iter().enumerate() {
            let mut known = Vec::new();
            for (reagent, species) in reagents.iter().enumerate() {
                if self.reagent[reagent].measured_by.is_some() {
                    known.push((species.clone(), measured.len()));
                    measured.push(Measured::Reagent { titration, reagent });
                }
            }
            for (end_point, plan) in plan.end_point.iter().enumerate() {
                let complete = complete(plan, &reactions, titration, end_point)?;
                let mut added = known.clone();
                added.push((titrant.clone(), measured.len()));
                measured.push(Measured::Titrant {
                    titration,
                    end_point,
                });
                end_points.push(EndPoint {
                    name: plan.name.clone(),
                    reactions: complete,
                    added,
                    with_sample: true,
                });
            }
            if self.blank == super::BlankPlan::Reagent {
                let last = end_points.last().cloned();
                let Some(last) = last else { continue };
                // In the blank there is no analyte, so no reaction that needs one.
                let analytes: Vec<&Formula> = unknowns
                    .iter()
                    .filter(|u| !u.in_blank)
                    .map(|u| &u.species)
                    .collect();
                let without = |r: &Reaction| {
                    !analytes
                        .iter()
                        .any(|a| r.reactants().iter().any(|t| t.formula.is_same_species(a)))
                };
                let mut added = known.clone();
                added.push((titrant.clone(), measured.len()));
                measured.push(Measured::Blank { titration });
                end_points.push(EndPoint {
                    name: format!("blank of {}", plan.name),
                    reactions: last
                        .reactions
                        .iter()
                        .filter(|r| without(r))
                        .cloned()
                        .collect(),
                    added,
                    with_sample: false,
                });
            }
        }
        let mut answer = amounts(&unknowns, &end_points, measured.len())?;
        answer.truncate(self.analyte.len());
        Ok(Balanced { answer, measured })
    }
}

/// The reactions that are complete at an end point.
fn complete(
    plan: &super::EndPointPlan,
    reactions: &[Reaction],
    titration: usize,
    end_point: usize,
) -> Result<Vec<Reaction>, MethodError> {
    let path = format!(
        "titration[{}].end_point[{}].reactions",
        titration + 1,
        end_point + 1
    );
    plan.reactions
        .iter()
        .map(|n| {
            n.checked_sub(1)
                .and_then(|n| reactions.get(n))
                .cloned()
                .ok_or_else(|| {
                    entry(
                        &path,
                        &format!(
                            "there is no reaction {n}; they are counted from 1 to {}",
                            reactions.len()
                        ),
                    )
                })
        })
        .collect()
}

/// A formula by its text, or the formula of a substance of the catalogue.
pub(crate) fn species(text: &str) -> Option<Formula> {
    Catalogue::embedded()
        .find(text)
        .map(|s| s.formula.clone())
        .ok()
        .or_else(|| Formula::parse(text).ok())
}

fn formula(path: &str, text: &str) -> Result<Formula, MethodError> {
    Formula::parse(text).map_err(|e| entry(path, &e.to_string()))
}

fn entry(entry: &str, fault: &str) -> MethodError {
    MethodError::Entry {
        entry: entry.into(),
        fault: fault.into(),
    }
}

/// Equivalents for one formula unit, by the reaction that defines them: electrons, or protons, or hydroxide.
pub(crate) fn equivalents(reaction: &str, species: &Formula) -> Result<Ratio, MethodError> {
    let reaction = Reaction::parse(reaction).map_err(|e| entry("equivalent", &e.to_string()))?;
    reaction
        .check_balance()
        .map_err(|e| entry("equivalent", &e.to_string()))?;
    for counted in [
        Formula::electron(),
        formula("equivalent", "H+")?,
        formula("equivalent", "OH^-")?,
    ] {
        if reaction.has(&counted) {
            return reaction
                .ratio(&counted, species)
                .map_err(|e| entry("equivalent", &e.to_string()));
        }
    }
    Err(entry(
        "equivalent",
        "the reaction that defines an equivalent must show e-, H+ or OH^-",
    ))
}
