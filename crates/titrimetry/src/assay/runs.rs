//! The runs of a sample as people compare them: status, titres, what each one alone says.

use super::conversion::{self, Conversion};
use super::evaluate::Shared;
use super::outcome::AssayRun;
use super::sheet::SampleSpec;
use super::work::Work;
use crate::evaluation::{RunStatus, status_of, value_of};
use crate::quantity::ReportUnit;
use crate::sheet::SheetError;
use metrology::Expr;

impl Shared<'_> {
    pub(super) fn runs(
        &mut self,
        work: &Work,
        spec: &SampleSpec,
        density: Option<&Expr>,
        own: usize,
    ) -> Result<Vec<AssayRun>, SheetError> {
        let mut out = Vec::new();
        let told = (0..own)
            .map(|run| {
                Ok(match status_of(&work.bench.runs[run].spec) {
                    RunStatus::Blank => None,
                    // The factor for the repeatability, which came in meanwhile, is 1: it changes none of this.
                    _ => Some(match work.told[run] {
                        Some(told) => told,
                        None => self.told(work, spec, run)?,
                    }),
                })
            })
            .collect::<Result<Vec<_>, SheetError>>()?;
        for run in 0..own {
            let t = work.titration[run];
            let status = status_of(&work.bench.runs[run].spec);
            let counting: Vec<f64> = (0..own)
                .filter(|i| {
                    work.titration[*i] == t
                        && status_of(&work.bench.runs[*i].spec) == RunStatus::Counts
                })
                .filter_map(|i| told[i].as_ref().map(|t| t.content))
                .collect();
            let middle = counting.iter().sum::<f64>() / counting.len() as f64;
            let (titre, titre_decimals) = work.bench.titre_as_read(run)?;
            let ends = work.bench.runs[run].spec.ends.len();
            let mut titres = (0..ends)
                .map(|end| work.bench.titre_to(run, end))
                .collect::<Result<Vec<f64>, _>>()?;
            titres.push(titre);
            let value = if self.titrations.len() == 1 && status != RunStatus::Blank {
                let contents = self.contents(work, spec, &[], Some(run))?;
                let contents = conversion::recovered(contents, spec, "sample")?;
                let conversion = Conversion {
                    method: self.method,
                    result: 0,
                    contents: &contents,
                    density: density.cloned(),
                };
                let wanted = ReportUnit::parse(&self.method.result[0].unit)
                    .map_err(|fault| SheetError::entry("result.unit", fault))?;
                let expr = conversion.express(&wanted, &mut self.molar_mass_used)?;
                Some(value_of("sample", &expr)? / wanted.factor())
            } else {
                None
            };
            out.push(AssayRun {
                name: work.bench.runs[run].name.clone(),
                titration: self.titrations[t].name.clone(),
                status,
                titres,
                titre_decimals,
                expected_titre: told[run].as_ref().map(|told| titre - told.off(middle)),
                value,
            });
        }
        Ok(out)
    }
}
