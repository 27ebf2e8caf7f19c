//! Plan a determination before a drop is poured: wishes on the left, the plan and its curve on the right.

use super::frame::{Page, Part, drawn};
use crate::answer::Fault;
use crate::app::App;
use crate::text::t;
use crate::visitor::Visitor;
use axum::extract::{Query, State};
use maud::{Markup, html};
use report::{Style, plan_report};
use serde::Deserialize;
use titrimetry::RuleProfile;
use titrimetry::plan::{Plan, Wishes};
use titrimetry::rule_profile;

/// The wishes as a form.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Form {
    titrant: Option<String>,
    strength: Option<String>,
    volume: Option<String>,
    standard: Option<String>,
    uncertainty: Option<String>,
    burette: Option<String>,
    balance: Option<String>,
    indicator: Option<String>,
}

pub(crate) async fn plan(
    State(_): State<App>,
    visitor: Visitor,
    Query(form): Query<Form>,
) -> Result<Markup, Fault> {
    let fields = [
        (
            "titrant",
            t("plan.titrant"),
            &form.titrant,
            "sodium hydroxide",
        ),
        ("strength", t("plan.strength"), &form.strength, "0.1 mol/L"),
        ("volume", t("plan.volume"), &form.volume, "2 L"),
        (
            "standard",
            t("plan.standard"),
            &form.standard,
            "potassium hydrogen phthalate",
        ),
        (
            "uncertainty",
            t("plan.uncertainty"),
            &form.uncertainty,
            "0.2 %",
        ),
        (
            "burette",
            t("plan.burette"),
            &form.burette,
            "burette 50 mL A",
        ),
        (
            "balance",
            t("plan.balance"),
            &form.balance,
            "four-place balance",
        ),
        ("indicator", t("plan.indicator"), &form.indicator, ""),
    ];
    let asked = form
        .titrant
        .as_ref()
        .is_some_and(|text| !text.trim().is_empty());
    // A plan is a search over many sheets: not on the thread that answers others.
    let text = wishes(&form);
    let made = if asked {
        Some(
            tokio::task::spawn_blocking(move || make(&text))
                .await
                .map_err(|_| Fault::Form("the plan could not be made".into()))?,
        )
    } else {
        None
    };
    let page = Page {
        title: t("nav.plan"),
        part: Some(Part::Plan),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("plan.title")) }
        form method="get" action="/plan" {
            div.row {
                @for (name, word, value, example) in fields {
                    label { span { (word) } input name=(name) value=[value.as_deref()] placeholder=(example) required[name == "titrant"]; }
                }
            }
            p { button.main type="submit" { (t("plan.show")) } }
        }
        @match made {
            None => {}
            Some(Err(reason)) => { p.notice role="alert" { (reason) } }
            Some(Ok((text, curve))) => {
                @if let Some(curve) = curve { div.wide { (drawn(curve)) } }
                pre { (text) }
            }
        }
    }))
}

/// The wishes as the file that the command line reads.
fn wishes(form: &Form) -> String {
    let said = |text: &Option<String>| {
        text.as_deref()
            .map(str::trim)
            .filter(|t| !t.is_empty())
            .map(quoted)
    };
    let mut out = String::new();
    let mut section = |name: &str, entries: &[(&str, Option<String>)]| {
        let entries: Vec<String> = entries
            .iter()
            .filter_map(|(key, value)| value.as_ref().map(|v| format!("{key} = {v}\n")))
            .collect();
        if !entries.is_empty() {
            out.push_str(&format!("[{name}]\n{}", entries.concat()));
        }
    };
    section(
        "titrant",
        &[
            ("substance", said(&form.titrant)),
            ("strength", said(&form.strength)),
            ("volume", said(&form.volume)),
        ],
    );
    section("standard", &[("substance", said(&form.standard))]);
    section("wanted", &[("uncertainty", said(&form.uncertainty))]);
    section(
        "shelf",
        &[
            ("burettes", said(&form.burette).map(|b| format!("[{b}]"))),
            ("balance", said(&form.balance)),
        ],
    );
    match said(&form.indicator) {
        Some(indicator) => format!("indicator = {indicator}\n{out}"),
        None => out,
    }
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_string()).to_string()
}

fn make(text: &str) -> Result<(String, Option<String>), String> {
    let wishes = Wishes::read(text).map_err(|e| e.to_string())?;
    let profile = RuleProfile::named(rule_profile::DEFAULT).map_err(|e| e.to_string())?;
    let plan = Plan::of(&wishes, profile).map_err(|e| e.to_string())?;
    let curve = plan.drawing(None).ok().map(|d| report::plot::curve_svg(&d));
    Ok((plan_report(&plan, None, Style::Plain), curve))
}
