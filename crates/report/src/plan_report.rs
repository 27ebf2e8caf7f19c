//! The report of a plan: what to weigh, what to expect, where to slow down, how good it can be, and what was assumed.

mod prepare;
pub mod wire;

use crate::budget_bars::budget_bars;
use crate::lines::{WIDTH, clean, cut, hanging, left, right, width};
use crate::numbers::{decimals, percent, significant};
use crate::style::Style;
use titrimetry::layout::Layout;
use titrimetry::plan::candidate::Dose;
use titrimetry::plan::forward::DROP_ML;
use titrimetry::plan::indicators::Verdict as IndicatorVerdict;
use titrimetry::plan::notes::DEFERRAL;
use titrimetry::plan::rules::Outcome;
use titrimetry::plan::zones::Zone;
use titrimetry::plan::{Choice, Plan};

/// Width of the names on the left.
const LABEL: usize = 22;
/// Indicators that are shown.
const INDICATORS: usize = 6;

/// The report of a plan, within [`crate::WIDTH`] columns; `rough_ml` is the titre of a rough run already done.
pub fn plan_report(plan: &Plan, rough_ml: Option<f64>, style: Style) -> String {
    let mut text = format!("{}\n", style.strong(cut(&clean(&plan.case.title), WIDTH)));
    let mut section = |title: &str, lines: Vec<String>| {
        if lines.is_empty() {
            return;
        }
        text.push('\n');
        text.push_str(&style.strong(title));
        text.push('\n');
        for line in lines {
            text.push_str(line.trim_end());
            text.push('\n');
        }
    };
    section("Plan", summary(plan, style));
    section("In the flask, for each run", added(plan, style));
    section("At the burette", zones(plan, rough_ml, style));
    section(
        "Indicators, by what they would do to the result",
        indicators(plan, style),
    );
    section("Making the titrant", prepare::preparation(plan, style));
    section("For the day", day(plan, style));
    let expected = &plan.chosen().expected.evaluation;
    section(
        "Where the expected uncertainty comes from, as shares of the variance",
        budget_bars(&expected.formula, &expected.budget, style),
    );
    section("Rules", rules(plan, style));
    section("Demands that cannot both be kept", contradictions(plan));
    section(
        &format!("The best of {} ways looked at", plan.looked_at),
        choices(plan, style),
    );
    section("What would help most", help(plan, style));
    section("Notes", notes(plan, style));
    section("Hazards", hazards(plan));
    section("Taken for granted", assumptions(plan));
    text
}

fn row(style: Style, label: &str, value: &str) -> Vec<String> {
    // A label that is too long stands above.
    if width(label) >= LABEL {
        let mut lines = vec![style.quiet(format!("  {}", cut(label, WIDTH - 2)))];
        lines.extend(hanging(&" ".repeat(LABEL + 2), value));
        return lines;
    }
    let head = format!("  {}", left(label, LABEL));
    hanging(&head, value)
        .into_iter()
        .enumerate()
        .map(|(i, line)| match (i, line.strip_prefix(head.as_str())) {
            (0, Some(rest)) => format!("{}{rest}", style.quiet(&head)),
            _ => line,
        })
        .collect()
}

/// Two decimals, as a burette is spoken of.
fn ml(value: f64) -> String {
    format!("{} mL", decimals(value, 2))
}

/// One decimal, as far as a tap is closed.
fn tenths(value: f64) -> String {
    format!("{} mL", decimals(value, 1))
}

fn ml_to(from: f64, to: f64) -> String {
    format!("{} to {} mL", decimals(from, 1), decimals(to, 1))
}

/// Four significant digits without trailing zeros.
fn grams(value: f64) -> String {
    let text = significant(value, 4);
    let text = if text.contains('.') && !text.contains('×') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    };
    format!("{text} g")
}

