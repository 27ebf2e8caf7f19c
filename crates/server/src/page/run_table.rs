//! The run table as the trade writes it: a column a run, rows final, initial, titre; corrected readings struck through
//! beside the new one.

use super::origin::{Spot, whence};
use super::result::Shown;
use crate::measured;
use crate::text::t;
use maud::{Markup, html};
use notebook::payload::Slot;
use notebook::state::Run;
use notebook::{Node, Outcome};
use titrimetry::sheet::RunKind;

/// What is asked for now: run and reading.
pub(crate) type Asked = Option<(u32, Slot)>;

/// The number of a value as written, without its unit.
pub(crate) fn number(value: &str) -> &str {
    value.split_whitespace().next().unwrap_or(value)
}

/// How a run is called at the head of its column.
pub(crate) fn name(runs: &[Run], run: &Run) -> String {
    let kind = run.started.run_kind;
    let of_kind = |r: &&Run| r.started.run_kind == kind && r.started.sample == run.started.sample;
    let index = runs
        .iter()
        .filter(of_kind)
        .position(|r| r.started.run == run.started.run)
        .unwrap_or(0)
        + 1;
    match kind {
        RunKind::Replicate => index.to_string(),
        RunKind::Rough if index == 1 => t("runs.rough").into(),
        RunKind::Blank if index == 1 => t("runs.blank").into(),
        RunKind::Rough => format!("{} {index}", t("runs.rough")),
        RunKind::Blank => format!("{} {index}", t("runs.blank")),
    }
}

/// Final less initial, in the decimals of the finer reading.
pub(crate) fn titre(run: &Run) -> Option<(f64, usize)> {
    let value = |slot| run.reading(slot).map(|r| number(&r.value));
    let (initial, last) = (value(Slot::Initial)?, value(Slot::Final)?);
    let decimals = |text: &str| text.split('.').nth(1).map_or(0, str::len);
    let difference = last.parse::<f64>().ok()? - initial.parse::<f64>().ok()?;
    Some((difference, decimals(initial).max(decimals(last))))
}

/// A computed number of a run, leading to its step of the working if it has one.
fn step(shown: &Shown<'_>, runs: &[Run], run: &Run, symbol: &str, text: &str) -> Markup {
    let plain = html! { (text) };
    let Ok(outcome) = shown.outcome else {
        return plain;
    };
    let sample = run.started.sample.as_ref().map(Node::name);
    let called = name(runs, run);
    for measured in measured::all(outcome) {
        let names = [
            Some(called.clone()),
            sample.map(|s| format!("{s} {called}")),
        ];
        for name in names.into_iter().flatten().rev() {
            if let Some(at) = measured.formula.node_index(&format!("{symbol}{name}"))
                && let Some(spot) = Spot::of_node(measured.formula, at)
                && sample.is_none_or(|s| measured.name.ends_with(s))
            {
                return whence(shown.node, &spot, &measured.query(), &plain);
            }
        }
    }
    plain
}

/// The table.
pub(crate) fn run_table(shown: &Shown<'_>, asked: Asked) -> Markup {
    let runs = &shown.determination.runs;
    let has = |slot: Slot| {
        runs.iter().any(|run| run.reading(slot).is_some()) || asked.is_some_and(|(_, s)| s == slot)
    };
    let rows: Vec<(Slot, &str)> = [
        (Slot::Mass, t("runs.mass")),
        (Slot::Final, t("runs.final")),
        (Slot::Initial, t("runs.initial")),
    ]
    .into_iter()
    .filter(|(slot, _)| *slot != Slot::Mass || has(*slot))
    .collect();
    let samples = runs.iter().any(|run| run.started.sample.is_some());
    let concentrations = match shown.outcome {
        Ok(Outcome::Standardization { evaluation, .. }) => evaluation
            .runs
            .iter()
            .map(|run| (run.name.clone(), run.concentration))
            .collect(),
        _ => Vec::new(),
    };
    html! {
        div.wide {
            table.runs {
                caption.quiet { (t("runs.caption")) }
                thead {
                    @if samples { tr { th { (t("runs.sample")) } @for run in runs {
                        th.number { @if let Some(sample) = &run.started.sample { (sample.name()) } }
                    } } }
                    tr {
                        th { (t("runs.run")) }
                        @for run in runs {
                            th.number scope="col" .aside[run.set_aside.is_some()] { (name(runs, run)) }
                        }
                    }
                }
                tbody {
                    @for (slot, word) in &rows {
                        tr {
                            th scope="row" { (word) }
                            @for run in runs {
                                td.number .asked[asked == Some((run.started.run, *slot))] .aside[run.set_aside.is_some()] {
                                    @if let Some(reading) = run.reading(*slot) {
                                        @for correction in &reading.corrections {
                                            del title={ (correction.reason) " · " (correction.who) " " (correction.at.clock()) } { (number(&correction.was)) } " "
                                        }
                                        @let spot = Spot::Reading(run.started.run, *slot, None);
                                        (whence(shown.node, &spot, "", &html! { (number(&reading.value)) }))
                                    }
                                }
                            }
                        }
                    }
                    tr {
                        th scope="row" { (t("runs.titre")) }
                        @for run in runs {
                            td.number .hide-blind .aside[run.set_aside.is_some()] {
                                @if let Some((value, decimals)) = titre(run) { (step(shown, runs, run, "V_obs,", &format!("{value:.decimals$}"))) }
                            }
                        }
                    }
                    @if concentrations.iter().any(|(_, c)| c.is_some()) {
                        tr {
                            th scope="row" { "c / (mol/L)" }
                            @for run in runs {
                                @let called = name(runs, run);
                                td.number .hide-blind .aside[run.set_aside.is_some()] {
                                    @if let Some(c) = concentrations.iter().find(|(n, _)| *n == called).and_then(|(_, c)| *c) { (step(shown, runs, run, "c_", &format!("{c:.5}"))) }
                                }
                            }
                        }
                    }
                }
            }
        }
        @for run in runs {
            @if let Some(aside) = &run.set_aside {
                p.quiet { (t("runs.run")) " " (name(runs, run)) " " (t("runs.set_aside")) ": " (aside.reason) " (" (aside.who) ", " (aside.at.clock()) ")" }
            }
            @for reading in &run.readings {
                @for correction in &reading.corrections {
                    p.quiet { (t("runs.run")) " " (name(runs, run)) ", " (reading.slot) ": " (correction.was) " → " (reading.value) ", " (correction.reason) " (" (correction.who) ", " (correction.at.clock()) ")" }
                }
            }
            @for remark in &run.remarks {
                p.quiet { (t("runs.run")) " " (name(runs, run)) ": “" (remark.text) "” (" (remark.who) ")" }
            }
        }
    }
}
