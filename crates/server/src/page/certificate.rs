//! A certificate on one page, to be printed: what was found, by what it can be traced, and whether it still holds.

use super::frame::{Page, Part, escaped, link};
use super::result::{rounded, sentence};
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::text::{filled, t};
use crate::visitor::Visitor;
use axum::extract::{Path, State};
use maud::{Markup, html};
use notebook::state::CertificateStatus;
use report::shares_by_group;

pub(crate) async fn certificate(
    State(app): State<App>,
    visitor: Visitor,
    Path(name): Path<String>,
) -> Result<Markup, Fault> {
    let node = api::node("certificate", &name)?;
    let world = app.store.world(std::slice::from_ref(&node)).await?;
    let Some(certificate) = world.certificate(&node) else {
        return Err(Fault::Missing(format!("{node} is not in the record")));
    };
    let issued = &certificate.issued;
    let laboratory = world.record().map(|r| r.name.clone()).unwrap_or_default();
    let determination = world.determination(&issued.determination);
    let (_, hash) = app.store.end().await?;
    let events = app.store.history(&node, 0).await?;
    let own = events.first().map(|e| (e.number, e.id.clone()));
    let made_of = app.store.made_of(&node).await?;
    let page = Page {
        title: node.name(),
        part: Some(Part::Results),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        article.certificate {
            h1 { (t("certificate.title")) " " (node.name()) }
            p.noprint { a href={ "/certificates/" (escaped(node.name())) "/pdf" } { (t("certificate.pdf")) } }
            p.quiet { (laboratory) }
            @match &certificate.status {
                CertificateStatus::Current => { p { (t("certificate.current")) } }
                CertificateStatus::Superseded { reason, by, at, .. } => {
                    p.notice role="alert" { (t("certificate.superseded")) " " (at.day()) ": " (reason)
                        @if let Some(by) = by { " " (t("certificate.replaced_by")) " " (link(by)) } }
                }
                CertificateStatus::Withdrawn { reason, at } => {
                    p.notice role="alert" { (t("certificate.withdrawn")) " " (at.day()) ": " (reason) }
                }
            }
            @if let Some(evaluated) = &issued.evaluated {
                (sentence(evaluated, None))
                div.wide { table {
                    thead { tr { th { (t("certificate.what")) } th.number { (t("certificate.value")) } th.number { "U" } th { (t("certificate.unit")) } th.number { "k" } } }
                    tbody {
                        @for result in &evaluated.results {
                            @let (value, u) = rounded(result.value, result.expanded_uncertainty);
                            tr {
                                td { (link(&result.of)) ", " (result.name) @if let Some(form) = &result.expressed_as { " (" (form) ")" } }
                                td.number { (value) } td.number { (u) } td { (result.unit) } td.number { (format!("{:.2}", result.coverage_factor)) }
                            }
                        }
                    }
                } }
                p.quiet { (filled("certificate.computed", &[("program", &evaluated.program), ("rules", &evaluated.rules)])) }
                p { @if evaluated.usable { (t("certificate.usable")) } @else { span.accent { (t("result.not_usable")) } } }
            }
            h2 { (t("certificate.traced")) }
            p { (t("certificate.traced_how")) }
            ul { @for (_, edge) in made_of.threads.iter().take(24) { li { (link(&edge.what)) " " (edge.how.word()) " " (link(&edge.on)) } } }
            @if let Ok(outcome) = &app.store.evaluate(&issued.determination).await?.outcome {
                @if let notebook::Outcome::Standardization { evaluation, .. } = outcome {
                    h2 { (t("result.limits")) }
                    table { tbody {
                        @for share in shares_by_group(&evaluation.formula, &evaluation.budget).iter().filter(|s| s.share >= 0.005) {
                            tr { td { (share.group) } td.number { (format!("{:.0} %", 100.0 * share.share)) } }
                        }
                    } }
                }
            }
            @if let Some(d) = determination {
                h2 { (t("certificate.people")) }
                p { (t("certificate.done")) " " (d.who) ", " (d.at.day()) }
                @if let Some(s) = &d.reviewed { p { (t("result.reviewed")) " " (s.name.as_deref().unwrap_or(&s.who)) ", " (s.at.day()) } }
                @if let Some(s) = &d.approved { p { (t("result.approved")) " " (s.name.as_deref().unwrap_or(&s.who)) ", “" (s.meaning) "”, " (s.at.day()) } }
            }
            p { (t("certificate.issued")) " " (certificate.who) ", " (certificate.at.day()) ", “" (issued.meaning) "”"
                @if let Some(day) = issued.use_before { "; " (t("certificate.holds")) " " (day) } }
            @if let Some((number, id)) = own {
                p.quiet { (filled("certificate.event", &[("n", &number.to_string()), ("id", &id)])) br; (t("record.hash")) " " code { (hash.to_string()) } }
            }
        }
    }))
}
