//! At the bench: one thing to do at a time.

use super::amending::amending;
use super::asking::ask;
use super::beginning::begin;
use super::expected::expected;
use super::files::photographs;
use super::frame::{command, drawn};
use super::protocol::{Protocol, View};
use super::result::{self, Shown};
use super::run_table::{number, run_table};
use crate::drawing::burette;
use crate::text::t;
use crate::words;
use maud::{Markup, html};
use notebook::Node;
use notebook::payload::{KnownBy, Plan};
use notebook::state::Run;

/// Steps that are ticked off before the first run (common practice).
pub(crate) const STEPS: [&str; 3] = [
    "burette rinsed with titrant",
    "tip free of air",
    "funnel taken out",
];

/// The page of an open determination.
pub(crate) fn bench(shown: &Shown<'_>, view: &View) -> Markup {
    let determination = shown.determination;
    let runs = &determination.runs;
    let protocol = Protocol::of(shown);
    let asked = protocol.asked(view);
    let facts = burette::Facts::of(shown);
    let expected = asked.and_then(|(run, place)| expected(shown, run, place.slot));
    let within_reach = expected
        .as_ref()
        .filter(|zones| zones.end() <= facts.capacity);
    let runs_empty = expected.is_some() && within_reach.is_none();
    let back = super::frame::path_of(shown.node);
    let saved =
        html! { p #saved.saved role="status" data-taken=(t("bench.taken")) { (last_taken(runs)) } };
    html! {
        div.bench .asking[asked.is_some()] {
            div.burette {
                (drawn(burette::burette(&facts, level(runs, asked.map(|(run, _)| run)), within_reach)))
                @if let Some(zones) = within_reach { p.zones.hide-blind { (zones.words()) } }
            }
            div {
                h1 { (determination.opened.title) }
                p.about.quiet { @for (index, part) in about(shown).iter().enumerate() { @if index > 0 { " · " } span.together { (part) } } }
                @if runs.is_empty() { (checklist(shown, &back)) }
                @if let Some((run, place)) = asked {
                    (ask(shown, &protocol, &facts, run, place, within_reach, runs_empty, &saved, &back))
                } @else {
                    (begin(shown, &protocol, &saved, &back))
                }
                @if !runs.is_empty() { p { button #blind type="button" aria-pressed="false" { (t("bench.blind")) } } }
                @if !runs.is_empty() || !determination.of_samples.is_empty() { (run_table(shown, asked.map(|(_, place)| place))) }
                div.hide-blind { (photographs(shown)) }
                (amending(shown, asked.map(|(run, _)| run), &back))
            }
            aside.side {
                (result::side(shown))
                @if !runs.is_empty() { (checklist(shown, &back)) }
            }
        }
    }
}

/// What stands on the bench: burette, bottles, temperature.
fn about(shown: &Shown<'_>) -> Vec<String> {
    let determination = shown.determination;
    let opened = &determination.opened;
    let named = |word: &str, node: &Node| format!("{word} {}", node.name());
    let of = |known: &KnownBy| match known {
        KnownBy::Lot(node) | KnownBy::Solution { solution: node, .. } => node.clone(),
    };
    let mut parts = vec![named(t("bench.about_burette"), &opened.burette)];
    match &opened.plan {
        Plan::Standardization { sought, known, .. } => {
            parts.push(named(t("bench.about_bottle"), sought));
            parts.push(named(t("bench.about_against"), &of(known)));
        }
        Plan::Assay { titrant, .. } => {
            parts.push(named(t("bench.about_bottle"), &of(&titrant.known)));
        }
    }
    match &determination.conditions.temperature {
        Some(temperature) => parts.push(temperature.to_string().replace("degC", "°C")),
        None => parts.push(t("bench.about_no_temperature").into()),
    }
    parts
}

fn last_taken(runs: &[Run]) -> String {
    runs.iter()
        .flat_map(|run| &run.readings)
        .max_by_key(|reading| reading.event)
        .map_or_else(String::new, |reading| {
            format!(
                "{} {}",
                t("bench.taken"),
                reading.at.clock().chars().take(5).collect::<String>()
            )
        })
}

/// The level in the burette: the last reading of the run at hand.
fn level(runs: &[Run], current: Option<&Run>) -> Option<f64> {
    let run = current.or(runs.last())?;
    let mut latest = run.readings.iter().rev();
    let reading = latest.find(|reading| reading.slot.is_of_burette())?;
    number(&reading.value).parse().ok()
}

/// The checklist is evidence: each tick is timed.
fn checklist(shown: &Shown<'_>, back: &str) -> Markup {
    let ticks = &shown.determination.ticks;
    html! {
        h2 { (t("bench.checklist")) }
        ul.ticks {
            @for step in STEPS {
                li {
                    @if let Some(tick) = ticks.iter().find(|tick| tick.step == step) {
                        "✓ " (words::step(step)) span.quiet { " " (tick.at.clock().chars().take(5).collect::<String>()) " " (tick.who) }
                    } @else {
                        (command(shown.node, "checked-off", back, words::step(step), &html! {
                            input type="hidden" name="p.s.step" value=(step);
                            button type="submit" { "☐ " (words::step(step)) }
                        }))
                    }
                }
            }
        }
    }
}
