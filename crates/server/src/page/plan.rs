//! Plan a determination before a drop is poured: wishes, the plan and its curve, and the determination that it opens.

use super::choosing::{Filled, Stock};
use super::frame::{Page, Part, drawn};
use super::offered;
use crate::answer::Fault;
use crate::app::App;
use crate::drawing::bars;
use crate::text::{filled, t};
use crate::visitor::Visitor;
use crate::words;
use axum::extract::{Query, State};
use maud::{Markup, html};
use report::plot::{Palette, curve_svg};
use report::{
    NOT_REACHED, Style, percent, plan_indicators, plan_report, plan_summary, shares_by_group,
};
use serde::Deserialize;
use store::Thing;
use titrimetry::RuleProfile;
use titrimetry::plan::indicators::Verdict;
use titrimetry::plan::{Dose, Opposite, Party, Plan, PlanError, Wishes};
use titrimetry::rule_profile;
use titrimetry::sheet::{Place, SheetError};

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
    State(app): State<App>,
    visitor: Visitor,
    Query(form): Query<Form>,
) -> Result<Markup, Fault> {
    let fields = [
        (
            "titrant",
            t("plan.titrant"),
            &form.titrant,
            "sodium hydroxide",
            "titrants",
        ),
        (
            "strength",
            t("plan.strength"),
            &form.strength,
            "0.1 mol/L",
            "",
        ),
        ("volume", t("plan.volume"), &form.volume, "2 L", ""),
        (
            "standard",
            t("plan.standard"),
            &form.standard,
            "potassium hydrogen phthalate",
            "standards",
        ),
        (
            "uncertainty",
            t("plan.uncertainty"),
            &form.uncertainty,
            "0.2 %",
            "",
        ),
        (
            "burette",
            t("plan.burette"),
            &form.burette,
            "burette 50 mL A",
            "burettes",
        ),
        (
            "balance",
            t("plan.balance"),
            &form.balance,
            "four-place balance",
            "balances",
        ),
        (
            "indicator",
            t("plan.indicator"),
            &form.indicator,
            "",
            "indicators",
        ),
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
                .map_err(|_| Fault::Form(t("plan.failed").into()))?,
        )
    } else {
        None
    };
    let opens = match &made {
        Some(Ok(made)) => Some(opening(&made.plan, &Stock::of(&app).await?)),
        _ => None,
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
        form.plan method="get" action="/plan" {
            div.row {
                @for (name, word, value, example, list) in fields {
                    label { span { (word) } input name=(name) value=[value.as_deref()] placeholder=(example) required[name == "titrant"] list=[(!list.is_empty()).then_some(list)]; }
                }
            }
            (offered::titrants()) (offered::standards()) (offered::burettes()) (offered::balances()) (offered::indicators())
            p { button.main type="submit" { (t("plan.show")) } }
        }
        div #made aria-live="polite" {
            @match &made {
                None => {}
                Some(Err(reason)) => { p.notice role="alert" { (reason) } }
                Some(Ok(made)) => { (shown(made, opens.as_ref())) }
            }
        }
        script type="module" src="/look/plan.js" {}
    }))
}

