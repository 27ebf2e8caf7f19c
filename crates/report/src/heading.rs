//! The head of a report: what was done, by whom, when, with what.

use crate::lines::{WIDTH, clean, cut, hanging};
use crate::style::Style;
use metrology::rounding::{TieRule, round_significant};
use titrimetry::Evaluation;
use titrimetry::sheet::{BalanceSpec, Known, PieceSpec, Place, Stated};

/// Title, date, analyst, and the lines that describe the determination.
pub(crate) fn heading(evaluation: &Evaluation, style: Style) -> Vec<String> {
    let sheet = &evaluation.sheet;
    let mut lines = vec![style.strong(cut(&clean(&sheet.title), WIDTH))];
    let who_when: Vec<&str> = [sheet.date.as_deref(), sheet.analyst.as_deref()]
        .into_iter()
        .flatten()
        .collect();
    if !who_when.is_empty() {
        lines.push(style.quiet(cut(&clean(&who_when.join(", ")), WIDTH)));
    }
    lines.push(String::new());
    let mut say = |label: &str, text: String| {
        if !text.is_empty() {
            for (i, line) in hanging(&format!("{label:<12}"), &text)
                .into_iter()
                .enumerate()
            {
                lines.push(match (i, line.strip_prefix(label)) {
                    (0, Some(rest)) => format!("{}{rest}", style.quiet(label)),
                    _ => line,
                });
            }
        }
    };
    say("sought", sought(evaluation));
    say("known", known(&sheet.known));
    say("reaction", reaction(evaluation));
    say("apparatus", apparatus(evaluation));
    say("end point", sheet.indicator.clone().unwrap_or_default());
    say("conditions", conditions(evaluation));
    lines
}

fn sought(evaluation: &Evaluation) -> String {
    let sought = &evaluation.sheet.sought;
    let mut parts = vec![format!(
        "{} in the {}",
        sought.substance,
        match sought.place {
            Place::Burette => "burette",
            Place::Flask => "flask",
        }
    )];
    parts.extend(sought.bottle.as_ref().map(|b| format!("bottle {b}")));
    parts.extend(sought.nominal.as_ref().map(|n| format!("nominal {n}")));
    parts.join(", ")
}

fn known(known: &Known) -> String {
    let mut parts = vec![known.substance.clone()];
    parts.extend(known.bottle.as_ref().map(|b| format!("bottle {b}")));
    if let Some(purity) = &known.purity {
        parts.push(stated("purity", purity));
    }
    if let Some(concentration) = &known.concentration {
        parts.push(stated("", concentration));
    }
    if let Some(sheet) = &known.sheet {
        parts.push(format!("as standardized by {sheet}"));
    }
    match &known.dissolved {
        Some(dissolved) => {
            let mass = match (&dissolved.mass, &dissolved.gross, &dissolved.tare) {
                (Some(mass), _, _) => mass.to_string(),
                (None, Some(gross), Some(tare)) => format!("{gross} less {tare}"),
                _ => String::new(),
            };
            parts.push(format!("{mass} made up in {}", piece(&dissolved.flask)));
        }
        None if known.purity.is_some() => parts.push("weighed for each run".into()),
        None => {}
    }
    parts.join(", ")
}

fn stated<K: titrimetry::sheet::Kind>(what: &str, stated: &Stated<K>) -> String {
    let mut text = format!("{what} {}", stated.value).trim().to_string();
    if let Some(expanded) = &stated.expanded {
        text.push_str(&format!(
            " (U = {expanded}, k = {})",
            stated.k.unwrap_or(2.0)
        ));
    } else if let Some(standard) = &stated.standard {
        text.push_str(&format!(" (u = {standard})"));
    } else if let Some(within) = &stated.within {
        text.push_str(&format!(" (within {within})"));
    } else if stated.exact {
        text.push_str(" (taken as exact)");
    }
    if let Some(certificate) = &stated.certificate {
        text.push_str(&format!(", certificate {certificate}"));
    }
    text
}

fn reaction(evaluation: &Evaluation) -> String {
    let ratio = round_significant(evaluation.ratio, 5, TieRule::HalfEven)
        .unwrap_or_else(|_| evaluation.ratio.to_string());
    let ratio = if ratio.contains('.') {
        ratio.trim_end_matches('0').trim_end_matches('.')
    } else {
        &ratio
    };
    format!(
        "{}; {ratio} mol sought for 1 mol known",
        evaluation.reaction
    )
}

fn apparatus(evaluation: &Evaluation) -> String {
    let apparatus = &evaluation.sheet.apparatus;
    let mut parts = vec![piece(&apparatus.burette)];
    parts.extend(apparatus.pipette.as_ref().map(piece));
    parts.extend(apparatus.balance.as_ref().map(|balance| match balance {
        BalanceSpec::Name(name) => name.clone(),
        BalanceSpec::Own(own) => match &own.id {
            Some(id) => format!("balance {id} (reads to {})", own.readability),
            None => format!("balance that reads to {}", own.readability),
        },
    }));
    parts.join(", ")
}

fn piece(piece: &PieceSpec) -> String {
    match piece {
        PieceSpec::Name(name) => name.clone(),
        PieceSpec::Own(own) => {
            let calibrated = own
                .calibration
                .as_ref()
                .map(|calibration| format!("calibrated: {}", calibration.certificate));
            let own_words: Vec<String> = own.id.iter().cloned().chain(calibrated).collect();
            if own_words.is_empty() {
                own.catalogue.clone()
            } else {
                format!("{} ({})", own.catalogue, own_words.join(", "))
            }
        }
    }
}

fn conditions(evaluation: &Evaluation) -> String {
    let conditions = &evaluation.sheet.conditions;
    let mut parts = Vec::new();
    if let Some(temperature) = &conditions.temperature {
        parts.push(match &conditions.temperature_within {
            Some(within) => format!("{temperature} \u{b1} {within}"),
            None => temperature.to_string(),
        });
    }
    parts.extend(conditions.pressure.as_ref().map(ToString::to_string));
    parts.extend(
        conditions
            .humidity
            .as_ref()
            .map(|h| format!("relative humidity {h}")),
    );
    parts.join(", ").replace("degC", "°C")
}
