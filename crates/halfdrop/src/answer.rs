//! Answers of the record on the command line: what may be used, what a correction brought about, who should know.

use crate::failure::Failure;
use notebook::cascade::corrects;
use notebook::payload::{Evaluated, Stated};
use notebook::state::State;
use notebook::{Event, Kind, Node, Payload, World, validity};
use std::fmt::Write;
use store::{Recomputed, Store};

/// Lines in columns, each as wide as its longest.
fn columns(lines: &[Vec<String>]) -> String {
    let most = lines.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..most)
        .map(|at| {
            let of = lines.iter().filter_map(|line| line.get(at));
            of.map(|text| text.chars().count()).max().unwrap_or(0)
        })
        .collect();
    let mut text = String::new();
    for line in lines {
        let mut said = String::new();
        for (part, width) in line.iter().zip(&widths) {
            let _ = write!(said, "{part:width$}  ");
        }
        let _ = writeln!(text, "{}", report::without_control(said.trim_end()));
    }
    text
}

/// What may be used today, until when, and why not.
pub(crate) async fn usable(store: &Store, kind: Option<Kind>) -> Result<String, Failure> {
    let kinds = match kind {
        Some(kind @ (Kind::Lot | Kind::Solution | Kind::Apparatus)) => vec![kind],
        Some(other) => {
            return Err(Failure::Paper(format!(
                "{other}: only a lot, a solution or a piece of apparatus is used up or grows old"
            )));
        }
        None => vec![Kind::Lot, Kind::Solution, Kind::Apparatus],
    };
    let mut lines = Vec::new();
    for kind in kinds {
        let mut after = None;
        loop {
            let page = store.usable(kind, after).await?;
            lines.extend(page.things.into_iter().map(|thing| {
                let until = thing.until.map(|day| format!("until {day}"));
                vec![
                    if thing.usable { "yes" } else { "no" }.to_string(),
                    thing.node.to_string(),
                    until.unwrap_or_default(),
                    thing.title,
                    thing.why.join("; "),
                ]
            }));
            after = page.next;
            if after.is_none() {
                break;
            }
        }
    }
    Ok(match lines.is_empty() {
        true => "nothing on the shelf\n".into(),
        false => columns(&lines),
    })
}

fn value(of: &Stated) -> String {
    let rounded = report::rounded(of.value, of.expanded_uncertainty);
    format!(
        "({} ± {}) {}",
        rounded.value_text, rounded.uncertainty_text, of.unit
    )
}

fn verdict(all: &Evaluated, of: &Stated) -> &'static str {
    match of.conforms {
        Some(true) => "accepted",
        Some(false) => "not accepted",
        None if all.usable => "usable",
        None => "not usable",
    }
}

/// A line each result: what, old, new, verdict.
fn old_beside_new(changes: &[Recomputed]) -> Vec<Vec<String>> {
    let mut lines = Vec::new();
    for of in changes {
        let change = &of.change;
        for (index, was) in change.was.results.iter().enumerate() {
            let now = change
                .now
                .as_ref()
                .and_then(|now| Some((now, now.results.get(index)?)));
            let before = verdict(&change.was, was);
            let (new, after) = match now {
                Some((all, now)) => (value(now), verdict(all, now)),
                None => ("no result".into(), "not usable"),
            };
            let flips = if before == after { "" } else { "FLIPS" };
            lines.push(vec![
                of.determination.name().to_string(),
                was.of.name().to_string(),
                value(was),
                "->".into(),
                new,
                format!("{before} -> {after}"),
                flips.into(),
                match index {
                    0 if !of.superseded.is_empty() => {
                        format!("supersedes {}", names(&of.superseded))
                    }
                    _ => String::new(),
                },
            ]);
        }
        if let Some(failed) = &change.failed {
            lines.push(vec![format!("  cannot be computed any more: {failed}")]);
        }
    }
    lines
}

fn names(nodes: &[Node]) -> String {
    let names: Vec<&str> = nodes.iter().map(Node::name).collect();
    names.join(", ")
}

/// What was corrected, in a line.
fn said(event: &Event) -> String {
    let what = notebook::cascade::reason(event);
    let why = match &event.payload {
        Payload::LotCertificateCorrected(p) => {
            let worth = |c: &notebook::payload::LotCertificate| {
                let purity = c.purity.as_ref().map(|p| p.value.to_string());
                purity.or_else(|| c.concentration.as_ref().map(|c| c.value.to_string()))
            };
            let was = p.was.as_ref().and_then(worth);
            let (was, now) = (
                was.unwrap_or_default(),
                worth(&p.certificate).unwrap_or_default(),
            );
            format!(" from {was} to {now}: {}", p.reason)
        }
        Payload::CalibrationCorrected(p) => format!(": {}", p.reason),
        _ => String::new(),
    };
    format!(
        "{} {}, by {}: {what}{why}",
        event.at.day(),
        event.at.clock(),
        event.who
    )
}

