//! The indicator files, read and checked.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use super::{Indicator, IndicatorKind, Paint, ShowsBy};
use crate::colour::Colour;
use crate::species::charge;

pub(super) fn all() -> &'static [Indicator] {
    &ALL
}

#[expect(
    clippy::expect_used,
    reason = "embedded data; a test reads it, so a broken file never ships"
)]
static ALL: LazyLock<Vec<Indicator>> = LazyLock::new(|| {
    let mut all = read_acid_base(include_str!(
        "../../../../reference/indicators/acid-base.toml"
    ))
    .expect("reference/indicators/acid-base.toml");
    all.extend(
        read_metallochromic(include_str!(
            "../../../../reference/indicators/metallochromic.toml"
        ))
        .expect("reference/indicators/metallochromic.toml"),
    );
    all.extend(
        read_precipitation(include_str!(
            "../../../../reference/indicators/precipitation.toml"
        ))
        .expect("reference/indicators/precipitation.toml"),
    );
    all.extend(
        read_redox(include_str!("../../../../reference/indicators/redox.toml"))
            .expect("reference/indicators/redox.toml"),
    );
    all
});

#[derive(Debug, Deserialize)]
struct File<T> {
    sources: BTreeMap<String, String>,
    indicator: Vec<T>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct AcidBaseRecord {
    key: String,
    name: String,
    pk: Option<f64>,
    pk_source: Option<String>,
    pk_mark: Option<String>,
    range: (f64, f64),
    acid_colour: String,
    base_colour: String,
    end_rising: Option<f64>,
    end_rising_source: Option<String>,
    end_falling: Option<f64>,
    end_falling_source: Option<String>,
    source: String,
    mark: String,
    note: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MetallochromicRecord {
    key: String,
    name: String,
    pks: Vec<f64>,
    free_colours: Vec<String>,
    complex_colour: String,
    use_ph: (f64, f64),
    #[serde(default)]
    complexes: BTreeMap<String, f64>,
    complexes_mark: Option<String>,
    source: String,
    mark: String,
    r#use: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct PrecipitationRecord {
    key: String,
    name: String,
    kind: String,
    ions: Vec<String>,
    use_ph: (f64, f64),
    solid: Option<String>,
    reagent: Option<String>,
    usual_mol_per_l: Option<f64>,
    before_colour: String,
    after_colour: String,
    source: String,
    mark: String,
    note: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RedoxRecord {
    key: String,
    name: String,
    potential_v: f64,
    electrons: u8,
    oxidized_colour: String,
    reduced_colour: String,
    source: String,
    mark: String,
    note: Option<String>,
}

fn paint(name: &str) -> Result<Paint, String> {
    let colour =
        Colour::named(name).ok_or_else(|| format!("colour \"{name}\" is not in colours.toml"))?;
    Ok(Paint {
        name: name.to_owned(),
        colour,
    })
}

/// The source in words, with its mark.
fn source(sources: &BTreeMap<String, String>, key: &str, mark: &str) -> Result<String, String> {
    let text = sources
        .get(key)
        .ok_or_else(|| format!("source \"{key}\" is not in [sources]"))?;
    match mark {
        "V" => Ok(text.clone()),
        "M" if text == "from memory" => Ok(text.clone()),
        "M" => Ok(format!("{text} (from memory)")),
        _ => Err(format!("mark \"{mark}\" is neither V nor M")),
    }
}

fn ascending(what: &str, (low, high): (f64, f64)) -> Result<(f64, f64), String> {
    if low.is_finite() && low < high {
        Ok((low, high))
    } else {
        Err(format!("{what} must run from low to high"))
    }
}

fn read_acid_base(text: &str) -> Result<Vec<Indicator>, String> {
    let file: File<AcidBaseRecord> = toml::from_str(text).map_err(|error| error.to_string())?;
    let each = |record: AcidBaseRecord| -> Result<Indicator, String> {
        let range = ascending("the range", record.range)?;
        let middle = 0.5 * (range.0 + range.1);
        let stated = |end: Option<f64>, key: &Option<String>| match (end, key) {
            (None, None) => Ok(middle),
            (Some(end), Some(key)) if (range.0..=range.1).contains(&end) => {
                source(&file.sources, key, "V").map(|_| end)
            }
            _ => Err("a stated end lies inside the range and has a source".to_owned()),
        };
        match (&record.pk_source, &record.pk_mark, record.pk) {
            (None, None, None) => {}
            (Some(key), Some(mark), Some(pk)) if (range.0 - 0.5..=range.1 + 0.5).contains(&pk) => {
                source(&file.sources, key, mark)?;
            }
            _ => return Err("a pK lies in the range and has a source and a mark".into()),
        }
        Ok(Indicator {
            kind: IndicatorKind::AcidBase {
                pk: record.pk,
                range,
                acid: paint(&record.acid_colour)?,
                base: paint(&record.base_colour)?,
                end_rising: stated(record.end_rising, &record.end_rising_source)?,
                end_falling: stated(record.end_falling, &record.end_falling_source)?,
            },
            key: record.key,
            name: record.name,
            source: source(&file.sources, &record.source, &record.mark)?,
            note: record.note,
        })
    };
    file.indicator
        .into_iter()
        .map(|record| named(record.key.clone(), each(record)))
        .collect()
}

fn read_metallochromic(text: &str) -> Result<Vec<Indicator>, String> {
    let file: File<MetallochromicRecord> =
        toml::from_str(text).map_err(|error| error.to_string())?;
    let each = |record: MetallochromicRecord| -> Result<Indicator, String> {
        if record.free_colours.len() != record.pks.len() + 1 {
            return Err("one free colour more than pKs is needed".into());
        }
        if record.complexes.is_empty() != record.complexes_mark.is_none() {
            return Err("complexes need a mark".into());
        }
        for metal in record.complexes.keys() {
            charge(metal).map_err(|error| error.to_string())?;
        }
        Ok(Indicator {
            kind: IndicatorKind::Metallochromic {
                pks: record.pks,
                free: record
                    .free_colours
                    .iter()
                    .map(|name| paint(name))
                    .collect::<Result<_, _>>()?,
                complex: paint(&record.complex_colour)?,
                use_ph: ascending("the pH of use", record.use_ph)?,
                log_k: record.complexes,
            },
            key: record.key,
            name: record.name,
            source: source(&file.sources, &record.source, &record.mark)?,
            note: Some(record.r#use),
        })
    };
    file.indicator
        .into_iter()
        .map(|record| named(record.key.clone(), each(record)))
        .collect()
}

fn read_precipitation(text: &str) -> Result<Vec<Indicator>, String> {
    let file: File<PrecipitationRecord> =
        toml::from_str(text).map_err(|error| error.to_string())?;
    let each = |record: PrecipitationRecord| -> Result<Indicator, String> {
        let shows_by = match (record.kind.as_str(), record.solid, record.reagent, record.usual_mol_per_l) {
            ("adsorption", None, None, None) => ShowsBy::Adsorption,
            ("complex", None, None, None) => ShowsBy::Complex,
            ("precipitate", Some(solid), Some(reagent), Some(usual_mol_per_l)) => {
                ShowsBy::Precipitate { solid, reagent, usual_mol_per_l }
            }
            _ => return Err("kind is adsorption, complex, or precipitate with solid, reagent and usual concentration".into()),
        };
        Ok(Indicator {
            kind: IndicatorKind::Precipitation {
                shows_by,
                ions: record.ions,
                use_ph: ascending("the pH of use", record.use_ph)?,
                before: paint(&record.before_colour)?,
                after: paint(&record.after_colour)?,
            },
            key: record.key,
            name: record.name,
            source: source(&file.sources, &record.source, &record.mark)?,
            note: record.note,
        })
    };
    file.indicator
        .into_iter()
        .map(|record| named(record.key.clone(), each(record)))
        .collect()
}

fn read_redox(text: &str) -> Result<Vec<Indicator>, String> {
    let file: File<RedoxRecord> = toml::from_str(text).map_err(|error| error.to_string())?;
    let each = |record: RedoxRecord| -> Result<Indicator, String> {
        if !(0.0..2.0).contains(&record.potential_v) || !(1..=4).contains(&record.electrons) {
            return Err(
                "the potential lies between 0 and 2 V, the electrons between 1 and 4".into(),
            );
        }
        Ok(Indicator {
            kind: IndicatorKind::Redox {
                potential_v: record.potential_v,
                electrons: record.electrons,
                oxidized: paint(&record.oxidized_colour)?,
                reduced: paint(&record.reduced_colour)?,
            },
            key: record.key,
            name: record.name,
            source: source(&file.sources, &record.source, &record.mark)?,
            note: record.note,
        })
    };
    file.indicator
        .into_iter()
        .map(|record| named(record.key.clone(), each(record)))
        .collect()
}

fn named<T>(key: String, result: Result<T, String>) -> Result<T, String> {
    result.map_err(|why| format!("indicator \"{key}\": {why}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_unique() {
        let mut keys: Vec<&str> = all()
            .iter()
            .map(|indicator| indicator.key.as_str())
            .collect();
        let count = keys.len();
        keys.sort_unstable();
        keys.dedup();
        assert_eq!(keys.len(), count);
    }

    #[test]
    fn a_broken_entry_is_named() {
        let head = "[sources]\nx = \"book\"\n[[indicator]]\nkey = \"k\"\nname = \"n\"\nacid_colour = \"red\"\n";
        for (rest, word) in [
            (
                "base_colour = \"yellow\"\nrange = [5.0, 4.0]\nsource = \"x\"\nmark = \"V\"\n",
                "low to high",
            ),
            (
                "base_colour = \"yelow\"\nrange = [4.0, 5.0]\nsource = \"x\"\nmark = \"V\"\n",
                "yelow",
            ),
            (
                "base_colour = \"yellow\"\nrange = [4.0, 5.0]\nsource = \"y\"\nmark = \"V\"\n",
                "[sources]",
            ),
            (
                "base_colour = \"yellow\"\nrange = [4.0, 5.0]\nend_rising = 6.0\nsource = \"x\"\nmark = \"V\"\n",
                "stated end",
            ),
        ] {
            let error = read_acid_base(&format!("{head}{rest}")).unwrap_err();
            assert!(error.contains("\"k\"") && error.contains(word), "{error}");
        }
    }
}
