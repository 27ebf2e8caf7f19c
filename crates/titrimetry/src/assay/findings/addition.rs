//! Standard addition: whether the line bears the content that is read off it.
//!
//! Source: additions about as large as the content, slope near 1 (common practice); the scatter of the intercept over the
//! slope as in the IUPAC Compendium of Terminology in Analytical Chemistry (2023), 1.150.

use super::{One, capital, said};
use crate::assay::{Addition, Reported};
use crate::finding::{Finding, Severity};
use crate::findings::words::{digits, percent, times};
use metrology::quantiles::student_t_two_sided_quantile;

/// Additions that span less of the content than this are small.
const SMALL: f64 = 0.9;

/// Those that span less than this, far too small.
const FAR_TOO_SMALL: f64 = 0.5;

/// Level below which a bend is not chance.
const LEVEL: f64 = 0.01;

/// What the line of a standard addition shows.
pub(super) fn judged(one: &One<'_>) -> Vec<Finding> {
    let Some(addition) = &one.sample.addition else {
        return Vec::new();
    };
    if let Some(finding) = no_line(addition) {
        return vec![finding];
    }
    let first = &one.sample.results[0];
    let found = [
        no_content(one, first),
        small(addition, first),
        off(addition, first),
        bent(one, addition),
    ];
    found.into_iter().flatten().collect()
}

/// The slope with its interval, in %.
fn slope(addition: &Addition) -> (f64, f64) {
    let recovery = &addition.recovery;
    (recovery.value, recovery.expanded.expanded_uncertainty)
}

fn no_line(addition: &Addition) -> Option<Finding> {
    let (slope, expanded) = slope(addition);
    (slope - expanded <= 0.0).then(|| {
        Finding::new(
            "no-line",
            Severity::RuleBroken,
            format!(
                "What is found does not surely rise with what was added: the slope is {} \u{b1} {} %, and no content can be read off such a line. Portions or additions may be exchanged on the sheet, or the additions are lost in the scatter.",
                signed(slope),
                digits(expanded, 2)
            ),
            "Compare the additions with the bench book; if they stand, add more.",
        )
        .sized(slope, "% slope")
    })
}

/// An intercept that is not above 0, though not surely below.
fn no_content(one: &One<'_>, first: &Reported) -> Option<Finding> {
    (first.value <= 0.0 && one.sample.below_zero.is_empty()).then(|| {
        Finding::new(
            "intercept-not-positive",
            Severity::Doubt,
            format!(
                "The line meets no content: {} comes out at {}. A sample that holds none does this, or a blank that is too large.",
                first.name,
                said(first, first.value)
            ),
            "Titrate a portion without addition and a blank once more.",
        )
        .sized(first.value, "in its unit")
    })
}

fn small(addition: &Addition, first: &Reported) -> Option<Finding> {
    let (span, content) = (addition.span(), first.value);
    let share = span / content;
    if !(share > 0.0 && share < SMALL) {
        return None;
    }
    let largest = addition
        .points
        .iter()
        .max_by(|a, b| a.added.total_cmp(&b.added))?;
    let up_to = content * largest.volume / largest.added;
    let more = spread(addition, content, 1.0) / spread(addition, content, 1.0 / share);
    let severity = if share < FAR_TOO_SMALL {
        Severity::Doubt
    } else {
        Severity::Note
    };
    Some(
        Finding::new(
            "additions-too-small",
            severity,
            format!(
                "The additions span {} of the content, so the line is drawn out far beyond its points: the scatter of the runs counts {} times as much as with additions up to the content.",
                percent(share),
                digits(more, 2)
            ),
            format!(
                "Add up to about {} mL of this standard to a portion, or as much of a stronger one.",
                digits(up_to, 2)
            ),
        )
        .sized(100.0 * share, "% of the content"),
    )
}

