//! What is written beside the readings: corrections and runs set aside, always with a reason; remarks; temperature and
//! air; a determination that is given up.

use super::files::attach_form;
use super::frame::{command, unit_of};
use super::protocol::unit;
use super::result::Shown;
use super::run_table;
use crate::text::{filled, t};
use crate::words;
use maud::{Markup, html};
use notebook::Node;
use notebook::payload::{KnownBy, Plan};
use notebook::state::{Reading, Run};

/// Reasons that the trade knows (common practice).
fn reasons() -> [&'static str; 7] {
    [
        t("reason.spilled"),
        t("reason.overshot"),
        t("reason.air"),
        t("reason.height"),
        t("reason.indicator"),
        t("reason.rinsed"),
        t("reason.drop"),
    ]
}

/// Everything of it.
pub(crate) fn amending(shown: &Shown<'_>, current: Option<&Run>, back: &str) -> Markup {
    html! {
        @if current.is_none() { (remark(shown, shown.determination.runs.last(), back)) }
        (attach_form(shown))
        (conditions(shown, back))
        (recheck(shown, back))
        (corrections(shown, back))
        (give_up(shown, back))
    }
}

/// A remark, about a run or about all.
pub(crate) fn remark(shown: &Shown<'_>, run: Option<&Run>, back: &str) -> Markup {
    let runs = &shown.determination.runs;
    html! {
        details {
            summary { (t("bench.remark")) }
            (command(shown.node, "remarked", back, t("bench.remark"), &html! {
                div.row {
                    label { span { (t("bench.remark_about")) } select name="p.n.run" {
                        @if let Some(run) = run { option value=(run.started.run) { (run_table::title(runs, run)) } }
                        option value="" { (t("bench.remark_all")) }
                        @for other in runs.iter().rev().filter(|other| run.is_none_or(|run| run.started.run != other.started.run)) {
                            option value=(other.started.run) { (run_table::title(runs, other)) @if let Some(sample) = &other.started.sample { ", " (sample.name()) } }
                        }
                    } }
                    label { span { (t("bench.remark_what")) } input name="p.s.text" required maxlength="500" placeholder=(t("bench.remark_example")); }
                    button type="submit" { (t("bench.write")) }
                }
            }))
        }
    }
}

/// Temperature and air, read again at any time.
fn conditions(shown: &Shown<'_>, back: &str) -> Markup {
    let now = &shown.determination.conditions;
    let text = |known: Option<String>| known.unwrap_or_default();
    let known: Vec<String> = [
        now.temperature.as_ref().map(ToString::to_string),
        now.temperature_within
            .as_ref()
            .map(|within| format!("± {within}")),
        now.pressure.as_ref().map(ToString::to_string),
        now.humidity.as_ref().map(ToString::to_string),
    ]
    .into_iter()
    .flatten()
    .collect();
    html! {
        details {
            summary { (t("bench.conditions")) @if !known.is_empty() { ": " (words::quantity(&known.join(", ")).replace(' ', "\u{a0}").replace(",\u{a0}", ", ")) } }
            (command(shown.node, "conditions-noted", back, t("bench.conditions"), &html! {
                div.row {
                    label { span { (t("bench.temperature")) } input name="p.s.conditions.temperature" placeholder="21.5 °C" value=(words::quantity(&text(now.temperature.as_ref().map(ToString::to_string)))); }
                    label { span { (t("bench.temperature_within")) } input name="p.s.conditions.temperature_within" placeholder="1.5 K" value=(text(now.temperature_within.as_ref().map(ToString::to_string))); }
                    label { span { (t("bench.pressure")) } input name="p.s.conditions.pressure" placeholder="1013 hPa" value=(text(now.pressure.as_ref().map(ToString::to_string))); }
                    label { span { (t("bench.humidity")) } input name="p.s.conditions.humidity" placeholder="50 %" value=(text(now.humidity.as_ref().map(ToString::to_string))); }
                    button type="submit" { (t("bench.write")) }
                }
                @for (field, unit) in [("temperature", "degC"), ("temperature_within", "K"), ("pressure", "hPa"), ("humidity", "%")] {
                    (unit_of(&format!("p.s.conditions.{field}"), unit))
                }
            }))
        }
    }
}

