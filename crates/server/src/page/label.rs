//! A bottle's label, to be printed.

use super::code::picture;
use super::frame::{Page, Part, escaped};
use super::result::rounded;
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::text::t;
use crate::visitor::Visitor;
use axum::extract::{Path, State};
use certificate::Code;
use maud::{Markup, html};

pub(crate) async fn label(
    State(app): State<App>,
    visitor: Visitor,
    Path(name): Path<String>,
) -> Result<Markup, Fault> {
    let node = api::node("solution", &name)?;
    let world = app.store.world(std::slice::from_ref(&node)).await?;
    let Some(solution) = world.solution(&node) else {
        return Err(Fault::not_there(&node));
    };
    let until = notebook::validity::last_day(&world, &node);
    let page = Page {
        title: node.name(),
        part: Some(Part::Shelf),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        article.certificate {
            div.code.beside { (picture(&Code::of(&node.to_string())?, t("code.words"))) }
            p.big { (solution.prepared.substance) }
            @if let Some(standing) = solution.standing() {
                @for result in standing.evaluated.results.iter().take(1) {
                    @let (value, u) = rounded(result.value, result.expanded_uncertainty);
                    p.result { "c = " (value) " " span.together { "± " (u) " " span.unit { (result.unit) } } }
                    p { (t("label.standardized")) " " (standing.at.day()) " · " (standing.determination.name()) " · k = " (format!("{:.2}", result.coverage_factor)) }
                }
            } @else {
                p.result { (t("label.about")) " " (solution.prepared.nominal.to_string()) }
                p.accent { (t("label.not_standardized")) }
            }
            p { (t("label.made")) " " (solution.at.day()) " · " (solution.who) @if let Some(day) = until { " · " span.strong { (t("list.until")) " " (day) } } }
            @if let Some(hazard) = &solution.prepared.hazard { p.strong { (hazard) } }
            p { (t("label.sds")) }
            p.result { (node.name()) }
        }
        h2.noprint { (t("label.print")) }
        form.noprint method="get" action={ "/labels/" (escaped(node.name())) "/pdf" } {
            div.row {
                label { span { (t("label.copies")) } input type="number" name="copies" value="1" min="1" max="240"; }
                label { span { (t("label.skip")) } input type="number" name="skip" value="0" min="0" max="23"; }
            }
            label.tick { input type="checkbox" name="sheet" value="24"; (t("label.sheet")) }
            button.main type="submit" { (t("label.pdf")) }
        }
    }))
}
