//! Evaluation of assay sheets by methods.

use titrimetry::assay::{Assay, AssaySheet, evaluate};
use titrimetry::method;

const VINEGAR: &str = r#"
title = "Pickling vinegar"
method = "vinegar-acidity"
[titrant]
concentration = { value = "0.096 mol/L", U = "0.0002 mol/L" }
[apparatus]
burette = "burette 50 mL A"
[piece]
sample = "pipette 25 mL A"
flask = "flask 250 mL A"
aliquot = "pipette 50 mL A"
[conditions]
temperature = "20 degC"
[[sample]]
id = "V-231"
[[sample.run]]
initial = "0.00 mL"
final = "34.88 mL"
"#;

#[test]
fn a_dilution_chain_is_followed() {
    let sheet = AssaySheet::read(VINEGAR).unwrap();
    let assay = evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &|_| None).unwrap();
    let result = &assay.samples[0].results[0];
    // Published exercise (forum answer 4.016 g/100 mL with M = 60): 25 mL to 250 mL, 50 mL taken, 34.88 mL of 0.096 mol/L.
    let expected = 0.096 * 34.88 / 50.0 * 10.0 * 60.052 / 10.0;
    assert!(
        (result.value / expected - 1.0).abs() < 1e-5,
        "{} {expected}",
        result.value
    );
    assert_eq!(format!("{:.2}", result.value), "4.02");
    assert_eq!(result.unit, "g/100 mL");
    assert_eq!(
        result.also.len(),
        2,
        "% m/m needs a density and is left out"
    );
    assert!(assay.samples[0].titrations[0].effect_per_ml > 0.0);
}

#[test]
fn impossible_chains_are_refused() {
    let bad = VINEGAR.replace("flask = \"flask 250 mL A\"", "flask = \"flask 10 mL A\"");
    let sheet = AssaySheet::read(&bad).unwrap();
    let error = evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &|_| None)
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("25 mL cannot be made up to 10 mL"),
        "{error}"
    );
}

/// The vinegar method with other lines.
fn changed(replace: &[(&str, &str)]) -> Result<method::Method, String> {
    let text = include_str!("../../../reference/methods/vinegar-acidity.toml");
    let text = replace.iter().fold(text.to_string(), |text, (old, new)| {
        assert!(text.contains(old), "{old}");
        text.replacen(old, new, 1)
    });
    method::Method::read(&text).map_err(|e| e.to_string())
}

#[test]
fn a_declared_recovery_reaches_the_result() {
    let found = |text: &str| {
        let sheet = AssaySheet::read(text).unwrap();
        let assay = evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &|_| None).unwrap();
        assay.samples[0].results[0].value
    };
    let lossy = VINEGAR.replace(
        "id = \"V-231\"",
        "id = \"V-231\"\nrecovery = { value = \"80 %\", exact = true }",
    );
    assert!((found(&lossy) / found(VINEGAR) * 0.8 - 1.0).abs() < 1e-12);
}

#[test]
fn a_reagent_is_shared_out_with_the_sample() {
    let reagent = |more: &str| {
        format!(
            "[[reagent]]\nname = \"base\"\nsubstance = \"KOH\"\nacts_as = \"OH^-\"\n{more}\n[[step]]"
        )
    };
    let whole = changed(&[("[[step]]", &reagent("measured_by = \"pipette 1 mL A\""))]).unwrap();
    let shared = changed(&[(
        "[[step]]",
        &reagent("measured_by = \"pipette 10 mL A\"\nbefore = \"flask\""),
    )])
    .unwrap();
    let sheet = AssaySheet::read(&VINEGAR.replace("50 mL A\"\n[conditions]", "25 mL A\"\n[reagent.base]\nconcentration = { value = \"0.1 mol/L\", exact = true }\n[conditions]")).unwrap();
    let value = |method: &method::Method| {
        evaluate(&sheet, method, &|_| None).unwrap().samples[0].results[0].value
    };
    // 10 mL in the flask of 250 mL, of which 25 mL are taken, are 1 mL in what is titrated.
    assert!((value(&whole) / value(&shared) - 1.0).abs() < 1e-12);

    for (lines, message) in [
        (
            "measured_by = \"pipette 1 mL A\"\nbefore = \"kettle\"",
            "not the name of a step",
        ),
        ("before = \"flask\"", "only a measured reagent"),
    ] {
        let error = changed(&[("[[step]]", &reagent(lines))]).unwrap_err();
        assert!(error.contains(message), "{error}");
    }
}

