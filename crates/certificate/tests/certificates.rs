//! Certificates of the demo record: what is printed is what the record says, and what is altered is found out.
#![allow(clippy::unwrap_used)]

mod common;

use certificate::{CertificateSheet, CheckError, Standing, attached, certificate_pdf, check};
use common::{demo, demo_until, issued, node, sheet, text, tool};
use notebook::decide::Command;
use notebook::payload::LotCertificateCorrected;
use notebook::{Hash, Payload, Stamp};
use report::rounded;

const ALL: [&str; 5] = ["C-0001", "C-0002", "C-0003", "C-0004", "C-0005"];

#[test]
fn the_same_sheet_gives_the_same_bytes() {
    let (a, b) = (demo(), demo());
    for name in ALL {
        assert_eq!(
            certificate_pdf(&sheet(&a, name)).unwrap(),
            certificate_pdf(&sheet(&b, name)).unwrap(),
            "{name}"
        );
    }
}

#[test]
fn the_text_of_the_pages_is_what_the_record_says() {
    let ledger = demo();
    for name in ALL {
        let event = issued(&ledger, name);
        let Payload::CertificateIssued(payload) = &event.payload else {
            unreachable!()
        };
        let evaluated = payload.evaluated.as_ref().unwrap();
        let pdf = certificate_pdf(&sheet(&ledger, name)).unwrap();
        let page = text(&pdf);
        let mut expected = vec![
            format!("Certificate {name}"),
            Hash::of(event.body().unwrap().as_bytes()).to_string(),
            format!("event {} of the record", event.number),
            evaluated.rules.clone(),
            payload.determination.name().to_string(),
            format!("“{}”", payload.meaning),
        ];
        for stated in &evaluated.results {
            let r = rounded(stated.value, stated.expanded_uncertainty);
            expected.push(format!(
                "{} {} ± {} {}",
                r.value_text, stated.unit, r.uncertainty_text, stated.unit
            ));
            expected.push(format!("k = {:.2}", stated.coverage_factor));
            if let Some(p) = stated.probability {
                expected.push(format!("coverage probability {} %", 100.0 * p));
            }
            if let Some(p) = stated.conformity {
                let said = if p > 0.9995 {
                    "above 99.9 %".into()
                } else {
                    format!("of {:.1} %", 100.0 * p)
                };
                expected.push(format!("with a probability {said}"));
                expected.push("limits at least 5.0 % m/V".into());
            }
        }
        let holds = ledger
            .world()
            .certificate(&event.stream)
            .unwrap()
            .is_current();
        assert_eq!(page.contains("Superseded"), !holds, "{name}");
        for one in expected {
            assert!(page.contains(&one), "{name} lacks \"{one}\":\n{page}");
        }
    }
}

/// A sheet, and what it would say if it were current.
fn but_for_the_mark(mut sheet: CertificateSheet) -> CertificateSheet {
    sheet.standing = Standing::Current;
    sheet
}

#[test]
fn a_correction_changes_the_mark_of_an_issued_certificate_and_nothing_else() {
    let corrects = |p: &Payload| matches!(p, Payload::LotCertificateCorrected(_));
    let (before, after) = (demo_until(corrects), demo());
    for name in ["C-0001", "C-0002", "C-0003", "C-0004"] {
        let (old, new) = (sheet(&before, name), sheet(&after, name));
        assert_eq!(old.standing, Standing::Current);
        assert_eq!(
            certificate_pdf(&old).unwrap(),
            certificate_pdf(&but_for_the_mark(new)).unwrap(),
            "{name}"
        );
    }
    // Computed from what stood on the certificate of the acid then, and by that it is traced.
    let old = sheet(&after, "C-0002");
    let acid = &old.traced[0];
    assert_eq!(acid.on, node("lot/S-0107"));
    assert!(
        acid.by
            .as_ref()
            .unwrap()
            .contains("concentration 0.10041 mol/L"),
        "{acid:?}"
    );
    assert!(!old.budgets.is_empty() && !old.runs.is_empty());
    assert!(old.rules.findings.iter().all(|f| f.message.is_some()));
    // The reason is in words, without codes.
    let Standing::Superseded { reason, .. } = &old.standing else {
        panic!("{:?}", old.standing)
    };
    assert!(
        reason.starts_with("the certificate of the lot S-0107 was corrected (event "),
        "{reason}"
    );
    let page = text(&certificate_pdf(&old).unwrap());
    assert!(page.contains(reason.as_str()), "{reason}:\n{page}");
    assert!(
        !page.contains("lot/") && !page.contains("found: "),
        "{page}"
    );
}

