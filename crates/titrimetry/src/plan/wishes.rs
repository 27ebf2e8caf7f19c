//! Wishes: what a chemist knows and wants before the work, as a TOML file. Everything but the titrant may be left out.
//!
//! [`Wishes::read`] turns text into [`Wishes`] or into an error that names the line and what was expected. Nothing is
//! computed here; what is left out is filled in by [`super::case`], which says so.

use super::PlanError;
use crate::sheet::{
    Anything, BalanceSpec, Concentration, Conditions, CoverageSpec, Fraction, Mass, PieceSpec,
    Repeatability, Rules, SheetError, Stated, Volume, Written,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Longest file of wishes that is read, in bytes.
pub const MAX_LENGTH: usize = 256 * 1024;

/// What is wished for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Wishes {
    /// What the determination is called.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    /// The solution in the burette.
    pub titrant: TitrantWish,
    /// The primary standard; with it the plan is a standardization.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standard: Option<StandardWish>,
    /// The sample; with it the plan is an assay.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample: Option<SampleWish>,
    /// The reaction, if the catalogue does not know it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reaction: Option<String>,
    /// How good and how quick it should be.
    #[serde(default)]
    pub wanted: Wanted,
    /// What one run takes, where that is fixed beforehand.
    #[serde(default)]
    pub run: RunWish,
    /// Glass and balance at hand.
    #[serde(default)]
    pub shelf: Shelf,
    /// How the day is filled.
    #[serde(default)]
    pub day: Day,
    /// How the end is to be seen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indicator: Option<String>,
    /// Temperature and air.
    #[serde(default)]
    pub conditions: Conditions,
    /// Repeatability known from earlier work.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeatability: Option<Repeatability>,
    /// Which rules will judge the result.
    #[serde(default)]
    pub rules: Rules,
    /// How wide the reported interval is.
    #[serde(default)]
    pub coverage: CoverageSpec,
}

/// The solution in the burette.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TitrantWish {
    /// The dissolved substance.
    pub substance: String,
    /// Nominal strength; chosen from the usual ones if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strength: Option<Written<Concentration>>,
    /// How far the true strength may be off the nominal one, such as "5 %".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub within: Option<Written<Fraction>>,
    /// How much of it is to be made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volume: Option<Written<Volume>>,
    /// What it is made from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_from: Option<MadeFrom>,
    /// Mass fraction of the substance in the solid or concentrate, such as "97 %".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub content: Option<Written<Fraction>>,
    /// Strength of the stock it is diluted from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stock: Option<Written<Concentration>>,
    /// Its standardized concentration, for an assay.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub concentration: Option<Stated<Concentration>>,
    /// Identity of the bottle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bottle: Option<String>,
}

/// What a titrant is made from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum MadeFrom {
    /// The weighed solid.
    Solid,
    /// A concentrated reagent of known density and mass fraction.
    Concentrate,
    /// A stronger solution.
    Stock,
}

/// The primary standard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StandardWish {
    /// A name or a formula.
    pub substance: String,
    /// Its purity.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub purity: Option<Stated<Fraction>>,
    /// Identity of the bottle or lot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bottle: Option<String>,
}

/// The sample of an assay.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SampleWish {
    /// What is sought in it: a name or a formula; hardness is sought as calcium carbonate.
    pub substance: String,
    /// What it is called, such as "vinegar".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Expected content: "50 g/L", "5 % m/V", "0.8 mol/L".
    pub expected: Written<Anything>,
    /// How far the content may be off, such as "20 %".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub within: Option<Written<Fraction>>,
    /// How much of the sample there is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volume: Option<Written<Volume>>,
}

/// How good and how quick it should be.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Wanted {
    /// Relative expanded uncertainty of the result, such as "0.2 %".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<Written<Fraction>>,
    /// Relative standard deviation from run to run, such as "0.2 %".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rsd: Option<Written<Fraction>>,
    /// Number of runs that count.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub runs: Option<u32>,
    /// Time for one determination, such as "60 min".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time: Option<Written<Anything>>,
}

