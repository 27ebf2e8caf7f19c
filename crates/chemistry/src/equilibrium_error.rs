//! What can go wrong when an equilibrium or a titration curve is asked for.

/// A refused request or a calculation that found no answer, said so that a person can act on it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum EquilibriumError {
    /// A name that no data file knows.
    #[error(
        "\"{name}\" is no known reagent or species; nearest known: {nearest}; add it to reference/{file}"
    )]
    UnknownSpecies {
        /// The name as given.
        name: String,
        /// Known names that look alike.
        nearest: String,
        /// The data file to edit, under `reference/`.
        file: &'static str,
    },
    /// A label whose charge cannot be read.
    #[error(
        "the charge of \"{label}\" cannot be read; write it last, as in \"Cl-\", \"Ca^2+\", \"HPO4^2-\""
    )]
    Charge {
        /// The label as given.
        label: String,
    },
    /// A concentration or volume that is no amount of anything.
    #[error("{what} is {value} {unit}; it must be a finite number, {allowed}")]
    Amount {
        /// The quantity meant.
        what: String,
        /// The value as given.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// The allowed range in words.
        allowed: &'static str,
    },
    /// A temperature outside the range of a table or an equation.
    #[error("{what} is known from {lowest} to {highest} degC, not at {asked} degC")]
    Temperature {
        /// The quantity asked for.
        what: &'static str,
        /// The temperature asked for, degC.
        asked: f64,
        /// Lowest temperature, degC.
        lowest: f64,
        /// Highest temperature, degC.
        highest: f64,
    },
    /// Constants of different ionic strength in one calculation.
    #[error(
        "the constants of {first} hold at ionic strength {first_strength} mol/L and those of {second} at \
         {second_strength} mol/L; they must not be mixed: choose one set"
    )]
    MixedIonicStrength {
        /// One substance or equilibrium.
        first: String,
        /// Ionic strength of its constants, mol/L.
        first_strength: f64,
        /// Another one.
        second: String,
        /// Ionic strength of its constants, mol/L.
        second_strength: f64,
    },
    /// An activity model on top of constants that already belong to an ionic strength.
    #[error(
        "the constants of {what} hold at ionic strength {strength} mol/L; an activity model needs constants at ionic \
         strength 0: choose no activity model, or other constants"
    )]
    ConditionalConstant {
        /// The substance or equilibrium.
        what: String,
        /// Ionic strength of its constants, mol/L.
        strength: f64,
    },
    /// A formal potential together with an activity model.
    #[error(
        "the formal potential of {couple} in {medium} already contains the activity coefficients of that medium; choose no \
         activity model"
    )]
    FormalPotential {
        /// The couple.
        couple: String,
        /// Its medium.
        medium: String,
    },
    /// The curve never reaches the level asked for.
    #[error("the curve does not reach {quantity} {level} within {lowest_ml} mL to {highest_ml} mL")]
    LevelNotReached {
        /// Name of the quantity (pH, pAg, E ...).
        quantity: String,
        /// The level asked for.
        level: f64,
        /// Smallest volume of the curve, mL.
        lowest_ml: f64,
        /// Largest volume looked at, mL.
        highest_ml: f64,
    },
    /// Nothing in flask or burette exchanges the particle of this curve.
    #[error("{what}")]
    NothingToTitrate {
        /// What is missing and what to add.
        what: String,
    },
    /// A potential needs both forms of some couple.
    #[error(
        "no couple has both forms present at {volume_ml} mL, so the solution has no defined potential there"
    )]
    PotentialUndefined {
        /// Volume, mL.
        volume_ml: f64,
    },
    /// No set of concentrations satisfies the balances.
    #[error("no solution exists: {why}")]
    Impossible {
        /// The reason, naming the component or phase.
        why: String,
    },
    /// The solver gave up; never a silent last iterate.
    #[error(
        "no convergence after {iterations} iterations; the worst relative residual is {residual:.1e} at {worst}"
    )]
    NotConverged {
        /// Iterations done.
        iterations: usize,
        /// Worst relative residual.
        residual: f64,
        /// The balance with that residual.
        worst: String,
    },
}

/// Up to three known names that share the most with `asked`, for the error message.
pub(crate) fn nearest_names<'a>(asked: &str, known: impl Iterator<Item = &'a str>) -> String {
    let mut scored: Vec<(usize, &str)> = known.map(|name| (distance(asked, name), name)).collect();
    scored.sort_unstable();
    scored.truncate(3);
    scored
        .iter()
        .map(|(_, name)| *name)
        .collect::<Vec<_>>()
        .join(", ")
}

/// Edit distance without regard to case.
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (
        a.to_lowercase().chars().collect(),
        b.to_lowercase().chars().collect(),
    );
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let substituted = diagonal + usize::from(ca != cb);
            diagonal = row[j + 1];
            row[j + 1] = substituted.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::nearest_names;

    #[test]
    fn a_slip_of_the_pen_finds_its_neighbours() {
        let known = ["NaOH", "KOH", "HCl", "Na2CO3"];
        assert!(nearest_names("naoh", known.into_iter()).starts_with("NaOH"));
        assert!(nearest_names("Na2C03", known.into_iter()).starts_with("Na2CO3"));
    }
}
