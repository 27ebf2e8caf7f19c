//! The run table as the trade writes it: a column a run, rows final, initial, titre; corrected readings struck through
//! beside the new one.

use super::origin::{Spot, whence};
use super::protocol::Place;
use super::result::{Shown, rounded};
use crate::measured;
use crate::text::{filled, t};
use crate::words;
use maud::{Markup, html};
use notebook::payload::Slot;
use notebook::state::{Reading, Run};
use notebook::{Node, Outcome};
use titrimetry::sheet::RunKind;

/// What is asked for now.
pub(crate) type Asked<'a> = Option<Place<'a>>;

/// The number of a value as written, without its unit.
pub(crate) fn number(value: &str) -> &str {
    value.split_whitespace().next().unwrap_or(value)
}

/// The number of a run among those of its kind, from 1.
fn index(runs: &[Run], run: &Run) -> usize {
    let of_kind = |r: &&Run| {
        r.started.run_kind == run.started.run_kind
            && r.started.sample == run.started.sample
            && r.started.titration == run.started.titration
    };
    let mut alike = runs.iter().filter(of_kind);
    1 + alike
        .position(|r| r.started.run == run.started.run)
        .unwrap_or(0)
}

/// Words for a rough run or a blank, with a number from the second on.
fn numbered(word: &str, index: usize) -> String {
    match index {
        1 => word.into(),
        _ => format!("{word} {index}"),
    }
}

/// How a run is called at the head of its column.
pub(crate) fn name(runs: &[Run], run: &Run) -> String {
    let index = index(runs, run);
    match run.started.run_kind {
        RunKind::Replicate => index.to_string(),
        RunKind::Rough => numbered(t("runs.rough"), index),
        RunKind::Blank => numbered(t("runs.blank"), index),
    }
}

/// The same at the head of a page.
pub(crate) fn title(runs: &[Run], run: &Run) -> String {
    let index = index(runs, run);
    match run.started.run_kind {
        RunKind::Replicate => filled("runs.title", &[("n", &index.to_string())]),
        RunKind::Rough => numbered(t("runs.title_rough"), index),
        RunKind::Blank => numbered(t("runs.title_blank"), index),
    }
}

/// The same within a line.
pub(crate) fn called(runs: &[Run], run: &Run) -> String {
    match run.started.run_kind {
        RunKind::Replicate => format!("{} {}", t("runs.run"), index(runs, run)),
        _ => title(runs, run),
    }
}

/// The run's name on the sheet that is evaluated, which has the finished runs alone and numbers them in no language.
fn sheet_name(runs: &[Run], run: &Run) -> String {
    if let Some(own) = &run.started.name {
        return own.clone();
    }
    let kind = run.started.run_kind;
    let alike: Vec<u32> = runs
        .iter()
        .filter(|r| {
            r.is_finished() && r.started.sample == run.started.sample && r.started.run_kind == kind
        })
        .map(|r| r.started.run)
        .collect();
    let number = 1 + alike
        .iter()
        .position(|number| *number == run.started.run)
        .unwrap_or(0);
    let word = match kind {
        RunKind::Replicate => return number.to_string(),
        RunKind::Rough => "rough",
        RunKind::Blank => "blank",
    };
    if alike.len() == 1 {
        word.into()
    } else {
        format!("{word} {number}")
    }
}

/// How many times the burette was refilled in a run, or is to be.
pub(crate) fn refills(run: &Run) -> u8 {
    run.refills()
}

/// A reading as a number.
pub(crate) fn value(run: &Run, slot: Slot) -> Option<f64> {
    number(&run.reading(slot)?.value).parse().ok()
}

fn decimals(run: &Run, slot: Slot) -> usize {
    run.reading(slot).map_or(0, |reading| {
        number(&reading.value).split('.').nth(1).map_or(0, str::len)
    })
}

/// Final less initial over all fills, in the decimals of the finest reading.
pub(crate) fn titre(run: &Run) -> Option<(f64, usize)> {
    let last = refills(run);
    run_out(run, last, Slot::closing(last))
}

/// What ran out up to a reading of a fill, with all fills before it.
fn run_out(run: &Run, fill: u8, at: Slot) -> Option<(f64, usize)> {
    let mut sum = (0.0, 0);
    for n in 0..=fill {
        let (first, last) = (
            Slot::opening(n),
            if n == fill { at } else { Slot::closing(n) },
        );
        sum.0 += value(run, last)? - value(run, first)?;
        sum.1 = sum.1.max(decimals(run, first)).max(decimals(run, last));
    }
    Some(sum)
}

/// What had run out at a reading: at an end point, or at the last.
pub(crate) fn delivered(run: &Run, slot: Slot) -> Option<(f64, usize)> {
    match slot {
        Slot::End(_) => {
            let taken = run.readings.iter().take_while(|r| r.slot != slot);
            let refills = taken.filter(|r| matches!(r.slot, Slot::RefillInitial(_)));
            run_out(run, u8::try_from(refills.count()).ok()?, slot)
        }
        _ => titre(run),
    }
}

