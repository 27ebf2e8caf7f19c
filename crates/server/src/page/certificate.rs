//! A certificate on one page, to be printed: what was found, by what it can be traced, and whether it still holds. It says
//! what the PDF says: both are made of one sheet.

use super::code::picture;
use super::forms;
use super::frame::{Page, Part, escaped, link, path_of};
use super::result::rounded;
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::paper::certificate_sheet;
use crate::text::{filled, t};
use crate::visitor::Visitor;
use crate::words;
use axum::extract::{Path, State};
use certificate::{CertificateSheet, Standing, Weight, code_of, name_of, said_rows, terms};
use maud::{Markup, html};

pub(crate) async fn certificate(
    State(app): State<App>,
    visitor: Visitor,
    Path(name): Path<String>,
) -> Result<Markup, Fault> {
    let node = api::node("certificate", &name)?;
    let (sheet, _) = certificate_sheet(&app.store, &node).await?;
    let world = app.store.world(std::slice::from_ref(&node)).await?;
    let change = match world.state(&node) {
        Some(state) => forms::change(&app, &visitor, &node, state, &path_of(&node)).await?,
        None => html! {},
    };
    let page = Page {
        title: node.name(),
        part: Some(Part::Results),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        article.certificate {
            div.code.beside { (picture(&code_of(&sheet)?, &filled("certificate.code", &[("id", node.name())]))) }
            h1 translate="no" { (t("certificate.title")) " " (node.name()) }
            p.noprint {
                a href={ "/certificates/" (escaped(node.name())) "/pdf" } { (t("certificate.pdf")) } " · "
                a href={ "/things/certificate/" (escaped(node.name())) } { (t("certificate.threads")) }
            }
            p.quiet { (sheet.laboratory) br; (sheet.title) " (" (link(&sheet.determination)) ")" }
            (standing(&sheet.standing))
            (results(&sheet))
            (rows(&sheet))
            (budgets(&sheet))
            p.quiet {
                (filled("certificate.event", &[("n", &sheet.event.number.to_string()), ("id", &sheet.event.id)])) br;
                (t("certificate.hash")) " " code { (sheet.event.hash) }
            }
        }
        (change)
    }))
}

fn standing(standing: &Standing) -> Markup {
    html! {
        @match standing {
            Standing::Current => { p { (t("certificate.current")) } }
            Standing::Superseded { reason, by, at } => {
                p.notice role="alert" { (t("certificate.superseded")) " " (at.day()) ": " (reason)
                    @if let Some(by) = by { " " (t("certificate.replaced_by")) " " (link(by)) } }
            }
            Standing::Withdrawn { reason, at } => {
                p.notice role="alert" { (t("certificate.withdrawn")) " " (at.day()) ": " (reason) }
            }
        }
    }
}

fn results(sheet: &CertificateSheet) -> Markup {
    html! {
        @for line in &sheet.results {
            @let (value, u) = rounded(line.stated.value, line.stated.expanded_uncertainty);
            p.quiet.of { (name_of(line)) }
            p.big { (value) " " span.result { span.unit { (line.stated.unit) } " " span.together { "± " (u) " " span.unit { (line.stated.unit) } } } }
            p.quiet { (terms(line)) }
        }
    }
}

fn rows(sheet: &CertificateSheet) -> Markup {
    html! {
        dl.facts.rows { @for row in said_rows(sheet) {
            dt { (words::engine("row", row.name)) }
            dd { @for (weight, text) in &row.lines {
                @match weight {
                    Weight::Plain => { p { (text) } }
                    Weight::Quiet => { p.quiet { (text) } }
                    Weight::Strong => { p.strong { (text) } }
                    Weight::Accent => { p.accent { (text) } }
                }
            } }
        } }
    }
}

fn budgets(sheet: &CertificateSheet) -> Markup {
    html! {
        @if sheet.budgets.is_empty() { p.quiet { (t("certificate.no_budget")) } }
        @for budget in &sheet.budgets {
            h2 { (t("result.limits")) ": " (budget.of) }
            table { tbody {
                @for (group, share) in budget.groups.iter().filter(|(_, share)| *share >= 0.005) {
                    tr { td { (words::engine("group", group)) } td.number { (format!("{:.0} %", 100.0 * share)) } }
                }
            } }
        }
        @if !sheet.runs.is_empty() {
            h2 { (t("runs.caption")) }
            div.wide { table { tbody {
                @for run in &sheet.runs {
                    tr { td { @if let Some(of) = &run.of { (of) ", " } (run.name) } td.number { (run.titre) " mL" } td.quiet { (counts(&run.status)) } }
                }
            } } }
        }
    }
}

/// Whether a run counts, and why not.
fn counts(status: &str) -> String {
    match status.split_once(": ") {
        Some((word, why)) => format!("{}: {why}", words::engine("counts", word)),
        None => words::engine("counts", status).to_string(),
    }
}
