//! What the program knows by name, offered where a name is typed: glass, balances, substances, indicators. Anything else may be
//! typed too.

use chemistry::indicators::Indicator;
use chemistry::substances::{Catalogue, Kind};
use maud::{Markup, html};
use std::collections::BTreeSet;

fn list(id: &str, names: impl IntoIterator<Item = String>) -> Markup {
    html! { datalist id=(id) { @for name in names { option value=(name) {} } } }
}

/// Glass by the shortest name that finds it.
pub(crate) fn glass() -> Markup {
    let mut seen = BTreeSet::new();
    let names = volumetry::catalogue::entries().iter().map(|entry| {
        let whole = entry.to_string();
        let short = whole.split(" graduated").next().unwrap_or(&whole);
        let finds = volumetry::catalogue::find(short).is_ok_and(|found| found == entry);
        if finds { short.to_string() } else { whole }
    });
    list("glass", names.filter(|name| seen.insert(name.clone())))
}

/// Burettes alone.
pub(crate) fn burettes() -> Markup {
    let all = volumetry::catalogue::entries().iter();
    let burettes = all.filter(|entry| entry.kind == volumetry::catalogue::Kind::Burette);
    list("burettes", burettes.map(ToString::to_string))
}

/// Balances.
pub(crate) fn balances() -> Markup {
    let all = volumetry::balance::balances().iter();
    list("balances", all.map(|balance| balance.name.clone()))
}

fn substances(id: &str, serves: impl Fn(Kind) -> bool) -> Markup {
    let all = Catalogue::embedded().substances().iter();
    let names: BTreeSet<String> = all
        .filter(|substance| substance.kinds.iter().any(|kind| serves(*kind)))
        .map(|substance| substance.name.clone())
        .collect();
    list(id, names)
}

/// Substances that are titrants.
pub(crate) fn titrants() -> Markup {
    substances("titrants", |kind| kind == Kind::Titrant)
}

/// Primary standards.
pub(crate) fn standards() -> Markup {
    substances("standards", |kind| kind == Kind::PrimaryStandard)
}

/// All substances, for what comes with a certificate.
pub(crate) fn all_substances() -> Markup {
    substances("substances", |_| true)
}

/// Indicators.
pub(crate) fn indicators() -> Markup {
    let all = Indicator::all().iter();
    list("indicators", all.map(|indicator| indicator.name.clone()))
}