/// What was weighed in a run.
pub(crate) fn mass(run: &Run) -> Option<f64> {
    value(run, Slot::Mass).or_else(|| Some(value(run, Slot::Gross)? - value(run, Slot::Tare)?))
}

/// The rows of the table: what was weighed, then the burette from the last reading up to the first as the trade writes
/// it, then the rest.
fn rows(runs: &[Run], asked: Asked<'_>) -> Vec<(Slot, String)> {
    let has = |slot: Slot| {
        runs.iter().any(|run| run.reading(slot).is_some())
            || asked.is_some_and(|place| place.run > 0 && place.slot == slot)
    };
    let most = runs.iter().map(refills).max().unwrap_or(0) + 1;
    let mut rows = vec![
        (Slot::Mass, t("runs.mass").to_string()),
        (Slot::Gross, t("runs.gross").into()),
        (Slot::Tare, t("runs.tare").into()),
    ];
    for n in (1..=most).rev() {
        let fill = (n + 1).to_string();
        rows.push((
            Slot::RefillFinal(n),
            filled("runs.fill_final", &[("n", &fill)]),
        ));
        rows.push((
            Slot::RefillInitial(n),
            filled("runs.fill_initial", &[("n", &fill)]),
        ));
    }
    rows.push((Slot::Final, t("runs.final").into()));
    for n in (1..=9).rev() {
        rows.push((Slot::End(n), filled("runs.end", &[("n", &n.to_string())])));
    }
    rows.extend([
        (Slot::Initial, t("runs.initial").into()),
        (Slot::Temperature, t("runs.temperature").into()),
        (Slot::Duration, t("runs.duration").into()),
        (Slot::Added, t("runs.added").into()),
    ]);
    rows.retain(|(slot, _)| matches!(slot, Slot::Final | Slot::Initial) || has(*slot));
    rows
}

