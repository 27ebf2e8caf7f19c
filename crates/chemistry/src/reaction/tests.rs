use super::*;
use proptest::prelude::*;

fn read(text: &str) -> Reaction {
    Reaction::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"))
}

fn error(text: &str) -> String {
    Reaction::parse(text)
        .map(|r| r.to_string())
        .unwrap_err()
        .to_string()
}

fn balance(text: &str) -> String {
    read(text)
        .balanced()
        .map_or_else(|e| e.to_string(), |r| r.to_string())
}

const PERMANGANATE: &str = "2 MnO4^- + 5 C2O4^2- + 16 H^+ -> 2 Mn^2+ + 10 CO2 + 8 H2O";

#[test]
fn reactions_in_many_writings() {
    for text in [
        "2 MnO4- + 5 C2O4^2- + 16 H+ -> 2 Mn^2+ + 10 CO2 + 8 H2O",
        "2MnO4-+5C2O4^2-+16H+=2Mn2++10CO2+8H2O",
        "2 MnO4⁻ + 5 C₂O₄²⁻ + 16 H⁺ ⇌ 2 Mn²⁺ + 10 CO₂ + 8 H₂O",
        "2 MnO4-(aq)+5 C2O4^2- (aq) + 16 H+(aq) <=> 2 Mn^2+(aq)+10 CO2(g) + 8 H2O (l)",
        "2 MnO4- + 5 C2O4-- + 16 H+ --> 2 Mn++ + 10 CO2 + 8 H2O",
    ] {
        assert_eq!(read(text).to_string(), PERMANGANATE, "{text}");
        read(text).check_balance().unwrap();
    }
    assert_eq!(read("Ag+ + Cl- → AgCl").pretty(), "Ag⁺ + Cl⁻ → AgCl");
    assert_eq!(read("H++OH-->H2O").to_string(), "H^+ + OH^- -> H2O");
    assert_eq!(read("Fe3++e-->Fe2+").to_string(), "Fe^3+ + e^- -> Fe^2+");
    assert_eq!(read("HCl+[Ag(NH3)2]^+ -> AgCl + NH4+").reactants().len(), 2);
    assert_eq!(
        read("2 NaOH+(NH4)2SO4 = Na2SO4+2NH3+2H2O")
            .reactants()
            .len(),
        2
    );
}

#[test]
fn unreadable_reactions_say_why() {
    for (text, message) in [
        ("", "no arrow in the reaction; write reactants -> products"),
        (
            "HCl + NaOH",
            "no arrow in the reaction; write reactants -> products",
        ),
        (
            "A -> B -> C",
            "a second arrow at character 8; a reaction has one",
        ),
        (
            "-> H2O",
            "character 1: a species is missing, expected something like 2 H2O",
        ),
        (
            "H2O ->",
            "character 7: a species is missing, expected something like 2 H2O",
        ),
        (
            "H+ + + OH- -> H2O",
            "character 5: a species is missing, expected something like 2 H2O",
        ),
        (
            "2 -> H2O",
            "character 2: a species is missing, expected something like 2 H2O",
        ),
        (
            "HCl NaOH -> NaCl + H2O",
            "character 1: `HCl NaOH` is more than one formula; put a plus with a space on each side between two species",
        ),
        (
            "HCl+ NaOH -> NaCl + H2O",
            "character 1: `HCl+ NaOH` is more than one formula; put a plus with a space on each side between two species",
        ),
        (
            "1/2 O2 + H2 -> H2O",
            "character 1: a stoichiometric number is whole, from 1 to 1000000; multiply the reaction to avoid fractions",
        ),
        (
            "0 O2 + H2 -> H2O",
            "character 1: a stoichiometric number is whole, from 1 to 1000000; multiply the reaction to avoid fractions",
        ),
        (
            "99999999999999999999999 O2 + H2 -> H2O",
            "character 1: a stoichiometric number is whole, from 1 to 1000000; multiply the reaction to avoid fractions",
        ),
        (
            "BaCl2 + SO42- -> BaSO4 + 2 Cl-",
            "species at character 9: formula `SO42-`: the charge is ambiguous; write SO4^2- or SO42^-",
        ),
    ] {
        assert_eq!(error(text), message, "{text}");
    }
    assert_eq!(
        error(&"H2O + ".repeat(20_000)),
        "120000 characters; a reaction has at most 4000"
    );
    let many = format!("{} -> H2O", vec!["H2O"; 40].join(" + "));
    assert_eq!(error(&many), "41 species; a reaction has at most 40");
}