/// How much the scatter of one run counts in the content, over the slope, with additions so many times as large.
fn spread(addition: &Addition, content: f64, larger: f64) -> f64 {
    let added: Vec<f64> = addition.points.iter().map(|p| p.added * larger).collect();
    let n = added.len() as f64;
    let mean = added.iter().sum::<f64>() / n;
    let squares: f64 = added.iter().map(|x| (x - mean).powi(2)).sum();
    (1.0 / n + (content + mean).powi(2) / squares).sqrt()
}

fn off(addition: &Addition, first: &Reported) -> Option<Finding> {
    let (slope, expanded) = slope(addition);
    let off = slope - 100.0;
    if off.abs() <= expanded {
        return None;
    }
    let (less, low) = if off < 0.0 {
        ("less", "low")
    } else {
        ("more", "high")
    };
    let places = (-expanded.log10().floor()).clamp(0.0, 6.0) as usize + 1;
    Some(
        Finding::new(
            "recovery-off",
            Severity::Doubt,
            format!(
                "Of what was added {slope:.places$} \u{b1} {expanded:.places$} % is found. A matrix that lets {less} be found of all there is does this; {} by the line allows for it, and would read {} {low} without. A standard or a titrant of another strength than stated does it too: of the titrant the line takes care, of the standard it does not.",
                first.name,
                percent(off / 100.0)
            ),
            "Add the standard to water in place of the sample: if the slope is off there too, look at standard and titrant; if it is 1, it is the matrix.",
        )
        .sized(off, "%"),
    )
}

/// A square in what was added, beyond the scatter that is to be expected.
fn bent(one: &One<'_>, addition: &Addition) -> Option<Finding> {
    let titration = one.sample.titrations.first()?;
    let points = &addition.points;
    let mut levels: Vec<f64> = points.iter().map(|p| p.added).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    if points.len() < 4 || levels.len() < 3 {
        return None;
    }
    let scatter = &titration.scatter;
    let expected = scatter.earlier.relative.max(scatter.predicted) * one.mean_titre(titration)?;
    // What the square holds beyond a straight line.
    let scale = addition.span();
    let x: Vec<f64> = points.iter().map(|p| p.added / scale).collect();
    let squares: Vec<f64> = x.iter().map(|x| x * x).collect();
    let line = metrology::line_fit::fit_line(&x, &squares).ok()?;
    let beyond: Vec<f64> = x
        .iter()
        .zip(&squares)
        .map(|(x, square)| square - line.intercept - line.slope * x)
        .collect();
    let norm: f64 = beyond.iter().map(|b| b * b).sum();
    let bend = beyond
        .iter()
        .zip(points)
        .map(|(b, p)| b * p.off)
        .sum::<f64>()
        / norm;
    // What is left beside the curve must be small against the bend, too: one run that is off makes no curve.
    let left: f64 = beyond
        .iter()
        .zip(points)
        .map(|(b, p)| (p.off - bend * b).powi(2))
        .sum();
    let own = (left / (points.len() - 3) as f64).sqrt();
    let distance = bend.abs() * norm.sqrt() / expected.max(own);
    if distance <= student_t_two_sided_quantile(LEVEL, scatter.earlier.degrees_of_freedom) {
        return None;
    }
    let most = beyond
        .iter()
        .fold(0.0_f64, |most, b| most.max((b * bend).abs()));
    let (way, why) = if bend < 0.0 {
        (
            "less and less",
            "reagent or buffer that is used up, an end that comes early or a loss that grows with the amount",
        )
    } else {
        (
            "more and more",
            "an end that comes late with much of it, or a loss that large amounts no longer feel",
        )
    };
    Some(
        Finding::new(
            "line-bent",
            Severity::Doubt,
            format!(
                "Of larger additions {way} is found: a curve through the points leaves the line by {} mL, {} times the scatter to be expected. It may be {why}. {} read off a straight line is then wrong.",
                digits(most, 2),
                times(distance),
                capital(&one.sample.results[0].name)
            ),
            "Keep to the additions where the line is straight, or take a smaller portion.",
        )
        .sized(most, "mL"),
    )
}