/// What the plan comes to, a name and words a line; the last ones are what is wanted and not reached, if anything.
pub fn plan_summary(plan: &Plan) -> Vec<(&'static str, String)> {
    let choice = plan.chosen();
    let expected = &choice.expected;
    let candidate = &expected.candidate;
    let mut lines = Vec::new();
    let mut say = |label: &'static str, value: String| lines.push((label, value));
    say(
        "in the burette",
        format!(
            "{} {} in {}",
            plan.case.titrant.name, candidate.strength, candidate.burette.name
        ),
    );
    say("in the flask", dose(plan, choice));
    let (at_mass, (low, high)) = (plan.titre_range_at_mass_ml, plan.titre_range_ml);
    say(
        "expected titre",
        format!(
            "{}, {} % of the burette; {} in 95 of 100 cases{}",
            ml(expected.titre_ml),
            decimals(100.0 * expected.burette_share(), 0),
            ml_to(at_mass.0, at_mass.1),
            if expected.mass_window_g.is_some() {
                format!(
                    " at that mass, {} over the allowed masses",
                    ml_to(low, high)
                )
            } else {
                String::new()
            }
        ),
    );
    say(
        "one drop",
        format!(
            "{DROP_ML} mL, {} of the titre",
            percent(expected.drop_share())
        ),
    );
    say(
        "runs",
        format!("{} that count, and a rough one before", candidate.runs),
    );
    say("indicator", indicator(plan));
    let evaluation = &expected.evaluation;
    let reach = match evaluation.expanded.probability {
        Some(p) => format!("{} % coverage", significant(100.0 * p, 3)),
        None => "no probability claimed".into(),
    };
    say(
        "expected U",
        format!(
            "{} (k = {}, {reach}); {} at the smallest titre",
            percent(expected.relative_uncertainty),
            decimals(evaluation.expanded.coverage_factor, 2),
            percent(expected.relative_uncertainty_at_worst)
        ),
    );
    say("scatter of one run", percent(expected.relative_scatter));
    say("an end seen late", effect(plan));
    say(
        "time",
        format!(
            "about {} min for one determination",
            decimals(choice.cost.minutes, 0)
        ),
    );
    if choice.misses.is_empty() {
        if plan.case.wishes.wanted != titrimetry::plan::wishes::Wanted::default() {
            say("what is wanted", "is reached".into());
        }
    } else {
        lines.extend(choice.misses.iter().map(|miss| (NOT_REACHED, miss.clone())));
    }
    lines
}

/// The name of a line of [`plan_summary`] that says what is wanted and not reached.
pub const NOT_REACHED: &str = "not reached";

fn summary(plan: &Plan, style: Style) -> Vec<String> {
    let lines = plan_summary(plan).into_iter().flat_map(|(label, value)| {
        let lines = row(style, label, &value).into_iter();
        let missed = label == NOT_REACHED;
        lines.map(move |line| {
            if missed {
                style.strong_accent(line)
            } else {
                line
            }
        })
    });
    lines.collect()
}

fn dose(plan: &Plan, choice: &Choice) -> String {
    let known = &plan.case.flask.name;
    match (
        &choice.expected.candidate.dose,
        choice.expected.mass_window_g,
    ) {
        (Dose::Weighed { mass_g }, Some((from, to))) => format!(
            "{known}, weighed for each run: {} ({} to {} allowed)",
            grams(*mass_g),
            grams(from).trim_end_matches(" g"),
            grams(to)
        ),
        (Dose::Weighed { mass_g }, None) => {
            format!("{known}, weighed for each run: {}", grams(*mass_g))
        }
        (
            Dose::MadeUp {
                mass_g,
                flask,
                pipette,
            },
            window,
        ) => format!(
            "{known}, {} {}made up in {}; {} of it for each run",
            grams(*mass_g),
            match window {
                Some((from, to)) => format!(
                    "({} to {} allowed) ",
                    grams(from).trim_end_matches(" g"),
                    grams(to)
                ),
                None => String::new(),
            },
            flask.name,
            pipette.name
        ),
        (Dose::Pipetted { diluted, pipette }, _) => {
            let sample = plan
                .case
                .wishes
                .sample
                .as_ref()
                .and_then(|s| s.name.clone())
                .unwrap_or_else(|| known.clone());
            let steps: Vec<String> = diluted
                .iter()
                .map(|(take, to)| format!("{} to {}", take.name, to.name))
                .collect();
            if steps.is_empty() {
                format!("{sample} as it is: {} for each run", pipette.name)
            } else {
                format!(
                    "{sample}, diluted ({}); {} of that for each run",
                    steps.join(", then "),
                    pipette.name
                )
            }
        }
    }
}

