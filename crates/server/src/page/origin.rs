//! Where a number comes from: a step of the working, an input, or a reading; each leads on to what it is made of, down to
//! who read it and what the certificate says, and up to the result.

use super::frame::{Page, Part, drawn, escaped, link, path_of};
use super::result::rounded;
use super::run_table;
use crate::answer::Fault;
use crate::api;
use crate::app::App;
use crate::measured::{self, Measured};
use crate::text::{filled, t};
use crate::visitor::Visitor;
use crate::words;
use axum::extract::{Path, Query, State};
use maud::{Markup, html};
use metrology::formula::Operation;
use metrology::{Formula, Origin, Scope, propagate_to};
use notebook::payload::{Plan, Slot};
use notebook::state::{Determination, Reading, Run};
use notebook::{Kind, Node, World};
use report::{in_working, mathml, percent, raised, significant};
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// Which result a page is about.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Of {
    pub(crate) of: Option<String>,
}

/// What a page may be about; written into its path.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Spot {
    /// A node of the formula that has a symbol. The place tells steps of one symbol apart.
    Step(String, Option<usize>),
    /// An input, by its identity.
    Input(String),
    /// A reading: run (0 for readings that serve all runs of a sample), which, of which sample.
    Reading(u32, Slot, Option<String>),
}

impl Spot {
    fn read(text: &str) -> Option<Self> {
        let (kind, rest) = text.split_once(':')?;
        match kind {
            "step" => Some(match rest.rsplit_once('@') {
                Some((symbol, at)) if at.parse::<usize>().is_ok() => {
                    Self::Step(symbol.into(), at.parse().ok())
                }
                _ => Self::Step(rest.into(), None),
            }),
            "input" => Some(Self::Input(rest.into())),
            "reading" => {
                let mut parts = rest.splitn(3, ':');
                let run = parts.next()?.parse().ok()?;
                let slot = parts.next()?.parse().ok()?;
                Some(Self::Reading(run, slot, parts.next().map(Into::into)))
            }
            _ => None,
        }
    }

    fn text(&self) -> String {
        match self {
            Self::Step(symbol, None) => format!("step:{symbol}"),
            Self::Step(symbol, Some(at)) => format!("step:{symbol}@{at}"),
            Self::Input(id) => format!("input:{id}"),
            Self::Reading(run, slot, None) => format!("reading:{run}:{slot}"),
            Self::Reading(run, slot, Some(sample)) => format!("reading:{run}:{slot}:{sample}"),
        }
    }

    /// Where its page stands.
    pub(crate) fn path(&self, determination: &Node, query: &str) -> String {
        format!(
            "/determinations/{}/where/{}{query}",
            escaped(determination.name()),
            escaped(&self.text())
        )
    }

    /// A node of a formula: a named step or an input.
    pub(crate) fn of_node(formula: &Formula, node: usize) -> Option<Self> {
        let this = &formula.nodes()[node];
        if let Operation::Input(input) = &this.operation {
            return Some(Self::Input(formula.inputs()[*input].id.clone()));
        }
        let symbol = &this.label.as_ref().filter(|l| !l.symbol.is_empty())?.symbol;
        let alike =
            |n: &&metrology::formula::Node| n.label.as_ref().is_some_and(|l| l.symbol == *symbol);
        let alone = formula.nodes().iter().filter(alike).count() == 1;
        Some(Self::Step(symbol.clone(), (!alone).then_some(node)))
    }

    fn node(&self, formula: &Formula) -> Option<usize> {
        match self {
            Self::Step(symbol, at) => {
                let named = |node: usize| {
                    formula
                        .nodes()
                        .get(node)
                        .and_then(|n| n.label.as_ref())
                        .is_some_and(|l| l.symbol == *symbol)
                };
                match at {
                    Some(at) => Some(*at).filter(|at| named(*at)),
                    None => formula.node_index(symbol),
                }
            }
            Self::Input(id) => {
                let input = formula.input_index(id)?;
                formula
                    .nodes()
                    .iter()
                    .position(|n| n.operation == Operation::Input(input))
            }
            Self::Reading(..) => None,
        }
    }
}