#[test]
fn a_correction_made_later_leaves_what_was_printed_unaltered() {
    let mut ledger = demo();
    let printed = certificate_pdf(&sheet(&ledger, "C-0001")).unwrap();
    let lot = node("lot/S-0041");
    let mut stated = ledger
        .world()
        .lot(&lot)
        .unwrap()
        .certificate
        .clone()
        .unwrap();
    stated.purity.as_mut().unwrap().value = "98.97 %".parse().unwrap();
    let last = ledger.events().last().unwrap().at;
    let stamp = Stamp {
        at: last.plus(60_000),
        who: "fennel".into(),
        device: "desk".into(),
        key: None,
    };
    let corrected = LotCertificateCorrected {
        certificate: stated,
        was: None,
        reason: "typed wrongly".into(),
    };
    ledger
        .submit(&stamp, &Command::new(lot, corrected))
        .unwrap();
    let now = sheet(&ledger, "C-0001");
    assert!(matches!(now.standing, Standing::Superseded { .. }));
    let found = check(
        &printed,
        &attached(&printed).unwrap(),
        issued(&ledger, "C-0001"),
        &now,
    );
    assert!(found.is_unaltered() && !found.holds(), "{found:?}");
    assert!(found.changed_since.is_empty(), "{found:?}");
    assert_eq!(certificate_pdf(&but_for_the_mark(now)).unwrap(), printed);
}

#[test]
fn budget_and_runs_are_those_of_the_evaluation() {
    let ledger = demo();
    let sheet = sheet(&ledger, "C-0001");
    let [budget] = sheet.budgets.as_slice() else {
        panic!("one budget")
    };
    let squares: f64 = budget
        .inputs
        .iter()
        .map(|i| i.contribution * i.contribution)
        .sum();
    // Independent inputs: the contributions add up as squares (JCGM 100, 5.1.2).
    assert!((squares.sqrt() / budget.combined - 1.0).abs() < 1e-9);
    let shares: f64 = budget.groups.iter().map(|(_, share)| share).sum();
    assert!((shares - 1.0).abs() < 1e-9);
    let page = text(&certificate_pdf(&sheet).unwrap());
    let determination = ledger.world().determination(&sheet.determination).unwrap();
    assert_eq!(sheet.runs.len(), determination.runs.len());
    for run in &sheet.runs {
        assert!(
            page.contains(&format!("{} {}", run.name, run.titre)),
            "{run:?}:\n{page}"
        );
    }
}

#[test]
fn the_attached_data_are_read_back_with_another_program() {
    let ledger = demo();
    let sheet = sheet(&ledger, "C-0001");
    let pdf = certificate_pdf(&sheet).unwrap();
    assert_eq!(attached(&pdf).unwrap(), sheet);
    let json = tool("pdfdetach", &["-save", "1", "-o", "/dev/stdout"], &pdf, &[]);
    assert_eq!(
        serde_json::from_str::<CertificateSheet>(&json).unwrap(),
        sheet
    );
}

#[test]
fn the_files_are_sound_pdf_a_3_with_structure() {
    let ledger = demo();
    for name in ALL {
        let pdf = certificate_pdf(&sheet(&ledger, name)).unwrap();
        let said = tool("qpdf", &["--check"], &pdf, &[]);
        assert!(
            said.contains("No syntax or stream encoding errors found"),
            "{said}"
        );
        let info = tool("pdfinfo", &[], &pdf, &[]);
        assert!(info.contains("Tagged:          yes"), "{info}");
        assert!(info.contains("A4"), "{info}");
        let meta = tool("pdfinfo", &["-meta"], &pdf, &[]);
        assert!(
            meta.contains("pdfaid:part>3<") && meta.contains("pdfaid:conformance>A<"),
            "{meta}"
        );
        let fonts = tool("pdffonts", &[], &pdf, &[]);
        // Columns "emb" and "sub": embedded, and only the glyphs used.
        assert!(
            fonts
                .lines()
                .skip(2)
                .all(|line| line.contains("yes yes yes")),
            "{fonts}"
        );
    }
}