#[test]
fn an_imbalance_names_the_element_and_both_counts() {
    let check = |text: &str| read(text).check_balance().unwrap_err().to_string();
    assert_eq!(
        check("MnO4- + 5 C2O4^2- + 16 H+ -> Mn^2+ + 10 CO2 + 8 H2O"),
        "not balanced: oxygen (O) 24 left, 28 right; charge +5 left, +2 right"
    );
    assert_eq!(
        check("Fe^2+ -> Fe^3+"),
        "not balanced: charge +2 left, +3 right"
    );
    assert_eq!(
        check("H2 + O2 -> NaCl"),
        "not balanced: hydrogen (H) 2 left, 0 right; oxygen (O) 2 left, 0 right; sodium (Na) 0 left, 1 right; \
         chlorine (Cl) 0 left, 1 right"
    );
}

// Reactions of the standards and titrants as textbooks print them (from memory; each is checked for balance here).
#[test]
fn known_reactions_balance_to_their_known_numbers() {
    for (text, balanced) in [
        ("MnO4- + C2O4^2- + H+ -> Mn^2+ + CO2 + H2O", PERMANGANATE),
        (
            "Cr2O7^2- + Fe^2+ + H+ -> Cr^3+ + Fe^3+ + H2O",
            "Cr2O7^2- + 6 Fe^2+ + 14 H^+ -> 2 Cr^3+ + 6 Fe^3+ + 7 H2O",
        ),
        (
            "IO3- + I- + H+ -> I2 + H2O",
            "IO3^- + 5 I^- + 6 H^+ -> 3 I2 + 3 H2O",
        ),
        (
            "I2 + S2O3^2- -> I- + S4O6^2-",
            "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-",
        ),
        (
            "Na2CO3 + HCl -> NaCl + CO2 + H2O",
            "Na2CO3 + 2 HCl -> 2 NaCl + CO2 + H2O",
        ),
        (
            "KHC8H4O4 + NaOH -> KNaC8H4O4 + H2O",
            "KHC8H4O4 + NaOH -> KNaC8H4O4 + H2O",
        ),
        (
            "Na2B4O7.10H2O + HCl -> H3BO3 + NaCl + H2O",
            "Na2B4O7.10H2O + 2 HCl -> 4 H3BO3 + 2 NaCl + 5 H2O",
        ),
        (
            "MnO4- + H+ + e- -> Mn2+ + H2O",
            "MnO4^- + 8 H^+ + 5 e^- -> Mn^2+ + 4 H2O",
        ),
        ("As2O3 + H2O -> H3AsO3", "As2O3 + 3 H2O -> 2 H3AsO3"),
        (
            "KMnO4 + HCl -> KCl + MnCl2 + Cl2 + H2O",
            "2 KMnO4 + 16 HCl -> 2 KCl + 2 MnCl2 + 5 Cl2 + 8 H2O",
        ),
        (
            "K4Fe(CN)6 + KMnO4 + H2SO4 -> KHSO4 + Fe2(SO4)3 + MnSO4 + HNO3 + CO2 + H2O",
            "10 K4Fe(CN)6 + 122 KMnO4 + 299 H2SO4 -> 162 KHSO4 + 5 Fe2(SO4)3 + 122 MnSO4 + 60 HNO3 + 60 CO2 + 188 H2O",
        ),
    ] {
        assert_eq!(balance(text), balanced);
        read(balanced).check_balance().unwrap();
    }
}

#[test]
fn impossible_reactions_say_why() {
    for (text, message) in [
        (
            "NaOH + HCl -> KCl + H2O",
            "impossible: sodium (Na) occurs on one side only",
        ),
        (
            "Fe^2+ -> Fe^3+",
            "impossible: no stoichiometric numbers balance every element and the charge",
        ),
        (
            "H2O + CO2 -> H2CO3 + O2",
            "impossible as written: O2 would have to be left out",
        ),
        (
            "H2O2 + O2 -> H2O",
            "impossible as written: O2 would have to stand on the other side",
        ),
        (
            "MnO4- + H2O2 + H+ -> Mn^2+ + O2 + H2O",
            "not determined: 2 independent reactions can be made from these species, so no single set of numbers is right; \
             leave out a species or write the numbers",
        ),
        (
            "H2O + NaCl -> NaCl + H2O",
            "NaCl stands on both sides; write it once",
        ),
    ] {
        assert_eq!(balance(text), message, "{text}");
    }
}

