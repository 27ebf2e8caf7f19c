//! The payload that opens a determination, out of the fields of a form.

use super::choosing::Filled;
use super::trial::Unfit;
use crate::answer::Fault;
use crate::command::with_unit;
use crate::text::t;
use notebook::{Command, Kind, Node};
use serde_json::{Map, Value, json};
use titrimetry::method::Step;

/// Catalogue name of the piece that a step uses.
pub(crate) fn piece_of(step: &Step) -> Option<&str> {
    match step {
        Step::Weigh { .. } => None,
        Step::Take { with, .. } | Step::Add { with, .. } | Step::Displace { with, .. } => {
            Some(with.catalogue())
        }
        Step::MakeUp { to, .. } => Some(to.catalogue()),
        Step::SpikedWith(plan) => Some(plan.with.catalogue()),
    }
}

fn need(form: &Filled, name: &str) -> Result<String, Unfit> {
    form.get(name)
        .map(str::to_string)
        .ok_or_else(|| Unfit::beside(name, t("new.missing")))
}

fn known(text: &str) -> Result<Value, Unfit> {
    let node: Node = text
        .parse()
        .map_err(|_| Fault::Form(t("find.nothing").into()))?;
    Ok(match node.kind() {
        Kind::Solution => json!({ "solution": { "solution": node.to_string() } }),
        _ => json!({ "lot": node.to_string() }),
    })
}

/// A value with its expanded uncertainty (k = 2), where it was filled in.
fn stated(form: &Filled, name: &str) -> Option<Value> {
    let value = form.get(name)?;
    let mut stated = json!({ "value": value });
    match form.get(&format!("{name}.U")) {
        Some(expanded) => {
            stated["U"] = Value::from(expanded);
            stated["k"] = Value::from(2.0);
        }
        None => stated["exact"] = Value::from(true),
    }
    Some(stated)
}

fn text(into: &mut Value, form: &Filled, names: &[&str]) {
    for name in names {
        if let Some(value) = form.get(name) {
            into[*name] = Value::from(value);
        }
    }
}

fn standardization(form: &Filled) -> Result<Value, Unfit> {
    let mut plan = json!({
        "of": "standardization", "sought": need(form, "sought")?, "place": need(form, "place")?,
        "known": known(&need(form, "known")?)?,
    });
    text(&mut plan, form, &["indicator", "reaction"]);
    if let Some(flask) = form.get("dissolved.flask") {
        let mut dissolved = json!({ "flask": flask });
        for name in ["mass", "gross", "tare"] {
            if let Some(value) = form.get(&format!("dissolved.{name}")) {
                dissolved[name] = Value::from(value);
            }
        }
        plan["dissolved"] = dissolved;
    }
    match (form.get("diluted.take"), form.get("diluted.to")) {
        (Some(take), Some(to)) => plan["diluted"] = json!([{ "take": take, "to": to }]),
        (None, None) => {}
        _ => return Err(Unfit::beside("diluted.to", t("new.half_dilution"))),
    }
    if let Some(late) = stated(form, "late") {
        plan["end_point"] = json!({ "late": late });
    }
    Ok(plan)
}

fn assay(form: &Filled, method: &Node) -> Result<Value, Unfit> {
    let samples: Vec<&str> = form.all("sample").collect();
    if samples.is_empty() {
        return Err(Unfit::beside("sample", t("new.no_sample_chosen")));
    }
    let mut titrant = json!({ "known": known(&need(form, "titrant")?)? });
    if let Some(drift) = stated(form, "drift") {
        titrant["drift"] = drift;
    }
    text(&mut titrant, form, &["standardized_at"]);
    let mut reagents = Map::new();
    for (name, value) in &form.0 {
        if let Some(reagent) = name.strip_prefix("reagent.")
            && !value.trim().is_empty()
        {
            reagents.insert(reagent.into(), json!({ "known": known(value.trim())? }));
        }
    }
    let mut plan = json!({
        "of": "assay", "method": method.to_string(), "titrant": titrant, "reagents": reagents, "samples": samples,
    });
    text(&mut plan, form, &["blank_is"]);
    Ok(plan)
}

