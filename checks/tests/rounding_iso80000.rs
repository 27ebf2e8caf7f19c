//! Rounding and concise notation.
//!
//! Tie rules A (half to even) and B (half to greater magnitude): ISO 80000-1:2009 Annex B (from memory). That half goes
//! up in pharmacopoeial work: EDQM FAQ on the European Pharmacopoeia. Examples of u and y: GUM 7.2.6. Concise notation
//! of published results: EURACHEM/CITAC CG4 A2 and A3, GUM H.1 and H.3.
//! The other vectors were computed with decimal arithmetic (Python 3.11 `decimal`).

use metrology::rounding::{TieRule, round_decimal, round_decimal_text, round_to_uncertainty};

/// y, u, concise by rule A, concise by rule B.
const CONCISE: [(f64, f64, &str, &str); 9] = [
    (
        0.102_136_159_7,
        1.005_007_2e-4,
        "0.10214(10)",
        "0.10214(10)",
    ),
    (
        0.101_387_161_2,
        1.843_387_4e-4,
        "0.10139(18)",
        "0.10139(18)",
    ),
    (1_002.699_72, 0.835_199_2, "1002.70(84)", "1002.70(84)"),
    (24.9965, 0.0996, "25.00(10)", "25.00(10)"),
    (0.099_95, 0.000_995, "0.1000(10)", "0.1000(10)"),
    (0.123_45, 0.0125, "0.123(12)", "0.123(13)"),
    (18.645, 0.0135, "18.645(14)", "18.645(14)"),
    (1234.5, 36.5, "1234(36)", "1235(37)"),
    (5.005, 0.25, "5.00(25)", "5.01(25)"),
];

#[test]
fn value_and_uncertainty_end_at_the_same_place() {
    for (y, u, even, up) in CONCISE {
        for (tie, expected) in [(TieRule::HalfEven, even), (TieRule::HalfUp, up)] {
            let rounded = round_to_uncertainty(y, u, 2, tie).expect("finite");
            assert_eq!(rounded.concise, expected, "{y} {u} {tie:?}");
            let negative = round_to_uncertainty(-y, u, 2, tie).expect("finite");
            assert_eq!(negative.concise, format!("-{expected}"));
        }
    }
}

/// Number, decimals, rule A, rule B. In binary 12.35 is a little below the tie and 0.145 a little above.
const PLAIN: [(&str, i32, &str, &str); 7] = [
    ("0.125", 2, "0.12", "0.13"),
    ("0.135", 2, "0.14", "0.14"),
    ("12.25", 1, "12.2", "12.3"),
    ("12.35", 1, "12.4", "12.4"),
    ("2.5", 0, "2", "3"),
    ("-0.125", 2, "-0.12", "-0.13"),
    ("1.2549", 1, "1.3", "1.3"),
];

#[test]
fn ties_follow_the_named_rule_in_text_and_in_binary() {
    for (text, decimals, even, up) in PLAIN {
        let number: f64 = text.parse().expect("a number");
        for (tie, expected) in [(TieRule::HalfEven, even), (TieRule::HalfUp, up)] {
            assert_eq!(
                round_decimal_text(text, decimals, tie).as_deref(),
                Ok(expected)
            );
            assert_eq!(
                round_decimal(number, decimals, tie).as_deref(),
                Ok(expected)
            );
        }
    }
}

#[test]
fn results_as_the_guides_print_them() {
    // GUM H.1: l = 50 000 838 nm, u = 32 nm (full 31.663879). GUM H.3: y1 = -0.1712(29), y2 = 0.00218(67).
    let concise = |y, u| {
        round_to_uncertainty(y, u, 2, TieRule::HalfEven)
            .expect("finite")
            .concise
    };
    assert_eq!(concise(50_000_838.0, 31.663_879), "50000838(32)");
    assert_eq!(concise(-0.171_203_79, 0.002_877_598), "-0.1712(29)");
    assert_eq!(concise(0.002_182_697_7, 0.000_667_938_8), "0.00218(67)");
    // GUM 7.2.6: y = 10.057 62 ohm with u_c = 27 mohm is given as 10.058 ohm; 28.05 kHz as 28 kHz.
    let y = round_to_uncertainty(10.057_62, 0.027, 2, TieRule::HalfEven).expect("finite");
    assert_eq!(
        (y.value_text.as_str(), y.plus_minus.as_str()),
        ("10.058", "(10.058 ± 0.027)")
    );
    assert_eq!(
        round_decimal(28.05, 0, TieRule::HalfEven).as_deref(),
        Ok("28")
    );
}