#[test]
fn another_titrant_must_give_the_same_species() {
    let titrant = |substance: &str| {
        let text = VINEGAR.replace(
            "[titrant]",
            &format!("[titrant]\nsubstance = \"{substance}\""),
        );
        let sheet = AssaySheet::read(&text).unwrap();
        evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &|_| None)
            .map(|assay| assay.samples[0].results[0].value)
            .map_err(|e| e.to_string())
    };
    assert_eq!(titrant("potassium hydroxide"), titrant("NaOH"));
    let error = titrant("HCl").unwrap_err();
    assert!(error.contains("OH"), "{error}");
}

/// Two portions of one solid by back titration: 0.5 and 0.6 g of a sample with 2 mmol/g, 2.5 mmol of silver.
const TWO_PORTIONS: &str = r#"
title = "Salt in butter"
method = "salt-in-food"
[titrant]
concentration = { value = "0.1 mol/L", exact = true }
[reagent.silver]
concentration = { value = "0.1 mol/L", exact = true }
[apparatus]
burette = "burette 50 mL A"
balance = "four-place balance"
[conditions]
temperature = "20 degC"
[repeatability]
s = "0.20 %"
degrees_of_freedom = 8
source = "earlier sets"
[[sample]]
id = "B-1"
[[sample.run]]
mass = "0.5000 g"
initial = "0.00 mL"
final = "15.00 mL"
[[sample.run]]
mass = "0.6000 g"
initial = "0.00 mL"
final = "13.00 mL"
"#;

#[test]
fn different_portions_of_a_back_titration_agree_by_their_content() {
    // 25.00 - 15.00 = 10.00 mL for 0.5 g, 12.00 mL for 0.6 g: both 2.000 mmol/g, 11.69 % NaCl.
    let sheet = AssaySheet::read(TWO_PORTIONS).unwrap();
    let assay = evaluate(&sheet, method::find("salt-in-food").unwrap(), &|_| None).unwrap();
    let sample = &assay.samples[0];
    assert_eq!(format!("{:.2}", sample.results[0].value), "11.69");
    let observed = sample.titrations[0].scatter.observed.unwrap();
    assert!(observed < 1e-6, "{observed}");
    for run in &sample.runs {
        assert!((run.expected_titre.unwrap() - run.titres[0]).abs() < 1e-4);
    }
    // No scatter seen (one degree of freedom) and 0.2 % from earlier (eight) pool to 0.2 % sqrt(8/9) of one titre, over
    // sqrt(2) for the mean: 0.13333 %. The content changes by mean(V/m) / mean((25 - V)/m) = 25.833/20 of that: 0.1722 %.
    let result = &sample.results[0];
    let scatter = result
        .budget
        .lines
        .iter()
        .find(|line| result.formula.inputs()[line.input].group == "repeatability")
        .unwrap();
    let share = scatter.contribution.abs() / result.budget.value;
    assert!((share / 0.0017222 - 1.0).abs() < 2e-4, "{share}");
    // Burette 0.05 mL and pipette 0.03 mL, triangular (half-widths over sqrt(6)), of 10 mL for 0.5 g and 12 mL for 0.6 g:
    // mean(1/m) / 20 mL/g = 0.091667 per mL: 0.1871 % and 0.1123 %; with the scatter 0.278 %.
    let u = result.standard_uncertainty / result.value;
    assert!((u / 0.00278 - 1.0).abs() < 0.02, "{u}");
    // 0.10 mL more in the second: 11.90 mL for 0.6 g. Mean content 1.99167 mmol/g: 15.0417 and 13.0500 mL would agree.
    let sheet = AssaySheet::read(&TWO_PORTIONS.replace("13.00", "13.10")).unwrap();
    let assay = evaluate(&sheet, method::find("salt-in-food").unwrap(), &|_| None).unwrap();
    for (run, expected) in assay.samples[0].runs.iter().zip([15.0417, 13.05]) {
        assert!(
            (run.expected_titre.unwrap() - expected).abs() < 1e-4,
            "{run:?}"
        );
    }
}

