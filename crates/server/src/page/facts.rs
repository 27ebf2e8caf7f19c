//! What was entered of a thing, as it stands now.

use super::frame::link;
use crate::text::t;
use crate::words;
use maud::{Markup, html};
use notebook::Node;
use notebook::payload::{Ingredient, LotUse, Piece};
use notebook::state::{Apparatus, Lot, Sample, Solution, State};
use std::fmt::Display;
use titrimetry::assay::SampleKind;
use titrimetry::sheet::{BalanceSpec, CalibrationSpec, Kind, PieceSpec, Stated};

/// A list of facts.
#[derive(Default)]
struct Facts(Vec<(&'static str, Markup)>);

impl Facts {
    fn put(&mut self, word: &'static str, value: impl Display) {
        self.0.push((t(word), html! { (value.to_string()) }));
    }

    /// A name that people gave.
    fn name(&mut self, word: &'static str, name: Option<&String>) {
        if let Some(name) = name {
            self.0
                .push((t(word), html! { span translate="no" { (name) } }));
        }
    }

    fn maybe(&mut self, word: &'static str, value: Option<impl Display>) {
        if let Some(value) = value {
            self.put(word, value);
        }
    }

    fn show(&self) -> Markup {
        html! { @if !self.0.is_empty() { dl.facts { @for (word, value) in &self.0 { dt { (word) } dd { (value) } } } } }
    }
}

/// A value with what is said of its uncertainty.
pub(crate) fn stated<K: Kind>(stated: &Stated<K>) -> String {
    let mut said = words::quantity(&stated.value.to_string());
    if let Some(expanded) = &stated.expanded {
        let u = words::quantity(&expanded.to_string());
        said.push_str(&format!(" ± {u} (k = {})", stated.k.unwrap_or(2.0)));
    }
    if let Some(standard) = &stated.standard {
        said.push_str(&format!(", u = {}", words::quantity(&standard.to_string())));
    }
    if let Some(within) = &stated.within {
        said.push_str(&format!(" ± {}", words::quantity(&within.to_string())));
    }
    said
}

/// The facts of a thing.
pub(crate) fn facts(node: &Node, state: &State) -> Markup {
    match state {
        State::Lot(lot) => of_lot(lot),
        State::Solution(solution) => of_solution(solution),
        State::Sample(sample) => of_sample(sample),
        State::Apparatus(apparatus) => of_apparatus(apparatus),
        State::Person(person) => {
            let mut facts = Facts::default();
            facts.put("people.short", node.name());
            let roles: Vec<&str> = person.roles.iter().map(|r| words::role(*r)).collect();
            facts.put("people.role", roles.join(", "));
            facts.show()
        }
        State::Method(card) => {
            let mut facts = Facts::default();
            if let Some(method) = card.at(u64::MAX) {
                facts.put("facts.purpose", &method.purpose);
                facts.put("facts.version", &method.version);
                facts.put("facts.titrant", &method.titrant.substance);
            }
            facts.show()
        }
        State::Rules(card) => html! {
            @if let Some(profile) = card.at(u64::MAX) {
                dl.facts { dt { (t("facts.version")) } dd { (profile.version) } }
                ul { @for line in profile.describe() { li { (line) } } }
            }
        },
        _ => html! {},
    }
}

fn of_lot(lot: &Lot) -> Markup {
    let mut facts = Facts::default();
    let serves = match lot.received.serves_as {
        LotUse::Standard => t("shelf.standard"),
        LotUse::Reagent => t("shelf.reagent"),
    };
    facts.put("shelf.substance", &lot.received.substance);
    facts.put("shelf.serves_as", serves);
    facts.name("shelf.makers_lot", lot.received.makers_lot.as_ref());
    if let Some(certificate) = &lot.certificate {
        facts.name("shelf.certificate", Some(&certificate.number));
        facts.maybe("shelf.purity", certificate.purity.as_ref().map(stated));
        let concentration = certificate.concentration.as_ref().map(stated);
        facts.maybe("facts.concentration", concentration);
    }
    facts.maybe("facts.density", lot.received.density.as_ref());
    facts.put("facts.came", lot.at.day());
    facts.maybe("facts.opened", lot.opened.map(|at| at.day()));
    facts.maybe("shelf.expires", lot.expires);
    facts.show()
}

fn of_solution(solution: &Solution) -> Markup {
    let prepared = &solution.prepared;
    let mut facts = Facts::default();
    facts.put("shelf.substance", &prepared.substance);
    facts.put(
        "shelf.nominal",
        words::quantity(&prepared.nominal.to_string()),
    );
    let volume = prepared.volume.as_ref().map(ToString::to_string);
    facts.maybe("shelf.volume", volume.as_deref().map(words::quantity));
    if !solution.made_of.is_empty() {
        facts
            .0
            .push((t("form.made_of"), ingredients(&solution.made_of)));
    }
    facts.put(
        "facts.made",
        format!("{}, {}", solution.at.day(), solution.who),
    );
    facts.name("shelf.kept", solution.kept.as_ref());
    facts.maybe("shelf.use_before", prepared.use_before);
    facts.maybe("facts.hazard", prepared.hazard.as_ref());
    facts.show()
}

fn ingredients(made_of: &[Ingredient]) -> Markup {
    html! {
        @for (n, Ingredient { from, amount }) in made_of.iter().enumerate() {
            @if n > 0 { ", " }
            (words::quantity(&amount.to_string())) " " (link(from))
        }
    }
}

fn of_sample(sample: &Sample) -> Markup {
    let received = &sample.received;
    let mut facts = Facts::default();
    facts.name("shelf.what", Some(&received.what));
    if received.role == SampleKind::Check {
        facts.put("form.is", t("form.check"));
    }
    facts.maybe("shelf.from", received.from.as_ref());
    facts.maybe("form.expected", received.expected.as_ref().map(stated));
    if let Some(limits) = &received.limits {
        facts.maybe("form.least", limits.from.as_ref());
        facts.maybe("form.most", limits.to.as_ref());
    }
    facts.maybe("facts.density", received.density.as_ref().map(stated));
    facts.put("facts.came", sample.at.day());
    facts.show()
}

fn of_apparatus(apparatus: &Apparatus) -> Markup {
    let mut facts = Facts::default();
    let Some(last) = apparatus.calibrations.last() else {
        return html! {};
    };
    let mut table = None;
    match &last.is {
        Piece::Glass(spec) => {
            facts.put("facts.piece", spec.catalogue());
            if let PieceSpec::Own(own) = spec {
                facts.maybe("facts.tolerance", own.tolerance.as_ref());
                facts.maybe("facts.graduation", own.graduation.as_ref());
                table = own.calibration.as_deref();
            }
        }
        Piece::Balance(BalanceSpec::Name(name)) => facts.put("facts.balance", name),
        Piece::Balance(BalanceSpec::Own(own)) => {
            facts.put("form.readability", &own.readability);
            facts.maybe("form.repeatability", own.repeatability.as_ref());
            facts.maybe("form.linearity", own.linearity.as_ref());
        }
    }
    facts.name("facts.calibration", last.by.as_ref());
    if last.by.is_some() {
        facts.put("facts.since", last.at.day());
    }
    facts.maybe("shelf.due", apparatus.due);
    let before = apparatus.calibrations.len() - 1;
    let earlier = apparatus.calibrations[..before].iter();
    let earlier: Vec<String> = earlier
        .filter_map(|edition| Some(format!("{} ({})", edition.by.as_ref()?, edition.at.day())))
        .collect();
    if !earlier.is_empty() {
        facts.put("facts.earlier", earlier.join(", "));
    }
    html! { (facts.show()) @if let Some(table) = table { (calibration(table)) } }
}

fn calibration(spec: &CalibrationSpec) -> Markup {
    html! {
        table {
            caption.quiet { (t("form.points")) }
            thead { tr { th.number { (t("form.at")) } th.number { (t("form.correction")) } th.number { (t("form.u")) } } }
            tbody { @for point in &spec.points {
                tr { @for value in [point.at.to_string(), point.correction.to_string(), point.u.to_string()] { td.number { (words::quantity(&value)) } } }
            } }
        }
    }
}
