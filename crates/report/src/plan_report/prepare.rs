//! How the titrant is made, in words.

use super::{grams, row};
use crate::lines::hanging;
use crate::numbers::{decimals, percent, significant};
use crate::style::Style;
use titrimetry::plan::Plan;
use titrimetry::plan::prepare::Way;

pub(super) fn preparation(plan: &Plan, style: Style) -> Vec<String> {
    let Some(preparation) = &plan.preparation else {
        return Vec::new();
    };
    let strength = &plan.chosen().expected.candidate.strength;
    let mut lines = row(
        style,
        "volume",
        &format!(
            "{} mL of {strength} ({})",
            decimals(preparation.volume_ml, 0),
            preparation.volume_from
        ),
    );
    if preparation.volume_ml < plan.day.titrant_ml {
        lines.extend(
            row(
                style,
                "too little",
                &format!("the day takes {} mL", decimals(plan.day.titrant_ml, 0)),
            )
            .into_iter()
            .map(|line| style.accent(line)),
        );
    }
    for (i, way) in preparation.ways.iter().enumerate() {
        let label = if i == 0 { "make it from" } else { "or from" };
        lines.extend(self::way(way, label, strength.to_string().as_str(), style));
    }
    if preparation.is_primary_standard {
        lines.extend(row(
            style,
            "a standard itself",
            "weighed with its purity and made up in a volumetric flask it needs no standardization",
        ));
    }
    lines
}

fn way(way: &Way, label: &str, wanted: &str, style: Style) -> Vec<String> {
    let mut lines = Vec::new();
    let mut further: Vec<String> = Vec::new();
    match way {
        Way::Solid {
            what,
            mass_g,
            percent: content,
            source,
            trap,
            other_forms,
        } => {
            lines.extend(row(
                style,
                label,
                &format!("{what}: {} (content {content} %, {source})", grams(*mass_g)),
            ));
            further.extend(trap.iter().map(|t| format!("mind: {t}")));
            for (name, formula, mass) in other_forms {
                further.push(format!(
                    "if the bottle says {name} ({formula}): {}",
                    grams(*mass)
                ));
            }
        }
        Way::Concentrate {
            what,
            volume_ml,
            volume_range_ml,
            strength,
            source,
            trap,
            caution,
        } => {
            lines.extend(row(
                style,
                label,
                &format!(
                    "{what}, about {} mol/L: {} mL ({} to {} mL by its limits) [{source}]",
                    significant(*strength, 3),
                    significant(*volume_ml, 3),
                    significant(volume_range_ml.0, 3),
                    significant(volume_range_ml.1, 3)
                ),
            ));
            further.push(format!("caution: {caution}"));
            further.extend(trap.iter().map(|t| format!("mind: {t}")));
        }
        Way::Dilution {
            stock,
            steps,
            times,
            strength,
            exact,
        } => {
            let steps: Vec<String> = steps
                .iter()
                .map(|(take, to)| format!("{take} mL to {to} mL"))
                .collect();
            let repeated = if *times > 1 {
                format!(", {times} times")
            } else {
                String::new()
            };
            lines.extend(row(
                style,
                label,
                &format!(
                    "{} mol/L by dilution: {}{repeated}",
                    significant(*stock, 4),
                    steps.join(", then ")
                ),
            ));
            if *exact {
                further.push("exact: the factor of the stock carries over, with the glass in its uncertainty".into());
            } else {
                further.push(format!(
                    "makes {} mol/L instead of {wanted}, {} off",
                    significant(*strength, 4),
                    percent((strength / wanted_value(wanted).unwrap_or(*strength) - 1.0).abs())
                ));
            }
        }
    }
    for text in further {
        lines.extend(hanging("                          ", &text));
    }
    lines
}

fn wanted_value(wanted: &str) -> Option<f64> {
    wanted.split(' ').next()?.parse().ok()
}