/// Everything that came of a correction.
pub(crate) async fn correction(store: &Store, number: u64) -> Result<String, Failure> {
    let Some(found) = store.correction(number).await? else {
        return Err(Failure::Paper(format!(
            "event {number} corrects nothing that others rest on; the history of a lot, of a piece of apparatus or of a \
             determination gives the numbers of its corrections"
        )));
    };
    let mut text = format!("{}\n", said(&found.event));
    match &found.settled {
        Some(counts) => {
            let _ = writeln!(
                text,
                "results that came out otherwise: {}; verdicts that changed: {}; certificates superseded: {}\n",
                counts.changed, counts.flips, counts.superseded
            );
        }
        None if found.changes.is_empty() => {}
        None => text.push_str("What rests on it is still being computed again.\n\n"),
    }
    if found.changes.is_empty() {
        text.push_str("Nothing that rests on it came out otherwise.\n");
    }
    text.push_str(&columns(&old_beside_new(&found.changes)));
    Ok(report::without_control(&text))
}

/// What came out otherwise of what a person did.
pub(crate) async fn notices(store: &Store, who: &str) -> Result<String, Failure> {
    let found = store.notices(who, 0).await?;
    if found.is_empty() {
        return Ok(format!("nothing came out otherwise of what {who} did\n"));
    }
    let mut text = String::new();
    for notice in found.iter().rev() {
        let _ = writeln!(text, "{}", report::without_control(&notice.text));
    }
    Ok(text)
}

/// Repeatability pooled over earlier sets.
pub(crate) async fn repeatability(
    store: &Store,
    plan: &Node,
    who: Option<&str>,
    burette: Option<&Node>,
) -> Result<String, Failure> {
    let name = match plan.kind() {
        Kind::Method => plan.to_string(),
        _ => {
            let Some(thing) = store.thing(plan).await? else {
                let missing = notebook::Refusal::Missing(plan.clone());
                return Err(store::StoreError::Refused(missing).into());
            };
            format!("standardization with {}", thing.title)
        }
    };
    let of = [
        who.map(|who| format!(" by {who}")),
        burette.map(|b| format!(" with {}", b.name())),
    ];
    let of: String = of.into_iter().flatten().collect();
    Ok(
        match store.pooled_repeatability(&name, who, burette).await? {
            Some(pooled) => format!(
                "{name}{of}: {:.3} % for one run, {} degrees of freedom, {} sets\n",
                100.0 * pooled.relative,
                pooled.degrees_of_freedom,
                pooled.sets
            ),
            None => format!("{name}{of}: no earlier sets with two runs or more\n"),
        },
    )
}

/// Whether a thing may be used today, and until when.
pub(crate) async fn validity(store: &Store, world: &World, node: &Node) -> Result<String, Failure> {
    let today = store.now().day();
    let for_its_value =
        matches!(world.state(node), Some(State::Solution(s)) if !s.standardized.is_empty());
    let why = validity::objections(world, node, today, for_its_value);
    let mut text = String::new();
    for reason in &why {
        let _ = writeln!(text, "not to be used today: {reason}");
    }
    if node.kind() == Kind::Certificate
        && let Some(by) = store.successor(node).await?
    {
        let _ = writeln!(text, "replaced by {}", by.name());
    }
    let lasts = matches!(
        node.kind(),
        Kind::Lot | Kind::Solution | Kind::Apparatus | Kind::Certificate
    );
    if why.is_empty() && lasts {
        let until = validity::last_day(world, node);
        let until = until
            .map(|day| format!(", until {day}"))
            .unwrap_or_default();
        let _ = writeln!(text, "may be used today{until}");
    }
    Ok(text)
}

/// The corrections of a thing with what came of them; what a determination was and is.
pub(crate) async fn history(store: &Store, node: &Node, place: &str) -> Result<String, Failure> {
    let mut text = String::new();
    match node.kind() {
        Kind::Determination => {
            let changes = store.recomputed(node).await?;
            if !changes.is_empty() {
                let world = store.world(std::slice::from_ref(node)).await?;
                text.push_str("\nOld beside new\n");
                for change in &changes {
                    let _ = writeln!(
                        text,
                        "  after the correction in event {}:",
                        change.change.because
                    );
                    let lines = old_beside_new(std::slice::from_ref(change));
                    for line in columns(&lines).lines() {
                        let _ = writeln!(text, "    {line}");
                    }
                }
                if world.determination(node).is_some_and(|d| d.unapproved) {
                    text.push_str("  Nobody has approved the value that it has now.\n");
                }
            }
        }
        Kind::Lot | Kind::Apparatus => {
            for event in store.history(node, 0).await? {
                if !corrects(&event.payload) {
                    continue;
                }
                let _ = writeln!(text, "\n{}", said(&event));
                if let Some(found) = store.correction(event.number).await? {
                    text.push_str(&columns(&old_beside_new(&found.changes)));
                }
                let _ = writeln!(
                    text,
                    "(halfdrop record correction {place} {})",
                    event.number
                );
            }
        }
        _ => {}
    }
    Ok(text)
}
