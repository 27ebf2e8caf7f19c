//! The shelf: lots, solutions, apparatus, samples; what may be used today, and how to take in what is new.

use super::frame::{Page, Part, unit_of};
use super::list;
use super::offered;
use super::validity::validity;
use crate::answer::Fault;
use crate::app::App;
use crate::text::t;
use crate::visitor::Visitor;
use axum::extract::State;
use maud::{Markup, html};
use notebook::{Kind, Node};
use store::{Filter, Thing};

pub(crate) async fn shelf(State(app): State<App>, visitor: Visitor) -> Result<Markup, Fault> {
    let mut kinds = Vec::new();
    for (kind, word) in [
        (Kind::Solution, t("shelf.solutions")),
        (Kind::Lot, t("shelf.lots")),
        (Kind::Apparatus, t("shelf.apparatus")),
        (Kind::Sample, t("shelf.samples")),
    ] {
        let filter = Filter {
            kind: Some(kind),
            limit: Some(30),
            ..Filter::default()
        };
        kinds.push((kind, word, app.store.list(&filter).await?.things));
    }
    let all: Vec<Node> = kinds
        .iter()
        .flat_map(|(_, _, things)| things.iter().map(|thing| thing.node.clone()))
        .collect();
    let world = app.store.world(&all).await?;
    let today = app.store.now().day();
    let until = |thing: &Thing| validity(&world, &thing.node, today);
    let free = [
        app.store.free_name(Kind::Solution).await?,
        app.store.free_name(Kind::Lot).await?,
        app.store.free_name(Kind::Apparatus).await?,
        app.store.free_name(Kind::Sample).await?,
    ];
    let page = Page {
        title: t("nav.shelf"),
        part: Some(Part::Shelf),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("nav.shelf")) }
        @for (kind, word, things) in &kinds {
            h2 { (word) @if !things.is_empty() { " · " a href={ "/things.csv?kind=" (kind) } { (t("list.csv")) } } }
            @if things.is_empty() { p.quiet { (t("list.nothing")) } } @else { (list::lines_until(things, until)) }
        }
        h2 { (t("shelf.new")) }
        (forms(&free))
    }))
}

/// A form that names a new thing.
fn form(kind: &str, word: &str, node: &Node, fields: &Markup) -> Markup {
    html! {
        details {
            summary { (word) }
            form method="post" action="/do" {
                input type="hidden" name="kind" value=(kind);
                input type="hidden" name="back" value="/shelf";
                label { span { (t("shelf.name")) } input name="on" value=(node) required; }
                (fields)
                button.main type="submit" { (t("shelf.take_in")) }
            }
        }
    }
}

fn forms(free: &[Node; 4]) -> Markup {
    html! {
        (offered::titrants()) (offered::all_substances()) (offered::glass()) (offered::balances())
        (form("solution-prepared", t("shelf.new_solution"), &free[0], &html! {
            label { span { (t("shelf.substance")) } input name="p.s.substance" required list="titrants" placeholder="sodium hydroxide"; }
            label { span { (t("shelf.nominal")) } input name="p.s.nominal" required placeholder="0.1 mol/L"; }
            (unit_of("p.s.nominal", "mol/L")) (unit_of("p.s.volume", "mL"))
            label { span { (t("shelf.volume")) } input name="p.s.volume" placeholder="2000 mL"; }
            label { span { (t("shelf.kept")) } input name="p.s.kept"; }
            label { span { (t("shelf.use_before")) } input type="date" name="p.s.use_before"; }
            label { span { (t("shelf.hazard")) } input name="p.s.hazard"; }
        }))
        (form("lot-received", t("shelf.new_lot"), &free[1], &html! {
            label { span { (t("shelf.serves_as")) } select name="p.s.serves_as" {
                option value="standard" { (t("shelf.standard")) }
                option value="reagent" { (t("shelf.reagent")) }
            } }
            label { span { (t("shelf.substance")) } input name="p.s.substance" required list="substances" placeholder="potassium hydrogen phthalate"; }
            label { span { (t("shelf.makers_lot")) } input name="p.s.makers_lot"; }
            label { span { (t("shelf.certificate")) } input name="p.s.certificate.number" required; }
            label { span { (t("shelf.purity")) } input name="p.s.certificate.purity.value" placeholder="99.97 %"; }
            label { span { (t("shelf.purity_u")) } input name="p.s.certificate.purity.U" placeholder="0.03 %"; }
            label { span { (t("shelf.concentration")) } input name="p.s.certificate.concentration.value" placeholder="0.1000 mol/L"; }
            label { span { (t("shelf.concentration_u")) } input name="p.s.certificate.concentration.U" placeholder="0.0002 mol/L"; }
            @for (of, unit) in [("purity", "%"), ("concentration", "mol/L")] {
                @for part in ["value", "U"] { (unit_of(&format!("p.s.certificate.{of}.{part}"), unit)) }
            }
            label { span { (t("shelf.expires")) } input type="date" name="p.s.expires"; }
        }))
        (form("apparatus-registered", t("shelf.new_apparatus"), &free[2], &html! {
            label { span { (t("shelf.piece")) } input name="p.s.piece.glass" required list="glass" placeholder="burette 50 mL A"; }
            label { span { (t("shelf.due")) } input type="date" name="p.s.due"; }
        }))
        (form("apparatus-registered", t("shelf.new_balance"), &free[2], &html! {
            label { span { (t("shelf.balance")) } input name="p.s.piece.balance" required list="balances" placeholder="four-place balance"; }
            label { span { (t("shelf.due")) } input type="date" name="p.s.due"; }
        }))
        (form("sample-received", t("shelf.new_sample"), &free[3], &html! {
            label { span { (t("shelf.what")) } input name="p.s.what" required placeholder="pickling vinegar, tank 4"; }
            label { span { (t("shelf.from")) } input name="p.s.from"; }
        }))
    }
}