/// The first result of the first sample of this sheet.
fn first(text: &str) -> Result<f64, String> {
    let sheet = AssaySheet::read(text).map_err(|e| e.to_string())?;
    let name = sheet.method.clone().unwrap_or_default();
    let method = method::find(&name).map_err(|e| e.to_string())?;
    evaluate(&sheet, method, &|_| None)
        .map(|assay| assay.samples[0].results[0].value)
        .map_err(|e| e.to_string())
}

const BLANK: &str =
    "[[blank]]\ninitial = \"0.00 mL\"\nfinal = \"25.10 mL\"\n[[sample]]\nid = \"B-1\"";

#[test]
fn a_blank_with_all_of_the_reagent() {
    let with_blank = TWO_PORTIONS.replacen("[[sample]]\nid = \"B-1\"", BLANK, 1);
    // Taken off as if it were a blank of the titrant, nothing is left.
    let error = first(&with_blank).unwrap_err();
    assert!(error.contains("blank_is = \"reagent\""), "{error}");
    let fixed = format!("blank_is = \"reagent\"\n{with_blank}");
    // (25.10 - 15.00)/0.5 and (25.10 - 13.00)/0.6 mL/g, mean 20.1833, of 0.1 mol/L as NaCl (58.443 g/mol): 11.796 %.
    let found = first(&fixed).unwrap();
    assert!((found / 11.7957 - 1.0).abs() < 1e-4, "{found}");
    // A shared blank end cancels: titres and blank are all seen as late.
    let late = fixed.replacen(
        "[conditions]",
        "[end_point]\nlate = { value = \"0.05 mL\", u = \"0.01 mL\" }\n[conditions]",
        1,
    );
    assert!((first(&late).unwrap() / found - 1.0).abs() < 1e-9);
    let nothing = VINEGAR.replacen("title", "blank_is = \"reagent\"\ntitle", 1);
    let error = first(&nothing).unwrap_err();
    assert!(error.contains("adds no reagent"), "{error}");
}

#[test]
fn an_end_that_is_seen_late() {
    let late = |text: &str, ml: &str| {
        let entry =
            format!("[end_point]\nlate = {{ value = \"{ml} mL\", u = \"0.01 mL\" }}\n[conditions]");
        first(&text.replacen("[conditions]", &entry, 1)).unwrap() / first(text).unwrap()
    };
    // 34.88 mL of which 0.34 mL came after the equivalence point.
    let ratio = late(VINEGAR, "0.34");
    assert!((ratio - 34.54 / 34.88).abs() < 1e-4, "{ratio}");
    // Of a measured reagent less is left than was seen: 10.05 mL for 0.5 g and 12.05 mL for 0.6 g.
    let ratio = late(TWO_PORTIONS, "0.05");
    assert!((ratio - (20.1 + 20.083_333) / 40.0).abs() < 1e-5, "{ratio}");
}

#[test]
fn equivalents_say_what_they_mean() {
    let equivalents = |more: &str| {
        changed(&[(
            "also = [\"mol/L\", \"g/L\", \"% m/m\"]",
            &format!("also = [\"meq/L\", \"mmol/L\"]\n{more}"),
        )])
    };
    let error = equivalents("").unwrap_err();
    assert!(
        error.contains("result[1].equivalent") && error.contains("counting molecules"),
        "{error}"
    );
    let sheet = AssaySheet::read(VINEGAR).unwrap();
    for (reaction, times) in [
        ("CH3COOH -> CH3COO^- + H+", 1.0),
        ("CH3COOH + 8 H+ + 8 e- -> 2 CH4 + 2 H2O", 8.0),
    ] {
        let own = equivalents(&format!("equivalent = \"{reaction}\"")).unwrap();
        let assay = evaluate(&sheet, &own, &|_| None).unwrap();
        let also = &assay.samples[0].results[0].also;
        let ratio = also[0].value / also[1].value;
        assert!((ratio / times - 1.0).abs() < 1e-12, "{reaction}: {ratio}");
    }
}

