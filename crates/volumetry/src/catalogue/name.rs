//! Finding a piece by the name a chemist writes.
//!
//! The words may stand in any order: what it is, its capacity with unit, its class, where needed the graduation after
//! the word "graduated", and "ASTM" when it is not ISO glassware.

use super::{Class, Entry, Kind, Organisation, entries};
use crate::error::VolumetryError;
use std::collections::HashMap;
use std::sync::{LazyLock, PoisonError, RwLock};

/// Names that are remembered.
const MOST_NAMES: usize = 500;

/// What the words of a name ask for.
#[derive(Debug, Default)]
struct Wanted {
    kind: Option<Kind>,
    nominal_ml: Option<f64>,
    graduation_ml: Option<f64>,
    class: Option<Class>,
    organisation: Option<Organisation>,
    standard: Option<String>,
}

/// A piece of the catalogue by its name.
///
/// ```
/// let piece = volumetry::catalogue::find("class A burette, 50 ml").unwrap();
/// assert_eq!(piece.to_string(), "burette 50 mL A graduated 0.1");
/// assert_eq!(piece.tolerance_ml, 0.05);
/// assert!(volumetry::catalogue::find("burette 25 mL A").is_err()); // graduated 0.05 or 0.1?
/// ```
///
/// # Errors
/// [`VolumetryError::UnknownWord`], [`VolumetryError::MissingPart`] and [`VolumetryError::SaidTwice`] when the name
/// does not read; [`VolumetryError::NotInCatalogue`] and [`VolumetryError::Ambiguous`] with names that can be written
/// instead.
pub fn find(name: &str) -> Result<&'static Entry, VolumetryError> {
    // Few names are asked for again and again.
    static FOUND: LazyLock<RwLock<HashMap<String, &'static Entry>>> =
        LazyLock::new(RwLock::default);
    let known = FOUND.read().unwrap_or_else(PoisonError::into_inner);
    if let Some(entry) = known.get(name) {
        return Ok(entry);
    }
    drop(known);
    let entry = find_anew(name)?;
    let mut known = FOUND.write().unwrap_or_else(PoisonError::into_inner);
    if known.len() < MOST_NAMES {
        known.insert(name.to_owned(), entry);
    }
    Ok(entry)
}

fn find_anew(name: &str) -> Result<&'static Entry, VolumetryError> {
    let wanted = read(name)?;
    let kind = wanted.kind.ok_or_else(|| VolumetryError::MissingPart {
        name: name.to_owned(),
        missing: "what it is (burette, pipette, flask or piston pipette)",
        example: "burette 50 mL A".to_owned(),
    })?;
    let nominal = wanted
        .nominal_ml
        .ok_or_else(|| VolumetryError::MissingPart {
            name: name.to_owned(),
            missing: "the capacity with its unit",
            example: format!("{kind} 25 mL A"),
        })?;
    let organisation = wanted.organisation.unwrap_or(Organisation::Iso);
    let fits: Vec<&'static Entry> = entries()
        .iter()
        .filter(|e| {
            e.kind == kind
                && e.organisation == organisation
                && same(e.nominal_ml, nominal)
                && wanted.class.is_none_or(|class| e.class == Some(class))
                && wanted
                    .graduation_ml
                    .is_none_or(|g| e.graduation_ml.is_some_and(|own| same(own, g)))
                && wanted
                    .standard
                    .as_ref()
                    .is_none_or(|s| number_of(&e.standard).eq_ignore_ascii_case(s))
        })
        .collect();
    match fits.as_slice() {
        [one] => Ok(one),
        [] => Err(VolumetryError::NotInCatalogue {
            name: name.to_owned(),
            near: near(kind, nominal, &wanted),
        }),
        several => Err(VolumetryError::Ambiguous {
            name: name.to_owned(),
            candidates: several.iter().map(ToString::to_string).collect(),
        }),
    }
}

/// Equal but for the rounding of a unit conversion.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs()
}

/// "385" of "ISO 385:2005".
fn number_of(standard: &str) -> &str {
    let after = standard.split_once(' ').map_or(standard, |(_, rest)| rest);
    after.split_once(':').map_or(after, |(number, _)| number)
}

