//! From an amount of analyte in a portion of sample to the quantity that is asked for.

use super::sheet::SampleSpec;
use crate::evaluation::stated::{self, About};
use crate::method::{Method, ResultPlan};
use crate::quantity::ReportUnit;
use crate::sheet::{SheetError, Stated};
use chemistry::atomic_weights::AtomicWeights;
use chemistry::molar_mass::MolarMass;
use metrology::{Dimension, Expr, Unit};

/// Everything a conversion may need.
pub(super) struct Conversion<'a> {
    pub(super) method: &'a Method,
    /// Index of the result in the method.
    pub(super) result: usize,
    /// Amount of each analyte per portion, in the order of the method's analytes: mol/g or mol/mL.
    pub(super) contents: &'a [Expr],
    /// Density of the sample, if the sheet gives it.
    pub(super) density: Option<Expr>,
}

fn unit(symbol: &str) -> Unit {
    symbol.parse().unwrap_or_default()
}

impl Conversion<'_> {
    fn plan(&self) -> &ResultPlan {
        &self.method.result[self.result]
    }

    fn fail(&self, message: impl Into<String>) -> SheetError {
        SheetError::entry(
            format!("method {}, result {}", self.method.name, self.plan().name),
            message,
        )
    }

    /// The result in a unit of report, as a formula in the unit behind it.
    pub(super) fn express(
        &self,
        wanted: &ReportUnit,
        molar_mass_used: &mut bool,
    ) -> Result<Expr, SheetError> {
        let plan = self.plan();
        let mut terms = Vec::new();
        for of in &plan.of {
            let index = self
                .method
                .analyte
                .iter()
                .position(|a| a.species == *of)
                .unwrap_or(0);
            let ratio = self
                .method
                .per_analyte(self.result, of)
                .map_err(|e| self.fail(e.to_string()))?;
            terms.push(super::solution::scaled(self.contents[index].clone(), ratio));
        }
        let amount = Expr::sum(terms);
        let substance = match wanted {
            ReportUnit::Defined { substance, .. } => (*substance).to_string(),
            _ => plan
                .expressed_as
                .clone()
                .unwrap_or_else(|| plan.of[0].clone()),
        };
        let mut value = self.numerator(amount, wanted.dimension(), &substance, molar_mass_used)?;
        value = self.denominator(value, wanted)?;
        if let Some(factor) = &plan.times {
            let about = About {
                id: format!("factor/{}", factor.name),
                symbol: "F",
                description: factor.name.clone(),
                group: "conventional factor",
                path: "result.times",
            };
            value = value * Expr::input(stated::input(&factor.value, about)?);
        }
        Ok(value
            .named(plan.name.clone(), format!("{} as {substance}", plan.name))
            .in_unit(wanted.unit().clone()))
    }

    /// Amount, mass or equivalents, as the unit asks.
    fn numerator(
        &self,
        amount: Expr,
        wanted: Dimension,
        substance: &str,
        molar_mass_used: &mut bool,
    ) -> Result<Expr, SheetError> {
        let per = [
            Dimension::NUMBER,
            unit("mL").dimension(),
            unit("g").dimension(),
        ];
        let counts = |base: &str| per.iter().any(|p| wanted == unit(base).dimension() / *p);
        if counts("mol") && wanted != unit("mol").dimension() {
            return Ok(amount);
        }
        if counts("g") {
            let formula = crate::method::species(substance).ok_or_else(|| {
                self.fail(format!(
                    "\"{substance}\" is neither a known name nor a formula"
                ))
            })?;
            *molar_mass_used = true;
            let molar_mass = MolarMass::of(&formula, AtomicWeights::default_set())
                .map_err(|e| self.fail(e.to_string()))?;
            return Ok(amount * molar_mass.expr());
        }
        if counts("eq") {
            let per = self
                .method
                .equivalents_per(self.result)
                .map_err(|e| self.fail(e.to_string()))?;
            let per = metrology::Quantity::new(per.value(), unit("eq/mol"));
            return Ok(amount * Expr::constant(per));
        }
        Err(self.fail(format!("{wanted} is no way to report a content")))
    }

    /// Per volume or per mass of sample, over the density where the other was measured.
    fn denominator(&self, value: Expr, wanted: &ReportUnit) -> Result<Expr, SheetError> {
        let have = value.dimension().map_err(|e| self.fail(e.to_string()))?;
        if have == wanted.dimension() {
            return Ok(value);
        }
        let density = unit("g/mL").dimension();
        let Some(given) = self.density.clone() else {
            return Err(self.fail(format!(
                "to report in {} the density of the sample is needed: write density = {{ value = \"1.010 g/mL\", u = \"0.001 g/mL\" }} with the sample",
                wanted.name()
            )));
        };
        if have / density == wanted.dimension() {
            return Ok(value / given);
        }
        if have * density == wanted.dimension() {
            return Ok(value * given);
        }
        Err(self.fail(format!("{} cannot be made from {have}", wanted.name())))
    }
}

/// Contents over the share of the analyte that reaches the flask, where the sheet declares one.
pub(super) fn recovered(
    contents: Vec<Expr>,
    spec: &SampleSpec,
    path: &str,
) -> Result<Vec<Expr>, SheetError> {
    let Some(recovery) = &spec.recovery else {
        return Ok(contents);
    };
    let path = format!("{path}.recovery");
    if !(recovery.value.value() > 0.0 && recovery.value.value() < 2.0) {
        return Err(SheetError::entry(
            path,
            "a recovery is a share above 0, such as \"97.5 %\"",
        ));
    }
    let about = About {
        id: format!("sample {}/recovery", spec.id),
        symbol: "R",
        description: format!("recovery of sample {}", spec.id),
        group: "recovery",
        path: &path,
    };
    let recovery = Expr::input(stated::input(recovery, about)?);
    Ok(contents
        .into_iter()
        .map(|content| content / recovery.clone())
        .collect())
}

/// The density of a sample as an input.
pub(super) fn density(
    spec: Option<&Stated<crate::sheet::Density>>,
    sample: &str,
    path: &str,
) -> Result<Option<Expr>, SheetError> {
    let Some(spec) = spec else { return Ok(None) };
    let about = About {
        id: format!("sample {sample}/density"),
        symbol: "ρ",
        description: format!("density of sample {sample}"),
        group: "density of the sample",
        path,
    };
    if spec.value.value() <= 0.0 {
        return Err(SheetError::entry(path, "a density must be above 0"));
    }
    Ok(Some(Expr::input(stated::input(spec, about)?)))
}
