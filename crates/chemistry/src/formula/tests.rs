use super::*;
use proptest::prelude::*;

fn read(text: &str) -> Formula {
    Formula::parse(text).unwrap_or_else(|e| panic!("{e}"))
}

fn problem(text: &str) -> String {
    Formula::parse(text)
        .map(|f| f.to_string())
        .unwrap_err()
        .problem
        .to_string()
}

#[test]
fn hydrates_in_every_writing() {
    for text in [
        "Na2S2O3·5H2O",
        "Na2S2O3.5H2O",
        "Na2S2O3*5H2O",
        "Na2S2O3 · 5 H2O",
        "Na₂S₂O₃•5H₂O",
        " Na2S2O3.5H2O ",
    ] {
        assert_eq!(read(text).to_string(), "Na2S2O3.5H2O", "{text}");
    }
    assert_eq!(read("CuSO4.H2O").composition().to_string(), "CuH2O5S");
    let mohr = read("Fe(NH4)2(SO4)2.6H2O");
    assert_eq!(mohr.composition().to_string(), "FeH20N2O14S2");
    assert_eq!(mohr.pretty(), "Fe(NH₄)₂(SO₄)₂·6H₂O");
}

#[test]
fn charges_in_every_writing() {
    for (text, plain) in [
        ("SO4^2-", "SO4^2-"),
        ("SO4^-2", "SO4^2-"),
        ("SO4^{2-}", "SO4^2-"),
        ("SO4--", "SO4^2-"),
        ("SO4^--", "SO4^2-"),
        ("SO₄²⁻", "SO4^2-"),
        ("SO₄2-", "SO4^2-"),
        ("SO4\u{2212}", "SO4^-"),
        ("Fe3+", "Fe^3+"),
        ("Fe^3+", "Fe^3+"),
        ("Fe+++", "Fe^3+"),
        ("Fe³⁺", "Fe^3+"),
        ("Ca2+", "Ca^2+"),
        ("Hg2+", "Hg^2+"),
        ("Hg2^2+", "Hg2^2+"),
        ("Na+", "Na^+"),
        ("Na1+", "Na^+"),
        ("Cl-", "Cl^-"),
        ("S2-", "S^2-"),
        ("O2-", "O^2-"),
        ("O2^-", "O2^-"),
        ("I3^-", "I3^-"),
        ("NH4+", "NH4^+"),
        ("MnO4-", "MnO4^-"),
        ("H2PO4-", "H2PO4^-"),
        ("Al(OH)4-", "Al(OH)4^-"),
        ("[Fe(CN)6]3-", "[Fe(CN)6]^3-"),
        ("[Fe(CN)6]^4-", "[Fe(CN)6]^4-"),
        ("[Ag(NH3)2]+", "[Ag(NH3)2]^+"),
        ("e-", "e^-"),
        ("e⁻", "e^-"),
        ("H+", "H^+"),
    ] {
        assert_eq!(read(text).to_string(), plain, "{text}");
    }
    assert_eq!(read("[Fe(CN)6]3-").pretty(), "[Fe(CN)₆]³⁻");
    assert_eq!(read("e-"), Formula::electron());
    assert_eq!(read("CO3^2-").charge(), -2);
}

#[test]
fn ambiguous_charges_are_refused_with_both_readings() {
    for (text, message) in [
        ("SO42-", "the charge is ambiguous; write SO4^2- or SO42^-"),
        (
            "Cr2O72-",
            "the charge is ambiguous; write Cr2O7^2- or Cr2O72^-",
        ),
        ("Hg22+", "the charge is ambiguous; write Hg2^2+ or Hg22^+"),
        ("I3-", "the charge is ambiguous; write I^3- or I3^-"),
        ("N3-", "the charge is ambiguous; write N^3- or N3^-"),
        (
            "H3+",
            "a charge of +3 is impossible here; if the digits are a count write H3^+",
        ),
        ("H^2+", "a charge of +2 is impossible here"),
        ("Fe^0+", "a charge of +0 is impossible here"),
    ] {
        assert_eq!(problem(text), message, "{text}");
    }
}