/// A number that leads to where it comes from.
pub(crate) fn whence(determination: &Node, spot: &Spot, query: &str, shown: &Markup) -> Markup {
    html! { a.whence href=(spot.path(determination, query)) title=(t("origin.press")) { (shown) } }
}

/// The named steps and inputs that a node is made of, through whatever has no name.
fn made_of(formula: &Formula, node: usize) -> Vec<usize> {
    let mut found = Vec::new();
    let mut stack = Vec::new();
    formula.nodes()[node].operation.operands(|n| stack.push(n));
    stack.reverse();
    while let Some(next) = stack.pop() {
        if Spot::of_node(formula, next).is_some() {
            if !found.contains(&next) {
                found.push(next);
            }
        } else {
            let before = stack.len();
            formula.nodes()[next].operation.operands(|n| stack.push(n));
            stack[before..].reverse();
        }
    }
    found
}

/// For each node with a name, the named steps that it goes into.
fn goes_into(formula: &Formula) -> BTreeMap<usize, Vec<usize>> {
    let mut up: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for node in 0..formula.nodes().len() {
        if Spot::of_node(formula, node).is_some() {
            for part in made_of(formula, node) {
                up.entry(part).or_default().push(node);
            }
        }
    }
    up
}

/// The shortest way from a node up to the result, both left out.
fn way_up(formula: &Formula, from: usize) -> Vec<usize> {
    let up = goes_into(formula);
    let mut came: BTreeMap<usize, usize> = BTreeMap::new();
    let mut seen = BTreeSet::from([from]);
    let mut queue = VecDeque::from([from]);
    while let Some(node) = queue.pop_front() {
        if node == formula.result_index() {
            let mut way = Vec::new();
            let mut at = node;
            while let Some(before) = came.get(&at) {
                way.push(*before);
                at = *before;
            }
            way.pop();
            return way;
        }
        for next in up.get(&node).into_iter().flatten() {
            if seen.insert(*next) {
                came.insert(*next, node);
                queue.push_back(*next);
            }
        }
    }
    Vec::new()
}

/// What a node is called.
fn described(formula: &Formula, node: usize) -> (String, String) {
    let this = &formula.nodes()[node];
    if let Operation::Input(input) = &this.operation {
        let input = &formula.inputs()[*input];
        return (input.symbol.clone(), words::quantity(&input.description));
    }
    this.label.as_ref().map_or_else(
        || (String::new(), String::new()),
        |label| (label.symbol.clone(), words::quantity(&label.description)),
    )
}

/// A node's number: as written, or with the digits that its uncertainty leaves it.
fn number(formula: &Formula, node: usize) -> (String, String, Option<String>) {
    let budget = propagate_to(formula, node);
    let unit = budget.unit.symbol().to_string();
    let unit = if unit == "1" {
        String::new()
    } else {
        words::quantity(&unit)
    };
    let u = (budget.standard_uncertainty > 0.0)
        .then(|| raised(&significant(budget.standard_uncertainty, 2)));
    if let Operation::Input(input) = &formula.nodes()[node].operation
        && let Some(written) = &formula.inputs()[*input].written
    {
        return (written.replace('-', "\u{2212}"), unit, u);
    }
    let text = if budget.standard_uncertainty > 0.0 && budget.value != 0.0 {
        report::rounded(budget.value, budget.standard_uncertainty).value_text
    } else {
        raised(&in_working(budget.value))
    };
    (text, unit, u)
}

/// Everything that a page about a number looks at.
struct Looked<'a> {
    node: &'a Node,
    determination: &'a Determination,
    world: &'a World,
    measured: Option<Measured<'a>>,
}

pub(crate) async fn origin(
    State(app): State<App>,
    visitor: Visitor,
    Path((name, id)): Path<(String, String)>,
    Query(of): Query<Of>,
) -> Result<Markup, Fault> {
    let node = api::node("determination", &name)?;
    let evaluation = app.store.evaluate(&node).await?;
    let nothing = || Fault::Missing(filled("origin.nothing", &[("id", &id)]));
    let Some(determination) = evaluation.world.determination(&node) else {
        return Err(Fault::not_there(&node));
    };
    let spot = Spot::read(&id).ok_or_else(nothing)?;
    let measured = match &evaluation.outcome {
        Ok(outcome) => measured::find(outcome, of.of.as_deref()),
        Err(_) => None,
    };
    let looked = Looked {
        node: &node,
        determination,
        world: &evaluation.world,
        measured,
    };
    let body = match &spot {
        Spot::Reading(run, slot, sample) => looked
            .reading_page(*run, *slot, sample.as_deref())
            .ok_or_else(nothing)?,
        _ => {
            let measured = looked.measured.as_ref().ok_or_else(nothing)?;
            let at = spot.node(measured.formula).ok_or_else(nothing)?;
            looked.node_page(measured, at)
        }
    };
    let page = Page {
        title: t("origin.title"),
        part: Some(Part::Results),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! { article.origin { (body) } }))
}

