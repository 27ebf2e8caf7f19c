//! A method as a page to read.

use super::section;
use crate::lines::{WIDTH, cut, hanging};
use crate::style::Style;
use titrimetry::method::{BlankPlan, Family, LimitPlan, Method, PrecisionPlan, Step};

/// The family of a method in words.
pub fn family(method: &Method) -> &'static str {
    match method.family {
        Family::AcidBase => "Acids and bases",
        Family::Complexometric => "Complex formation",
        Family::Precipitation => "Precipitation",
        Family::Redox => "Oxidation and reduction",
        Family::Water => "Water content",
    }
}

/// The whole method, within [`crate::WIDTH`] columns.
pub fn method_page(method: &Method, style: Style) -> String {
    let mut lines = vec![style.strong(cut(&method.title, WIDTH))];
    lines.push(style.quiet(format!(
        "{}, version {}; {}",
        method.name,
        method.version,
        family(method).to_lowercase()
    )));
    lines.push(String::new());
    lines.extend(hanging("", &method.purpose));
    let list = |texts: &[String]| {
        texts
            .iter()
            .flat_map(|t| hanging("  \u{b7} ", t))
            .collect::<Vec<_>>()
    };
    section(
        &mut lines,
        "Reactions, in their order",
        list(&method.reaction),
        style,
    );
    section(
        &mut lines,
        "Steps",
        method
            .step
            .iter()
            .enumerate()
            .flat_map(|(i, s)| hanging(&format!("  {}. ", i + 1), &step(s)))
            .collect(),
        style,
    );
    let mut titration = vec![format!(
        "titrant {}{}",
        method.titrant.substance,
        method
            .titrant
            .nominal
            .as_ref()
            .map(|n| format!(", {n}"))
            .unwrap_or_default()
    )];
    for reagent in &method.reagent {
        titration.push(match &reagent.measured_by {
            Some(by) => format!(
                "{} ({}) in known amount, by {}{}",
                reagent.name,
                reagent.substance,
                by.catalogue(),
                reagent
                    .before
                    .as_ref()
                    .map(|step| format!(", before the step {step}"))
                    .unwrap_or_default()
            ),
            None => format!(
                "{} ({}) alike in every flask; the blank fixes its amount",
                reagent.name, reagent.substance
            ),
        });
    }
    for plan in &method.titration {
        let ends: Vec<&str> = plan.end_point.iter().map(|e| e.name.as_str()).collect();
        let condition = plan
            .condition
            .as_ref()
            .map(|c| format!(" ({c})"))
            .unwrap_or_default();
        titration.push(format!(
            "titration \"{}\"{condition}: to {}",
            plan.name,
            ends.join(", then ")
        ));
    }
    titration.push(format!("end point: {}", method.end_point));
    titration.push(match method.blank {
        BlankPlan::None => "no blank is foreseen".into(),
        BlankPlan::Subtract => "blank: its titre is subtracted".to_string(),
        BlankPlan::Reagent => "blank: it fixes the amount of the reagent".to_string(),
    });
    section(&mut lines, "Titration", list(&titration), style);
    let results: Vec<String> = method
        .result
        .iter()
        .map(|r| {
            let basis = r
                .expressed_as
                .as_ref()
                .map(|s| format!(" as {s}"))
                .unwrap_or_default();
            let also = if r.also.is_empty() {
                String::new()
            } else {
                format!("; also in {}", r.also.join(", "))
            };
            let times = r
                .times
                .as_ref()
                .map(|f| format!(", times {} {} ({})", f.name, f.value.value, f.source))
                .unwrap_or_default();
            format!("{}{basis}{times}, in {}{also}", r.name, r.unit)
        })
        .chain(method.range.iter().map(|r| {
            let note = r
                .note
                .as_ref()
                .map(|n| format!(": {n}"))
                .unwrap_or_default();
            format!(
                "range of the portion: {} {} to {}{note}",
                r.result, r.from, r.to
            )
        }))
        .collect();
    section(&mut lines, "Results", list(&results), style);
    let precision: Vec<String> = method.precision.iter().map(precision).collect();
    section(&mut lines, "Published precision", list(&precision), style);
    let cautions: Vec<String> = method
        .caution
        .iter()
        .chain(&method.disposal)
        .cloned()
        .collect();
    section(
        &mut lines,
        "Cautions; the safety data sheets and local rules come first",
        list(&cautions),
        style,
    );
    section(&mut lines, "Sources", list(&method.source), style);
    super::joined(&lines)
}

/// Repeatability and reproducibility in words.
fn precision(plan: &PrecisionPlan) -> String {
    let limit = |limit: &LimitPlan| {
        let parts = [
            limit.constant.as_ref().map(ToString::to_string),
            limit.share.as_ref().map(|share| format!("{share} of it")),
        ];
        parts
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join(" and ")
    };
    let reproducibility = plan
        .reproducibility
        .as_ref()
        .map(|r| format!(", of different laboratories by {}", limit(r)))
        .unwrap_or_default();
    let range = match (&plan.from, &plan.to) {
        (Some(from), Some(to)) => format!(" from {from} to {to}"),
        (Some(from), None) => format!(" from {from} on"),
        (None, Some(to)) => format!(" up to {to}"),
        (None, None) => String::new(),
    };
    format!(
        "{}{range}: once in twenty two results of one hand differ by more than {}{reproducibility} ({})",
        plan.result,
        limit(&plan.repeatability),
        plan.source
    )
}

/// A step in words.
pub fn step(step: &Step) -> String {
    match step {
        Step::Weigh { name } => format!("weigh the sample ({name})"),
        Step::Take { name, with } => format!("{name}: take with a {}", with.catalogue()),
        Step::MakeUp { name, to } => format!("{name}: make up to the mark of a {}", to.catalogue()),
        Step::Add { name, with } => format!(
            "{name}: add diluent with a {}; the volumes add up",
            with.catalogue()
        ),
        Step::SpikedWith(plan) => format!(
            "{}: to portions of the sample a {} adds known amounts of {}{}, to others none; the content is the intercept of the line of found against added over its slope",
            plan.name,
            plan.with.catalogue(),
            plan.substance,
            plan.nominal
                .as_ref()
                .map(|nominal| format!(", {nominal}"))
                .unwrap_or_default()
        ),
        Step::Displace { name, with } => format!(
            "{name}: a {} puts its volume into the full vessel and as much sample goes out",
            with.catalogue()
        ),
    }
}