#[test]
fn errors_say_where_and_what_was_expected() {
    for (text, message) in [
        (
            "",
            "nothing is written; expected something like Na2CO3 or SO4^2-",
        ),
        (
            "   ",
            "nothing is written; expected something like Na2CO3 or SO4^2-",
        ),
        (
            "naoh",
            "character 1 is `n`; expected an element symbol (first letter a capital) or an opening bracket",
        ),
        (
            "2H2O",
            "character 1 is `2`; expected an element symbol (first letter a capital) or an opening bracket",
        ),
        ("NaXx", "character 3: no element has the symbol `Xx`"),
        ("NAOH", "character 2: no element has the symbol `A`"),
        (
            "Na2(SO4",
            "the `(` at character 4 is not closed; expected `)`",
        ),
        (
            "Na2(SO4]",
            "the `(` at character 4 is not closed; expected `)`",
        ),
        (
            "Na)",
            "character 3 is `)`; expected an element symbol, a bracket, a dot or a charge",
        ),
        (
            "()",
            "character 2 is `)`; expected an element symbol (first letter a capital) or an opening bracket",
        ),
        (
            "CuSO4.",
            "ends too early; expected an element symbol (first letter a capital) or an opening bracket",
        ),
        (
            "(NaCl.H2O)",
            "character 6 is `.`; expected an element symbol, a bracket or the closing bracket",
        ),
        (
            "H0",
            "character 2: a count is a whole number from 1 to 1000000",
        ),
        (
            "H99999999999999999999",
            "character 2: a count is a whole number from 1 to 1000000",
        ),
        (
            "CaSO4.0.5H2O",
            "character 7: counts are whole; for a half write the doubled formula, as Ca2(SO4)2.H2O",
        ),
        (
            "CaSO4·1.5H2O",
            "character 7: counts are whole; for a half write the doubled formula, as Ca2(SO4)2.H2O",
        ),
        (
            "SO4^",
            "ends too early; expected a charge as 2- or + to end the formula",
        ),
        (
            "SO4^2",
            "ends too early; expected a charge as 2- or + to end the formula",
        ),
        (
            "SO4^2-O",
            "character 7 is `O`; expected a charge as 2- or + to end the formula",
        ),
        (
            "SO4^2-2",
            "character 7 is `2`; expected a charge as 2- or + to end the formula",
        ),
        (
            "SO4^{2-",
            "the `{` at character 5 is not closed; expected `}`",
        ),
        (
            "Na+-",
            "character 4 is `-`; expected a charge as 2- or + to end the formula",
        ),
        (
            "+",
            "ends too early; expected an element symbol (first letter a capital) or an opening bracket",
        ),
        ("e", "the electron is written e-"),
        ("e+", "the electron is written e-"),
        (
            "Na\u{0}",
            "character 3 is `\\0`; expected an element symbol, a bracket, a dot or a charge",
        ),
        (
            "(((H1000000)1000000)1000000)",
            "the counts multiply to more than 1000000000000 atoms of one element",
        ),
    ] {
        assert_eq!(problem(text), message, "{text}");
    }
    let whole = Formula::parse("Na2(SO4").unwrap_err().to_string();
    assert_eq!(
        whole,
        "formula `Na2(SO4`: the `(` at character 4 is not closed; expected `)`"
    );
}

#[test]
fn huge_and_deep_input_is_refused() {
    let huge = "H".repeat(50_000_000);
    assert_eq!(
        problem(&huge),
        "50000000 characters; a formula has at most 1000"
    );
    let deep = format!("{}H{}", "(".repeat(400), ")".repeat(400));
    assert_eq!(
        problem(&deep),
        "character 17: brackets are nested deeper than 16"
    );
    let allowed = format!("{}H{}", "(".repeat(16), ")".repeat(16));
    assert_eq!(read(&allowed).composition().atoms(), 1);
}

#[test]
fn same_species_whatever_the_writing() {
    assert!(read("KHC8H4O4").is_same_species(&read("C8H5KO4")));
    assert!(!read("SO4^2-").is_same_species(&read("SO4^-")));
    assert_ne!(read("NaOH"), read("HONa"));
}

fn element() -> impl Strategy<Value = Element> {
    (1_u8..=118).prop_map(|n| Element::from_atomic_number(n).unwrap())
}

fn units() -> impl Strategy<Value = Vec<Unit>> {
    let atom = (element(), 1_u32..30).prop_map(|(e, n)| Unit::Atom(e, n));
    let unit = atom.prop_recursive(4, 24, 4, |inner| {
        let bracket = prop_oneof![
            Just(Bracket::Round),
            Just(Bracket::Square),
            Just(Bracket::Curly)
        ];
        (bracket, prop::collection::vec(inner, 1..4), 1_u32..13)
            .prop_map(|(b, u, n)| Unit::Group(b, u, n))
    });
    prop::collection::vec(unit, 1..5)
}

fn formulas() -> impl Strategy<Value = Formula> {
    let part = (1_u32..20, units()).prop_map(|(multiplier, units)| Part { multiplier, units });
    (prop::collection::vec(part, 1..4), -4_i32..=4).prop_map(|(mut parts, charge)| {
        parts[0].multiplier = 1;
        let fits = Formula::from_parts(parts.clone(), 0)
            .unwrap()
            .composition
            .protons()
            >= 4;
        Formula::from_parts(parts, if fits { charge } else { 0 }).unwrap()
    })
}

proptest! {
    #[test]
    fn a_printed_formula_reads_back(formula in formulas()) {
        prop_assert_eq!(&read(&formula.to_string()), &formula);
        prop_assert_eq!(&read(&formula.pretty()), &formula);
    }

    #[test]
    fn junk_never_panics(text in any::<String>()) {
        let _ = Formula::parse(&text);
    }

    #[test]
    fn formula_like_junk_never_panics(text in "[A-Za-e0-9()\\[\\]{}.·*^+\\-−₂²⁻ ]{0,40}") {
        if let Ok(formula) = Formula::parse(&text) {
            prop_assert_eq!(&read(&formula.to_string()), &formula);
        }
    }
}