#[test]
fn decision_rules() {
    let judged = |rule: &str| {
        let entry = format!("id = \"V-231\"\nlimits = {{ from = \"4.0 % m/V\"{rule} }}");
        let text = VINEGAR.replacen("id = \"V-231\"", &entry, 1);
        let sheet = AssaySheet::read(&text).unwrap();
        evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &|_| None)
            .map(|assay| assay.samples[0].clone())
            .map_err(|e| e.to_string())
    };
    let sample = judged("").unwrap();
    let found = sample.conformity.as_ref().unwrap();
    let result = &sample.results[0];
    assert_eq!(found.accepted, found.probability >= 0.95);
    // The acceptance limit is the limit and 1.645 u (t where the degrees of freedom are few), as 95 % are asked for.
    let k = found.guard_band.unwrap() / result.standard_uncertainty;
    let t = metrology::quantiles::student_t_upper_quantile(
        0.05,
        result.budget.effective_degrees_of_freedom,
    );
    assert!((k / t - 1.0).abs() < 1e-9 && k > 1.644, "{k}");
    // 4.022 g/100 mL: a guard band of U or less than 0.022 lets it pass, one of 0.05 does not.
    let guarded = judged(", guard_factor = 1.0").unwrap().conformity.unwrap();
    let expanded = result.expanded.expanded_uncertainty;
    let lower = guarded.acceptance.unwrap().lower.unwrap();
    assert!((lower - 4.0 - expanded).abs() < 1e-12);
    assert_eq!(guarded.accepted, result.value >= 4.0 + expanded);
    for (width, accepted) in [("0.02", true), ("0.05", false)] {
        let judged = judged(&format!(", guard_band = \"{width} % m/V\"")).unwrap();
        assert_eq!(judged.conformity.unwrap().accepted, accepted, "{width}");
    }
    let simple = judged(", guard_factor = 0.0").unwrap().conformity.unwrap();
    assert!(simple.accepted && simple.guard_band == Some(0.0));
    for (rule, message) in [
        (
            ", guard_factor = 1.0, probability = 0.9",
            "one decision rule",
        ),
        (", probability = 1.5", "between 0 and 1"),
        (", to = \"3 % m/V\"", "below the upper"),
    ] {
        let error = judged(rule).unwrap_err();
        assert!(error.contains(message), "{error}");
    }
}

#[test]
fn the_titrant_standardized_again() {
    let again = |text: &str, value: &str| {
        let text = format!(
            "{text}[[recheck]]\nafter = \"B-1\"\ntitrant = {{ concentration = {{ value = \"{value} mol/L\", u = \"0.00005 mol/L\" }} }}\n"
        );
        let sheet = AssaySheet::read(&text).unwrap();
        let name = sheet.method.clone().unwrap();
        evaluate(&sheet, method::find(&name).unwrap(), &|_| None)
            .map(|assay| assay.rechecks[0].clone())
            .map_err(|e| e.to_string())
    };
    // 1 % less than 0.1 mol/L, known within 0.1 %.
    let recheck = again(TWO_PORTIONS, "0.0990").unwrap();
    assert!((recheck.change + 0.01).abs() < 1e-12 && recheck.is_significant());
    // In a back titration a weaker titrant leaves more for the sample: mean(V/m)/mean((25 - V)/m) = 25.833/20 of 1 % more.
    let by_hand = 1.0 / (1.0 + 0.01 * 25.8333 / 20.0) - 1.0;
    let effect = recheck.effects[0];
    assert!((effect / by_hand - 1.0).abs() < 1e-3, "{recheck:?}");
    let direct = VINEGAR.replace("V-231", "B-1").replace(
        "{ value = \"0.096 mol/L\", U = \"0.0002 mol/L\" }",
        "{ value = \"0.1 mol/L\", exact = true }",
    );
    let recheck = again(&direct, "0.0990").unwrap();
    assert!((recheck.effects[0] - (1.0 / 0.99 - 1.0)).abs() < 1e-9);
    assert!(!again(TWO_PORTIONS, "0.10005").unwrap().is_significant());
    let other = TWO_PORTIONS.replace("id = \"B-1\"", "id = \"B-2\"");
    let error = again(&other, "0.1").unwrap_err();
    assert!(error.contains("no sample \"B-1\""), "{error}");
}

/// The vinegar with entries of its own.
fn vinegar(entries: &str) -> String {
    VINEGAR.replace("[[sample]]", &format!("{entries}\n[[sample]]"))
}

/// What a sheet says that names the sign of an end.
fn asked(sign: &str) -> String {
    format!("[end_point]\nby_indicator = [\"{sign}\"]\nflask_volume = \"75 mL\"\n")
}

