//! The one reading that is asked for now.

use super::amending::remark;
use super::beginning;
use super::frame::command;
use super::frame::drawn;
use super::protocol::{Place, Protocol, unit};
use super::result::Shown;
use super::run_table;
use crate::drawing::burette::{self, Facts, Zones};
use crate::text::{filled, t};
use maud::{Markup, html};
use notebook::payload::Slot;
use notebook::state::Run;
use serde_json::{Value, json};
use titrimetry::sheet::RunKind;

fn advice(slot: Slot) -> &'static str {
    match slot {
        Slot::Mass => t("bench.advice_mass"),
        Slot::Gross => t("bench.advice_gross"),
        Slot::Tare => t("bench.advice_tare"),
        Slot::Initial => t("bench.advice_initial"),
        Slot::End(_) => t("bench.advice_end"),
        Slot::RefillInitial(_) => t("bench.advice_refill"),
        Slot::Temperature => t("bench.advice_temperature"),
        Slot::Duration => t("bench.advice_duration"),
        Slot::Added => t("bench.advice_added"),
        Slot::Final | Slot::RefillFinal(_) => t("bench.advice_final"),
    }
}

/// True if the reading ends a fill of the burette.
fn ends_a_fill(slot: Slot) -> bool {
    matches!(slot, Slot::Final | Slot::RefillFinal(_))
}

/// The readings from here on, for the script that goes on without network.
fn steps(protocol: &Protocol<'_>, facts: &Facts, run: &Run, place: Place<'_>) -> Value {
    let order: Vec<Slot> = match place.slot {
        slot if place.run == 0 => vec![slot],
        Slot::RefillInitial(n) => protocol.after_refill(run, n),
        first => protocol
            .order(run)
            .into_iter()
            .skip_while(|slot| *slot != first)
            .filter(|slot| run.reading(*slot).is_none())
            .collect(),
    };
    told(protocol, facts, run, order)
}

/// Readings as the script needs them.
fn told(protocol: &Protocol<'_>, facts: &Facts, run: &Run, order: Vec<Slot>) -> Value {
    order
        .into_iter()
        .map(|slot| {
            json!({ "slot": slot.to_string(), "title": protocol.title(run, slot), "unit": unit(slot), "burette": slot.is_of_burette(),
                "timed": is_timed(slot), "advice": advice(slot), "wanted": wanted(facts, slot) })
        })
        .collect()
}

/// True if one waits before this reading, for the colour and for the wall.
fn is_timed(slot: Slot) -> bool {
    ends_a_fill(slot) || matches!(slot, Slot::End(_))
}

/// Decimals that a reading should have.
fn wanted(facts: &Facts, slot: Slot) -> usize {
    match unit(slot) {
        "mL" => facts.decimals,
        "g" => facts.balance.unwrap_or(0),
        _ => 0,
    }
}

/// The last reading of this fill: what is read later stands lower in the burette.
fn least(run: &Run, slot: Slot) -> Option<f64> {
    if !is_timed(slot) {
        return None;
    }
    let fill = run.readings.iter().rev().find(|reading| {
        matches!(
            reading.slot,
            Slot::Initial | Slot::RefillInitial(_) | Slot::End(_)
        )
    })?;
    run_table::number(&fill.value).parse().ok()
}