impl Looked<'_> {
    fn path(&self, measured: &Measured<'_>, node: usize) -> Option<String> {
        let spot = Spot::of_node(measured.formula, node)?;
        Some(spot.path(self.node, &measured.query()))
    }

    /// The way from the result down to here, each a link.
    fn crumbs(&self, measured: Option<&Measured<'_>>, at: Option<usize>) -> Markup {
        let mut steps: Vec<(String, Markup)> = Vec::new();
        if let (Some(measured), Some(at)) = (measured, at) {
            let formula = measured.formula;
            let mut nodes = way_up(formula, at);
            if at != formula.result_index() {
                nodes.insert(0, formula.result_index());
            }
            for node in nodes {
                if let Some(path) = self.path(measured, node) {
                    steps.push((path, drawn(mathml::symbol(&described(formula, node).0))));
                }
            }
        }
        html! {
            nav.crumbs aria-label=(t("origin.way")) {
                ol {
                    li { a href=(path_of(self.node)) { (self.node.name()) } }
                    @for (path, shown) in &steps { li { a href=(path) { (shown) } } }
                }
            }
        }
    }

    fn node_page(&self, measured: &Measured<'_>, at: usize) -> Markup {
        let formula = measured.formula;
        let (symbol, what) = described(formula, at);
        let (value, unit, u) = number(formula, at);
        let input = match &formula.nodes()[at].operation {
            Operation::Input(input) => Some(*input),
            _ => None,
        };
        let parts = made_of(formula, at);
        let up = goes_into(formula).remove(&at).unwrap_or_default();
        html! {
            (self.crumbs(Some(measured), Some(at)))
            h1 { (drawn(mathml::symbol(&symbol))) " " span.quiet { (what) } }
            p.big { (value) " " span.result { span.unit { (unit) } } }
            @match u {
                Some(u) => { p.quiet { (t("origin.u")) " " (u) " " (unit) } }
                None => { p.quiet { (t("origin.exact")) } }
            }
            @if let Some(input) = input {
                (self.input(measured, input))
            } @else {
                h2 { (t("origin.step")) }
                div.wide tabindex="0" role="group" aria-label=(t("origin.step")) { (drawn(mathml::step(formula, at))) }
                h2 { (t("origin.made_of")) }
                (self.table(measured, &parts, Some(at)))
            }
            @if !up.is_empty() {
                h2 { (t("origin.goes_into")) }
                (self.table(measured, &up, None))
            }
        }
    }

    /// Steps and inputs with their numbers, each a link; with their shares where they are what a step is made of.
    fn table(&self, measured: &Measured<'_>, nodes: &[usize], of: Option<usize>) -> Markup {
        let formula = measured.formula;
        html! {
            div.wide { table.linked {
                thead { tr {
                    th { (t("origin.symbol")) } th.number { (t("origin.value")) } th { (t("origin.unit")) } th.number { "u" }
                    th { (t("origin.what")) }
                } }
                tbody { @for node in nodes {
                    @let (symbol, what) = described(formula, *node);
                    @let (value, unit, u) = number(formula, *node);
                    tr {
                        td { @match self.path(measured, *node) {
                            Some(path) => { a href=(path) { (drawn(mathml::symbol(&symbol))) } }
                            None => { (drawn(mathml::symbol(&symbol))) }
                        } }
                        td.number { (value) } td.quiet { (unit) } td.number.quiet { (u.unwrap_or_default()) }
                        td.quiet { (what) }
                    }
                } }
            } }
            @if of.is_some() { p.quiet { (t("origin.u_how")) } }
        }
    }

    /// What is known of an input, and where it was read or stated.
    fn input(&self, measured: &Measured<'_>, index: usize) -> Markup {
        let input = &measured.formula.inputs()[index];
        let share = measured
            .budget
            .lines
            .iter()
            .find(|line| line.input == index)
            .map_or(0.0, |line| line.share);
        let read = self.where_read(&input.id, &input.scope);
        let thing = self.thing(&input.id, &input.origin);
        html! {
            h2 { (t("origin.from")) }
            p { (input.origin.describe()) }
            @if let Some((owner, run, slot)) = &read {
                p { a.button href=(Spot::Reading(*run, *slot, None).path(owner, "")) { (t("origin.to_reading")) } }
            }
            @if let Some(thing) = &thing { (self.about_thing(thing)) }
            @for parent in self.parents_of(&input.id, &input.scope) {
                @let spot = Spot::Input(input.id.clone());
                p { (t("origin.found_in")) " " a href=(spot.path(&parent, "")) { (parent.name()) } }
            }
            h2 { (t("origin.known")) }
            dl.facts {
                dt { (t("origin.shape")) } dd { (input.distribution.name()) }
                dt { (t("origin.dof")) } dd { (report::degrees_of_freedom(input.degrees_of_freedom)) }
                @if !input.group.is_empty() { dt { (t("origin.group")) } dd { (words::engine("group", &input.group)) } }
                dt { (t("origin.share")) } dd { (percent(share)) }
            }
            @if read.is_some() && input.standard_uncertainty() == 0.0 { p.quiet { (t("origin.in_repeatability")) } }
        }
    }

    /// Standardizations that this result rests on, the nearest first.
    fn ancestors(&self) -> Vec<Node> {
        let mut found: Vec<Node> = Vec::new();
        let mut next = notebook::sheet::parents(self.determination);
        while let Some(node) = next.pop() {
            if let Some(determination) = self.world.determination(&node)
                && !found.contains(&node)
            {
                next.extend(notebook::sheet::parents(determination));
                found.push(node);
            }
        }
        found
    }

    /// The standardization whose own input this is.
    fn parents_of(&self, id: &str, scope: &Scope) -> Vec<Node> {
        let mut ancestors = self.ancestors();
        ancestors.retain(|node| {
            let Some(determination) = self.world.determination(node) else {
                return false;
            };
            let Plan::Standardization { sought, .. } = &determination.opened.plan else {
                return false;
            };
            let own = |text: &str| {
                text.strip_prefix(sought.name())
                    .is_some_and(|rest| rest.is_empty() || rest.starts_with([' ', '/', ',']))
            };
            own(id) || matches!(scope, Scope::Run(key) if own(key))
        });
        ancestors
    }

    /// The reading that an input is: of which determination, which run, which.
    fn where_read(&self, id: &str, scope: &Scope) -> Option<(Node, u32, Slot)> {
        let Scope::Run(key) = scope else { return None };
        let slot = match id.rsplit_once('/')?.1 {
            "net" => Slot::Mass,
            other => other.parse().ok()?,
        };
        let owner = self.parents_of(id, scope).into_iter().next();
        let owner = owner.unwrap_or_else(|| self.node.clone());
        let determination = self.world.determination(&owner)?;
        let run = run_of(determination, key)?;
        run.reading(slot)?;
        Some((owner, run.started.run, slot))
    }

    /// The thing of the record that an input speaks of.
    fn thing(&self, id: &str, origin: &Origin) -> Option<Node> {
        let from = match origin {
            Origin::Reading(from) | Origin::Certificate(from) | Origin::Apparatus(from) => from,
            _ => "",
        };
        self.world
            .nodes()
            .filter(|node| matches!(node.kind(), Kind::Lot | Kind::Apparatus))
            .find(|node| {
                id.split('/').any(|part| part == node.name())
                    || from.split([' ', '/']).any(|part| part == node.name())
            })
            .cloned()
    }

    /// A thing with what its value goes by and how long that holds.
    fn about_thing(&self, thing: &Node) -> Markup {
        let until = notebook::validity::last_day(self.world, thing);
        let certificate = match self.world.state(thing) {
            Some(notebook::State::Lot(lot)) => lot.certificate.as_ref().map(|c| c.number.clone()),
            Some(notebook::State::Apparatus(apparatus)) => {
                apparatus.calibrations.last().and_then(|c| c.by.clone())
            }
            _ => None,
        };
        html! {
            p {
                (link(thing))
                @if let Some(certificate) = certificate { ", " (t("origin.certificate")) " " (certificate) }
                @if let Some(day) = until { ", " (t("list.until")) " " (day) }
            }
        }
    }

    /// A reading: what stands there, who read it, what stood there before, and where it goes.
    fn reading_page(&self, run: u32, slot: Slot, sample: Option<&str>) -> Option<Markup> {
        let sample_node = sample
            .map(|name| Node::new(Kind::Sample, name))
            .transpose()
            .ok()?;
        let reading = self
            .determination
            .reading(run, sample_node.as_ref(), slot)?;
        let of = self.determination.run(run);
        let name = of.map(|of| run_table::name(&self.determination.runs, of));
        let title = match (&name, sample) {
            (Some(name), _) => format!("{slot}, {} {name}", t("runs.run")),
            (None, Some(sample)) => format!("{slot}, {sample}"),
            (None, None) => slot.to_string(),
        };
        let node = self
            .measured
            .as_ref()
            .zip(of)
            .and_then(|(measured, of)| self.input_of(measured, of, slot));
        let piece = self.instrument(slot);
        Some(html! {
            (self.crumbs(self.measured.as_ref(), node))
            h1 { (title) }
            p.big { (run_table::number(&reading.value)) " "
                span.result { span.unit { (reading.value.split_whitespace().nth(1).unwrap_or_default()) } } }
            (history(reading))
            p.quiet { (filled("origin.event", &[("n", &reading.event.to_string())])) " "
                a href={ "/things/determination/" (escaped(self.node.name())) } { (t("origin.all_events")) } }
            @if let Some(aside) = of.and_then(|of| of.set_aside.as_ref()) {
                p.notice { (t("runs.run")) " " (name.clone().unwrap_or_default()) " " (t("runs.set_aside")) ": " (aside.reason) " (" (aside.who) ", " (aside.at.clock()) ")" }
            }
            @if let Some(piece) = piece {
                h2 { (t("origin.with")) }
                (self.about_thing(&piece))
            }
            @match (self.measured.as_ref(), node) {
                (Some(measured), Some(node)) => {
                    h2 { (t("origin.goes_into")) }
                    @let up = goes_into(measured.formula).remove(&node).unwrap_or_default();
                    (self.table(measured, &up, None))
                }
                _ => { p.quiet { (t("origin.counts_not")) } }
            }
        })
    }

    /// The node of the formula that a reading of a run is.
    fn input_of(&self, measured: &Measured<'_>, run: &Run, slot: Slot) -> Option<usize> {
        let end = match slot {
            Slot::Mass => "net".to_string(),
            other => other.to_string(),
        };
        let input = measured.formula.inputs().iter().position(|input| {
            let Scope::Run(key) = &input.scope else {
                return false;
            };
            input
                .id
                .rsplit_once('/')
                .is_some_and(|(_, last)| last == end)
                && self.parents_of(&input.id, &input.scope).is_empty()
                && run_of(self.determination, key).is_some_and(|r| r.started.run == run.started.run)
        })?;
        measured
            .formula
            .nodes()
            .iter()
            .position(|n| n.operation == Operation::Input(input))
    }

    /// With what a reading is made.
    fn instrument(&self, slot: Slot) -> Option<Node> {
        let opened = &self.determination.opened;
        match slot {
            Slot::Mass | Slot::Gross | Slot::Tare => opened.balance.clone(),
            of if of.is_of_burette() => Some(opened.burette.clone()),
            // Nothing, or the piece of the method's step, which may be any of the determination's.
            _ => None,
        }
    }
}