/// Value of the first result, and the place of each end in mL.
fn ends(text: &str, method: &str) -> Result<(f64, Vec<f64>), String> {
    let sheet = AssaySheet::read(text).map_err(|e| e.to_string())?;
    let method = method::find(method).map_err(|e| e.to_string())?;
    let assay = evaluate(&sheet, method, &|_| None).map_err(|e| e.to_string())?;
    let first = &assay.samples[0].results[0];
    let late = first.formula.inputs().iter();
    let late = late
        .filter(|input| input.group == "place of the end point")
        .map(|input| input.value)
        .collect();
    Ok((first.value, late))
}

#[test]
fn the_end_of_an_indicator_is_predicted_from_the_curve() {
    let method = "vinegar-acidity";
    let (plain, none) = ends(VINEGAR, method).unwrap();
    assert!(none.is_empty());
    // At pH 7 a share of the acid is left: 10^(4.756 - 7) = 0.57 % without activity coefficients, 0.48 % with (-0.08).
    let (at_7, late) = ends(&vinegar(&asked("pH 7.0")), method).unwrap();
    assert!(
        (0.0042..0.0057).contains(&(at_7 / plain - 1.0)),
        "{at_7} {plain}"
    );
    assert!(
        (at_7 / plain - (1.0 - late[0] / 34.88)).abs() < 1e-4,
        "{late:?}"
    );
    // Phenolphthalein shows the end of so strong a solution within half a drop.
    let (_, late) = ends(&vinegar(&asked("phenolphthalein")), method).unwrap();
    assert!(late[0].abs() < 0.025, "{late:?}");
    // What the sheet states counts.
    let stated = "late = { value = \"0.100 mL\", exact = true }\n";
    let (alone, _) = ends(&vinegar(&format!("[end_point]\n{stated}")), method).unwrap();
    let (both, late) = ends(&vinegar(&(asked("pH 7.0") + stated)), method).unwrap();
    assert!(
        (alone - both).abs() < 1e-12 && late == [0.1],
        "{alone} {both} {late:?}"
    );
}

#[test]
fn each_end_point_has_its_own_place() {
    let text = r#"
title = "Two ends"
method = "carbonate-and-hydrogen-carbonate"
[titrant]
concentration = { value = "0.1000 mol/L", exact = true }
[apparatus]
burette = "burette 50 mL A"
[conditions]
temperature = "25 degC"
[end_point]
by_indicator = ["pH 8.3", "pH 4.5"]
flask_volume = "75 mL"
[[sample]]
id = "W"
[[sample.run]]
initial = "0.00 mL"
ends = ["8.00 mL"]
final = "20.00 mL"
"#;
    let sheet = AssaySheet::read(text).unwrap();
    let method = method::find("carbonate-and-hydrogen-carbonate").unwrap();
    let assay = evaluate(&sheet, method, &|_| None).unwrap();
    let place = |result: usize, end: &str| {
        let inputs = assay.samples[0].results[result].formula.inputs();
        inputs.iter().find(|i| i.id.ends_with(end)).map(|i| i.value)
    };
    // 1.2 mmol of carbonate in 95 mL; at pH 4.5 a share 10^(4.5 - 6.35) of it is still hydrogen carbonate, 10^-4.5 mol/L
    // of acid is free: (0.01263 x 0.0139 - 3.2e-5) x 95 mL = 0.0137 mmol, 0.14 mL too early; 0.16 mL with activities.
    let second = place(1, "end 2").unwrap();
    assert!((-0.175..-0.125).contains(&second), "{second}");
    // The first end lies near pH 8.3 (hydrogen carbonate has 8.34 without activities) and is flat.
    let first = place(0, "end 1").unwrap();
    assert!(first.abs() < 0.15, "{first}");
    let carbonate = &assay.samples[0].results[0];
    assert!(
        place(0, "end 2").is_none(),
        "carbonate follows from the first end alone"
    );
    let inputs = carbonate.formula.inputs();
    let lines = carbonate.budget.lines.iter();
    assert!(
        lines
            .map(|line| &inputs[line.input])
            .any(|input| input.id.ends_with("end 1"))
    );
}