fn signed(value: f64) -> String {
    let sign = if value < 0.0 { "\u{2212}" } else { "" };
    format!("{sign}{}", digits(value.abs(), 2))
}

#[cfg(test)]
mod tests {
    use super::super::made::{codes, head, judged, one, reagent};
    use super::*;
    use crate::assay::{Addition, AssaySheet, evaluate};
    use crate::method::{self, Method};

    /// Calcium in 10 mL, with a standard of 0.02 mol/L of which 2 mL take 4 mL of titrant: additions and titres in mL.
    fn sheet(runs: &[(&str, &str)]) -> String {
        let mut text = format!(
            "{}{}[[sample]]\nid = \"B-1\"\n",
            head("calcium-by-standard-addition", "0.01000 mol/L"),
            reagent("standard", "0.02000 mol/L")
        );
        for (added, titre) in runs {
            text += &format!("[[sample.run]]\ninitial = \"0.00 mL\"\nfinal = \"{titre} mL\"\n");
            if *added != "0" {
                text += &format!("added = \"{added} mL\"\n");
            }
        }
        text
    }

    const OWN: [&str; 5] = [
        "no-line",
        "intercept-not-positive",
        "additions-too-small",
        "recovery-off",
        "line-bent",
    ];

    /// What is said of the line.
    fn of_line(text: &str) -> Vec<Finding> {
        let mut findings = judged(text);
        findings.retain(|f| OWN.contains(&f.code));
        findings
    }

    fn line(text: &str) -> (f64, Addition) {
        let sheet = AssaySheet::read(text).unwrap();
        let method = method::find("calcium-by-standard-addition").unwrap();
        let assay = evaluate(&sheet, method, &|_| None).unwrap_or_else(|e| panic!("{e}"));
        let sample = &assay.samples[0];
        (sample.results[0].value, sample.addition.clone().unwrap())
    }

    const STRAIGHT: [(&str, &str); 4] = [
        ("0", "11.98"),
        ("2.00", "15.98"),
        ("4.00", "19.97"),
        ("6.00", "23.98"),
    ];

    #[test]
    fn a_straight_line_of_slope_one_is_left_alone() {
        let text = sheet(&STRAIGHT);
        assert_eq!(codes(&of_line(&text)), [""; 0]);
        // Least squares by hand: slope 1.9995 mL per mL where 2 is all, intercept 11.979 mL; 40.078 g/mol.
        let (content, addition) = line(&text);
        assert!(
            (addition.recovery.value - 99.975).abs() < 1e-9,
            "{addition:?}"
        );
        let by_hand = 11.979 / 1.9995 * 0.02 / 10.0 * 40.078 * 1000.0;
        assert!(
            (content / by_hand - 1.0).abs() < 1e-12,
            "{content} {by_hand}"
        );
        let span = 6.0 * 0.02 / 10.0 * 40.078 * 1000.0;
        assert!((addition.span() / span - 1.0).abs() < 1e-12);
        // 15.98 lies 0.002 mL above 11.979 + 3.999.
        assert!(
            (addition.points[1].off - 0.002).abs() < 1e-9,
            "{addition:?}"
        );
    }

    #[test]
    fn a_slope_off_one_is_told_with_its_size() {
        // Slope 1.885 mL per mL: 94.25 %.
        let text = sheet(&[
            ("0", "11.20"),
            ("2.00", "14.95"),
            ("4.00", "18.75"),
            ("6.00", "22.50"),
        ]);
        let findings = of_line(&text);
        assert_eq!(codes(&findings), ["recovery-off"]);
        let off = one(&findings, "recovery-off");
        assert!(
            (off.size.as_ref().unwrap().value + 5.75).abs() < 1e-9,
            "{off:?}"
        );
        assert!(
            off.message.contains("would read 5.8 % low"),
            "{}",
            off.message
        );
        // More than all by as much.
        let text = sheet(&[
            ("0", "12.70"),
            ("2.00", "16.94"),
            ("4.00", "21.18"),
            ("6.00", "25.42"),
        ]);
        let off = of_line(&text);
        assert!(
            one(&off, "recovery-off").message.contains("6.0 % high"),
            "{off:?}"
        );
    }

