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
fn steps(protocol: &Protocol<'_>, run: &Run, place: Place<'_>) -> Value {
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
    told(protocol, run, order)
}

/// Readings as the script needs them.
fn told(protocol: &Protocol<'_>, run: &Run, order: Vec<Slot>) -> Value {
    order
        .into_iter()
        .map(|slot| {
            json!({ "slot": slot.to_string(), "title": protocol.title(run, slot), "unit": unit(slot), "burette": slot.is_of_burette(), "advice": advice(slot) })
        })
        .collect()
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
    let steps = steps(protocol, run, place).to_string();
    let early = protocol.closes_early(run, slot);
    // A reading far from where the end is expected is looked at twice: a slip of a digit is as large.
    let end = zones
        .filter(|_| !early && (ends_a_fill(slot) || matches!(slot, Slot::End(_))))
        .map(|zones| (zones.end(), (3.0 * zones.within).max(1.0)));
    let next = run_table::refills(run) + 1;
    let refill = format!("{back}?refill={}.{next}", run.started.run);
    let wanted = if slot.is_of_burette() {
        facts.decimals
    } else {
        4
    };
    html! {
        h2.plain #asked aria-live="polite" { (title) }
        (about(protocol, run))
        p #advice.quiet { (advice(slot)) }
        @if let Some(zones) = zones.filter(|_| !early && (ends_a_fill(slot) || matches!(slot, Slot::End(_)))) { div.lens { (drawn(burette::lens(facts, zones))) } p.zones { (zones.words()) } }
        @if runs_empty && (ends_a_fill(slot) || matches!(slot, Slot::End(_))) && !early { p.strong { (filled("bench.runs_empty", &[("capacity", &format!("{:.0}", facts.capacity))])) } }
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
                        data-majors=(facts.major) data-wanted=(facts.decimals) data-words=(t("bench.echo")) data-outside=(t("bench.outside")) data-hint=(t("bench.mass_hint"))
                        data-end=[end.map(|(end, _)| format!("{end:.2}"))] data-within=[end.map(|(_, within)| format!("{within:.2}"))] {
                        @if unit(slot) == "g" { p.quiet { (t("bench.mass_hint")) } }
                    }
                    p #decimals.accent hidden { (filled("bench.decimals", &[("n", &wanted.to_string())])) }
                    @if let Some((end, _)) = end { p #far.accent hidden { (filled("bench.far", &[("end", &format!("{end:.1}"))])) } }
                }
                div.typed {
                    div.value {
                        input.reading name="p.s.value" inputmode="decimal" required pattern="[+\\-]?[0-9]+([.,][0-9]+)?( ?(mL|g|degC|min|s))?" aria-label=(title) autofocus;
                        span.unit { (unit(slot)) }
                    }
                    p.quiet { (t("bench.see")) }
                }
                div.keys {
                    (pad(finest(facts, slot)))
                    @if !early { button.main.take type="submit" { (t("bench.take")) } }
                    @if ends_a_fill(slot) {
                        button.take.refill .main[early] type="submit" name="back" value=(refill)
                            data-then=(told(protocol, run, protocol.after_refill(run, next))) { (t("bench.take_and_refill")) }
                    }
                }
            }
        }
        @if matches!(slot, Slot::End(_)) { p { a.button href=(refill) { (t("bench.refill_first")) } } }
        p.row {
            @if slot.is_of_burette() && slot != Slot::Initial && !matches!(slot, Slot::RefillInitial(_)) {
                button type="button" data-seconds="30" data-done=(t("bench.held")) { (t("bench.hold")) }
                button type="button" data-seconds="60" data-done=(t("bench.drained")) { (t("bench.drain")) }
            }
            button #blind type="button" aria-pressed="false" { (t("bench.blind")) }
        }
        (weigh_otherwise(shown, protocol, run, place, back))
        (further(shown, protocol, run, back))
        (remark(shown, Some(run), back))
        (beginning::meanwhile(shown, protocol, run, back))
    }
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
            p {
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

/// The smallest step of a reading, as digits: a tenth of a division of the burette, the last decimal of a usual balance.
fn finest(facts: &Facts, slot: Slot) -> (f64, usize) {
    match unit(slot) {
        "mL" => (facts.graduation / 10.0, facts.decimals),
        "g" => (0.0001, 4),
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