#[test]
fn ratios_are_exact() {
    let reaction = read(PERMANGANATE);
    let ratio =
        |a: &str, b: &str| reaction.ratio(&Formula::parse(a).unwrap(), &Formula::parse(b).unwrap());
    assert_eq!(
        ratio("C2O4^2-", "MnO4-").unwrap(),
        Ratio {
            numerator: 5,
            denominator: 2
        }
    );
    assert_eq!(ratio("MnO4-", "H2O").unwrap().to_string(), "1/4");
    assert_eq!(ratio("CO2", "Mn2+").unwrap().to_string(), "5");
    assert_eq!(
        ratio("NaOH", "H2O").unwrap_err().to_string(),
        "NaOH does not take part in the reaction 2 MnO4^- + 5 C2O4^2- + 16 H^+ -> 2 Mn^2+ + 10 CO2 + 8 H2O; there are \
         MnO4^-, C2O4^2-, H^+, Mn^2+, CO2, H2O"
    );
    let other_writing = read("KHC8H4O4 + NaOH -> KNaC8H4O4 + H2O");
    let found = other_writing.ratio(
        &Formula::parse("C8H5KO4").unwrap(),
        &Formula::parse("NaOH").unwrap(),
    );
    assert_eq!(found.unwrap(), Ratio::new(1, 1).unwrap());
    let half = Ratio::new(3, 6).unwrap();
    assert_eq!(
        half.times(half.inverse()).unwrap(),
        Ratio::new(1, 1).unwrap()
    );
    assert!(Ratio::new(0, 1).is_none());
    let unbalanced = read("MnO4- + C2O4^2- -> Mn2+ + CO2");
    let asked = unbalanced.ratio(
        &unbalanced.reactants()[0].formula,
        &unbalanced.reactants()[1].formula,
    );
    assert!(matches!(asked, Err(ReactionError::Unbalanced(_))));
}

/// Species that are made from fragments, so that a reaction built from them is sure to balance.
fn fragments() -> impl Strategy<Value = Vec<(String, u64)>> {
    let symbols = ["Na", "K", "Ca", "Cl", "S", "O", "N", "Fe"];
    prop::collection::btree_map(0..symbols.len(), 1_u64..9, 2..6).prop_map(move |map| {
        map.into_iter()
            .map(|(i, n)| (symbols[i].to_owned(), n))
            .collect()
    })
}

proptest! {
    #[test]
    fn junk_never_panics(text in any::<String>()) {
        let _ = Reaction::parse(&text);
    }

    #[test]
    fn reaction_like_junk_never_panics(text in "[A-Ca-e0-9()\\[\\]{}.^+\\-=>< →]{0,60}") {
        if let Ok(reaction) = Reaction::parse(&text) {
            let _ = reaction.check_balance();
            let _ = reaction.balanced();
            prop_assert_eq!(read(&reaction.to_string()), reaction.clone());
            prop_assert_eq!(read(&reaction.pretty()), reaction);
        }
    }

    #[test]
    fn a_synthesis_from_its_elements_is_found(parts in fragments(), unit in 1_u64..4) {
        // a A + b B + ... -> X with X holding unit*n atoms of each: the numbers must come out as n (times unit if X is one).
        let left: Vec<_> = parts.iter().map(|(symbol, _)| symbol.clone()).collect();
        let right: String = parts.iter().map(|(symbol, n)| format!("{symbol}{}", n * unit)).collect();
        let balanced = read(&format!("{} -> {right}", left.join(" + "))).balanced().unwrap();
        balanced.check_balance().unwrap();
        for (term, (symbol, n)) in balanced.reactants().iter().zip(&parts) {
            prop_assert_eq!(term.formula.to_string(), symbol.clone());
            prop_assert_eq!(term.number, n * unit);
        }
        prop_assert_eq!(balanced.products()[0].number, 1);
    }

    #[test]
    fn a_balanced_reaction_passes_the_check(parts in fragments(), split in 1_u64..8, charge in -3_i32..4) {
        // The ion X^c and the counter ions, in any numbers, from a neutral compound: dissociation with the charge at work.
        let inner: String = parts.iter().map(|(symbol, n)| format!("{symbol}{n}")).collect();
        let (ion, counter) = match charge {
            0 => (format!("({inner})"), None),
            c if c > 0 => (format!("({inner})^{c}+"), Some(("Br", format!("Br^{split}-")))),
            c => (format!("({inner})^{}-", -c), Some(("Li", "Li^+".to_owned()))),
        };
        if let Some((symbol, counter)) = counter {
            let each = if symbol == "Br" { split } else { 1 };
            let (salt_ions, salt_counters) = (each, u64::from(charge.unsigned_abs()));
            let salt = format!("({inner}){salt_ions}{symbol}{salt_counters}");
            let balanced = read(&format!("{salt} -> {ion} + {counter}")).balanced().unwrap();
            balanced.check_balance().unwrap();
            let ratio = balanced.ratio(&balanced.products()[0].formula, &balanced.products()[1].formula).unwrap();
            prop_assert_eq!(ratio, Ratio::new(salt_ions, salt_counters).unwrap());
        }
    }
}
