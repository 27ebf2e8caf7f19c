//! The file of a validation: TOML with one table a question, or a plain table of two or three columns (CSV).

use crate::sheet::SheetError;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Most numbers that one table may hold.
const MAX_ROWS: usize = 10_000;

/// What a validation file says.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ValidationFile {
    /// What it is called.
    pub title: String,
    /// Unit of the results.
    #[serde(default)]
    pub unit: String,
    /// Confidence of every interval; 0.95 if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confidence: Option<f64>,
    /// Two methods on the same samples.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub comparison: Option<ComparisonData>,
    /// Titre against portion.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub linearity: Option<LinearityData>,
    /// Results in groups, such as days or persons.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub precision: Option<PrecisionData>,
    /// What was added and found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recovery: Option<RecoveryData>,
}

/// The same samples by two methods.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ComparisonData {
    /// Name of the first method, the one that is trusted.
    pub first: String,
    /// Name of the second method; differences are second less first.
    pub second: String,
    /// One pair a sample: first, second.
    pub pairs: Vec<[f64; 2]>,
    /// Variance of the errors of the second method over that of the first; 1 if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub variance_ratio: Option<f64>,
    /// Largest mean difference that does no harm, either way.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub largest_bias: Option<f64>,
    /// Largest difference in a single sample that does no harm: both limits of agreement must stay within.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub largest_difference: Option<f64>,
}

/// Titres of different portions of one sample.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LinearityData {
    /// Unit of the portions.
    pub portion_unit: String,
    /// Unit of the titres.
    pub titre_unit: String,
    /// One pair a run: portion, titre.
    pub points: Vec<[f64; 2]>,
    /// Titre that one unit of portion should take, if it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expected_slope: Option<f64>,
    /// Largest intercept that does no harm, in the unit of the titres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub largest_intercept: Option<f64>,
}

/// Results of one sample, in groups that differ by one cause.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PrecisionData {
    /// What differs between the groups, such as "day" or "analyst".
    pub by: String,
    /// The results of each group.
    pub groups: BTreeMap<String, Vec<f64>>,
    /// Largest relative standard deviation under repeatability, in per cent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub largest_repeatability_percent: Option<f64>,
    /// Largest relative standard deviation between groups included, in per cent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub largest_intermediate_percent: Option<f64>,
}

/// Samples to which a known amount was added.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RecoveryData {
    /// The levels.
    pub levels: Vec<RecoveryLevel>,
    /// Least mean recovery that is accepted, in per cent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<f64>,
    /// Largest mean recovery that is accepted, in per cent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<f64>,
}

/// One level of addition.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RecoveryLevel {
    /// Content before the addition; 0 if left out.
    #[serde(default)]
    pub native: f64,
    /// What was added.
    pub added: f64,
    /// What was found, every result.
    pub found: Vec<f64>,
}

/// What the columns of a plain table are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Table {
    /// First method, second method.
    Comparison,
    /// Portion, titre.
    Linearity,
    /// Group, result.
    Precision,
    /// Added, found, and if there is a third column the content before the addition.
    Recovery,
}

impl ValidationFile {
    /// Reads a TOML file.
    ///
    /// # Errors
    /// [`SheetError::Syntax`] with line, column and what was expected.
    pub fn read(text: &str) -> Result<Self, SheetError> {
        crate::sheet::read_toml(text)
    }

    /// The JSON Schema of the file, for editors.
    pub fn schema() -> schemars::Schema {
        schemars::schema_for!(Self)
    }