/// The most similar pieces, at most six: the same kind, then by how far size, class and graduation are off.
fn near(kind: Kind, nominal: f64, wanted: &Wanted) -> Vec<String> {
    let organisation = wanted.organisation.unwrap_or(Organisation::Iso);
    let off = |e: &Entry| {
        let size = (e.nominal_ml / nominal).ln().abs();
        let class = wanted.class.is_some_and(|class| e.class != Some(class));
        let graduation = wanted
            .graduation_ml
            .is_some_and(|g| !e.graduation_ml.is_some_and(|own| same(own, g)));
        let maker = e.organisation != organisation;
        size + 0.2 * f64::from(u8::from(class))
            + 0.2 * f64::from(u8::from(graduation))
            + 0.5 * f64::from(u8::from(maker))
    };
    let mut same_kind: Vec<&Entry> = entries().iter().filter(|e| e.kind == kind).collect();
    same_kind.sort_by(|a, b| off(a).total_cmp(&off(b)));
    same_kind.iter().take(6).map(ToString::to_string).collect()
}

/// The words of a name: separated by blanks and punctuation, numbers split from the units written at them.
fn words(name: &str) -> Vec<String> {
    let spaced: String = name
        .replace(['µ', 'μ'], "u")
        .to_lowercase()
        .chars()
        .map(|c| {
            if matches!(c, ';' | '(' | ')' | '±' | '=') {
                ' '
            } else {
                c
            }
        })
        .collect();
    let mut words = Vec::new();
    for piece in spaced.split_whitespace() {
        let piece = piece.trim_matches([',', '.', ':']);
        let number_end = piece
            .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ','))
            .unwrap_or(piece.len());
        let (number, rest) = piece.split_at(number_end);
        // "8655-2" and "385:2005" stay one word: they name a standard.
        let is_unit = rest.chars().all(char::is_alphabetic);
        if number.is_empty() || rest.is_empty() || !is_unit {
            words.push(piece.to_owned());
        } else {
            words.push(number.to_owned());
            words.push(rest.to_owned());
        }
    }
    words.retain(|w| !w.is_empty());
    words
}

fn set<T: PartialEq + std::fmt::Display>(
    slot: &mut Option<T>,
    value: T,
    part: &'static str,
    name: &str,
) -> Result<(), VolumetryError> {
    match slot {
        Some(first) if *first != value => Err(VolumetryError::SaidTwice {
            name: name.to_owned(),
            part,
            first: first.to_string(),
            second: value.to_string(),
        }),
        _ => {
            *slot = Some(value);
            Ok(())
        }
    }
}

fn read(name: &str) -> Result<Wanted, VolumetryError> {
    let mut wanted = Wanted::default();
    let mut piston = false;
    let mut graduation_next = false;
    let list = words(name);
    let mut rest = list.iter().map(String::as_str).peekable();
    while let Some(word) = rest.next() {
        match word {
            "burette" | "buret" | "burettes" => {
                set(&mut wanted.kind, Kind::Burette, "what it is", name)?;
            }
            "pipette" | "pipet" => set(&mut wanted.kind, Kind::Pipette, "what it is", name)?,
            "flask" => set(&mut wanted.kind, Kind::Flask, "what it is", name)?,
            "micropipette" | "micropipet" => {
                piston = true;
                set(&mut wanted.kind, Kind::Pipette, "what it is", name)?;
            }
            "piston" | "air-displacement" => piston = true,
            "a" => set(&mut wanted.class, Class::A, "the class", name)?,
            "as" => set(&mut wanted.class, Class::As, "the class", name)?,
            "b" => set(&mut wanted.class, Class::B, "the class", name)?,
            "graduated" | "graduation" | "division" | "divisions" | "subdivision" => {
                graduation_next = true;
            }
            "iso" | "astm" => {
                wanted.organisation = Some(if word == "iso" {
                    Organisation::Iso
                } else {
                    Organisation::Astm
                });
                // A number of the standard may follow: it has no unit after it.
                let mut ahead = rest.clone();
                let number = ahead.next().filter(|w| {
                    w.starts_with(|c: char| c.is_ascii_digit() || c == 'e')
                        && w.contains(|c: char| c.is_ascii_digit())
                });
                if let Some(number) = number
                    && ahead.peek().is_none_or(|w| unit_in_ml(w).is_none())
                {
                    rest.next();
                    let number = number.split(':').next().unwrap_or(number);
                    wanted.standard = Some(number.to_owned());
                }
            }
            "class" | "glass" | "volumetric" | "measuring" | "transfer" | "bulb" | "one-mark"
            | "single-volume" | "of" | "in" | "to" => {}
            _ => match number(word) {
                Some(value) => {
                    let unit = rest.peek().copied().and_then(unit_in_ml);
                    if unit.is_some() {
                        rest.next();
                    }
                    if graduation_next {
                        graduation_next = false;
                        let ml = value * unit.unwrap_or(1.0);
                        set(&mut wanted.graduation_ml, ml, "the graduation in mL", name)?;
                    } else if let Some(unit) = unit {
                        set(
                            &mut wanted.nominal_ml,
                            value * unit,
                            "the capacity in mL",
                            name,
                        )?;
                    } else {
                        return Err(VolumetryError::MissingPart {
                            name: name.to_owned(),
                            missing: "a unit after the capacity",
                            example: format!("{} 25 mL A", wanted.kind.unwrap_or(Kind::Pipette)),
                        });
                    }
                }
                None => {
                    return Err(VolumetryError::UnknownWord {
                        name: name.to_owned(),
                        word: word.to_owned(),
                    });
                }
            },
        }
    }
    if piston {
        match wanted.kind {
            None | Some(Kind::Pipette) => wanted.kind = Some(Kind::PistonPipette),
            Some(_) => {
                return Err(VolumetryError::UnknownWord {
                    name: name.to_owned(),
                    word: "piston".to_owned(),
                });
            }
        }
    }
    Ok(wanted)
}