    #[test]
    fn small_additions_are_told_a_better_one() {
        let text = sheet(&[("0", "11.98"), ("0.50", "12.97"), ("1.00", "13.98")]).replace(
            "[conditions]",
            "[piece]\nstandard = \"piston pipette 1 mL\"\n[conditions]",
        );
        let findings = of_line(&text);
        let small = one(&findings, "additions-too-small");
        assert_eq!(small.severity, Severity::Doubt);
        // 1 mL of 0.02 mol/L for 0.1198 mmol: a sixth; six times as much is the content.
        assert!(
            (small.size.as_ref().unwrap().value - 16.7).abs() < 0.1,
            "{small:?}"
        );
        assert!(
            small.next_step.contains("about 6.0 mL"),
            "{}",
            small.next_step
        );
        // Three additions from 0 to s over a content of 1: u is as sqrt(1/3 + (1 + s/2)^2 / (s^2/2)); 9.2 at 0.167, 2.2 at 1.
        let more = (1.0f64 / 3.0 + 1.0835f64.powi(2) / (0.167f64.powi(2) / 2.0)).sqrt()
            / (1.0f64 / 3.0 + 1.5f64.powi(2) / 0.5).sqrt();
        assert!(
            small.message.contains(&format!("counts {more:.1} times")),
            "{more} {}",
            small.message
        );
        // From about the content on nothing is said.
        assert!(!codes(&of_line(&sheet(&STRAIGHT))).contains(&"additions-too-small"));
    }

    #[test]
    fn what_is_no_line_is_refused_as_one() {
        let text = sheet(&[
            ("0", "22.50"),
            ("2.00", "18.75"),
            ("4.00", "14.95"),
            ("6.00", "11.20"),
        ]);
        assert_eq!(codes(&of_line(&text)), ["no-line"]);
    }

    #[test]
    fn no_content_is_no_content() {
        // Intercept -0.008 mL.
        let text = sheet(&[
            ("0", "0.02"),
            ("2.00", "3.99"),
            ("4.00", "8.02"),
            ("6.00", "12.10"),
        ]);
        let findings = of_line(&text);
        assert!(
            codes(&findings).contains(&"intercept-not-positive"),
            "{findings:?}"
        );
    }

    #[test]
    fn a_bend_is_seen_and_scatter_is_not_taken_for_one() {
        let text = sheet(&[
            ("0", "11.98"),
            ("2.00", "15.98"),
            ("4.00", "19.80"),
            ("6.00", "23.40"),
        ]);
        let findings = of_line(&text);
        let bent = one(&findings, "line-bent");
        assert!(bent.message.contains("less and less"), "{}", bent.message);
        // Second differences -0.18 and -0.22 mL: a square of -0.1 per step squared leaves the line by 0.1 mL.
        assert!(
            (bent.size.as_ref().unwrap().value - 0.1).abs() < 1e-9,
            "{bent:?}"
        );
        let text = sheet(&[
            ("0", "11.98"),
            ("2.00", "16.00"),
            ("4.00", "19.95"),
            ("6.00", "23.98"),
        ]);
        assert!(!codes(&of_line(&text)).contains(&"line-bent"));
    }

