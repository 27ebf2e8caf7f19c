//! Open a determination: what is sought, what it is compared with, and the glass; or a method and what it needs.

use super::choosing::{Filled, Said, Stock, by_label, choice, kind_of_piece};
use super::frame::{Page, Part, path_of};
use super::trial::{self, Trial, Unfit};
use super::{offered, opening};
use crate::answer::Fault;
use crate::app::App;
use crate::command::{self, Sent};
use crate::text::{filled, t};
use crate::visitor::Visitor;
use crate::words;
use axum::extract::{Form, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use notebook::payload::{MethodAdopted, RulesAdopted};
use notebook::{Actor, Command, Kind, Node, Permissions};
use serde_json::{Value, json};
use titrimetry::RuleProfile;
use titrimetry::method::{BlankPlan, Method, Step, all as shipped, find as find_shipped};

pub(crate) async fn new(
    State(app): State<App>,
    visitor: Visitor,
    Query(fields): Query<Vec<(String, String)>>,
) -> Result<Markup, Fault> {
    page(&app, &visitor, &Filled::of(fields)).await
}

async fn page(app: &App, visitor: &Visitor, form: &Filled) -> Result<Markup, Fault> {
    let stock = Stock::of(app).await?;
    let method = match form.get("method") {
        Some(name) => Some(method_of(app, name).await?.1),
        None => None,
    };
    let over = form.1.as_ref().filter(|said| said.field.is_none());
    let page = Page {
        title: t("new.title"),
        part: Some(Part::Bench),
        visitor: Some(visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("new.title")) }
        @if stock.solutions.is_empty() || !stock.has_apparatus() {
            p.notice { (t("new.empty")) " " a href="/shelf" { (t("nav.shelf")) } }
        }
        @if form.1.is_some() { p.notice { (t("new.refused")) @if let Some(said) = over { " " (said.why) } } }
        @match &method {
            Some(method) => { (analyse(form, &stock, method)) }
            None => { (standardize(form, &stock)) (methods(&stock)) }
        }
    }))
}

/// The method that a form names: one of the record, or a shipped one that the record does not hold yet.
async fn method_of(app: &App, name: &str) -> Result<(Node, Method, bool), Fault> {
    let short = name.strip_prefix("method/").unwrap_or(name);
    let node = Node::new(Kind::Method, short).map_err(|e| Fault::Form(e.to_string()))?;
    let world = app.store.world(std::slice::from_ref(&node)).await?;
    if let Some(card) = world.method(&node)
        && let Some(method) = card.at(u64::MAX)
    {
        return Ok((node, (**method).clone(), true));
    }
    let method = find_shipped(short).map_err(|e| Fault::Missing(e.to_string()))?;
    Ok((node, method.clone(), false))
}

fn found(form: &Filled) -> Markup {
    by_label("/new/find", form)
}

fn input(form: &Filled, name: &str, word: &str, example: &str) -> Markup {
    html! { label { span { (word) } input name=(name) placeholder=(example) value=[form.get(name)]; (form.beside(name)) } }
}