/// A positive number, with decimal point or decimal comma.
fn number(word: &str) -> Option<f64> {
    word.replace(',', ".")
        .parse::<f64>()
        .ok()
        .filter(|v| *v > 0.0 && v.is_finite() && word.starts_with(|c: char| c.is_ascii_digit()))
}

fn unit_in_ml(word: &str) -> Option<f64> {
    match word {
        "ml" | "cm3" | "milliliter" | "millilitre" => Some(1.0),
        "ul" | "microliter" | "microlitre" => Some(1e-3),
        "l" | "liter" | "litre" => Some(1e3),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_piece_is_found_by_its_own_name() {
        for entry in entries() {
            assert_eq!(find(&entry.to_string()).unwrap(), entry);
        }
    }

    #[test]
    fn order_and_spelling_do_not_matter() {
        let b = find("burette 25 mL B graduated 0.1").unwrap();
        for name in [
            "B burette graduated 0.1 25 ml",
            "Class B buret, 25ML, graduated 0,1 mL",
            "25 mL burette (ISO 385) class B division 0.1",
            "graduated 0.1: burette 0.025 L B",
        ] {
            assert_eq!(find(name).unwrap(), b, "{name}");
        }
        let p = find("piston pipette 1000 uL").unwrap();
        for name in [
            "1000 µL piston pipette",
            "micropipette 1 mL",
            "1000μl piston pipette ISO 8655-2",
        ] {
            assert_eq!(find(name).unwrap(), p, "{name}");
        }
    }

    #[test]
    fn iso_unless_astm_is_said() {
        assert_eq!(find("pipette 10 mL A").unwrap().standard, "ISO 648:2008");
        assert_eq!(find("ASTM pipette 10 mL A").unwrap().standard, "ASTM E969");
        assert_eq!(
            find("ASTM E288 flask 250 mL A").unwrap().standard,
            "ASTM E288"
        );
        assert_eq!(find("flask ASTM 250 mL A").unwrap().standard, "ASTM E288");
        assert!(find("ASTM E287 flask 250 mL A").is_err());
    }

    #[test]
    fn an_ambiguous_name_lists_what_to_write() {
        let Err(VolumetryError::Ambiguous { candidates, .. }) = find("burette 25 mL A") else {
            panic!()
        };
        assert_eq!(
            candidates,
            [
                "burette 25 mL A graduated 0.05",
                "burette 25 mL A graduated 0.1"
            ]
        );
        assert!(matches!(
            find("flask 250 mL"),
            Err(VolumetryError::Ambiguous { .. })
        ));
    }

    #[test]
    fn an_unknown_size_lists_its_neighbours_first() {
        let Err(VolumetryError::NotInCatalogue { near, .. }) = find("flask 300 mL A") else {
            panic!()
        };
        assert_eq!(near[0], "flask 250 mL A");
        for name in near {
            find(&name).unwrap();
        }
    }

    #[test]
    fn says_what_is_missing_or_not_understood() {
        let message = |name: &str| find(name).unwrap_err().to_string();
        assert!(message("50 mL A").contains("lacks what it is"));
        assert!(message("burette A").contains("lacks the capacity"));
        assert!(message("burette 50 A").contains("lacks a unit"));
        assert!(message("burette 50 mL purple").contains("\"purple\""));
        assert!(message("burette 50 mL A B").contains("twice"));
        assert!(message("").contains("lacks"));
        assert!(message("piston flask 50 mL").contains("piston"));
        assert!(message("burette -50 mL").contains("\"-50\""));
    }
}