fn indicator(plan: &Plan) -> String {
    match (&plan.indicator, &plan.curve) {
        (Some(r), Ok(curve)) => {
            let level = r.level.map_or_else(String::new, |level| {
                let quantity = curve.curve.quantity();
                format!(
                    " at {} {}{}",
                    quantity.name(),
                    decimals(level, 2),
                    unit(quantity.unit())
                )
            });
            format!("{}, {} to {}{level}", r.name, r.colours.0, r.colours.1)
        }
        (None, Ok(_)) => match &plan.case.wishes.indicator {
            Some(wish) => format!("{wish}, as wished; what it would do here is not known"),
            None => "none is good here: follow it with an electrode".into(),
        },
        (_, Err(reason)) => match &plan.case.titration {
            Some(titration) => format!("{} (usual; {reason})", titration.end_point),
            None => reason.clone(),
        },
    }
}

fn unit(unit: &str) -> String {
    if unit.is_empty() {
        String::new()
    } else {
        format!(" {unit}")
    }
}

/// The sign of a bias, from the layout.
fn effect(plan: &Plan) -> String {
    let evaluation = &plan.chosen().expected.evaluation;
    let effect = evaluation.effect_of_titre(DROP_ML);
    let reads = if effect > 0.0 { "high" } else { "low" };
    let why = match evaluation.layout {
        Layout::SoughtInBurette => "the titrant is sought, and more of it looks weaker",
        Layout::SoughtInFlask => "the titrant is known, and more of it means more sample",
    };
    format!(
        "one drop too much makes the result read {} {reads} ({why})",
        percent(effect.abs())
    )
}

/// What goes into the flask beside the standard or the sample.
fn added(plan: &Plan, style: Style) -> Vec<String> {
    let Some(added) = &plan.added else {
        return Vec::new();
    };
    let mut lines = row(style, "water", &added.water);
    for (i, reagent) in added.reagents.iter().chain(&added.indicator).enumerate() {
        let label = if i == 0 { "add" } else { "" };
        let value = format!("{}, {}", reagent.what, reagent.amount);
        lines.extend(row(style, label, &value));
    }
    for (label, text) in [("order", &added.order), ("blank", &added.blank)] {
        if let Some(text) = text {
            lines.extend(row(style, label, text));
        }
    }
    lines.extend(hanging("  ", &format!("[{}]", added.source)));
    lines
}

fn zones(plan: &Plan, rough_ml: Option<f64>, style: Style) -> Vec<String> {
    let zones = &plan.zones;
    let words = |z: &Zone| {
        format!(
            "freely to {}, drop by drop to {}, then half drops; the end comes at {}",
            tenths(z.freely_to_ml),
            tenths(z.drops_to_ml),
            ml_to(z.end_from_ml, z.end_to_ml)
        )
    };
    let mut lines = Vec::new();
    match rough_ml {
        Some(rough) => lines.extend(row(
            style,
            &format!("after a rough {}", decimals(rough, 1)),
            &words(&zones.after_rough(rough)),
        )),
        None => {
            lines.extend(row(style, "first run", &words(&zones.first_run)));
            if zones.half_drops_without_rough > 20.0 {
                lines.extend(row(
                    style,
                    "",
                    &format!(
                        "that may be {} half drops, so do a rough run first",
                        zones.half_drops_without_rough
                    ),
                ));
            }
            lines.extend(row(
                style,
                "after a rough run",
                &format!(
                    "that ended at V mL: freely to V \u{2212} {}, drop by drop to V \u{2212} {}, then half drops",
                    decimals(0.5 + zones.tap_before_ml, 1),
                    decimals(0.5 + zones.half_drops_before_ml, 1)
                ),
            ));
        }
    }
    if let Some(per_gram) = zones.ml_per_gram {
        lines.extend(row(
            style,
            "another mass",
            &format!(
                "moves the titre by {} mL for each 10 mg",
                decimals(per_gram / 100.0, 2)
            ),
        ));
    }
    lines
}

/// An indicator as a plan shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct ShownIndicator<'a> {
    /// True if the plan goes by it.
    pub chosen: bool,
    /// "good", "correct it" or "misleads".
    pub verdict: &'static str,
    /// Its name.
    pub name: &'a str,
    /// What it would do to the result.
    pub reason: String,
}