#[test]
fn an_end_point_lies_in_the_fill_in_which_it_was_read() {
    let of = |readings: &str| {
        let text = format!(
            "title = \"Two ends\"\nmethod = \"carbonate-and-hydrogen-carbonate\"\n\
             [titrant]\nconcentration = {{ value = \"0.1000 mol/L\", exact = true }}\n\
             [apparatus]\nburette = \"burette 50 mL A\"\n[conditions]\ntemperature = \"25 degC\"\n\
             [[sample]]\nid = \"W\"\n[[sample.run]]\n{readings}"
        );
        let sheet = AssaySheet::read(&text).map_err(|e| e.to_string())?;
        let method = method::find("carbonate-and-hydrogen-carbonate").unwrap();
        evaluate(&sheet, method, &|_| None).map_err(|e| e.to_string())
    };
    let values = |assay: &Assay| -> Vec<f64> {
        let results = assay.samples[0].results.iter();
        results.map(|r| r.formula.result().coherent()).collect()
    };
    let plain = of("initial = \"0.00 mL\"\nends = [\"8.00 mL\"]\nfinal = \"20.00 mL\"").unwrap();
    // 8.00 mL to the first end and 20.00 mL in all each time, by subtraction alone.
    for (readings, fill) in [
        (
            "initial = \"2.00 mL\"\nends = [\"10.00 mL\"]\nfinal = \"14.00 mL\"\nrefill = [{ initial = \"0.00 mL\", final = \"8.00 mL\" }]",
            1,
        ),
        (
            "initial = \"20.00 mL\"\nends = [\"4.50 mL\"]\nfinal = \"24.50 mL\"\nrefill = [{ initial = \"1.00 mL\", final = \"16.50 mL\" }]",
            2,
        ),
        (
            "initial = \"0.00 mL\"\nends = [\"8.00 mL\"]\nend_fills = [1]\nfinal = \"12.00 mL\"\nrefill = [{ initial = \"2.00 mL\", final = \"10.00 mL\" }]",
            1,
        ),
    ] {
        let assay = of(readings).unwrap();
        for (value, expected) in values(&assay).iter().zip(values(&plain)) {
            assert!(
                (value / expected - 1.0).abs() < 1e-12,
                "{readings}: {value} {expected}"
            );
        }
        let titres = &assay.samples[0].runs[0].titres;
        assert!(
            (titres[0] - 8.0).abs() < 1e-9 && (titres[1] - 20.0).abs() < 1e-9,
            "{titres:?}"
        );
        // What the fill before the end held is read once: the same input on the way to the first end and to the last.
        let inputs = |result: usize| {
            let inputs = assay.samples[0].results[result].formula.inputs();
            let ids = inputs.iter().map(|i| i.id.clone());
            ids.filter(|id| id.contains("/fill-")).collect::<Vec<_>>()
        };
        let to_the_first = inputs(0);
        assert_eq!(to_the_first.len(), 2 * fill, "{to_the_first:?}");
        assert_eq!(
            inputs(1).len(),
            5,
            "four readings and the end: {:?}",
            inputs(1)
        );
        assert!(to_the_first.iter().all(|id| inputs(1).contains(id)));
    }
    let both = "initial = \"0.00 mL\"\nends = [\"8.00 mL\"]\nfinal = \"12.00 mL\"\nrefill = [{ initial = \"2.00 mL\", final = \"10.00 mL\" }]";
    let error = of(both).unwrap_err();
    assert!(
        error.contains("fill 1 or 2") && error.contains("end_fills = [1]"),
        "{error}"
    );
    let second = of(&format!("{both}\nend_fills = [2]")).unwrap();
    let titres = &second.samples[0].runs[0].titres;
    assert!((titres[0] - 18.0).abs() < 1e-9, "{titres:?}");
    let error = of(&format!("{both}\nend_fills = [3]")).unwrap_err();
    assert!(error.contains("no two readings of a fill 3"), "{error}");
    let error = of(&both.replace("8.00", "20.00")).unwrap_err();
    assert!(error.contains("between the readings of no fill"), "{error}");
}