    /// Reads a plain table: a first line of headings, then one line a row; columns apart by semicolon, tab or comma, with a
    /// decimal comma where the columns are not apart by commas.
    ///
    /// # Errors
    /// [`SheetError::Entry`] with the line and what was expected.
    pub fn read_table(text: &str, table: Table, title: &str) -> Result<Self, SheetError> {
        let mut lines = text
            .trim_start_matches('\u{feff}')
            .lines()
            .enumerate()
            .filter(|(_, line)| !line.trim().is_empty());
        let Some((_, head)) = lines.next() else {
            return Err(SheetError::Empty);
        };
        let apart = [';', '\t', ',']
            .into_iter()
            .find(|c| head.contains(*c))
            .unwrap_or(',');
        let heads: Vec<String> = cells(head, apart);
        let wanted = if table == Table::Recovery && heads.len() == 3 {
            3
        } else {
            2
        };
        if heads.len() != wanted {
            return Err(fault(
                0,
                &format!(
                    "{} columns were found, but {} were expected",
                    heads.len(),
                    table.columns()
                ),
            ));
        }
        if heads.iter().all(|h| number(h, apart).is_some()) {
            return Err(fault(
                0,
                "the first line holds numbers; write the names of the columns there",
            ));
        }
        let mut rows = Vec::new();
        for (at, line) in lines {
            let row = cells(line, apart);
            if row.len() != wanted {
                return Err(fault(
                    at,
                    &format!("{} columns instead of {wanted}", row.len()),
                ));
            }
            rows.push((at, row));
            if rows.len() > MAX_ROWS {
                return Err(fault(
                    at,
                    &format!("more than {MAX_ROWS} rows are not read"),
                ));
            }
        }
        let mut file = Self {
            title: title.into(),
            ..Self::default()
        };
        let numbers = |from: usize| -> Result<Vec<Vec<f64>>, SheetError> {
            rows.iter()
                .map(|(at, row)| {
                    row[from..]
                        .iter()
                        .map(|cell| {
                            number(cell, apart)
                                .ok_or_else(|| fault(*at, &format!("\"{cell}\" is not a number")))
                        })
                        .collect()
                })
                .collect()
        };
        match table {
            Table::Comparison => {
                file.comparison = Some(ComparisonData {
                    first: heads[0].clone(),
                    second: heads[1].clone(),
                    pairs: numbers(0)?.iter().map(|r| [r[0], r[1]]).collect(),
                    variance_ratio: None,
                    largest_bias: None,
                    largest_difference: None,
                });
            }
            Table::Linearity => {
                file.linearity = Some(LinearityData {
                    portion_unit: heads[0].clone(),
                    titre_unit: heads[1].clone(),
                    points: numbers(0)?.iter().map(|r| [r[0], r[1]]).collect(),
                    expected_slope: None,
                    largest_intercept: None,
                });
            }
            Table::Precision => {
                let mut groups: BTreeMap<String, Vec<f64>> = BTreeMap::new();
                for ((_, row), value) in rows.iter().zip(numbers(1)?) {
                    groups.entry(row[0].clone()).or_default().push(value[0]);
                }
                file.precision = Some(PrecisionData {
                    by: heads[0].clone(),
                    groups,
                    largest_repeatability_percent: None,
                    largest_intermediate_percent: None,
                });
            }
            Table::Recovery => {
                let levels = numbers(0)?
                    .iter()
                    .map(|row| RecoveryLevel {
                        native: row.get(2).copied().unwrap_or(0.0),
                        added: row[0],
                        found: vec![row[1]],
                    })
                    .collect();
                file.recovery = Some(RecoveryData {
                    levels,
                    from: None,
                    to: None,
                });
            }
        }
        Ok(file)
    }
}

impl Table {
    /// Its columns, in words.
    fn columns(self) -> &'static str {
        match self {
            Self::Comparison => "two (first method, second method)",
            Self::Linearity => "two (portion, titre)",
            Self::Precision => "two (group, result)",
            Self::Recovery => "two or three (added, found, content before)",
        }
    }
}

fn cells(line: &str, apart: char) -> Vec<String> {
    line.split(apart)
        .map(|cell| cell.trim().trim_matches('"').trim().to_string())
        .collect()
}

/// A finite number; a comma is a decimal sign where it does not part the columns.
fn number(cell: &str, apart: char) -> Option<f64> {
    let text = if apart == ',' {
        cell.to_string()
    } else {
        cell.replace(',', ".")
    };
    text.parse::<f64>().ok().filter(|v| v.is_finite())
}

fn fault(line: usize, message: &str) -> SheetError {
    SheetError::Entry {
        path: "table".into(),
        line: Some(line + 1),
        message: message.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plain_table_is_read_with_comma_or_semicolon() {
        let comma = "first,second\n1.5,2.5\n\n3,4\n";
        let semicolon = "first;second\n1,5;2,5\n3;4\n";
        let read = |text| ValidationFile::read_table(text, Table::Comparison, "t").unwrap();
        assert_eq!(read(comma), read(semicolon));
        assert_eq!(
            read(comma).comparison.unwrap().pairs,
            [[1.5, 2.5], [3.0, 4.0]]
        );
        let groups =
            ValidationFile::read_table("day,g/L\nMon,1\nTue,2\nMon,3\n", Table::Precision, "t")
                .unwrap()
                .precision
                .unwrap()
                .groups;
        assert_eq!(groups["Mon"], [1.0, 3.0]);
    }

    #[test]
    fn bad_tables_say_where() {
        let fails = |text: &str, table| {
            ValidationFile::read_table(text, table, "t")
                .unwrap_err()
                .to_string()
        };
        assert!(fails("a,b\n1,x\n", Table::Comparison).contains("line 2"));
        assert!(fails("a,b\n1,2,3\n", Table::Comparison).contains("3 columns"));
        assert!(fails("1,2\n3,4\n", Table::Linearity).contains("names of the columns"));
        assert!(fails("a,b,c\n", Table::Precision).contains("group, result"));
        assert_eq!(
            ValidationFile::read_table(" \n", Table::Recovery, "t"),
            Err(SheetError::Empty)
        );
    }
}