/// The indicators that are worth showing, the best first; the usual ones wherever they rank.
pub fn plan_indicators(plan: &Plan) -> Vec<ShownIndicator<'_>> {
    let chosen = plan.indicator.as_ref().map(|r| &r.name);
    let mut shown: Vec<&titrimetry::plan::indicators::Ranked> =
        plan.indicators.iter().take(INDICATORS).collect();
    for r in plan
        .indicators
        .iter()
        .filter(|r| r.usual || Some(&r.name) == chosen)
    {
        if !shown.iter().any(|s| s.name == r.name) {
            shown.push(r);
        }
    }
    let as_shown = shown.into_iter().map(|r| ShownIndicator {
        chosen: Some(&r.name) == chosen,
        verdict: match r.verdict {
            IndicatorVerdict::Good => "good",
            IndicatorVerdict::Correct => "correct it",
            IndicatorVerdict::Misleads => "misleads",
        },
        name: &r.name,
        reason: format!("{}{}", r.reason, if r.usual { "; usual" } else { "" }),
    });
    as_shown.collect()
}

fn indicators(plan: &Plan, style: Style) -> Vec<String> {
    let of_one = |r: ShownIndicator<'_>| {
        let mark = if r.chosen { '>' } else { ' ' };
        let head = format!(
            "{mark} {} {} ",
            left(r.verdict, 10),
            left(&cut(r.name, 34), 34)
        );
        let lines = hanging(&head, &r.reason).into_iter();
        lines.map(move |line| if r.chosen { style.strong(line) } else { line })
    };
    plan_indicators(plan).into_iter().flat_map(of_one).collect()
}

fn day(plan: &Plan, style: Style) -> Vec<String> {
    let day = &plan.day;
    let mut lines = Vec::new();
    let mut say = |label: &str, value: String| lines.extend(row(style, label, &value));
    let n = day.determinations;
    let times = if n == 1 {
        "one determination".to_owned()
    } else {
        format!("{n} determinations")
    };
    say(
        "titrant",
        format!(
            "{} mL for {times}: {} mL in runs and rough runs, {} mL for rinses and rests, {} % reserve",
            decimals(day.titrant_ml, 0),
            decimals(day.titrant_in_runs_ml, 0),
            decimals(day.titrant_beside_ml, 0),
            decimals(100.0 * day.reserve, 0)
        ),
    );
    let rinses = |what: &str, (times, ml): (f64, f64)| {
        format!(
            "{what} {} times with {} mL",
            decimals(times, 0),
            decimals(ml, 0)
        )
    };
    say(
        "rinses",
        format!(
            "{} of titrant, through the tip; {}the flask with water alone",
            rinses("the burette", day.burette_rinses),
            day.pipette_rinses.map_or_else(String::new, |r| format!(
                "{} of what it will deliver; ",
                rinses("the pipette", r)
            ))
        ),
    );
    if day.standard_g > 0.0 {
        let how = match day.standard_flasks {
            0.0 => "with the reserve".to_owned(),
            1.0 => "one flask full".to_owned(),
            n => format!("{} flasks full", decimals(n, 0)),
        };
        say("standard", format!("{}, {how}", grams(day.standard_g)));
    }
    if day.sample_ml > 0.0 {
        say(
            "sample",
            format!(
                "{} mL, with rinses and the reserve",
                decimals(day.sample_ml, 0)
            ),
        );
    }
    say("time", format!("about {} min", decimals(day.minutes, 0)));
    lines
}

fn rules(plan: &Plan, style: Style) -> Vec<String> {
    let profile = &plan.profile;
    let mut lines = hanging(
        "  ",
        &format!(
            "Profile \"{}\" (version {}).",
            profile.name, profile.version
        ),
    );
    for verdict in &plan.verdicts {
        let word = match verdict.outcome {
            Outcome::Meets => "kept",
            Outcome::AtRisk => "at risk",
            Outcome::Breaks => "broken",
        };
        let head = format!("  {}  ", left(word, 8));
        let source = verdict
            .source
            .as_ref()
            .filter(|_| verdict.outcome != Outcome::Meets)
            .map_or_else(String::new, |s| format!(" [{s}]"));
        let folded = hanging(&head, &format!("{}{source}", verdict.text));
        lines.extend(match verdict.outcome {
            Outcome::Breaks => folded
                .into_iter()
                .map(|l| style.accent(l))
                .collect::<Vec<_>>(),
            _ => folded,
        });
    }
    for other in &plan.profiles {
        let word = match other.outcome {
            _ if other.profile == profile.name => continue,
            Outcome::Meets => "would keep",
            Outcome::AtRisk => "would be at risk under",
            Outcome::Breaks => "would break",
        };
        let why = match other.why.first() {
            Some(first) => format!(": {first}"),
            None => String::new(),
        };
        let text = format!("It {word} \"{}\"{why}.", other.profile);
        lines.extend(
            hanging("  ", &text)
                .into_iter()
                .map(|line| style.quiet(line)),
        );
    }
    lines
}