/// A computed number of a run, leading to its step of the working if it has one.
fn step(shown: &Shown<'_>, runs: &[Run], run: &Run, symbol: &str, text: &str) -> Markup {
    let plain = html! { (text) };
    let Ok(outcome) = shown.outcome else {
        return plain;
    };
    let sample = run.started.sample.as_ref().map(Node::name);
    let called = sheet_name(runs, run);
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

/// What was corrected and set aside in a run, a line each.
fn changes_of(runs: &[Run], run: &Run) -> Vec<String> {
    let called = called(runs, run);
    let mut lines = Vec::new();
    if let Some(aside) = &run.set_aside {
        let (how, why) = (t("runs.set_aside"), &aside.reason);
        lines.push(format!(
            "{called} {how}: {why} ({}, {})",
            aside.who,
            aside.at.clock()
        ));
    }
    for reading in &run.readings {
        lines.extend(corrections(&called, reading));
    }
    lines
}

fn corrections(of: &str, reading: &Reading) -> Vec<String> {
    // Each was put right to what the next one found wrong, the last to what stands.
    let put_right = reading.corrections.iter().skip(1).map(|c| &c.was);
    let lines = reading
        .corrections
        .iter()
        .zip(put_right.chain([&reading.value]));
    lines
        .map(|(correction, now)| {
            format!(
                "{of}, {}: {} → {now}, {} ({}, {})",
                words::slot(reading.slot),
                correction.was,
                correction.reason,
                correction.who,
                correction.at.clock()
            )
        })
        .collect()
}

/// Everything that was corrected or set aside since it was entered.
pub(crate) fn changes(shown: &Shown<'_>) -> Vec<String> {
    let determination = shown.determination;
    let runs = &determination.runs;
    let of_samples = determination
        .of_samples
        .iter()
        .flat_map(|(sample, reading)| {
            corrections(&format!("{} {}", t("runs.sample"), sample.name()), reading)
        });
    of_samples
        .chain(runs.iter().flat_map(|run| changes_of(runs, run)))
        .collect()
}

/// True for a reading of another run that tells its titre, which is hidden from who reads without knowing it.
fn tells(asked: Asked<'_>, run: &Run, slot: Slot) -> bool {
    matches!(slot, Slot::Final | Slot::End(_) | Slot::RefillFinal(_))
        && asked.is_none_or(|place| place.run != run.started.run)
}

/// What each run would give alone, by its name, with the words of the row.
fn alone(shown: &Shown<'_>) -> (String, Vec<(String, String)>) {
    match shown.outcome {
        Ok(Outcome::Standardization { evaluation, .. }) => {
            let of_runs = evaluation.runs.iter();
            let values =
                of_runs.filter_map(|r| Some((r.name.clone(), format!("{:.5}", r.concentration?))));
            ("c / (mol/L)".into(), values.collect())
        }
        Ok(Outcome::Assay { assay, .. }) => {
            let first = assay.samples.iter().find_map(|s| s.results.first());
            let word = first.map(|r| format!("{} / ({})", t("runs.content"), r.unit));
            let values = assay.samples.iter().flat_map(|sample| {
                let u = sample
                    .results
                    .first()
                    .map_or(0.0, |r| r.expanded.expanded_uncertainty);
                sample.runs.iter().filter_map(move |run| {
                    let several = assay.samples.len() > 1 && !run.name.starts_with(&sample.spec.id);
                    let name = if several {
                        format!("{} {}", sample.spec.id, run.name)
                    } else {
                        run.name.clone()
                    };
                    Some((name, rounded(run.value?, u).0))
                })
            });
            (word.unwrap_or_default(), values.collect())
        }
        Err(_) => (String::new(), Vec::new()),
    }
}

/// The table.
pub(crate) fn run_table(shown: &Shown<'_>, asked: Asked<'_>) -> Markup {
    let runs = &shown.determination.runs;
    let rows = rows(runs, asked);
    let titrations = runs.iter().any(|run| run.started.titration.is_some());
    let ends: Vec<Slot> = rows
        .iter()
        .map(|(slot, _)| *slot)
        .filter(|slot| matches!(slot, Slot::End(_)))
        .rev()
        .collect();
    let samples = runs.iter().any(|run| run.started.sample.is_some());
    let (alone, of_runs) = alone(shown);
    html! {
        div.wide.of-runs {
            table.runs {
                caption.quiet { (t("runs.caption")) }
                thead {
                    @if samples { tr { th { (t("runs.sample")) } @for run in runs {
                        th.number translate="no" { @if let Some(sample) = &run.started.sample { (sample.name()) } }
                    } } }
                    @if titrations { tr { th { (t("runs.titration")) } @for run in runs {
                        th.number { @if let Some(titration) = &run.started.titration { (titration) } }
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
                                td.number .asked[asked.is_some_and(|place| place.run == run.started.run && place.slot == *slot)] .aside[run.set_aside.is_some()] {
                                    @if let Some(reading) = run.reading(*slot) { span .hide-blind[tells(asked, run, *slot)] {
                                        @for correction in &reading.corrections {
                                            del title={ (correction.reason) " · " (correction.who) " " (correction.at.clock()) } { (number(&correction.was)) }
                                        }
                                        @let spot = Spot::Reading(run.started.run, *slot, None);
                                        (whence(shown.node, &spot, "", &html! { (number(&reading.value)) }))
                                    } }
                                }
                            }
                        }
                    }
                    @for slot in ends {
                        tr {
                            th scope="row" { @if let Slot::End(n) = slot { (filled("runs.titre_at", &[("n", &n.to_string())])) } }
                            @for run in runs {
                                td.number .aside[run.set_aside.is_some()] {
                                    @if let Some((value, decimals)) = delivered(run, slot) { span.hide-blind { (format!("{value:.decimals$}")) } }
                                }
                            }
                        }
                    }
                    tr {
                        th scope="row" { (t("runs.titre")) }
                        @for run in runs {
                            td.number .aside[run.set_aside.is_some()] {
                                @if let Some((value, decimals)) = titre(run) { span.hide-blind { (step(shown, runs, run, "V_obs,", &format!("{value:.decimals$}"))) } }
                            }
                        }
                    }
                    @if !of_runs.is_empty() {
                        tr {
                            th scope="row" { (alone) }
                            @for run in runs {
                                @let called = sheet_name(runs, run);
                                @let with_sample = run.started.sample.as_ref().map(|s| format!("{} {called}", s.name()));
                                td.number .aside[run.set_aside.is_some()] {
                                    @if let Some((_, value)) = of_runs.iter().find(|(n, _)| run.is_finished() && (Some(n) == with_sample.as_ref() || *n == called)) { span.hide-blind { (step(shown, runs, run, "c_", value)) } }
                                }
                            }
                        }
                    }
                }
            }
        }
        @for (sample, reading) in &shown.determination.of_samples {
            p.quiet {
                (t("runs.sample")) " " (sample.name()) ", " (words::slot(reading.slot)) ": "
                @for correction in &reading.corrections { del { (correction.was) } " (" (correction.reason) ", " (correction.who) ") " }
                span.strong { (reading.value) }
            }
        }
        @for run in runs {
            @for line in changes_of(runs, run) { p.quiet.hide-blind { (line) } }
            @for remark in &run.remarks {
                p.quiet { (called(runs, run)) ": “" (remark.text) "” (" (remark.who) ")" }
            }
        }
        @for remark in &shown.determination.remarks {
            p.quiet { "“" (remark.text) "” (" (remark.who) ", " (remark.at.clock()) ")" }
        }
    }
}