    #[test]
    fn the_effect_of_a_slip_is_that_of_its_run() {
        // The last run reads 1 mL too much, of three with the largest addition: the slope grows, so the content falls.
        let text = sheet(&[
            ("0", "11.98"),
            ("0", "11.97"),
            ("0", "11.99"),
            ("6.00", "23.98"),
            ("6.00", "23.97"),
            ("6.00", "24.97"),
        ]);
        let findings = judged(&text);
        assert!(!codes(&findings).contains(&"line-bent"));
        let odd = one(&findings, "odd-run");
        assert_eq!(odd.runs, ["6"]);
        // 0.667 mL above the line: the slope grows by 0.667/3/6 of 2 mL per mL, 1.85 %.
        assert!((odd.effect.unwrap() + 0.0185).abs() < 5e-4, "{odd:?}");
    }

    #[test]
    fn sheets_that_make_no_line_are_refused() {
        let refused = |text: &str| {
            let sheet = AssaySheet::read(text).unwrap();
            let method = method::find(sheet.method.as_deref().unwrap()).unwrap();
            evaluate(&sheet, method, &|_| None).unwrap_err().to_string()
        };
        let error = refused(&sheet(&[("2.00", "15.98"), ("2.00", "15.97")]));
        assert!(error.contains("different additions"), "{error}");
        let error = refused(&sheet(&[("0", "11.98"), ("3.00", "17.98")]));
        assert!(
            error.contains("no whole number of fills") && error.contains("sample[1].run[2].added"),
            "{error}"
        );
        let error = refused(&sheet(&[("0", "11.98"), ("-2.00", "17.98")]));
        assert!(error.contains("below 0"), "{error}");
        let without = sheet(&STRAIGHT).replace("[reagent.standard]", "[reagent.other]");
        assert!(
            refused(&without).contains("no reagent \"other\"; it measures: standard"),
            "{}",
            refused(&without)
        );
        let (start, _) = without.split_once("[reagent").unwrap();
        let error = refused(&format!(
            "{start}[[sample]]\nid = \"x\"\n[[sample.run]]\ninitial = \"0 mL\"\nfinal = \"9 mL\"\n"
        ));
        assert!(error.contains("concentration of the standard"), "{error}");
        let other = format!(
            "{}[[sample]]\nid = \"x\"\n[[sample.run]]\nadded = \"2.00 mL\"\ninitial = \"0 mL\"\nfinal = \"9 mL\"\n",
            head("calcium-hardness", "0.01 mol/L")
        );
        assert!(
            refused(&other).contains("spiked_with"),
            "{}",
            refused(&other)
        );
    }

    #[test]
    fn a_burette_can_measure_the_additions() {
        let text = sheet(&STRAIGHT).replace(
            "[conditions]",
            "[piece]\nstandard = \"burette 25 mL A graduated 0.05\"\n[conditions]",
        );
        let (content, _) = line(&text);
        let (by_pipette, _) = line(&sheet(&STRAIGHT));
        assert!((content / by_pipette - 1.0).abs() < 1e-12);
    }

    #[test]
    fn methods_that_cannot_be_are_refused() {
        let shipped =
            include_str!("../../../../../reference/methods/calcium-by-standard-addition.toml");
        let refused = |from: &str, to: &str| {
            assert!(shipped.contains(from), "{from}");
            Method::read(&shipped.replace(from, to))
                .unwrap_err()
                .to_string()
        };
        let take = "[[step]]\ntake = { name = \"more\", with = \"pipette 5 mL A\" }\n[[result]]";
        assert!(refused("[[result]]", take).contains("must be the last step"));
        let error = refused(
            "substance = \"calcium carbonate\", acts_as = \"Ca^2+\"",
            "substance = \"zinc\", acts_as = \"Zn^2+\"",
        );
        assert!(error.contains("add the analyte itself"), "{error}");
        let error = refused("name = \"standard\"", "name = \"sample\"");
        assert!(error.contains("one name"), "{error}");
        let two = "[[analyte]]\nspecies = \"Mg^2+\"\nname = \"magnesium\"\n[titrant]";
        assert!(refused("[titrant]", two).contains("one analyte"));
    }
}
