//! Nothing is asked for: the next run, or the end.

use super::agreement::may_stop;
use super::frame::command;
use super::protocol::Protocol;
use super::result::Shown;
use super::run_table;
use crate::text::{filled, t};
use maud::{Markup, html};
use notebook::Node;
use notebook::payload::Plan;
use notebook::state::Run;
use titrimetry::method::BlankPlan;
use titrimetry::sheet::RunKind;

/// Runs that count which a person would do before going on to the next sample (common practice).
const ENOUGH: usize = 2;

/// One kind of run that can begin: of a sample, in a titration.
struct Kind<'a> {
    sample: Option<&'a Node>,
    titration: Option<&'a str>,
}

impl Kind<'_> {
    fn runs<'r>(&self, runs: &'r [Run]) -> Vec<&'r Run> {
        runs.iter()
            .filter(|run| {
                run.set_aside.is_none()
                    && run.started.sample.as_ref() == self.sample
                    && run.started.titration.as_deref() == self.titration
            })
            .collect()
    }

    fn count(&self, runs: &[Run], kind: RunKind) -> usize {
        self.runs(runs)
            .iter()
            .filter(|run| run.started.run_kind == kind)
            .count()
    }

    fn is_of(&self, run: &Run) -> bool {
        run.started.sample.as_ref() == self.sample
            && run.started.titration.as_deref() == self.titration
    }

    fn words(&self) -> String {
        let sample = self.sample.map(Node::name);
        let words: Vec<&str> = sample.into_iter().chain(self.titration).collect();
        words.join(" · ")
    }

    fn button(&self, shown: &Shown<'_>, kind: &str, word: &str, main: bool, back: &str) -> Markup {
        let next = shown.determination.runs.len() + 1;
        command(
            shown.node,
            "run-started",
            back,
            word,
            &html! {
                input type="hidden" name="p.n.run" value=(next);
                input type="hidden" name="p.s.run_kind" value=(kind);
                @if let Some(sample) = self.sample { input type="hidden" name="p.s.sample" value=(sample); }
                @if let Some(titration) = self.titration { input type="hidden" name="p.s.titration" value=(titration); }
                @if main { button.main.take type="submit" data-next { (word) } } @else { button type="submit" data-next[kind == "replicate"] { (word) } }
            },
        )
    }
}

fn kinds<'a>(shown: &Shown<'a>, protocol: &'a Protocol<'a>) -> Vec<Kind<'a>> {
    let samples: Vec<Option<&Node>> = match &shown.determination.opened.plan {
        Plan::Assay { samples, .. } => samples.iter().map(Some).collect(),
        Plan::Standardization { .. } => vec![None],
    };
    samples
        .into_iter()
        .flat_map(|sample| {
            titrations(protocol)
                .into_iter()
                .map(move |titration| Kind { sample, titration })
        })
        .collect()
}

fn titrations<'a>(protocol: &'a Protocol<'a>) -> Vec<Option<&'a str>> {
    match protocol.titrations() {
        [] => vec![None],
        several => several.iter().map(|t| Some(t.name.as_str())).collect(),
    }
}

/// The next run, or the end.
pub(crate) fn begin(
    shown: &Shown<'_>,
    protocol: &Protocol<'_>,
    saved: &Markup,
    back: &str,
) -> Markup {
    html! {
        @let stop = shown.outcome.as_ref().is_ok_and(may_stop);
        p.quiet { (t("bench.between")) }
        (saved)
        (buttons(shown, protocol, !stop, back))
        @if shown.outcome.is_ok() {
            (command(shown.node, "determination-closed", back, t("bench.close"), &html! {
                @if stop { button.main.take type="submit" { (t("bench.close")) } } @else { button type="submit" { (t("bench.close")) } }
            }))
        }
        @if let Some(last) = shown.determination.runs.last().filter(|run| run.set_aside.is_none()) {
            p { a.button href={ (back) "?refill=" (last.started.run) "." (run_table::refills(last) + 1) } {
                (filled("bench.was_refilled", &[("run", &run_table::title(&shown.determination.runs, last))]))
            } }
        }
    }
}

/// While a run waits for a reading: other runs that wait, and runs that can begin meanwhile.
pub(crate) fn meanwhile(
    shown: &Shown<'_>,
    protocol: &Protocol<'_>,
    current: &Run,
    back: &str,
) -> Markup {
    let runs = &shown.determination.runs;
    html! {
        details {
            summary { (t("bench.meanwhile")) }
            @for run in protocol.unfinished() {
                @if run.started.run != current.started.run {
                    p { a.button href={ (back) "?run=" (run.started.run) } {
                        (filled("bench.go_on_with", &[("run", &run_table::title(runs, run))]))
                        @if let Some(sample) = &run.started.sample { ", " (sample.name()) }
                    } }
                }
            }
            (buttons(shown, protocol, false, back))
        }
    }
}

fn buttons(shown: &Shown<'_>, protocol: &Protocol<'_>, with_main: bool, back: &str) -> Markup {
    let runs = &shown.determination.runs;
    let kinds = kinds(shown, protocol);
    let blanks: Vec<Kind<'_>> = titrations(protocol)
        .into_iter()
        .map(|titration| Kind {
            sample: None,
            titration,
        })
        .collect();
    let needs_blank = protocol.blank() == BlankPlan::Reagent
        && blanks.iter().any(|b| b.count(runs, RunKind::Blank) == 0);
    let last = runs.last();
    let suggested = kinds
        .iter()
        .position(|kind| kind.count(runs, RunKind::Replicate) < ENOUGH)
        .or_else(|| {
            kinds
                .iter()
                .position(|kind| last.is_some_and(|run| kind.is_of(run)))
        })
        .unwrap_or(0);
    let one = kinds.len() == 1;
    html! {
        @if needs_blank { p.strong { (t("bench.needs_blank")) } }
        @for (index, kind) in kinds.iter().enumerate() {
            @let main = with_main && index == suggested && !needs_blank;
            @let rough = kind.count(runs, RunKind::Rough) > 0 || kind.count(runs, RunKind::Replicate) > 0;
            div.row.kind {
                @if !one {
                    span { span.strong { (kind.words()) } br;
                        span.quiet { (filled("bench.runs_done", &[("n", &kind.count(runs, RunKind::Replicate).to_string())])) } }
                }
                @if one && !rough {
                    (kind.button(shown, "rough", t("bench.begin_rough"), main, back))
                    (kind.button(shown, "replicate", t("bench.begin_run"), false, back))
                } @else {
                    (kind.button(shown, "replicate", t("bench.begin_run"), main, back))
                    (kind.button(shown, "rough", t("bench.begin_rough"), false, back))
                }
            }
        }
        div.row.kind {
            @for kind in &blanks {
                @let named = kind.titration.map_or_else(|| t("bench.begin_blank").to_string(), |name| filled("bench.begin_blank_of", &[("titration", name)]));
                (kind.button(shown, "blank", &named, with_main && needs_blank && kind.count(runs, RunKind::Blank) == 0, back))
            }
        }
        @if protocol.blank() == BlankPlan::Subtract && blanks.iter().any(|b| b.count(runs, RunKind::Blank) == 0) { p.quiet { (t("bench.subtracts_blank")) } }
    }
}