fn standardize(form: &Filled, stock: &Stock) -> Markup {
    let place = form.get("place");
    html! {
        h2 { (t("new.standardize")) }
        form method="post" action="/new" {
            (found(form))
            label { span { (t("new.called")) } input name="title" required placeholder="Base 0.1 by phthalate" value=[form.get("title")]; (form.beside("title")) }
            (choice("sought", t("new.sought"), &stock.solutions.iter().collect::<Vec<_>>(), None, form))
            label { span { (t("new.place")) } select name="place" {
                option value="burette" { (t("new.in_burette")) }
                option value="flask" selected[place == Some("flask")] { (t("new.in_flask")) }
            } }
            (choice("known", t("new.known"), &stock.known(), None, form))
            (choice("burette", t("new.burette"), &stock.pieces("burette"), None, form))
            (choice("balance", t("new.balance"), &stock.pieces("balance"), Some(t("new.no_balance")), form))
            (choice("pipette", t("new.pipette"), &stock.pieces("pipette"), Some(t("new.no_pipette")), form))
            label { span { (t("new.indicator")) } input name="indicator" list="indicators" placeholder="phenolphthalein" value=[form.get("indicator")]; }
            (offered::indicators())
            (input(form, "temperature", t("new.temperature"), "21.5 °C"))
            // What a plan would have weighed goes along to the bench.
            @for name in ["weigh.from", "weigh.to"] { @if let Some(mass) = form.get(name) { input type="hidden" name=(name) value=(mass); } }
            details open[["dissolved.flask", "diluted.take", "reaction", "late", "read_to", "rules"].iter().any(|n| form.get(n).is_some())] {
                summary { (t("new.more")) }
                p.quiet { (t("new.dissolved")) }
                div.row {
                    (input(form, "dissolved.mass", t("new.mass"), "1.2756 g"))
                    (input(form, "dissolved.flask", t("new.flask"), "flask 250 mL A"))
                }
                p.quiet { (t("new.diluted")) }
                div.row {
                    (input(form, "diluted.take", t("new.take"), "pipette 10 mL A"))
                    (input(form, "diluted.to", t("new.flask"), "flask 100 mL A"))
                }
                p.quiet { (t("new.late")) }
                div.row {
                    (input(form, "late", t("new.late_by"), "0.02 mL"))
                    (input(form, "late.U", t("new.expanded"), "0.02 mL"))
                }
                (input(form, "reaction", t("new.reaction"), "Na2CO3 + 2 HCl -> 2 NaCl + H2O + CO2"))
                (input(form, "read_to", t("new.read_to"), "0.05 mL"))
                (rules(form, stock, t("new.default_rules")))
            }
            button.main type="submit" { (t("new.open")) }
        }
    }
}

/// Which rules: those of the record, then those that come with the program; none is what the program or the method says.
fn rules(form: &Filled, stock: &Stock, none: &str) -> Markup {
    let chosen = form.get("rules");
    let held = |name: &str| stock.rules.iter().any(|r| r.node.name() == name);
    let line = |node: &str, words: &str| html! { option value=(node) selected[chosen == Some(node)] { (words) } };
    html! {
        label { span { (t("new.rules")) } select name="rules" {
            option value="" { (none) }
            @for rules in stock.rules.iter().filter(|r| r.status != "withdrawn") { (line(&rules.node.to_string(), &format!("{} · {}", rules.node.name(), rules.title))) }
            @for profile in RuleProfile::shipped().iter().filter(|p| !held(&p.name)) {
                (line(&format!("rules/{}", profile.name), &format!("{} · {}", profile.name, profile.purpose)))
            }
        } (form.beside("rules")) }
    }
}

/// Which method: those of the record first, then those that come with the program.
fn methods(stock: &Stock) -> Markup {
    let held = |name: &str| stock.methods.iter().any(|m| m.node.name() == name);
    html! {
        h2 { (t("new.assay")) }
        p.quiet { (t("new.assay_how")) }
        form.row method="get" action="/new" {
            label { span { (t("new.method")) } select name="method" required {
                @if !stock.methods.is_empty() {
                    optgroup label=(t("new.methods_here")) {
                        @for method in &stock.methods { option value=(method.node) { (method.title) } }
                    }
                }
                optgroup label=(t("new.methods_shipped")) {
                    @for method in shipped().iter().filter(|m| !held(&m.name)) { option value=(method.name) { (method.title) } }
                }
            } }
            button type="submit" { (t("new.choose_method")) }
        }
    }
}