#[test]
fn an_untouched_file_passes_and_every_altered_byte_is_found() {
    let ledger = demo();
    let event = issued(&ledger, "C-0001");
    let now = sheet(&ledger, "C-0001");
    let pdf = certificate_pdf(&now).unwrap();
    let found = check(&pdf, &attached(&pdf).unwrap(), event, &now);
    assert!(found.holds() && found.drawing_compared, "{found:?}");

    // A digit of the value in the attachment.
    let value = format!("\"value\": {}", now.results[0].stated.value);
    let at = pdf
        .windows(value.len())
        .position(|w| w == value.as_bytes())
        .unwrap()
        + value.len()
        - 1;
    let mut forged = pdf.clone();
    forged[at] = if forged[at] == b'9' { b'8' } else { b'9' };
    let found = check(&forged, &attached(&forged).unwrap(), event, &now);
    assert!(
        found.altered.iter().any(|a| a.contains("results")),
        "{found:?}"
    );

    // Another name for the program, so that its drawing be not compared.
    let name = format!("\"program\": \"{}", now.program);
    let at = pdf
        .windows(name.len())
        .position(|w| w == name.as_bytes())
        .unwrap();
    let mut forged = pdf.clone();
    forged[at + name.len() - 1] = b'9';
    let found = check(&forged, &attached(&forged).unwrap(), event, &now);
    assert!(
        !found.is_unaltered() && !found.drawing_compared,
        "{found:?}"
    );

    // Any byte, a few hundred of them over the whole file: not one passes.
    for at in (0..pdf.len()).step_by(pdf.len() / 300) {
        let mut forged = pdf.clone();
        forged[at] ^= 1;
        match attached(&forged) {
            Ok(sheet) => assert!(
                !check(&forged, &sheet, event, &now).is_unaltered(),
                "byte {at}"
            ),
            Err(error) => assert!(matches!(error, CheckError::NoData | CheckError::NoPdf)),
        }
    }
}

#[test]
fn a_forger_who_prints_anew_is_found_by_the_record() {
    let ledger = demo();
    let event = issued(&ledger, "C-0001");
    let now = sheet(&ledger, "C-0001");
    let mut forged = now.clone();
    forged.results[0].stated.value *= 1.01;
    let pdf = certificate_pdf(&forged).unwrap();
    assert!(!check(&pdf, &attached(&pdf).unwrap(), event, &now).is_unaltered());
    let mut forged = now.clone();
    forged.apparatus[0].by = Some("certificate that nobody gave".into());
    let pdf = certificate_pdf(&forged).unwrap();
    let found = check(&pdf, &attached(&pdf).unwrap(), event, &now);
    assert_eq!(
        found.altered,
        ["the record says otherwise about: the apparatus"]
    );
}

#[test]
fn a_copy_printed_before_the_correction_is_unaltered_and_superseded() {
    let ledger = demo();
    let event = issued(&ledger, "C-0002");
    let now = sheet(&ledger, "C-0002");
    let mut before = now.clone();
    before.standing = Standing::Current;
    let pdf = certificate_pdf(&before).unwrap();
    let found = check(&pdf, &attached(&pdf).unwrap(), event, &now);
    assert!(found.is_unaltered() && !found.holds(), "{found:?}");
    assert!(matches!(found.standing, Standing::Superseded { .. }));
}

#[test]
fn another_version_of_the_program_may_use_other_words_but_not_other_facts() {
    let ledger = demo();
    let event = issued(&ledger, "C-0001");
    let now = sheet(&ledger, "C-0001");
    let mut older = now.clone();
    older.program = "halfdrop 0.0.1".into();
    older.rules.findings[0].message = Some("in other words".into());
    let pdf = certificate_pdf(&older).unwrap();
    let found = check(&pdf, &attached(&pdf).unwrap(), event, &now);
    assert!(found.holds() && !found.drawing_compared, "{found:?}");
    assert_eq!(found.changed_since, ["the rules and findings"]);
    older.people[0].name = "nobody".into();
    let pdf = certificate_pdf(&older).unwrap();
    assert!(!check(&pdf, &attached(&pdf).unwrap(), event, &now).is_unaltered());
}

#[test]
fn what_is_no_certificate_is_refused() {
    assert_eq!(attached(b"hello"), Err(CheckError::NoPdf));
    assert_eq!(attached(b"%PDF-1.7\n"), Err(CheckError::NoData));
    assert_eq!(
        attached(b"%PDF-1.7 /EmbeddedFile stream\n{}\nendstream"),
        Err(CheckError::NoData)
    );
}

#[test]
fn hostile_and_endless_texts_are_printed_without_harm() {
    let ledger = demo();
    let mut sheet = sheet(&ledger, "C-0004");
    sheet.title = "/Type /EmbeddedFile stream\n{} \u{202e}\u{0}\u{1b}[31m 漢字 \u{e000} ".repeat(8);
    sheet.laboratory = "x".repeat(3000);
    sheet.method = vec!["endless ".repeat(2000), String::new(), " ".into()];
    sheet.results[0].what = "(\\) %% << >> ".repeat(50);
    let pdf = certificate_pdf(&sheet).unwrap();
    assert_eq!(attached(&pdf).unwrap(), sheet);
    tool("qpdf", &["--check"], &pdf, &[]);
}
