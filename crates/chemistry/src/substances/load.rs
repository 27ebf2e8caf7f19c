//! Reading and validating the data files of substances.

use std::collections::{HashMap, HashSet};

use serde::Deserialize;

use super::{Catalogue, Mark, Substance, SubstanceError, Titration, near};
use crate::formula::Formula;
use crate::reaction::{Ratio, Reaction, ReactionError};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    substance: Vec<Substance>,
    #[serde(default)]
    titration: Vec<Titration>,
}

pub(super) fn catalogue(files: &[&str]) -> Result<Catalogue, SubstanceError> {
    let mut catalogue = Catalogue {
        substances: Vec::new(),
        titrations: Vec::new(),
        by_name: HashMap::new(),
        unclear: HashSet::new(),
    };
    for text in files {
        let file: File = toml::from_str(text).map_err(|e| SubstanceError::Format(e.to_string()))?;
        catalogue.substances.extend(file.substance);
        catalogue.titrations.extend(file.titration);
    }
    check_names(&catalogue.substances)?;
    for (index, substance) in catalogue.substances.iter().enumerate() {
        let keys = substance.names().map(|name| (near::key(name), index));
        catalogue.by_name.extend(keys);
        let unclear = substance.unclear.iter().map(|name| near::key(name));
        catalogue.unclear.extend(unclear);
    }
    catalogue.substances.iter().try_for_each(check_substance)?;
    let mut seen = HashSet::new();
    for titration in &catalogue.titrations {
        check_titration(&catalogue, titration)?;
        for standard in &titration.standards {
            for titrant in &titration.titrants {
                if !seen.insert((standard, titrant)) {
                    return fault(standard, &format!("a second titration with {titrant}"));
                }
            }
        }
    }
    Ok(catalogue)
}

fn fault<T>(what: &str, problem: &str) -> Result<T, SubstanceError> {
    Err(SubstanceError::Format(format!("{what}: {problem}")))
}

/// Every name leads to one substance, and no unclear name is also a clear one.
fn check_names(substances: &[Substance]) -> Result<(), SubstanceError> {
    let mut owner: HashMap<String, &str> = HashMap::new();
    for s in substances {
        for name in s.names() {
            let key = near::key(name);
            if key.is_empty()
                || owner
                    .insert(key, &s.name)
                    .is_some_and(|other| other != s.name)
            {
                return fault(
                    &s.name,
                    &format!("the name `{name}` is empty or belongs to another substance too"),
                );
            }
        }
    }
    for s in substances.iter().filter(|s| !s.by_name_only) {
        let is_twin = |o: &&Substance| {
            !o.by_name_only && o.name != s.name && o.formula.is_same_species(&s.formula)
        };
        if let Some(twin) = substances.iter().find(is_twin) {
            return fault(&s.name, &format!("has the same formula as {}", twin.name));
        }
    }
    match substances
        .iter()
        .flat_map(|s| &s.unclear)
        .find(|name| owner.contains_key(&near::key(name)))
    {
        Some(name) => fault(name, "is listed as an unclear name and as a clear one"),
        None => Ok(()),
    }
}

fn check_substance(s: &Substance) -> Result<(), SubstanceError> {
    for reaction in &s.dissolves {
        balanced(&s.name, reaction)?;
        let itself = reaction
            .reactants()
            .iter()
            .any(|t| t.formula.is_same_species(&s.formula));
        if !itself {
            return fault(&s.name, &format!("is no reactant of {reaction}"));
        }
    }
    if s.relatives
        .iter()
        .any(|r| r.formula.is_same_species(&s.formula))
    {
        return fault(&s.name, "a relative has the same formula");
    }
    if s.density
        .is_some_and(|d| !(d.value > 0.0 && d.half_width > 0.0 && d.half_width < d.value))
    {
        return fault(
            &s.name,
            "density and half-width must be positive, the half-width the smaller",
        );
    }
    let unsourced = |n: &super::Note| n.mark == Mark::Verified && n.source.is_none();
    if [&s.drying, &s.keeping].into_iter().flatten().any(unsourced) {
        return fault(&s.name, "a fact marked V needs its source");
    }
    if s.kinds.is_empty() {
        fault(&s.name, "serves as nothing")
    } else {
        Ok(())
    }
}

fn check_titration(catalogue: &Catalogue, titration: &Titration) -> Result<(), SubstanceError> {
    let what = titration.reaction.to_string();
    balanced(&what, &titration.reaction)?;
    for step in &titration.steps {
        balanced(&what, step)?;
    }
    let substance = |name: &String| match catalogue.substances.iter().find(|s| s.name == *name) {
        Some(substance) => Ok(substance),
        None => fault(&what, &format!("no substance has the name `{name}`")),
    };
    for standard in &titration.standards {
        for titrant in &titration.titrants {
            titration.titrant_per_standard(substance(standard)?, substance(titrant)?)?;
        }
    }
    let net = titration
        .reaction
        .ratio(&titration.titrant_acts_as, &titration.standard_acts_as);
    let in_error = |problem| SubstanceError::Reaction {
        what: what.clone(),
        problem,
    };
    if !titration.steps.is_empty()
        && along_steps(titration).map_err(in_error)? != net.map_err(in_error)?
    {
        return fault(&what, "the steps give another ratio than the net reaction");
    }
    Ok(())
}

/// n(titrant)/n(standard) followed through the steps by the intermediate that one step makes and the next uses.
fn along_steps(titration: &Titration) -> Result<Ratio, ReactionError> {
    let mut ratio = Ratio {
        numerator: 1,
        denominator: 1,
    };
    let mut entering = titration.standard_acts_as.clone();
    for (index, step) in titration.steps.iter().enumerate() {
        let leaving = match titration.steps.get(index + 1) {
            Some(next) => intermediate(step, next).ok_or(ReactionError::Impossible)?,
            None => titration.titrant_acts_as.clone(),
        };
        ratio = ratio
            .times(step.ratio(&leaving, &entering)?)
            .ok_or(ReactionError::TooLarge)?;
        entering = leaving;
    }
    Ok(ratio)
}

fn intermediate(step: &Reaction, next: &Reaction) -> Option<Formula> {
    let used = |f: &Formula| {
        next.reactants()
            .iter()
            .any(|t| t.formula.is_same_species(f))
    };
    step.products()
        .iter()
        .map(|t| &t.formula)
        .find(|f| used(f))
        .cloned()
}

fn balanced(what: &str, reaction: &Reaction) -> Result<(), SubstanceError> {
    reaction
        .check_balance()
        .map_err(|problem| SubstanceError::Reaction {
            what: format!("{what}: {reaction}"),
            problem,
        })
}