/// The run of a determination that a scope names: it ends in the run's name, behind the sample's where there are several.
fn run_of<'d>(determination: &'d Determination, key: &str) -> Option<&'d Run> {
    let (_, called) = key.rsplit_once(" run ")?;
    determination.runs.iter().find(|run| {
        let name = run_table::name(&determination.runs, run);
        called == name
            || run
                .started
                .sample
                .as_ref()
                .is_some_and(|sample| called == format!("{} {name}", sample.name()))
    })
}

/// Who read it and what stood there before, the first value first.
fn history(reading: &Reading) -> Markup {
    html! {
        ol.history {
            @for (index, correction) in reading.corrections.iter().enumerate() {
                li {
                    del { (correction.was) } " "
                    @if index == 0 { span.quiet { (t("origin.read_by")) " " (reading.who) ", " (reading.at.day()) " " (reading.at.clock()) } }
                    br; (t("origin.corrected")) " " (correction.who) ", " (correction.at.day()) " " (correction.at.clock()) ": “" (correction.reason) "”"
                }
            }
            li {
                (reading.value)
                @if reading.corrections.is_empty() { " " span.quiet { (t("origin.read_by")) " " (reading.who) ", " (reading.at.day()) " " (reading.at.clock()) } }
                @else { " " span.quiet { (t("origin.stands")) } }
            }
        }
    }
}