fn analyse(form: &Filled, stock: &Stock, method: &Method) -> Markup {
    let chosen: Vec<&str> = form.all("sample").collect();
    let weighs = method
        .step
        .iter()
        .any(|step| matches!(step, Step::Weigh { .. }));
    let samples: Vec<_> = stock
        .samples
        .iter()
        .filter(|sample| sample.status != "discarded")
        .collect();
    html! {
        h2 { (method.title) }
        p.quiet { (method.purpose) }
        p { a href="/new" { (t("new.other_method")) } }
        @for caution in &method.caution { p.notice { (caution) } }
        form method="post" action="/new" {
            input type="hidden" name="method" value=(form.get("method").unwrap_or_default());
            (found(form))
            label { span { (t("new.called")) } input name="title" required value=(form.get("title").unwrap_or(&method.title)); (form.beside("title")) }
            fieldset {
                legend.quiet { (t("new.samples")) }
                (form.beside("sample"))
                @if samples.is_empty() { p.notice { (t("new.no_sample")) " " a href="/shelf" { (t("nav.shelf")) } } }
                @for sample in &samples {
                    @let node = sample.node.to_string();
                    label.tick { input type="checkbox" name="sample" value=(node) checked[chosen.contains(&node.as_str())]; (sample.node.name()) " · " (sample.title) }
                }
            }
            (choice("titrant", &filled("new.titrant_is", &[("substance", &method.titrant.substance)]), &stock.known(), None, form))
            @for (reagent, substance) in known_reagents(method) {
                @let name = format!("reagent.{reagent}");
                (choice(&name, &filled("new.reagent", &[("name", reagent), ("substance", substance)]), &stock.known(), None, form))
            }
            (choice("burette", t("new.burette"), &stock.pieces("burette"), None, form))
            @if weighs { (choice("balance", t("new.balance"), &stock.pieces("balance"), None, form)) }
            @for (step, catalogue) in pieces(method) {
                @let name = format!("piece.{step}");
                (choice(&name, &filled("new.piece", &[("step", step)]), &stock.pieces(kind_of_piece(catalogue)), Some(&filled("new.as_method", &[("piece", catalogue)])), form))
            }
            (input(form, "temperature", t("new.temperature"), "21.5 °C"))
            details open[["rules", "read_to", "drift", "standardized_at"].iter().any(|n| form.get(n).is_some())] {
                summary { (t("new.more")) }
                (rules(form, stock, t("new.method_rules")))
                (input(form, "read_to", t("new.read_to"), "0.05 mL"))
                div.row {
                    (input(form, "drift", t("new.drift"), "0.004 mL/min"))
                    (input(form, "drift.U", t("new.expanded"), "0.001 mL/min"))
                }
                (input(form, "standardized_at", t("new.standardized_at"), "22 °C"))
                @if !method.reagent.is_empty() && method.blank != BlankPlan::Reagent {
                    label { span { (t("new.blank_is")) } select name="blank_is" {
                        option value="" { (t("new.blank_as_method")) }
                        option value="subtract" { (t("new.blank_subtract")) }
                        option value="reagent" { (t("new.blank_reagent")) }
                    } }
                }
            }
            button.main type="submit" { (t("new.open")) }
        }
    }
}

/// Reagents whose concentration must be known, with their substances: those in known amount, and a standard that is added.
fn known_reagents(method: &Method) -> impl Iterator<Item = (&str, &str)> {
    let measured = method.reagent.iter().filter(|r| r.measured_by.is_some());
    measured
        .map(|r| (r.name.as_str(), r.substance.as_str()))
        .chain(
            method
                .spike()
                .map(|s| (s.name.as_str(), s.substance.as_str())),
        )
}

/// Steps and reagents that are measured with glass, with the glass that the method foresees.
fn pieces(method: &Method) -> Vec<(&str, &str)> {
    let steps = method
        .step
        .iter()
        .filter_map(|step| Some((step.name(), opening::piece_of(step)?)));
    let reagents = method
        .reagent
        .iter()
        .filter_map(|r| Some((r.name.as_str(), r.measured_by.as_ref()?.catalogue())));
    steps.chain(reagents).collect()
}

pub(crate) async fn open(
    State(app): State<App>,
    visitor: Visitor,
    Form(fields): Form<Vec<(String, String)>>,
) -> Result<Response, Fault> {
    let mut form = Filled::of(fields);
    let unfit = match try_open(&app, &visitor, &form).await {
        Ok(node) => return Ok(Redirect::to(&path_of(&node)).into_response()),
        Err(unfit) => unfit,
    };
    form.1 = Some(Said {
        field: unfit.field,
        why: words::fault(&unfit.fault),
    });
    let page = page(&app, &visitor, &form).await?;
    Ok((unfit.fault.status(), page).into_response())
}