/// The titrant standardized again between samples, where the record holds such a determination.
fn recheck(shown: &Shown<'_>, back: &str) -> Markup {
    let Plan::Assay {
        titrant, samples, ..
    } = &shown.determination.opened.plan
    else {
        return html! {};
    };
    let KnownBy::Solution { solution, by } = &titrant.known else {
        return html! {};
    };
    let standings: Vec<&Node> = shown
        .world
        .solution(solution)
        .map(|solution| solution.standardized.as_slice())
        .unwrap_or_default()
        .iter()
        .map(|standing| &standing.determination)
        .filter(|node| by.as_ref() != Some(*node))
        .collect();
    html! {
        @for again in &shown.determination.rechecks {
            p.quiet { (filled("bench.rechecked", &[("sample", again.after.name()), ("by", again.by.name())])) }
        }
        @if !standings.is_empty() {
            details {
                summary { (t("bench.recheck")) }
                (command(shown.node, "titrant-rechecked", back, t("bench.recheck"), &html! {
                    div.row {
                        label { span { (t("bench.recheck_after")) } select name="p.s.after" { @for sample in samples { option value=(sample) { (sample.name()) } } } }
                        label { span { (t("bench.recheck_by")) } select name="p.s.by" { @for node in standings { option value=(node) { (node.name()) } } } }
                        button type="submit" { (t("bench.write")) }
                    }
                }))
            }
        }
    }
}

/// Correct a reading, set a run aside: always with a reason.
fn corrections(shown: &Shown<'_>, back: &str) -> Markup {
    let determination = shown.determination;
    let runs = &determination.runs;
    if runs.iter().all(|run| run.readings.is_empty()) && determination.of_samples.is_empty() {
        return html! {};
    }
    let correct = |run: u32, sample: Option<&Node>, reading: &Reading, called: &str| {
        command(
            shown.node,
            "reading-corrected",
            back,
            t("bench.correct"),
            &html! {
                input type="hidden" name="unit" value=(unit(reading.slot));
                input type="hidden" name="p.n.run" value=(run);
                @if let Some(sample) = sample { input type="hidden" name="p.s.sample" value=(sample); }
                input type="hidden" name="p.s.reading" value=(reading.slot);
                div.row {
                    label { span { (called) ", " (words::slot(reading.slot)) } input name="p.s.value" value=(reading.value) required; }
                    label { span { (t("bench.why")) } input name="p.s.reason" required maxlength="300"; }
                    button type="submit" { (t("bench.put_right")) }
                }
            },
        )
    };
    let called = |run: &Run| {
        let mut text = run_table::called(runs, run);
        for more in [
            run.started.sample.as_ref().map(Node::name),
            run.started.titration.as_deref(),
        ]
        .into_iter()
        .flatten()
        {
            text.push_str(", ");
            text.push_str(more);
        }
        text
    };
    html! {
        details.hide-blind {
            summary { (t("bench.correct")) }
            p.quiet { (t("bench.correct_how")) }
            @for (sample, reading) in &determination.of_samples {
                (correct(0, Some(sample), reading, &format!("{} {}", t("runs.sample"), sample.name())))
            }
            @for run in runs {
                @for reading in &run.readings {
                    (correct(run.started.run, None, reading, &called(run)))
                }
            }
        }
        details {
            summary { (t("bench.aside")) }
            p.quiet { (t("bench.aside_how")) }
            datalist #reasons { @for reason in reasons() { option value=(reason) {} } }
            @for run in runs {
                @let gone = run.set_aside.is_some();
                (command(shown.node, if gone { "run-restored" } else { "run-set-aside" }, back, t("bench.aside"), &html! {
                    input type="hidden" name="p.n.run" value=(run.started.run);
                    div.row {
                        label { span { (called(run)) ": " (t("bench.why")) } input name="p.s.reason" list="reasons" required maxlength="300"; }
                        button type="submit" { @if gone { (t("bench.restore")) } @else { (t("bench.set_aside")) } }
                    }
                }))
            }
        }
    }
}

fn give_up(shown: &Shown<'_>, back: &str) -> Markup {
    html! {
        details {
            summary { (t("bench.give_up")) }
            (command(shown.node, "determination-given-up", back, t("bench.give_up"), &html! {
                div.row {
                    label { span { (t("bench.why")) } input name="p.s.reason" required maxlength="300"; }
                    button type="submit" { (t("bench.give_up")) }
                }
            }))
        }
    }
}