/// The payload; `method` is the method of an assay, of the record.
pub(crate) fn opened(form: &Filled, method: Option<&Node>) -> Result<Value, Unfit> {
    let plan = match method {
        Some(method) => assay(form, method)?,
        None => standardization(form)?,
    };
    let mut opened =
        json!({ "title": need(form, "title")?, "plan": plan, "burette": need(form, "burette")? });
    text(
        &mut opened,
        form,
        &["balance", "pipette", "rules", "read_to"],
    );
    if let Some(temperature) = form.get("temperature") {
        opened["conditions"] = json!({ "temperature": with_unit(temperature, Some("degC")) });
        if let Some(within) = form.get("temperature_within") {
            opened["conditions"]["temperature_within"] = Value::from(with_unit(within, Some("K")));
        }
    }
    if let (Some(from), Some(to)) = (form.get("weigh.from"), form.get("weigh.to")) {
        opened["weigh"] = json!({ "from": from, "to": to });
    }
    let mut pieces = Map::new();
    for (name, value) in &form.0 {
        if let Some(step) = name.strip_prefix("piece.")
            && !value.trim().is_empty()
        {
            pieces.insert(step.into(), Value::from(value.trim()));
        }
    }
    if !pieces.is_empty() {
        opened["pieces"] = Value::Object(pieces);
    }
    Ok(opened)
}

/// The command; what cannot be read is said beside its field.
pub(crate) fn command(
    form: &Filled,
    method: Option<&Node>,
    node: &Node,
    repeatability: Option<&Value>,
) -> Result<Command, Unfit> {
    let read = |form: &Filled| -> Result<Result<Command, serde_json::Error>, Unfit> {
        let mut opened = opened(form, method)?;
        if let Some(repeatability) = repeatability {
            opened["repeatability"] = repeatability.clone();
        }
        Ok(serde_json::from_value(json!({
            "on": node.to_string(), "kind": "determination-opened", "payload": opened,
        })))
    };
    let error = match read(form)? {
        Ok(command) => return Ok(command),
        Err(error) => error,
    };
    // The field without which the form can be read, or is read further.
    let to_blame = form.0.iter().map(|(name, _)| name).find(|name| {
        let fields = form.0.iter().filter(|(n, _)| n != *name).cloned().collect();
        match read(&Filled::of(fields)) {
            Ok(Ok(_)) => true,
            Ok(Err(other)) => other.to_string() != error.to_string(),
            Err(_) => false,
        }
    });
    Err(Unfit {
        field: to_blame.cloned(),
        fault: Box::new(Fault::Form(error.to_string())),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_filled_in_stands_in_the_payload() {
        let form = Filled::of(
            [
                ("title", "Aluminium"),
                ("titrant", "solution/T-1"),
                ("reagent.edta", "lot/E-1"),
                ("sample", "sample/V-1"),
                ("sample", "sample/V-2"),
                ("burette", "apparatus/B-1"),
                ("piece.sample", "apparatus/P-1"),
                ("piece.edta", ""),
                ("temperature", "21,5 degC"),
                ("drift", "0.004 mL/min"),
                ("drift.U", "0.001 mL/min"),
            ]
            .map(|(a, b)| (a.into(), b.into()))
            .to_vec(),
        );
        let method = "method/aluminium-back-titration".parse().unwrap();
        let opened = opened(&form, Some(&method)).unwrap();
        let command =
            json!({ "on": "determination/D-1", "kind": "determination-opened", "payload": opened });
        let command: notebook::Command = serde_json::from_value(command).unwrap();
        let notebook::Payload::DeterminationOpened(opened) = command.payload else {
            panic!("another payload");
        };
        assert_eq!(opened.pieces.len(), 1);
        let notebook::payload::Plan::Assay {
            samples,
            reagents,
            titrant,
            ..
        } = &opened.plan
        else {
            panic!("another plan");
        };
        assert_eq!((samples.len(), reagents.len()), (2, 1));
        assert!(titrant.drift.is_some());
    }
}
