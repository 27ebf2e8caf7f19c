//! At the bench: one thing to do at a time.

use super::frame::{command, drawn};
use super::result::{self, Shown};
use super::run_table::{self, number, run_table};
use crate::drawing::burette::{self, Zones};
use crate::text::{filled, t};
use maud::{Markup, html};
use notebook::payload::{Plan, Slot};
use notebook::state::Run;
use notebook::{Node, Outcome};
use titrimetry::Layout;
use titrimetry::sheet::RunKind;

/// Steps that are ticked off before the first run (common practice).
const STEPS: [&str; 3] = [
    "burette rinsed with titrant",
    "tip free of air",
    "funnel taken out",
];

/// Where the words of a refused reading appear; outside of what is drawn anew.
pub(crate) fn refusals() -> Markup {
    html! {
        div #refused.notice role="alert" hidden { p {} button #dismiss type="button" { (t("bench.dismiss")) } }
    }
}

/// What is asked for next in a run.
fn wanting(shown: &Shown<'_>, run: &Run) -> Option<Slot> {
    order(shown)
        .into_iter()
        .find(|slot| run.reading(*slot).is_none())
}

/// The readings of a run, in the order in which they are taken.
fn order(shown: &Shown<'_>) -> Vec<Slot> {
    let weighed = shown.determination.opened.balance.is_some()
        && matches!(
            &shown.determination.opened.plan,
            Plan::Standardization {
                dissolved: None,
                ..
            }
        );
    let mut order = vec![Slot::Initial, Slot::Final];
    if weighed {
        order.insert(0, Slot::Mass);
    }
    order
}