#[allow(clippy::too_many_arguments)]
pub(crate) fn ask(
    shown: &Shown<'_>,
    protocol: &Protocol<'_>,
    facts: &Facts,
    run: &Run,
    place: Place<'_>,
    zones: Option<&Zones>,
    runs_empty: bool,
    saved: &Markup,
    back: &str,
) -> Markup {
    let slot = place.slot;
    let title = match place.sample {
        Some(sample) => format!(
            "{} {}: {}",
            t("reading.sample"),
            sample.name(),
            protocol.words(run, slot)
        ),
        None => protocol.title(run, slot),
    };
    let steps = steps(protocol, facts, run, place).to_string();
    let early = protocol.closes_early(run, slot);
    let zones = zones.filter(|_| !early && is_timed(slot));
    let next = run_table::refills(run) + 1;
    let weigh = shown.determination.opened.weigh.as_ref();
    let weigh = weigh.filter(|_| slot == Slot::Mass && run.started.run_kind != RunKind::Blank);
    let capacity = format!("{:.0}", facts.capacity);
    html! {
        (about(protocol, run))
        h2.plain #asked aria-live="polite" { (title) }
        p #advice.quiet {
            @if let Some(weigh) = weigh { (filled("bench.advice_weigh", &[("from", run_table::number(&weigh.from.to_string())), ("to", &weigh.to.to_string())])) " " }
            (advice(slot))
        }
        @if let Some(zones) = zones { div.lens.hide-blind { (drawn(burette::lens(facts, zones))) } }
        @if runs_empty && is_timed(slot) && !early { p.strong { (filled("bench.runs_empty", &[("capacity", &capacity)])) } }
        form.command.taking method="post" action="/do" data-unit=(unit(slot)) data-burette[slot.is_of_burette()] data-steps=(steps) data-label=(title) autocomplete="off" {
            input type="hidden" name="on" value=(shown.node);
            input type="hidden" name="kind" value="reading-taken";
            input type="hidden" name="back" value=(back);
            input type="hidden" name="unit" value=(unit(slot));
            input type="hidden" name="p.n.run" value=(place.run);
            @if let Some(sample) = place.sample { input type="hidden" name="p.s.sample" value=(sample); }
            input type="hidden" name="p.s.reading" value=(slot);
            div.ask {
                div.echo {
                    div #echo aria-live="polite" data-division=(facts.graduation) data-capacity=(facts.capacity) data-decimals=(facts.scale_decimals)
                        data-majors=(facts.major) data-wanted=(wanted(facts, slot)) data-words=(t("bench.echo")) data-mass=(t("bench.echo_mass"))
                        data-outside=(filled("bench.outside", &[("capacity", &capacity)])) data-below=(t("bench.below")) data-few=(t("bench.decimals")) data-few-mass=(t("bench.decimals_mass"))
                        data-above=(t("bench.far_above")) data-under=(t("bench.far_below")) data-was=(t("bench.far_was")) data-swapped=(t("bench.far_swapped"))
                        data-least=[least(run, slot)] data-end=[zones.map(|zones| format!("{:.3}", zones.end()))] data-far=[zones.map(|zones| format!("{:.3}", zones.far))]
                        data-light=[weigh.map(|w| w.from.value_in("g"))] data-heavy=[weigh.map(|w| w.to.value_in("g"))] data-weigh=(t("bench.off_plan")) {}
                    p.see.quiet { (t("bench.see")) }
                }
                div.typed {
                    div.value {
                        input.reading name="p.s.value" inputmode="decimal" required pattern="[+\\-]?[0-9]+([.,][0-9]+)? ?(mL|g|degC|min|s)?" maxlength="16" aria-label=(title) aria-describedby="said" autofocus;
                        span.unit { (unit(slot)) }
                    }
                    (saved)
                }
                div.timers hidden[!is_timed(slot)] {
                    button type="button" data-seconds="30" data-done=(t("bench.held")) { (t("bench.hold")) }
                    button type="button" data-seconds="60" data-done=(t("bench.drained")) { (t("bench.drain")) }
                }
                p #said.accent role="status" {}
                div.keys {
                    (pad(finest(facts, slot)))
                    @if !early { button.main.take type="submit" { (t("bench.take")) } }
                    @if ends_a_fill(slot) {
                        button.take.refill .main[early] type="submit" name="p.b.refilled" value="true"
                            data-then=(told(protocol, facts, run, protocol.after_refill(run, next))) { (t("bench.take_and_refill")) }
                    }
                }
            }
        }
        @if matches!(slot, Slot::End(_)) { p { a.button href={ (back) "?refill=" (run.started.run) "." (next) } { (t("bench.refill_first")) } } }
        (not_refilled(shown, run, slot, back))
        (weigh_otherwise(shown, protocol, run, place, back))
        (further(shown, protocol, run, back))
        (remark(shown, Some(run), back))
        (beginning::meanwhile(shown, protocol, run, back))
    }
}

/// A refill that was said and did not happen: the run ended with its last reading.
fn not_refilled(shown: &Shown<'_>, run: &Run, slot: Slot, back: &str) -> Markup {
    let Slot::RefillInitial(n) = slot else {
        return html! {};
    };
    let closing = Slot::closing(n - 1);
    let Some(closed) = run.reading(closing).filter(|reading| reading.refilled) else {
        return html! {};
    };
    command(
        shown.node,
        "reading-corrected",
        back,
        t("bench.not_refilled"),
        &html! {
            input type="hidden" name="p.n.run" value=(run.started.run);
            input type="hidden" name="p.s.reading" value=(closing);
            input type="hidden" name="p.s.value" value=(closed.value);
            input type="hidden" name="p.b.refilled" value="false";
            input type="hidden" name="p.s.reason" value=(t("bench.not_refilled"));
            button type="submit" { (t("bench.not_refilled")) }
        },
    )
}

