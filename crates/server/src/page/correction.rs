//! What a correction brought about: old beside new, whether a verdict changes, which certificates hold no more.

use super::frame::{Page, Part, link};
use super::result::rounded;
use crate::answer::Fault;
use crate::app::App;
use crate::text::{filled, t};
use crate::visitor::Visitor;
use axum::extract::{Path, State};
use maud::{Markup, html};
use notebook::payload::{Evaluated, Stated};
use store::{Notice, Recomputed};

pub(crate) async fn correction(
    State(app): State<App>,
    visitor: Visitor,
    Path(number): Path<u64>,
) -> Result<Markup, Fault> {
    let title = filled("correction.title", &[("n", &number.to_string())]);
    let Some(found) = app.store.correction(number).await? else {
        return Err(Fault::Missing(filled(
            "correction.missing",
            &[("n", &number.to_string())],
        )));
    };
    let page = Page {
        title: &title,
        part: Some(Part::Record),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (title) }
        (super::thing::events(std::slice::from_ref(&found.event)))
        @if let Some(counts) = &found.settled {
            p { (filled("correction.counts", &[
                ("changed", &counts.changed.to_string()), ("flips", &counts.flips.to_string()), ("superseded", &counts.superseded.to_string()),
            ])) }
        } @else if !found.changes.is_empty() {
            p.notice { (t("correction.working")) }
        }
        @if found.changes.is_empty() { p { (t("correction.none")) } } @else { (old_beside_new(&found.changes)) }
        @if found.settled.as_ref().is_some_and(|counts| counts.changed > found.changes.len() as u64) {
            p.quiet { (filled("correction.more", &[("n", &found.changes.len().to_string())])) }
        }
    }))
}

/// A link to what a correction brought about.
pub(crate) fn link_to(number: u64) -> Markup {
    html! { a href={ "/corrections/" (number) } { (filled("correction.event", &[("n", &number.to_string())])) } }
}

/// What each determination was and is, a line each result.
pub(crate) fn old_beside_new(changes: &[Recomputed]) -> Markup {
    html! {
        div.wide { table {
            thead { tr {
                th { (t("correction.determination")) } th { (t("correction.because")) } th { (t("correction.result")) }
                th.number { (t("correction.was")) } th.number { (t("correction.now")) } th { (t("correction.verdict")) }
            } }
            tbody { @for change in changes { (lines(change)) } }
        } }
    }
}

fn lines(of: &Recomputed) -> Markup {
    let change = &of.change;
    html! {
        @for (index, was) in change.was.results.iter().enumerate() {
            @let now = change.now.as_ref().and_then(|now| Some((now, now.results.get(index)?)));
            tr {
                td { @if index == 0 { (link(&of.determination)) } }
                td { @if index == 0 { (link_to(change.because)) } }
                td { (was.name) " " span.quiet { (was.of.name()) } }
                td.number { del { (value(was)) } }
                td.number { @match now { Some((_, now)) => { (value(now)) } None => { (t("correction.none_now")) } } }
                td { (verdict(&change.was, was)) " → "
                    @match now {
                        Some((all, now)) if verdict(all, now) != verdict(&change.was, was) => { span.accent { (verdict(all, now)) } }
                        Some((all, now)) => { (verdict(all, now)) }
                        None => { span.accent { (t("correction.not_usable")) } }
                    } }
            }
        }
        @if let Some(failed) = &change.failed {
            tr { td colspan="6" { span.accent { (t("correction.failed")) } " " (failed) } }
        }
        @if !of.superseded.is_empty() {
            tr { td colspan="6" { (t("correction.superseded")) @for one in &of.superseded { " " (link(one)) } } }
        }
    }
}

fn value(of: &Stated) -> String {
    let (value, u) = rounded(of.value, of.expanded_uncertainty);
    format!("{value} ± {u} {}", of.unit)
}

/// Whether a sample keeps its limits; where it has none, whether the result may be used.
fn verdict(all: &Evaluated, of: &Stated) -> &'static str {
    match of.conforms {
        Some(true) => t("result.kept"),
        Some(false) => t("result.not_kept"),
        None if all.usable => t("correction.usable"),
        None => t("correction.not_usable"),
    }
}

/// What a person should know, in a sentence.
pub(crate) fn notice(notice: &Notice) -> Markup {
    let was = notice.was.as_deref().unwrap_or_default();
    html! {
        (link(&notice.node)) ": "
        @match &notice.now {
            Some(now) => { (was) " → " (now) }
            None => { (was) " → " (t("correction.none_now")) }
        }
        ", " (t("correction.after")) " " (link_to(notice.because)) "."
        @if notice.flips { " " span.accent { (t("correction.flips")) } }
        @if !notice.superseded.is_empty() {
            " " (t("correction.superseded")) @for one in &notice.superseded { " " (link(one)) } "."
        }
    }
}

/// Everything that came out otherwise of what a person did, the latest first.
pub(crate) async fn notices(State(app): State<App>, visitor: Visitor) -> Result<Markup, Fault> {
    let found = app.store.notices(&visitor.who, 0).await?;
    let page = Page {
        title: t("correction.notices"),
        part: Some(Part::Record),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("correction.notices")) }
        @if found.is_empty() { p.quiet { (t("correction.no_notices")) } }
        @for one in found.iter().rev() { p.notice { (notice(one)) } }
    }))
}
