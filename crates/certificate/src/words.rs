//! Numbers and names as a certificate puts them into words.

use crate::sheet::Line;
use chemistry::formula::Formula;

pub(crate) fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    if (percent - percent.round()).abs() < 1e-9 {
        format!("{percent:.0} %")
    } else {
        format!("{percent:.2} %")
    }
}

/// A probability that is never said to be none or all.
pub(crate) fn certainty(probability: f64) -> String {
    if probability > 0.9995 {
        "above 99.9 %".into()
    } else if probability < 0.0005 {
        "below 0.1 %".into()
    } else {
        format!("of {:.1} %", 100.0 * probability)
    }
}

/// The text with its numbers tied to their units and to their equals signs.
pub(crate) fn bound(text: &str) -> String {
    let mut bound = String::with_capacity(text.len());
    let mut rest = text.chars().peekable();
    let mut before = ' ';
    while let Some(c) = rest.next() {
        let unit = rest.peek().is_some_and(|next| {
            !next.is_ascii_digit() && (before.is_ascii_digit() || *next == '=')
        });
        bound.push(if c == ' ' && (unit || before == '=') {
            '\u{a0}'
        } else {
            c
        });
        before = c;
    }
    bound
}

/// Units as they are printed.
pub(crate) fn typeset(text: &str) -> String {
    text.replace("degC", "°C")
        .replace("m3", "m³")
        .replace("m2", "m²")
}

/// What a result is, of what, and as what it is expressed.
pub fn name_of(line: &Line) -> String {
    let expressed = line
        .stated
        .expressed_as
        .as_deref()
        .filter(|e| !line.what.starts_with(e))
        .map(|e| {
            format!(
                ", as {}",
                e.parse::<Formula>()
                    .map_or_else(|_| e.to_string(), |f| f.pretty())
            )
        })
        .unwrap_or_default();
    let what = if line.what.is_empty() {
        String::new()
    } else {
        format!(": {}", line.what)
    };
    format!(
        "{} of {}{what}{expressed}",
        line.stated.name,
        line.stated.of.name()
    )
}

/// k, probability and degrees of freedom.
pub fn terms(line: &Line) -> String {
    let s = &line.stated;
    let probability = s
        .probability
        .map_or("coverage probability not claimed".into(), |p| {
            format!("coverage probability {}", percent(p))
        });
    let freedom = s.degrees_of_freedom.map_or("∞".into(), |v| {
        if v < 99.5 {
            format!("{v:.1}")
        } else {
            format!("{v:.0}")
        }
    });
    format!(
        "k = {:.2}, {probability}, effective degrees of freedom {freedom}",
        s.coverage_factor
    )
}