/// Which sample, which titration, and what is done differently in it.
fn about(protocol: &Protocol<'_>, run: &Run) -> Markup {
    let titration = run
        .started
        .titration
        .as_ref()
        .and_then(|_| protocol.titration(run));
    html! {
        @if run.started.sample.is_some() || titration.is_some() {
            p.of {
                @if let Some(sample) = &run.started.sample { (t("runs.sample")) " " span.strong { (sample.name()) } }
                @if let Some(titration) = titration {
                    @if run.started.sample.is_some() { " · " }
                    span.strong { (titration.name) }
                    @if let Some(condition) = &titration.condition { ": " (condition) }
                }
            }
        }
    }
}

/// The smallest step of a reading, as digits: a tenth of a division of the burette, the last decimal of the balance.
fn finest(facts: &Facts, slot: Slot) -> (f64, usize) {
    match unit(slot) {
        "mL" => (facts.graduation / 10.0, facts.decimals),
        "g" => {
            let decimals = facts.balance.unwrap_or(4);
            (10_f64.powi(-i32::try_from(decimals).unwrap_or(4)), decimals)
        }
        _ => (0.1, 1),
    }
}

/// Digits, and keys that step by the finest reading and by ten of it.
fn pad((finest, decimals): (f64, usize)) -> Markup {
    let fine = format!("{finest:.decimals$}");
    let coarse = format!("{:.*}", decimals.saturating_sub(1), 10.0 * finest);
    let rows = [
        (["7", "8", "9"], '+', &fine),
        (["4", "5", "6"], '-', &fine),
        (["1", "2", "3"], '+', &coarse),
        (["0", ".", "back"], '-', &coarse),
    ];
    html! {
        div.pad {
            @for (keys, sign, step) in rows {
                @for key in keys {
                    button type="button" data-key=(key) aria-label=[(key == "back").then_some(t("bench.delete"))] { @if key == "back" { "⌫" } @else { (key) } }
                }
                button type="button" data-step={ (sign) (step) } { @if sign == '-' { "−" } @else { "+" } (step) }
            }
        }
    }
}

/// A mass may be weighed net or by difference; what was done once is asked for from then on.
fn weigh_otherwise(
    shown: &Shown<'_>,
    protocol: &Protocol<'_>,
    run: &Run,
    place: Place<'_>,
    back: &str,
) -> Markup {
    let (slot, word) = match place.slot {
        Slot::Mass => (Slot::Gross, t("bench.by_difference")),
        Slot::Gross => (Slot::Mass, t("bench.net")),
        _ => return html! {},
    };
    html! {
        details {
            summary { (word) }
            (one_reading(shown, protocol, run, Place { slot, ..place }, back))
        }
    }
}

/// Readings that are taken only where they count: titrant of another temperature, a titration that drifts.
fn further(shown: &Shown<'_>, protocol: &Protocol<'_>, run: &Run, back: &str) -> Markup {
    let slots: Vec<Slot> = [Slot::Temperature, Slot::Duration]
        .into_iter()
        .filter(|slot| run.reading(*slot).is_none())
        .collect();
    if slots.is_empty() {
        return html! {};
    }
    html! {
        details {
            summary { (t("bench.further")) }
            @for slot in slots {
                (one_reading(shown, protocol, run, Place { run: run.started.run, sample: None, slot }, back))
            }
        }
    }
}

fn one_reading(
    shown: &Shown<'_>,
    protocol: &Protocol<'_>,
    run: &Run,
    place: Place<'_>,
    back: &str,
) -> Markup {
    command(
        shown.node,
        "reading-taken",
        back,
        &protocol.title(run, place.slot),
        &html! {
            input type="hidden" name="unit" value=(unit(place.slot));
            input type="hidden" name="p.n.run" value=(place.run);
            @if let Some(sample) = place.sample { input type="hidden" name="p.s.sample" value=(sample); }
            input type="hidden" name="p.s.reading" value=(place.slot);
            div.row {
                label { span { (protocol.words(run, place.slot)) " / " (unit(place.slot)) } input name="p.s.value" inputmode="decimal" required; }
                button type="submit" { (t("bench.take")) }
            }
        },
    )
}