fn contradictions(plan: &Plan) -> Vec<String> {
    plan.contradictions
        .iter()
        .flat_map(|c| {
            let mut lines = hanging("  \u{b7} ", &c.text);
            lines.extend(hanging("    \u{2192} ", &c.way_out));
            lines
        })
        .collect()
}

fn choices(plan: &Plan, style: Style) -> Vec<String> {
    let mut lines = vec![style.quiet(format!(
        "  {} {} {} {} {} {}",
        left("burette, titrant", 36),
        right("runs", 5),
        right("titre", 9),
        right("U", 8),
        right("time", 8),
        right("titrant", 9)
    ))];
    for (i, choice) in plan.choices.iter().enumerate() {
        let e = &choice.expected;
        let burette = e
            .candidate
            .burette
            .name
            .split(" graduated")
            .next()
            .unwrap_or_default();
        let what = format!("{burette}, {}", e.candidate.strength);
        let line = format!(
            "{} {} {} {} {} {} {}",
            i + 1,
            left(&cut(&what, 36), 36),
            right(&e.candidate.runs.to_string(), 5),
            right(&ml(e.titre_ml), 9),
            right(&percent(e.relative_uncertainty), 8),
            right(&format!("{} min", decimals(choice.cost.minutes, 0)), 8),
            right(&format!("{} mL", decimals(choice.cost.titrant_ml, 0)), 9)
        );
        lines.push(if i == 0 { style.strong(line) } else { line });
        lines.extend(hanging("    ", &dose(plan, choice)));
        if choice.cost.weighed_once {
            lines.extend(hanging(
                "    ",
                "all runs rest on one weighing: a slip in it would not show",
            ));
        }
        for miss in &choice.misses {
            lines.extend(hanging("    not reached: ", miss));
        }
    }
    lines
}

fn help(plan: &Plan, style: Style) -> Vec<String> {
    plan.help
        .iter()
        .flat_map(|h| {
            let step = format!("U {} \u{2192} {}", percent(h.before), percent(h.after));
            row(style, &step, &h.action)
        })
        .collect()
}

fn notes(plan: &Plan, style: Style) -> Vec<String> {
    let mut lines = Vec::new();
    let mut about = None;
    for note in &plan.notes {
        if about != Some(&note.about) {
            about = Some(&note.about);
            let name = if note.about.is_empty() {
                "every solution"
            } else {
                &note.about
            };
            lines.push(format!("  {}", style.strong(clean(name))));
        }
        let head = format!("    {} ", left(&note.topic, 11));
        lines.extend(hanging(&head, &format!("{} [{}]", note.text, note.source)));
    }
    lines
}

fn hazards(plan: &Plan) -> Vec<String> {
    let mut lines: Vec<String> = plan
        .hazards
        .iter()
        .flat_map(|h| row(Style::Plain, &h.about, &h.statements.join("; ")))
        .collect();
    lines.extend(hanging("  ", DEFERRAL));
    lines
}

fn assumptions(plan: &Plan) -> Vec<String> {
    let of_curve = plan
        .curve
        .as_ref()
        .map(|curve| curve.assumptions.clone())
        .unwrap_or_default();
    let evaluation = &plan.chosen().expected.evaluation;
    plan.case
        .assumptions
        .iter()
        .cloned()
        .chain(of_curve.into_iter().map(|a| format!("curve: {a}")))
        .chain(evaluation.assumptions.iter().cloned())
        .flat_map(|text| hanging("  \u{b7} ", &text))
        .collect()
}
