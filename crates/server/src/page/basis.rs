//! What a result rests on, in short: standard, apparatus, conditions, rules, and how sure it is.

use super::frame::link;
use super::result::Shown;
use crate::text::t;
use crate::words;
use maud::{Markup, html};
use notebook::payload::{Evaluated, KnownBy, Plan};
use notebook::{Node, Outcome};

/// The lines.
pub(crate) fn basis(shown: &Shown<'_>, outcome: &Outcome, evaluated: &Evaluated) -> Markup {
    let opened = &shown.determination.opened;
    let known = |known: &KnownBy| match known {
        KnownBy::Lot(lot) => named(shown, lot),
        KnownBy::Solution { solution, .. } => named(shown, solution),
    };
    let pieces = [
        Some(&opened.burette),
        opened.pipette.as_ref(),
        opened.balance.as_ref(),
    ];
    let pieces: Vec<&Node> = pieces
        .into_iter()
        .flatten()
        .chain(opened.pieces.values())
        .collect();
    let conditions = &shown.determination.conditions;
    let air = [
        conditions.temperature.as_ref().map(ToString::to_string),
        conditions
            .temperature_within
            .as_ref()
            .map(|w| format!("± {w}")),
        conditions.pressure.as_ref().map(ToString::to_string),
        conditions.humidity.as_ref().map(ToString::to_string),
    ];
    let air: Vec<String> = air
        .into_iter()
        .flatten()
        .map(|q| words::quantity(&q))
        .collect();
    let profile = outcome.profile();
    html! {
        h2 { (t("basis.title")) }
        dl.facts {
            @match &opened.plan {
                Plan::Standardization { known: by, sought, indicator, .. } => {
                    dt { (t("basis.standard")) } dd { (known(by)) }
                    @if let Some(indicator) = indicator { dt { (t("new.indicator")) } dd { (indicator) } }
                    @if let Some(factor) = factor(shown, sought, evaluated) { dt { (t("basis.factor")) } dd { (factor) } }
                }
                Plan::Assay { method, titrant, reagents, .. } => {
                    dt { (t("new.method")) } dd { (link(method)) }
                    dt { (t("facts.titrant")) } dd { (known(&titrant.known)) }
                    @for (name, source) in reagents { dt { (name) } dd { (known(&source.known)) } }
                }
            }
            dt { (t("shelf.apparatus")) }
            dd { @for (n, piece) in pieces.iter().enumerate() { @if n > 0 { br; } (named(shown, piece)) } }
            @if !air.is_empty() { dt { (t("bench.conditions")) } dd { (air.join(", ")) } }
            dt { (t("new.rules")) }
            dd { (profile.name) " " (profile.version) ": "
                @if evaluated.usable { (t("basis.kept")) } @else { span.accent { (t("basis.not_kept")) } } }
            @if let [only] = evaluated.results.as_slice() {
                @let relative = only.expanded_uncertainty / only.value.abs();
                @if relative.is_finite() { dt { (t("basis.relative")) } dd { (report::percent(relative)) } }
                @if let Some(freedom) = only.degrees_of_freedom { dt { (t("origin.dof")) } dd { (report::degrees_of_freedom(freedom)) } }
            }
        }
    }
}

/// A thing with what it is.
fn named(shown: &Shown<'_>, node: &Node) -> Markup {
    let is = if let Some(lot) = shown.world.lot(node) {
        lot.received.substance.clone()
    } else if let Some(solution) = shown.world.solution(node) {
        solution.prepared.substance.clone()
    } else if let Some(piece) = shown.world.apparatus(node).and_then(|a| a.piece()) {
        words::piece(piece)
    } else {
        String::new()
    };
    html! { (link(node)) @if !is.is_empty() { ", " (is) } }
}

/// The concentration found, of that for which it was made.
fn factor(shown: &Shown<'_>, sought: &Node, evaluated: &Evaluated) -> Option<String> {
    let nominal = shown.world.solution(sought)?.prepared.nominal.value();
    let found = evaluated.results.first()?;
    let (factor, u) = (found.value / nominal, found.expanded_uncertainty / nominal);
    (nominal > 0.0).then(|| {
        let (factor, u) = super::result::rounded(factor, u);
        format!("{factor} ± {u}")
    })
}