/// Opens what the form says, once it is known that a result can come of it. Nothing is written down otherwise.
async fn try_open(app: &App, visitor: &Visitor, form: &Filled) -> Result<Node, Unfit> {
    let method = match form.get("method") {
        Some(name) => Some(method_of(app, name).await?),
        None => None,
    };
    let by = method.as_ref().map(|(node, ..)| node);
    // What is wrong with the form is said before anything is looked up.
    let node = app.store.free_name(Kind::Determination).await?;
    opening::command(form, by, &node, None)?;
    let earlier = earlier_work(app, visitor, form, by).await?;
    let command = opening::command(form, by, &node, earlier.as_ref())?;
    let adopted = adopted(app, form, method.as_ref()).await?;
    let mut wanted = notebook::graph::references(&command.payload);
    wanted.push(node.clone());
    wanted.extend(notebook::decide::person(&visitor.who).ok());
    let now = app.store.now();
    let world = app.store.world(&wanted).await?;
    let mut trial = Trial::new(world, &node, now, &visitor.who);
    for command in &adopted {
        trial.happens(&command.on, command.payload.clone());
    }
    let actor = Actor {
        who: visitor.who.clone(),
        at: now,
    };
    let drafts = notebook::decide(trial.world(), Permissions::shipped(), &actor, &command)
        .map_err(|refusal| trial::refused(refusal.into(), &form.0))?;
    if drafts
        .into_iter()
        .all(|draft| trial.happens(&draft.stream, draft.payload))
    {
        trial.run()?;
    }
    for command in adopted {
        command::submit(app, visitor, sent(command)).await?;
    }
    command::submit(app, visitor, sent(command)).await?;
    Ok(node)
}

/// The method and the rules that come with the program and are not in the record yet.
async fn adopted(
    app: &App,
    form: &Filled,
    method: Option<&(Node, Method, bool)>,
) -> Result<Vec<Command>, Unfit> {
    let mut adopted = Vec::new();
    if let Some((node, method, false)) = method {
        let method = method.clone();
        adopted.push(Command::new(node.clone(), MethodAdopted { method }));
    }
    if let Some(text) = form.get("rules") {
        let unknown = || Unfit::beside("rules", t("find.nothing"));
        let node: Node = text.parse().map_err(|_| unknown())?;
        let world = app.store.world(std::slice::from_ref(&node)).await?;
        if world.rules(&node).is_none() {
            let profile = RuleProfile::named(node.name())
                .map_err(|_| unknown())?
                .clone();
            adopted.push(Command::new(node, RulesAdopted { profile }));
        }
    }
    Ok(adopted)
}

fn sent(command: Command) -> Sent {
    Sent {
        key: None,
        expects: None,
        at: None,
        passphrase: None,
        command,
    }
}

/// Degrees of freedom from which earlier work of one person or burette is enough by itself (common practice).
const ENOUGH: f64 = 8.0;

/// How runs by this plan repeat, by the record: in this person's hands and with this burette where there is enough of it,
/// else by wider and wider sets of earlier work.
async fn earlier_work(
    app: &App,
    visitor: &Visitor,
    form: &Filled,
    method: Option<&Node>,
) -> Result<Option<Value>, Fault> {
    let plan = match (method, form.get("known")) {
        (Some(method), _) => method.to_string(),
        (None, Some(known)) => {
            let node: Node = known.parse().map_err(|e| Fault::Form(format!("{e}")))?;
            let title = app.store.thing(&node).await?.map(|thing| thing.title);
            format!(
                "standardization with {}",
                title.unwrap_or_else(|| node.to_string())
            )
        }
        (None, None) => return Ok(None),
    };
    let burette: Option<Node> = form.get("burette").and_then(|name| name.parse().ok());
    let who = Some(visitor.who.as_str());
    let mut found = None;
    for (who, burette) in [
        (who, burette.as_ref()),
        (who, None),
        (None, burette.as_ref()),
        (None, None),
    ] {
        let pooled = app.store.pooled_repeatability(&plan, who, burette).await?;
        let Some(pooled) = pooled.filter(|p| p.relative > 0.0 && p.degrees_of_freedom >= 1.0)
        else {
            continue;
        };
        let by = who.map_or_else(String::new, |who| format!(" by {who}"));
        let with = burette.map_or_else(String::new, |node| format!(" with {}", node.name()));
        let enough = pooled.degrees_of_freedom >= ENOUGH;
        found = Some(json!({
            "s": format!("{:.4} %", 100.0 * pooled.relative),
            "degrees_of_freedom": pooled.degrees_of_freedom,
            "source": format!("pooled from {} earlier sets{by}{with} in this record", pooled.sets),
        }));
        if enough {
            break;
        }
    }
    Ok(found)
}