/// A plan: what it comes to, its curve, what limits it, its indicators; then all of it as text.
fn shown(made: &Made, opens: Option<&Filled>) -> Markup {
    let plan = &made.plan;
    let expected = &plan.chosen().expected;
    let shares = shares_by_group(&expected.evaluation.formula, &expected.evaluation.budget);
    html! {
        p.big { span.result { "U " } span data-is="u" { (percent(expected.relative_uncertainty)) } }
        p.quiet { (t("plan.expected")) span #was data-was=(t("plan.was")) {} }
        @if let Some(form) = opens {
            @if form.get("sought").is_none() { p.quiet { (t("plan.not_there")) " " a href="/shelf" { (t("nav.shelf")) } } }
            p { a.button.main href={ "/new?" (form.query()) } { (t("plan.open")) } }
        }
        dl.facts.plan { @for (name, words) in plan_summary(plan) {
            dt { (words::engine("plan_line", name)) } dd { @if name == NOT_REACHED { span.accent { (words) } } @else { (words) } }
        } }
        @if let Some(curve) = &made.curve { div.picture.broad tabindex="0" role="group" aria-label=(t("plan.curve")) { (drawn(curve.clone())) } }
        h2 { (t("result.limits")) }
        div.bars { @for (index, share) in shares.iter().filter(|s| s.share >= 0.01).take(6).enumerate() {
            div { (words::engine("group", &share.group)) span.quiet { " " (format!("{:.0} %", 100.0 * share.share)) } (drawn(bars::bar(share.share, index == 0))) }
        } }
        @if let Some(chosen) = plan.indicator.as_ref().filter(|chosen| chosen.verdict == Verdict::Misleads) {
            p.notice { (filled("plan.misleads", &[("indicator", &chosen.name), ("reason", &chosen.reason)])) }
        }
        @if let (None, Some(wished)) = (&plan.indicator, &plan.case.wishes.indicator) {
            p.notice { (filled("plan.not_predicted", &[("indicator", wished)])) }
        }
        @let indicators = plan_indicators(plan);
        @if !indicators.is_empty() {
            h2 { (t("plan.indicators")) }
            ul.findings { @for one in indicators {
                li { span.strong[one.chosen] { @if one.chosen { "✓ " } (one.name) } ": " (words::engine("verdict", one.verdict)) br; span.quiet { (one.reason) } }
            } }
        }
        @if !plan.help.is_empty() {
            h2 { (t("result.advice")) }
            table { tbody { @for help in &plan.help {
                tr { td { (words::engine("advice", &help.action)) } td.number { "U " (percent(help.before)) " → " (percent(help.after)) } }
            } } }
        }
        details { summary { (t("plan.whole")) } pre tabindex="0" { (made.text) } }
    }
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

/// A plan with what is shown of it.
struct Made {
    plan: Box<Plan>,
    text: String,
    curve: Option<String>,
}

fn make(text: &str) -> Result<Made, String> {
    let wishes = Wishes::read(text).map_err(said)?;
    let profile = RuleProfile::named(rule_profile::DEFAULT).map_err(|e| e.to_string())?;
    let plan = Plan::of(&wishes, profile).map_err(said)?;
    let curve = plan
        .drawing(None)
        .ok()
        .map(|d| curve_svg(&d, &Palette::PAGE));
    Ok(Made {
        text: plan_report(&plan, None, Style::Plain),
        plan: Box::new(plan),
        curve,
    })
}

/// What is wrong, by the field of the form where it was typed: its text as a file was seen by nobody.
fn said(error: PlanError) -> String {
    let (entry, message) = match &error {
        PlanError::Entry(SheetError::Syntax {
            excerpt, message, ..
        }) => (excerpt.split('=').next().unwrap_or_default(), message),
        PlanError::Entry(SheetError::Entry { path, message, .. }) => (path.as_str(), message),
        _ => return error.to_string(),
    };
    let entry = entry.trim();
    let field = match entry.rsplit('.').next().unwrap_or(entry) {
        "strength" => t("plan.strength"),
        "volume" => t("plan.volume"),
        "uncertainty" => t("plan.uncertainty"),
        "burettes" => t("plan.burette"),
        "balance" => t("plan.balance"),
        "indicator" => t("plan.indicator"),
        _ if entry.starts_with("titrant") => t("plan.titrant"),
        _ if entry.starts_with("standard") => t("plan.standard"),
        _ if entry.contains("burettes") => t("plan.burette"),
        other => other,
    };
    format!("{field}: {message}")
}

/// All names of a substance.
fn names(party: &Party) -> Vec<&str> {
    let known = party.record.into_iter().flat_map(|record| record.names());
    std::iter::once(party.name.as_str()).chain(known).collect()
}

/// The form that opens what was planned: with the things of the shelf that the plan names, as far as they are there.
fn opening(plan: &Plan, stock: &Stock) -> Filled {
    let case = &plan.case;
    let candidate = &plan.choices[0].expected.candidate;
    let mut form = Filled::default();
    form.set("title", &case.title);
    // A plan has its titrant in the burette.
    form.set(
        "place",
        match plan.choices[0].expected.evaluation.sheet.sought.place {
            Place::Burette => "burette",
            Place::Flask => "flask",
        },
    );
    let strength = candidate.strength.to_string();
    let solution = |things: &[Thing], names: &[&str]| {
        let made_of = |thing: &&Thing| {
            let (substance, _) = thing.title.rsplit_once(',').unwrap_or((&thing.title, ""));
            names
                .iter()
                .any(|name| name.eq_ignore_ascii_case(substance))
        };
        let exact = |thing: &&Thing| made_of(thing) && thing.title.ends_with(&strength);
        things
            .iter()
            .find(exact)
            .or_else(|| things.iter().find(made_of))
            .map(|thing| thing.node.to_string())
    };
    if let Some(node) = solution(&stock.solutions, &names(&case.titrant)) {
        form.set("sought", &node);
    }
    if let Opposite::Standard { .. } = &case.opposite {
        let standard = names(&case.flask);
        let lot = stock
            .lots
            .iter()
            .find(|lot| standard.iter().any(|s| s.eq_ignore_ascii_case(&lot.title)));
        if let Some(lot) = lot {
            form.set("known", &lot.node.to_string());
        }
    }
    let mut piece = |field: &str, kind: &str, catalogue: &str| {
        let found = stock
            .pieces(kind)
            .into_iter()
            .find(|piece| piece.title.eq_ignore_ascii_case(catalogue));
        if let Some(found) = found {
            form.set(field, &found.node.to_string());
        }
    };
    piece("burette", "burette", candidate.burette.spec.catalogue());
    match &candidate.dose {
        Dose::Weighed { .. } => {}
        Dose::MadeUp { pipette, .. } | Dose::Pipetted { pipette, .. } => {
            piece("pipette", "pipette", pipette.spec.catalogue());
        }
    }
    if let Dose::MadeUp { flask, .. } = &candidate.dose {
        form.set("dissolved.flask", flask.spec.catalogue());
    }
    if candidate.dose.mass_g().is_some()
        && let [balance] = stock.pieces("balance").as_slice()
    {
        form.set("balance", &balance.node.to_string());
    }
    if let (Dose::Weighed { .. }, Some((from, to))) =
        (&candidate.dose, plan.choices[0].expected.mass_window_g)
    {
        // Rounded into the window.
        let fine: f64 = if from >= 0.1 { 1e3 } else { 1e4 };
        let decimals = if from >= 0.1 { 3 } else { 4 };
        form.set(
            "weigh.from",
            &format!("{:.decimals$} g", (from * fine).ceil() / fine),
        );
        form.set(
            "weigh.to",
            &format!("{:.decimals$} g", (to * fine).floor() / fine),
        );
    }
    if let Some(indicator) = plan.indicator.as_ref().map(|ranked| ranked.name.as_str()) {
        form.set("indicator", indicator);
    }
    form
}