/// The page of an open determination.
pub(crate) fn bench(shown: &Shown<'_>) -> Markup {
    let determination = shown.determination;
    let runs = &determination.runs;
    let current = runs
        .iter()
        .filter(|run| run.set_aside.is_none())
        .find_map(|run| wanting(shown, run).map(|slot| (run, slot)));
    let asked = current.map(|(run, slot)| (run.started.run, slot));
    let facts = burette::Facts::of(shown);
    let zones = current.and_then(|(run, _)| expected(shown, run));
    let back = super::frame::path_of(shown.node);
    html! {
        div.bench {
            div.burette { (drawn(burette::burette(&facts, level(runs, current.map(|c| c.0)), zones.as_ref()))) }
            div {
                h1 { (determination.opened.title) }
                @if let Some((run, slot)) = current {
                    (ask(shown, &facts, run, slot, zones.as_ref(), &back))
                } @else {
                    (begin(shown, &back))
                }
                p {
                    span #saved.saved role="status" data-taken=(t("bench.taken")) data-waiting=(t("bench.waiting")) { (last_taken(runs)) }
                }
                (run_table(shown, asked))
                (corrections(shown, &back))
            }
            aside.side {
                (result::side(shown))
                (checklist(shown, &back))
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
    let reading = run
        .reading(Slot::Final)
        .or_else(|| run.reading(Slot::Initial))?;
    number(&reading.value).parse().ok()
}

/// Where the end is expected in this run, from what the finished runs gave, or from nominal.
fn expected(shown: &Shown<'_>, run: &Run) -> Option<Zones> {
    let initial: f64 = run
        .reading(Slot::Initial)
        .and_then(|r| number(&r.value).parse().ok())
        .unwrap_or(0.0);
    let mass = |run: &Run| {
        run.reading(Slot::Mass)
            .and_then(|r| number(&r.value).parse::<f64>().ok())
    };
    let others: Vec<&Run> = shown
        .determination
        .runs
        .iter()
        .filter(|r| {
            r.started.run != run.started.run
                && r.set_aside.is_none()
                && r.started.sample == run.started.sample
                && r.started.run_kind != RunKind::Blank
        })
        .collect();
    let of = |kind: RunKind| -> Vec<f64> {
        others
            .iter()
            .filter(|r| r.started.run_kind == kind)
            .filter_map(|r| {
                let (titre, _) = run_table::titre(r)?;
                // Runs with other masses are brought to this one's.
                Some(match (mass(r), mass(run)) {
                    (Some(then), Some(now)) => titre * now / then,
                    _ => titre,
                })
            })
            .collect()
    };
    let good = of(RunKind::Replicate);
    let rough = of(RunKind::Rough);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    // Half-widths are common practice: a rough run overshoots by a few drops, a good one repeats within two.
    let (at, within) = if !good.is_empty() {
        (mean(&good), 0.10)
    } else if !rough.is_empty() {
        (mean(&rough) - 0.15, 0.35)
    } else {
        let titre = by_nominal(shown)?;
        (titre, 0.06 * titre)
    };
    Some(Zones {
        initial,
        at,
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

fn ask(
    shown: &Shown<'_>,
    facts: &burette::Facts,
    run: &Run,
    slot: Slot,
    zones: Option<&Zones>,
    back: &str,
) -> Markup {
    let runs = &shown.determination.runs;
    let called = run_table::name(runs, run);
    let title = |slot: Slot| match slot {
        Slot::Mass => filled("bench.ask_mass", &[("run", &called)]),
        Slot::Initial => filled("bench.ask_initial", &[("run", &called)]),
        _ => filled("bench.ask_final", &[("run", &called)]),
    };
    let advice = match slot {
        Slot::Mass => t("bench.advice_mass"),
        Slot::Initial => t("bench.advice_initial"),
        _ => t("bench.advice_final"),
    };
    let order: Vec<String> = order(shown).iter().map(ToString::to_string).collect();
    let (unit, wanted) = if slot == Slot::Mass {
        ("g", 4)
    } else {
        ("mL", facts.decimals)
    };
    let keys = [
        ["7", "8", "9", "+0.01"],
        ["4", "5", "6", "-0.01"],
        ["1", "2", "3", "+0.1"],
        ["0", ".", "back", "-0.1"],
    ];
    html! {
        h2.plain #asked aria-live="polite" data-initial=(title(Slot::Initial)) data-final=(title(Slot::Final)) { (title(slot)) }
        @if let Some(sample) = &run.started.sample { p { (t("runs.sample")) " " span.strong { (sample.name()) } } }
        p.quiet { (advice) }
        @if let Some(zones) = zones.filter(|_| slot == Slot::Final) { p { (zones.words()) } }
        form.command method="post" action="/do" data-unit=(unit) data-order=(order.join(" ")) data-label=(title(slot)) autocomplete="off" {
            input type="hidden" name="on" value=(shown.node);
            input type="hidden" name="kind" value="reading-taken";
            input type="hidden" name="back" value=(back);
            input type="hidden" name="p.n.run" value=(run.started.run);
            input type="hidden" name="p.s.reading" value=(slot);
            div.ask {
                @if slot == Slot::Mass {
                    p.quiet { (t("bench.mass_hint")) }
                } @else {
                    div #echo aria-live="polite" data-division=(facts.graduation) data-capacity=(facts.capacity) data-decimals=(facts.scale_decimals)
                        data-majors=(facts.major) data-wanted=(facts.decimals) data-words=(t("bench.echo")) data-outside=(t("bench.outside")) {}
                }
                div {
                    div.value {
                        input.reading name="p.s.value" inputmode="decimal" required pattern="[+\\-]?[0-9]+([.,][0-9]+)?( ?(mL|g))?" aria-label=(title(slot)) autofocus;
                        span.unit { (unit) }
                    }
                    p.quiet { (t("bench.see")) }
                    p #decimals.accent hidden { (filled("bench.decimals", &[("n", &wanted.to_string())])) }
                    div.pad {
                        @for row in keys {
                            @for key in row {
                                @if key.len() > 1 && key != "back" {
                                    button type="button" data-step=(key) { (key.replace('-', "−")) }
                                } @else {
                                    button type="button" data-key=(key) aria-label=[(key == "back").then_some(t("bench.delete"))] { @if key == "back" { "⌫" } @else { (key) } }
                                }
                            }
                        }
                    }
                    button.main.take type="submit" { (t("bench.take")) }
                }
            }
        }
        p.row {
            @if slot == Slot::Final {
                button type="button" data-seconds="30" data-done=(t("bench.held")) { (t("bench.hold")) }
                button type="button" data-seconds="60" data-done=(t("bench.drained")) { (t("bench.drain")) }
            }
            button #blind type="button" aria-pressed="false" { (t("bench.blind")) }
        }
        (remark(shown, run, back))
    }
}

fn remark(shown: &Shown<'_>, run: &Run, back: &str) -> Markup {
    html! {
        details {
            summary { (t("bench.remark")) }
            (command(shown.node, "remarked", back, t("bench.remark"), &html! {
                input type="hidden" name="p.n.run" value=(run.started.run);
                div.row {
                    label { span { (t("bench.remark_what")) } input name="p.s.text" required maxlength="500" placeholder=(t("bench.remark_example")); }
                    button type="submit" { (t("bench.write")) }
                }
            }))
        }
    }
}

/// Nothing is asked for: the next run, or the end.
fn begin(shown: &Shown<'_>, back: &str) -> Markup {
    let runs = &shown.determination.runs;
    let next = runs.len() + 1;
    let samples: Vec<&Node> = match &shown.determination.opened.plan {
        Plan::Assay { samples, .. } => samples.iter().collect(),
        Plan::Standardization { .. } => Vec::new(),
    };
    let rough_done = runs
        .iter()
        .any(|run| run.started.run_kind == RunKind::Rough);
    let button = |kind: &str, word: &str, main: bool, sample: Option<&Node>| {
        command(
            shown.node,
            "run-started",
            back,
            word,
            &html! {
                input type="hidden" name="p.n.run" value=(next);
                input type="hidden" name="p.s.run_kind" value=(kind);
                @if let Some(sample) = sample { input type="hidden" name="p.s.sample" value=(sample); }
                @if main { button.main.take type="submit" { (word) } } @else { button type="submit" { (word) } }
            },
        )
    };
    html! {
        p.quiet { (t("bench.between")) }
        @if samples.is_empty() {
            div.row {
                @if rough_done || !runs.is_empty() {
                    (button("replicate", t("bench.begin_run"), true, None))
                    (button("rough", t("bench.begin_rough"), false, None))
                } @else {
                    (button("rough", t("bench.begin_rough"), true, None))
                    (button("replicate", t("bench.begin_run"), false, None))
                }
                (button("blank", t("bench.begin_blank"), false, None))
            }
        } @else {
            @for sample in samples {
                div.row {
                    span.strong { (sample.name()) }
                    (button("replicate", t("bench.begin_run"), false, Some(sample)))
                    (button("rough", t("bench.begin_rough"), false, Some(sample)))
                }
            }
            (button("blank", t("bench.begin_blank"), false, None))
        }
        @if shown.outcome.is_ok() {
            (command(shown.node, "determination-closed", back, t("bench.close"), &html! {
                button type="submit" { (t("bench.close")) }
            }))
        }
    }
}

/// Correct a reading, set a run aside: always with a reason.
fn corrections(shown: &Shown<'_>, back: &str) -> Markup {
    let runs = &shown.determination.runs;
    if runs.iter().all(|run| run.readings.is_empty()) {
        return html! {};
    }
    let reasons = [
        "spilled",
        "overshot",
        "air in the tip",
        "burette not read at the same height",
        "wrong indicator",
        "flask not rinsed down",
        "drop lost",
    ];
    html! {
        details {
            summary { (t("bench.correct")) }
            p.quiet { (t("bench.correct_how")) }
            @for run in runs {
                @for reading in &run.readings {
                    (command(shown.node, "reading-corrected", back, t("bench.correct"), &html! {
                        input type="hidden" name="p.n.run" value=(run.started.run);
                        input type="hidden" name="p.s.reading" value=(reading.slot);
                        div.row {
                            label { span { (t("runs.run")) " " (run_table::name(runs, run)) ", " (reading.slot) } input name="p.s.value" value=(reading.value) required; }
                            label { span { (t("bench.why")) } input name="p.s.reason" required maxlength="300"; }
                            button type="submit" { (t("bench.put_right")) }
                        }
                    }))
                }
            }
        }
        details {
            summary { (t("bench.aside")) }
            p.quiet { (t("bench.aside_how")) }
            datalist #reasons { @for reason in reasons { option value=(reason) {} } }
            @for run in runs {
                @let gone = run.set_aside.is_some();
                (command(shown.node, if gone { "run-restored" } else { "run-set-aside" }, back, t("bench.aside"), &html! {
                    input type="hidden" name="p.n.run" value=(run.started.run);
                    div.row {
                        label { span { (t("runs.run")) " " (run_table::name(runs, run)) ": " (t("bench.why")) } input name="p.s.reason" list="reasons" required maxlength="300"; }
                        button type="submit" { @if gone { (t("bench.restore")) } @else { (t("bench.set_aside")) } }
                    }
                }))
            }
        }
    }
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
                        "✓ " (step) span.quiet { " " (tick.at.clock().chars().take(5).collect::<String>()) " " (tick.who) }
                    } @else {
                        (command(shown.node, "checked-off", back, step, &html! {
                            input type="hidden" name="p.s.step" value=(step);
                            button type="submit" { "☐ " (step) }
                        }))
                    }
                }
            }
        }
    }
}
