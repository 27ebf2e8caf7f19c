//! What cannot be computed any more after a correction is no result, until it can be computed again.
#![allow(clippy::unwrap_used)]

mod common;

use common::{demo, node};
use notebook::decide::Command;
use notebook::payload::{CalibrationCorrected, CertificateIssued, DeterminationApproved, Piece};
use notebook::validity::objections;
use notebook::{Ledger, Payload, Refusal};
use titrimetry::sheet::PieceSpec;

fn does(ledger: &mut Ledger, on: &str, payload: impl Into<Payload>) -> Result<(), String> {
    common::does(ledger, "fennel", &Command::new(node(on), payload))
}

/// The burette's calibration, entered as that of another piece.
fn corrected(piece: Piece) -> CalibrationCorrected {
    CalibrationCorrected {
        certificate: "B-3/2026-02".into(),
        piece,
        was: None,
        reason: "the paper was of another piece".into(),
    }
}

fn why(ledger: &Ledger, name: &str) -> Vec<String> {
    let today = ledger.events().last().unwrap().at.day();
    objections(ledger.world(), &node(name), today, true)
}

#[test]
fn what_is_lost_may_not_be_used_and_comes_back() {
    let mut ledger = demo(1);
    let burette = ledger.world().apparatus(&node("apparatus/B-3")).unwrap();
    let right = burette.piece().unwrap().clone();
    let flask = Piece::Glass(PieceSpec::Name("flask 100 mL A".into()));
    assert_eq!(why(&ledger, "solution/T-0123"), [""; 0]);
    does(&mut ledger, "apparatus/B-3", corrected(flask)).unwrap();

    let world = ledger.world();
    let lost = world.determination(&node("determination/D-0002")).unwrap();
    assert!(lost.failed.is_some() && lost.unapproved);
    for name in [
        "solution/T-0123",
        "determination/D-0002",
        "determination/D-0004",
    ] {
        let why = why(&ledger, name);
        assert!(why[0].contains("cannot be computed any more"), "{why:?}");
    }
    assert!(
        world
            .solution(&node("solution/T-0123"))
            .unwrap()
            .standing()
            .is_none()
    );
    let superseded = why(&ledger, "certificate/C-0005");
    assert!(
        superseded[0].contains("the calibration of B-3 was corrected")
            && superseded[0].ends_with("the result cannot be computed any more"),
        "{superseded:?}"
    );
    // No assay is opened on it, no certificate issued.
    let opened = ledger.events().iter().rev().find_map(|e| match &e.payload {
        Payload::DeterminationOpened(p) => Some(p.clone()),
        _ => None,
    });
    let refused = does(
        &mut ledger,
        "determination/D-0099",
        Payload::DeterminationOpened(opened.unwrap()),
    );
    assert!(refused.unwrap_err().contains("cannot be computed any more"));
    assert!(does(&mut ledger, "certificate/C-0099", issued("D-0002")).is_err());

    does(&mut ledger, "apparatus/B-3", corrected(right)).unwrap();
    let back = ledger
        .world()
        .determination(&node("determination/D-0002"))
        .unwrap();
    assert!(back.failed.is_none() && back.unapproved);
    assert_eq!(why(&ledger, "solution/T-0123"), [""; 0]);
    assert_eq!(why(&ledger, "determination/D-0004"), [""; 0]);
}

fn issued(of: &str) -> CertificateIssued {
    CertificateIssued {
        determination: node(&format!("determination/{of}")),
        meaning: "issued for the quality bench".into(),
        evaluated: None,
        use_before: None,
        replaces: None,
    }
}

#[test]
fn what_was_computed_again_is_approved_again_before_it_is_certified() {
    let mut ledger = demo(1);
    let of = node("determination/D-0004");
    assert!(ledger.world().determination(&of).unwrap().unapproved);
    let refused = does(&mut ledger, "certificate/C-0006", issued("D-0004")).unwrap_err();
    assert!(refused.contains("approve the value"), "{refused}");
    let approved = DeterminationApproved {
        meaning: "approved for use".into(),
        name: None,
        evaluated: None,
        use_before: None,
    };
    does(&mut ledger, "determination/D-0004", approved.clone()).unwrap();
    // Nothing is left to be approved.
    assert!(does(&mut ledger, "determination/D-0004", approved).is_err());
    does(&mut ledger, "certificate/C-0006", issued("D-0004")).unwrap();
    let new = ledger
        .world()
        .certificate(&node("certificate/C-0006"))
        .unwrap();
    assert_eq!(new.issued.replaces, Some(node("certificate/C-0004")));
    // A second one of the same result is refused while the first holds.
    let refused = does(&mut ledger, "certificate/C-0007", issued("D-0004")).unwrap_err();
    let said = Refusal::Stated {
        held: "C-0006".into(),
        determination: "D-0004".into(),
    };
    assert_eq!(refused, said.to_string());
}

#[test]
fn a_certificate_holds_no_longer_than_the_bottle() {
    let ledger = demo(1);
    let world = ledger.world();
    let bottle = notebook::validity::last_day(world, &node("solution/T-0123")).unwrap();
    let certificate = world.certificate(&node("certificate/C-0005")).unwrap();
    assert_eq!(certificate.issued.use_before, Some(bottle));
    let mut ledger = demo(1);
    let asked = CertificateIssued {
        use_before: Some(bottle.plus(1)),
        replaces: Some(node("certificate/C-0005")),
        ..issued("D-0002")
    };
    let refused = does(&mut ledger, "certificate/C-0006", asked).unwrap_err();
    assert!(
        refused.contains(&format!("holds until {bottle}")),
        "{refused}"
    );
    // Computed again and approved anew, it was standardized when it was.
    let standing = ledger
        .world()
        .solution(&node("solution/T-0123"))
        .unwrap()
        .standing()
        .unwrap();
    let done = ledger
        .world()
        .determination(&standing.determination)
        .unwrap()
        .done();
    assert_eq!(standing.at.day(), done.day());
}