#[test]
fn where_the_engine_knows_nothing_it_says_so() {
    let refused = |text: &str, method: &str| ends(text, method).unwrap_err();
    let wine = vinegar(&asked("phenolphthalein"))
        .replace("vinegar-acidity", "wine-total-acidity-ph7")
        .replace(
            "flask = \"flask 250 mL A\"\naliquot = \"pipette 50 mL A\"\n",
            "",
        );
    let error = refused(&wine, "wine-total-acidity-ph7");
    assert!(error.contains("stand alone in water"), "{error}");
    let of_vinegar = |entries: &str| refused(&vinegar(entries), "vinegar-acidity");
    let error = of_vinegar(&asked("phenolphthalein\", \"pH 4.5"));
    assert!(error.contains("has 1 end points, but 2"), "{error}");
    let error = of_vinegar(&asked("litmus tea"));
    assert!(error.contains("no indicator of the library"), "{error}");
    let blank = "[[blank]]\ninitial = \"0.00 mL\"\nfinal = \"0.05 mL\"\n";
    let error = of_vinegar(&(asked("phenolphthalein") + blank));
    assert!(error.contains("keep either the blank or this"), "{error}");
    let error = of_vinegar(&asked("phenolphthalein").replace("flask_volume = \"75 mL\"", ""));
    assert!(error.contains("end_point.flask_volume"), "{error}");
}

/// A standardization of the base against phthalate; 0.5105 g take 25.00 mL of 0.1 mol/L.
fn standardization(title: &str, last: &str) -> titrimetry::Evaluation {
    let text = format!(
        r#"
title = "{title}"
[sought]
substance = "NaOH"
place = "burette"
[known]
substance = "KHP"
bottle = "lot 7"
purity = {{ value = "99.95 %", U = "0.40 %" }}
[apparatus]
burette = {{ catalogue = "burette 50 mL A", id = "B-1" }}
balance = "four-place balance"
[conditions]
temperature = "20 degC"
[[run]]
mass = "0.5105 g"
initial = "0.00 mL"
final = "{last} mL"
[[run]]
mass = "0.5105 g"
initial = "0.00 mL"
final = "{last} mL"
"#
    );
    let sheet = titrimetry::Sheet::read(&text).unwrap_or_else(|e| panic!("{e}"));
    titrimetry::evaluation::evaluate(&sheet, None).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn a_titrant_standardized_again_by_a_sheet_is_compared_by_both_formulas() {
    let (first, again) = (
        standardization("first", "25.00"),
        standardization("again", "25.25"),
    );
    let text = VINEGAR.replace(
        "concentration = { value = \"0.096 mol/L\", U = \"0.0002 mol/L\" }",
        "sheet = \"first.toml\"",
    ) + "[[recheck]]\nafter = \"V-231\"\ntitrant = { sheet = \"again.toml\" }\n";
    let sheet = AssaySheet::read(&text).unwrap();
    let parents = |name: &str| match name {
        "first.toml" => Some(&first),
        "again.toml" => Some(&again),
        _ => None,
    };
    let assay = evaluate(&sheet, method::find("vinegar-acidity").unwrap(), &parents).unwrap();
    let [recheck] = assay.rechecks.as_slice() else {
        panic!("{:?}", assay.rechecks)
    };
    assert!((recheck.concentration / again.concentration() - 1.0).abs() < 1e-12);
    let change = again.concentration() / first.concentration() - 1.0;
    // A base of which 25.25 mL are taken where 25.00 mL were is 1 % weaker.
    assert!((change + 0.0099).abs() < 1e-4, "{change}");
    assert!((recheck.change - change).abs() < 1e-12);
    assert!(
        (recheck.effects[0] + change / (1.0 + change)).abs() < 1e-9,
        "{recheck:?}"
    );
    // The lot's purity, 0.2 % of each by itself, is in both alike and no part of the change.
    let apart = first.expanded.expanded_uncertainty / first.concentration();
    assert!(apart > 0.004, "{apart}");
    assert!(
        recheck.expanded < apart && recheck.is_significant(),
        "{recheck:?}"
    );
}

#[test]
fn a_standardization_has_no_additions() {
    let text = include_str!("../../../examples/base-by-phthalate.toml");
    let text = text.replacen("[[run]]", "[[run]]\nadded = \"2.00 mL\"", 1);
    let sheet = titrimetry::Sheet::read(&text).unwrap();
    let error = titrimetry::evaluation::evaluate(&sheet, None).unwrap_err();
    assert!(error.to_string().contains("belong to samples"), "{error}");
}
