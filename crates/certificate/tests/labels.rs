//! Labels of the demo record.
#![allow(clippy::unwrap_used)]

mod common;

use certificate::{CertificateError, LabelForm, LabelSheet, ON_A_SHEET, label_pdf};
use common::{demo, node, text, tool};
use report::rounded;

fn labels() -> Vec<LabelSheet> {
    let ledger = demo();
    ["T-0117", "T-0123"]
        .iter()
        .map(|name| LabelSheet::of(ledger.world(), &node(&format!("solution/{name}"))).unwrap())
        .collect()
}

#[test]
fn a_label_says_what_the_record_says() {
    for label in labels() {
        let pdf = label_pdf(std::slice::from_ref(&label), LabelForm::Single).unwrap();
        assert_eq!(
            pdf,
            label_pdf(std::slice::from_ref(&label), LabelForm::Single).unwrap()
        );
        let page = text(&pdf);
        let found = label.found.as_ref().unwrap();
        let r = rounded(found.value, found.expanded);
        for expected in [
            label.substance.clone(),
            label.solution.name().to_string(),
            format!(
                "c = {} ± {} {}",
                r.value_text, r.uncertainty_text, found.unit
            ),
            format!("standardized {}", found.at.day()),
            format!("made {}", label.made.day()),
            label.hazard.clone().unwrap(),
            "safety data sheet".into(),
        ] {
            assert!(
                page.contains(&expected),
                "\"{expected}\" is missing:\n{page}"
            );
        }
        assert!(tool("qpdf", &["--check"], &pdf, &[]).contains("No syntax"));
        // 70 mm x 37 mm in points.
        let info = tool("pdfinfo", &[], &pdf, &[]);
        assert!(info.contains("198.425 x 104.882 pts"), "{info}");
    }
}

#[test]
fn a_sheet_holds_24_and_begins_where_the_last_ended() {
    let mut label = labels().remove(0);
    label.hazard = Some("corrosive".into());
    let pages = |count: usize, skip: usize| {
        let pdf = label_pdf(&vec![label.clone(); count], LabelForm::Sheet { skip }).unwrap();
        let info = tool("pdfinfo", &[], &pdf, &[]);
        let line = info
            .lines()
            .find(|l| l.starts_with("Pages:"))
            .unwrap()
            .to_string();
        let shown = text(&pdf).matches("See safety data sheet.").count();
        (
            line.split_whitespace()
                .last()
                .unwrap()
                .parse::<usize>()
                .unwrap(),
            shown,
        )
    };
    assert_eq!(pages(ON_A_SHEET, 0), (1, 24));
    assert_eq!(pages(ON_A_SHEET, 1), (2, 24));
    assert_eq!(pages(1, 23), (1, 1));
}

#[test]
fn a_solution_without_standardization_is_no_titrant() {
    let mut label = labels().remove(0);
    label.found = None;
    let page = text(&label_pdf(&[label.clone()], LabelForm::Single).unwrap());
    assert!(
        page.contains("not standardized") && page.contains(&label.nominal),
        "{page}"
    );
}

#[test]
fn a_hazard_line_is_never_cut() {
    let mut label = labels().remove(0);
    let long = "Causes severe skin burns and eye damage. Wear protective gloves, clothing and eye protection. ".repeat(2);
    label.hazard = Some(long.trim().into());
    let page = text(&label_pdf(&[label.clone()], LabelForm::Single).unwrap());
    assert!(page.contains(long.trim()), "{page}");
    label.hazard = Some(long.repeat(5));
    assert!(matches!(
        label_pdf(&[label], LabelForm::Single),
        Err(CertificateError::Long(..))
    ));
    assert!(matches!(
        label_pdf(&[], LabelForm::Single),
        Err(CertificateError::NoLabel)
    ));
}
