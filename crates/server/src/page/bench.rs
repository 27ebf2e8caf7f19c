//! At the bench: one thing to do at a time.

use super::amending::amending;
use super::asking::ask;
use super::beginning::begin;
use super::files::photographs;
use super::frame::{command, drawn};
use super::protocol::{Protocol, View};
use super::result::{self, Shown};
use super::run_table::{self, number, run_table};
use crate::drawing::burette::{self, Zones};
use crate::text::t;
use crate::words;
use maud::{Markup, html};
use notebook::Outcome;
use notebook::payload::Slot;
use notebook::state::Run;
use titrimetry::Layout;
use titrimetry::sheet::RunKind;

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
    html! {
        div.bench {
            div.burette { (drawn(burette::burette(&facts, level(runs, asked.map(|(run, _)| run)), within_reach))) }
            div {
                h1 { (determination.opened.title) }
                @if runs.is_empty() { (checklist(shown, &back)) }
                @if let Some((run, place)) = asked {
                    (ask(shown, &protocol, &facts, run, place, within_reach, runs_empty, &back))
                } @else {
                    (begin(shown, &protocol, &back))
                }
                p {
                    span #saved.saved role="status" data-taken=(t("bench.taken")) { (last_taken(runs)) }
                }
                @if !runs.is_empty() || !determination.of_samples.is_empty() { (run_table(shown, asked.map(|(_, place)| place))) }
                (photographs(shown))
                (amending(shown, asked.map(|(run, _)| run), &back))
            }
            aside.side {
                (result::side(shown))
                @if !runs.is_empty() { (checklist(shown, &back)) }
            }
        }
    }
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

/// Where this end is expected in this run, from what the finished runs gave, or from nominal.
fn expected(shown: &Shown<'_>, run: &Run, slot: Slot) -> Option<Zones> {
    let refills = run_table::refills(run);
    let initial = run_table::value(run, run_table::opening(refills)).unwrap_or(0.0);
    // What had run out before this fill.
    let before: f64 = (0..refills)
        .filter_map(|n| {
            let (first, last) = (run_table::opening(n), run_table::closing(n));
            Some(run_table::value(run, last)? - run_table::value(run, first)?)
        })
        .sum();
    let others: Vec<&Run> = shown
        .determination
        .runs
        .iter()
        .filter(|r| {
            r.started.run != run.started.run
                && r.set_aside.is_none()
                && r.started.sample == run.started.sample
                && r.started.titration == run.started.titration
                && (r.started.run_kind == RunKind::Blank)
                    == (run.started.run_kind == RunKind::Blank)
        })
        .collect();
    let of = |kind: RunKind| -> Vec<f64> {
        others
            .iter()
            .filter(|r| r.started.run_kind == kind)
            .filter_map(|r| {
                let (titre, _) = run_table::delivered(r, slot)?;
                // Runs with other masses are brought to this one's.
                Some(match (run_table::mass(r), run_table::mass(run)) {
                    (Some(then), Some(now)) => titre * now / then,
                    _ => titre,
                })
            })
            .collect()
    };
    let good = of(if run.started.run_kind == RunKind::Blank {
        RunKind::Blank
    } else {
        RunKind::Replicate
    });
    let rough = of(RunKind::Rough);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    // Half-widths are common practice: a rough run overshoots by a few drops, a good one repeats within two.
    let (titre, within) = if !good.is_empty() {
        (mean(&good), 0.10)
    } else if !rough.is_empty() {
        (mean(&rough) - 0.15, 0.35)
    } else {
        let titre = by_nominal(shown)?;
        (titre, 0.06 * titre)
    };
    Some(Zones {
        initial,
        at: titre - before,
        within,
    })
}

/// The titre that the nominal concentration would give, from a set of runs that is still empty: not known without one.
fn by_nominal(shown: &Shown<'_>) -> Option<f64> {
    let Ok(Outcome::Standardization { evaluation, .. }) = shown.outcome else {
        return None;
    };
    let factor = evaluation.factor.as_ref()?.value;
    let titre = evaluation.counting().next()?.titre;
    Some(match evaluation.layout {
        Layout::SoughtInBurette => titre * factor,
        Layout::SoughtInFlask => titre / factor,
    })
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
