//! The worked solution and the run table: as a page, as PDF, and as one HTML file to be kept.

use super::frame::{Page, Part, drawn, escaped, path_of};
use super::pdf;
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::paper::working_sheet;
use crate::text::t;
use crate::visitor::Visitor;
use crate::words;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use certificate::{RunTable, WorkedResult, WorkingSheet, working_pdf};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use report::{mathml, percent, raised, significant};

/// The looks of a file that stands alone: that of the pages, without what only a screen needs.
const STYLE: &str = "body{font-family:'DejaVu Sans',Verdana,sans-serif;font-variant-numeric:tabular-nums;color:#22303a;line-height:1.45;max-width:52rem;margin:2rem auto;padding:0 1rem}\
h1{font-weight:400}h2{font-weight:400;font-size:1rem;color:#5c6d77;margin-top:1.6rem}.quiet{color:#5c6d77}.big{font-size:2.4rem;margin:.2rem 0}\
table{border-collapse:collapse}th,td{text-align:left;font-weight:400;padding:.3rem 1.2rem .3rem 0;border-top:1px solid #d9e1e5;vertical-align:baseline}.number{text-align:right}\
ol.steps>li{margin:.7rem 0}math.step{display:block;width:fit-content;text-align:left}math.step mtd{padding:.3em .25em;text-align:left}.wide{overflow-x:auto}";

pub(crate) async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(name): Path<String>,
) -> Result<Markup, Fault> {
    let node = api::node("determination", &name)?;
    let sheet = working_sheet(&app.store, &node).await?;
    let page = Page {
        title: t("working.title"),
        part: Some(Part::Results),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    let at = format!("/determinations/{}/working", escaped(node.name()));
    Ok(page.with(&html! {
        article.origin {
            nav.crumbs.noprint aria-label=(t("origin.way")) { ol { li { a href=(path_of(&node)) { (node.name()) } } } }
            p.noprint {
                a href={ (at) ".pdf" } { (t("working.pdf")) } " · " a href={ (at) ".html" } { (t("working.html")) }
            }
            (body(&sheet))
        }
    }))
}

pub(crate) async fn as_pdf(
    State(app): State<App>,
    _: Visitor,
    Path(name): Path<String>,
) -> Result<Response, Fault> {
    let node = api::node("determination", &name)?;
    let sheet = working_sheet(&app.store, &node).await?;
    Ok(pdf::answer(&node, working_pdf(&sheet)?))
}

pub(crate) async fn as_html(
    State(app): State<App>,
    _: Visitor,
    Path(name): Path<String>,
) -> Result<Response, Fault> {
    let node = api::node("determination", &name)?;
    let sheet = working_sheet(&app.store, &node).await?;
    let headers = [
        (header::CONTENT_TYPE, "text/html; charset=utf-8".to_string()),
        (
            header::CONTENT_DISPOSITION,
            format!(
                "attachment; filename=\"{}-working.html\"",
                pdf::file_name(&node)
            ),
        ),
    ];
    Ok((headers, document(&sheet)).into_response())
}

/// One HTML file that needs nothing else.
pub(crate) fn document(sheet: &WorkingSheet) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (t("working.title")) " " (sheet.determination.name()) }
                style { (PreEscaped(STYLE)) }
            }
            body { main {
                (body(sheet))
                p.quiet { (sheet.laboratory) ". " (notebook::PROGRAM) ". " (t("working.no_certificate")) }
            } }
        }
    }
    .into_string()
}

fn body(sheet: &WorkingSheet) -> Markup {
    html! {
        h1 { (t("working.title")) " " (sheet.determination.name()) }
        p.quiet { (sheet.title) " · " (sheet.begun) @if !sheet.by.is_empty() { br; (sheet.by) } }
        h2 { (t("runs.caption")) }
        @for table in &sheet.runs { (runs(table)) }
        @for note in &sheet.notes { p.quiet { (note) } }
        @for result in &sheet.results { (one(result)) }
    }
}

fn runs(table: &RunTable) -> Markup {
    html! {
        div.wide tabindex="0" role="group" aria-label=(t("runs.caption")) { table.runs {
            thead { tr { th { (t("runs.run")) } @for run in &table.runs { th.number scope="col" { (run) } } } }
            tbody { @for (name, cells) in &table.rows {
                tr { th scope="row" { (name) } @for cell in cells { td.number { @if let Some(was) = &cell.was { del { (was) } " " } (cell.is) } } }
            } }
        } }
    }
}

fn one(result: &WorkedResult) -> Markup {
    let [value, u, unit, k] = &result.stated;
    let worked = &result.worked;
    html! {
        h2 { (result.name) }
        p.big { (value) " " span.result { span.unit.quiet { (unit) } } }
        p { "± " (u) " " (unit) ", k = " (k) }
        h2 { (t("working.given")) }
        div.wide tabindex="0" role="group" aria-label=(t("working.given")) { table.given { tbody { @for given in &worked.given {
            tr {
                td { (drawn(mathml::symbol(&given.symbol))) } td.number { (given.value) }
                td.quiet { (given.what) " [" (given.source) "]" }
            }
        } } } }
        ol.quiet { @for source in &worked.sources { li { (source) } } }
        h2 { (t("working.steps")) }
        div.wide tabindex="0" role="group" aria-label=(t("working.steps")) {
            ol.steps { @for step in &worked.steps {
                li { span.quiet { (step.what) } (drawn(step.math.clone())) }
            } }
        }
        h2 { (t("working.sure")) }
        div.wide tabindex="0" role="group" aria-label=(t("working.sure")) { table {
            thead { tr { th { (t("origin.what")) } th.number { "u" } th { (t("origin.unit")) } th.number { (t("origin.contribution")) } th.number { (t("origin.share_short")) } } }
            tbody { @for input in result.budget.inputs.iter().filter(|i| i.share >= 5e-5) {
                tr {
                    td { (words::quantity(&input.what)) } td.number { (raised(&significant(input.standard_uncertainty, 2))) }
                    td.quiet { @if input.unit != "1" { (words::quantity(&input.unit)) } }
                    td.number { (raised(&significant(input.contribution, 2))) } td.number { (percent(input.share)) }
                }
            } }
        } }
        @for line in &worked.closing { p { (line) } }
    }
}
