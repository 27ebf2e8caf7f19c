//! The demo record, in memory: what it contains, and what the correction does.
#![allow(clippy::unwrap_used)]

mod common;

use common::{demo, first_day, node};
use notebook::demo::script;
use notebook::state::{CertificateStatus, Status};
use notebook::{Event, Hash, Node, Payload};

#[test]
fn the_same_seed_gives_the_same_record() {
    assert_eq!(demo(1).bodies(), demo(1).bodies());
    assert_ne!(demo(1).bodies(), demo(2).bodies());
}

#[test]
fn the_correction_reaches_the_vinegar_and_its_certificates() {
    let ledger = demo(1);
    let world = ledger.world();
    let recomputed: Vec<(&Node, bool)> = ledger
        .events()
        .iter()
        .filter_map(|event| match &event.payload {
            Payload::DeterminationRecomputed(p) => Some((&event.stream, p.flips)),
            _ => None,
        })
        .collect();
    // The base first, then the vinegar that rests on it; one vinegar no longer keeps its limit.
    assert_eq!(
        recomputed,
        [
            (&node("determination/D-0002"), false),
            (&node("determination/D-0004"), true)
        ]
    );
    for (certificate, holds) in [
        ("C-0001", true),
        ("C-0002", false),
        ("C-0003", true),
        ("C-0004", false),
        ("C-0005", true),
    ] {
        let state = world
            .certificate(&node(&format!("certificate/{certificate}")))
            .unwrap();
        assert_eq!(state.is_current(), holds, "{certificate}");
        if let CertificateStatus::Superseded { reason, .. } = &state.status {
            assert!(reason.contains("lot S-0107"), "{reason}");
        }
        // What was issued stands as it was issued.
        assert!(state.issued.evaluated.is_some());
    }
}

#[test]
fn the_correction_scales_what_rests_on_the_acid() {
    let ledger = demo(1);
    let change = |name: &str| {
        ledger
            .events()
            .iter()
            .find_map(|event| match &event.payload {
                Payload::DeterminationRecomputed(p) if event.stream == node(name) => Some((
                    p.was.results[0].value,
                    p.now.as_ref().unwrap().results[0].value,
                )),
                _ => None,
            })
            .unwrap()
    };
    // Both are proportional to the acid's concentration: 0.10014 instead of 0.10041.
    for name in ["determination/D-0002", "determination/D-0004"] {
        let (was, now) = change(name);
        let ratio = now / was / (0.10014 / 0.10041);
        assert!((ratio - 1.0).abs() < 1e-12, "{name}: {was} -> {now}");
    }
}

#[test]
fn a_corrected_reading_and_a_run_set_aside_stay_visible() {
    let ledger = demo(1);
    let determination = ledger
        .world()
        .determination(&node("determination/D-0001"))
        .unwrap();
    assert_eq!(determination.status, Status::Approved);
    let run = determination.run(4).unwrap();
    let last = run.reading("final".parse().unwrap()).unwrap();
    assert_eq!(last.corrections.len(), 1);
    assert!(last.corrections[0].was.starts_with("22."));
    assert!(last.value.starts_with("25."));
    assert!(determination.run(3).unwrap().set_aside.is_some());
    let evaluated = determination.evaluated.as_ref().unwrap();
    // The concentration that the readings were made from.
    let c = &evaluated.results[0];
    assert!(
        (c.value - 0.09962).abs() < 3.0 * c.standard_uncertainty,
        "{c:?}"
    );
    assert!(evaluated.usable, "{evaluated:?}");
}

#[test]
fn the_chain_holds_and_bodies_are_read_back() {
    let ledger = demo(1);
    let mut previous = Hash::ZERO;
    for ((body, hash), event) in ledger.bodies().iter().zip(ledger.events()) {
        assert_eq!(&Event::read(body).unwrap(), event);
        assert_eq!(event.previous, previous);
        assert_eq!(Hash::of(body.as_bytes()), *hash);
        previous = *hash;
    }
}

/// The base of D-0001 is standardized once more, and has lost a hundredth meanwhile: the sheet names what it was found to
/// be before, and the finding says so.
#[test]
fn a_solution_standardized_again_is_compared_with_what_it_was() {
    let steps = script(1, first_day()).unwrap();
    let mut ledger = demo(1);
    let before = node("determination/D-0001");
    let again = node("determination/D-0099");
    let stamp = &steps.last().unwrap().stamp;
    for step in &steps {
        if step.command.on != before {
            continue;
        }
        let mut command = step.command.clone();
        command.on = again.clone();
        if let Payload::ReadingTaken(p) = &mut command.payload
            && p.reading == "final".parse().unwrap()
        {
            let (value, unit) = p.value.split_once(' ').unwrap();
            let value: f64 = value.parse().unwrap();
            p.value = format!("{:.2} {unit}", value + 0.25);
        }
        if let Payload::ReadingCorrected(p) = &mut command.payload {
            let (value, unit) = p.value.split_once(' ').unwrap();
            let value: f64 = value.parse().unwrap();
            p.value = format!("{:.2} {unit}", value + 0.25);
        }
        let stamp = notebook::ledger::Stamp {
            who: step.stamp.who.clone(),
            key: None,
            ..stamp.clone()
        };
        ledger.submit(&stamp, &command).unwrap();
    }
    let world = ledger.world();
    let sheet_of = |name: &Node| {
        let determination = world.determination(name).unwrap();
        match notebook::sheet::bench_sheet(world, determination).unwrap() {
            notebook::sheet::BenchSheet::Standardization(sheet, _) => sheet,
            other @ notebook::sheet::BenchSheet::Assay(..) => panic!("{other:?}"),
        }
    };
    assert_eq!(sheet_of(&before).sought.earlier, None);
    let earlier = sheet_of(&again).sought.earlier.unwrap();
    let found = &world
        .determination(&before)
        .unwrap()
        .evaluated
        .as_ref()
        .unwrap()
        .results[0];
    // Three digits of u are written: half a unit of the last is at most a two-hundredth of u.
    let u = found.standard_uncertainty;
    assert!((earlier.value.value() - found.value).abs() <= u / 200.0);
    let stated = earlier.standard.unwrap().value();
    assert!((stated / u - 1.0).abs() <= 1.0 / 200.0, "{stated} {u}");
    assert_eq!(earlier.certificate.as_deref(), Some("D-0001, 2026-03-10"));
    // A quarter of a millilitre of 25 is 1 %.
    let findings = &world
        .determination(&again)
        .unwrap()
        .evaluated
        .as_ref()
        .unwrap()
        .findings;
    assert!(
        findings.iter().any(|code| code == "differs-from-earlier"),
        "{findings:?}"
    );
    // What was found later does not change what was found then.
    let mut evaluator = notebook::Evaluator::new(world);
    assert_eq!(
        notebook::cascade::change(world, &mut evaluator, &before),
        None
    );
}