/// What one run takes, where a procedure fixes it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RunWish {
    /// Mass of the standard.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<Written<Mass>>,
    /// Titre to aim at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub titre: Option<Written<Volume>>,
    /// Volume in the flask when the titration begins.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flask_volume: Option<Written<Volume>>,
    /// Expected blank.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blank: Option<Written<Volume>>,
    /// The procedure that fixes it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub procedure: Option<String>,
}

/// Glass and balance at hand; what is left out is an ordinary cupboard.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shelf {
    /// Burettes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub burettes: Vec<PieceSpec>,
    /// Pipettes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pipettes: Option<Vec<PieceSpec>>,
    /// Volumetric flasks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flasks: Option<Vec<PieceSpec>>,
    /// The balance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub balance: Option<BalanceSpec>,
    /// How finely the burette is read, if coarser than the eye can.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_to: Option<Written<Volume>>,
}

/// How the day is filled.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Day {
    /// Number of determinations (samples, or repeats of the standardization).
    #[serde(default = "one")]
    pub determinations: u32,
}

impl Default for Day {
    fn default() -> Self {
        Self {
            determinations: one(),
        }
    }
}

fn one() -> u32 {
    1
}

impl StandardWish {
    /// A standard of which only the name is known.
    pub fn of(substance: &str) -> Self {
        Self {
            substance: substance.to_owned(),
            purity: None,
            bottle: None,
        }
    }
}

impl SampleWish {
    /// A sample of which only what is expected is known.
    pub fn of(substance: &str, expected: Written<Anything>) -> Self {
        Self {
            substance: substance.to_owned(),
            name: None,
            expected,
            within: None,
            volume: None,
        }
    }
}

impl Wishes {
    /// Wishes that name the titrant and nothing else.
    pub fn of_titrant(substance: &str) -> Self {
        Self {
            title: None,
            titrant: TitrantWish {
                substance: substance.to_owned(),
                strength: None,
                within: None,
                volume: None,
                made_from: None,
                content: None,
                stock: None,
                concentration: None,
                bottle: None,
            },
            standard: None,
            sample: None,
            reaction: None,
            wanted: Wanted::default(),
            run: RunWish::default(),
            shelf: Shelf::default(),
            day: Day::default(),
            indicator: None,
            conditions: Conditions::default(),
            repeatability: None,
            rules: Rules::default(),
            coverage: CoverageSpec::default(),
        }
    }

    /// Reads wishes from text.
    ///
    /// # Errors
    /// [`PlanError::Empty`], [`PlanError::TooLong`], or [`PlanError::Entry`] with line, column and what was expected.
    pub fn read(text: &str) -> Result<Self, PlanError> {
        if text.len() > MAX_LENGTH {
            return Err(PlanError::TooLong { bytes: text.len() });
        }
        if text.trim().is_empty() {
            return Err(PlanError::Empty);
        }
        toml::from_str(text).map_err(|error| PlanError::Entry(SheetError::syntax(text, &error)))
    }

    /// The JSON Schema of the wishes, for editors.
    pub fn schema() -> schemars::Schema {
        schemars::schema_for!(Self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_titrant_alone_is_enough() {
        let wishes = Wishes::read("[titrant]\nsubstance = \"NaOH\"\n").unwrap();
        assert_eq!(wishes.day.determinations, 1);
        assert_eq!(wishes.wanted, Wanted::default());
    }

    #[test]
    fn what_cannot_be_read_names_its_line() {
        for (text, expected) in [
            (
                "[titrant]\nsubstance = \"NaOH\"\nstrength = \"0.1 mL\"\n",
                "line 3",
            ),
            (
                "[titrant]\nsubstance = \"NaOH\"\n[wanted]\nuncertanty = \"0.2 %\"\n",
                "uncertanty",
            ),
            (
                "[titrant]\nsubstance = \"NaOH\"\n[wanted]\nruns = 2.5\n",
                "line 4",
            ),
            ("", "no wishes"),
            ("[titrant]\n", "substance"),
        ] {
            let error = Wishes::read(text).unwrap_err().to_string();
            assert!(error.contains(expected), "{text}: {error}");
        }
    }
}