/// The budget of a result, line by line, each input a link.
pub(crate) fn budget(determination: &Node, measured: &Measured<'_>) -> Markup {
    let mut lines: Vec<_> = measured.budget.lines.iter().collect();
    lines.sort_by(|a, b| b.share.total_cmp(&a.share));
    let query = measured.query();
    html! {
        div.wide { table.linked {
            thead { tr {
                th { (t("origin.symbol")) } th { (t("origin.what")) } th.number { (t("origin.value")) } th.number { "u" } th { (t("origin.unit")) }
                th.number { (t("origin.contribution")) } th.number { (t("origin.share_short")) }
            } }
            tbody {
                @for line in lines.iter().filter(|line| line.share >= 5e-5) {
                    @let input = &measured.formula.inputs()[line.input];
                    @let spot = Spot::Input(input.id.clone());
                    tr {
                        td { (whence(determination, &spot, &query, &drawn(mathml::symbol(&input.symbol)))) }
                        td.quiet { (words::quantity(&input.description)) }
                        td.number { (input.written.clone().unwrap_or_else(|| raised(&in_working(input.value)))) }
                        td.number { (raised(&significant(line.standard_uncertainty, 2))) }
                        td.quiet { @if input.unit.symbol() != "1" { (words::quantity(input.unit.symbol())) } }
                        td.number { (raised(&significant(line.contribution / measured.factor, 2))) }
                        td.number { (percent(line.share)) }
                    }
                }
            }
        } }
        p.quiet { (filled("origin.budget_how", &[("unit", measured.unit), ("u", &rounded(measured.value(), measured.budget.standard_uncertainty / measured.factor).1)])) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use metrology::{Expr, Input, Quantity};

    #[test]
    fn a_path_names_what_it_is_about() {
        for spot in [
            Spot::Step("V_2".into(), None),
            Spot::Step("f_t".into(), Some(12)),
            Spot::Input("T-0117 run 1/B-3/final".into()),
            Spot::Reading(2, Slot::Final, None),
            Spot::Reading(0, Slot::Gross, Some("V-1".into())),
        ] {
            assert_eq!(Spot::read(&spot.text()), Some(spot.clone()), "{spot:?}");
        }
        for wrong in ["", "step", "reading:x:final", "reading:1:drunk", "other:1"] {
            assert_eq!(Spot::read(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn the_way_leads_up_to_the_result_and_down_to_the_inputs() {
        let input = |id: &str| Expr::input(Input::new(id, id, Quantity::number(2.0)));
        let inner = (input("a") + input("b") * input("d")).named("s", "sum");
        let formula = Formula::build(&(inner * input("c")).named("r", "result")).unwrap();
        let node = |symbol: &str| match symbol {
            "s" | "r" => Spot::Step(symbol.into(), None).node(&formula).unwrap(),
            id => Spot::Input(id.into()).node(&formula).unwrap(),
        };
        assert_eq!(made_of(&formula, node("s")), ["a", "b", "d"].map(node));
        assert_eq!(made_of(&formula, node("r")), ["s", "c"].map(node));
        assert_eq!(way_up(&formula, node("d")), [node("s")]);
        assert_eq!(way_up(&formula, node("c")), Vec::<usize>::new());
        assert_eq!(goes_into(&formula)[&node("a")], [node("s")]);
    }
}
