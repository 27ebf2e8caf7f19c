use super::*;
use proptest::prelude::*;

fn find(name: &str) -> &'static Substance {
    Catalogue::embedded()
        .find(name)
        .unwrap_or_else(|e| panic!("{e}"))
}

fn message(name: &str) -> String {
    Catalogue::embedded()
        .find(name)
        .map(ToString::to_string)
        .unwrap_err()
        .to_string()
}

#[test]
fn embedded_substances_are_valid_and_all_are_found() {
    let catalogue = Catalogue::embedded();
    for substance in catalogue.substances() {
        for name in substance.names() {
            assert_eq!(find(&name.to_uppercase()).name, substance.name);
        }
        if !substance.by_name_only {
            assert_eq!(find(&substance.formula.to_string()).name, substance.name);
            assert_eq!(find(&substance.formula.pretty()).name, substance.name);
        }
    }
}

#[test]
fn every_primary_standard_and_titrant_takes_part_in_a_titration() {
    let catalogue = Catalogue::embedded();
    for substance in catalogue
        .substances()
        .iter()
        .filter(|s| !s.is(Kind::Reagent))
    {
        let part = |t: &Titration| {
            t.standards.contains(&substance.name) || t.titrants.contains(&substance.name)
        };
        assert!(catalogue.titrations().iter().any(part), "{substance}");
    }
}

#[test]
fn names_are_read_as_people_write_them() {
    for (asked, name) in [
        ("khp", "potassium hydrogen phthalate"),
        (
            "Potassium  Hydrogen-Phthalate",
            "potassium hydrogen phthalate",
        ),
        ("TRIS", "tris(hydroxymethyl)aminomethane"),
        ("sulphuric acid", "sulfuric acid"),
        ("mohr's salt", "ammonium iron(II) sulfate hexahydrate"),
        ("Na2S2O3·5H2O", "sodium thiosulfate pentahydrate"),
        ("Na2S2O3", "sodium thiosulfate"),
        ("naoh", "sodium hydroxide"),
        ("C4H11NO3", "tris(hydroxymethyl)aminomethane"),
        ("C10H14N2Na2O8.2H2O", "disodium EDTA dihydrate"),
        ("I2", "iodine"),
        ("karl fischer reagent", "Karl Fischer reagent"),
    ] {
        assert_eq!(find(asked).name, name, "{asked}");
    }
}

#[test]
fn an_unknown_name_gets_candidates() {
    assert_eq!(
        message("potasium iodate"),
        "no substance `potasium iodate` in the catalogue; did you mean potassium iodate?"
    );
    assert!(message("permangante").contains("potassium permanganate"));
    assert_eq!(message("xyzzy"), "no substance `xyzzy` in the catalogue");
    assert_eq!(message(""), "no substance `` in the catalogue");
    assert_eq!(message("--"), "no substance `--` in the catalogue");
    assert!(message(&"a".repeat(10_000_000)).len() < 200);
    // Another hydrate is not silently taken for the one in the catalogue.
    assert!(message("Na2CO3.10H2O").starts_with("no substance `Na2CO3.10H2O`"));
}

#[test]
fn a_name_without_its_hydrate_is_sent_back() {
    assert_eq!(
        message("Oxalic acid"),
        "`Oxalic acid` does not say which hydrate is meant; write one of: anhydrous oxalic acid (H2C2O4); \
         oxalic acid dihydrate (H2C2O4.2H2O)"
    );
}

// Ratios n(standard):n(titrant) as tables of standards print them (from memory; each follows from the reaction too).
#[test]
fn ratios_are_those_of_the_trade() {
    for (titrant, standard, ratio) in [
        ("NaOH", "KHP", "1"),
        ("KOH", "benzoic acid", "1"),
        ("NaOH", "oxalic acid dihydrate", "2"),
        ("NaOH", "KH(IO3)2", "1"),
        ("NaOH", "HCl", "1"),
        ("NaOH", "H2SO4", "2"),
        ("HCl", "sodium carbonate", "2"),
        ("H2SO4", "sodium carbonate", "1"),
        ("HCl", "TRIS", "1"),
        ("H2SO4", "TRIS", "1/2"),
        ("HCl", "borax", "2"),
        ("HClO4", "KHP", "1"),
        ("KMnO4", "sodium oxalate", "2/5"),
        ("KMnO4", "oxalic acid dihydrate", "2/5"),
        ("KMnO4", "arsenic trioxide", "4/5"),
        ("Ce(SO4)2", "sodium oxalate", "2"),
        ("CAN", "arsenic trioxide", "4"),
        ("iodine", "arsenic trioxide", "2"),
        ("thiosulfate", "KIO3", "6"),
        ("thiosulfate", "KH(IO3)2", "12"),
        ("Na2S2O3.5H2O", "K2Cr2O7", "6"),
        ("thiosulfate", "KBrO3", "6"),
        ("thiosulfate", "iodine", "2"),
        ("Mohr's salt", "K2Cr2O7", "6"),
        ("AgNO3", "NaCl", "1"),
        ("AgNO3", "KCl", "1"),
        ("KSCN", "AgNO3", "1"),
        ("NH4SCN", "silver", "1"),
        ("EDTA", "CaCO3", "1"),
        ("EDTA", "zinc", "1"),
        ("KF reagent", "sodium tartrate dihydrate", "2"),
        ("KF reagent", "water", "1"),
    ] {
        let catalogue = Catalogue::embedded();
        let (titrant, standard) = (find(titrant), find(standard));
        let forward = catalogue.stoichiometry(titrant, standard).unwrap();
        assert_eq!(
            forward.ratio.to_string(),
            ratio,
            "{titrant} against {standard}"
        );
        assert_eq!(
            catalogue.stoichiometry(standard, titrant).unwrap().ratio,
            forward.ratio.inverse()
        );
    }
}

#[test]
fn no_reaction_names_the_partners() {
    let error = Catalogue::embedded()
        .stoichiometry(find("zinc"), find("NaOH"))
        .unwrap_err()
        .to_string();
    assert_eq!(
        error,
        "no reaction between zinc and sodium hydroxide in the catalogue; zinc reacts there with disodium EDTA dihydrate"
    );
}

#[test]
fn broken_data_are_refused() {
    let substance = |name: &str, rest: &str| {
        format!(
            "[[substance]]\nname='{name}'\nsynonyms=[]\nformula='NaCl'\nkinds=['titrant']\n{rest}\n"
        )
    };
    let read = |text: &str| {
        Catalogue::from_toml(&[text])
            .map(|_| ())
            .map_err(|e| e.to_string())
    };
    assert_eq!(read(&substance("salt", "")), Ok(()));
    let refused = |text: &str, part: &str| {
        let error = read(text).unwrap_err();
        assert!(error.contains(part), "{error}");
    };
    refused(
        &(substance("salt", "") + &substance("Salt", "")),
        "belongs to another substance",
    );
    refused(
        &(substance("salt", "") + &substance("brine", "")),
        "has the same formula as",
    );
    refused(
        &substance("salt", "dissolves=['NaCl -> Na+ + 2 Cl-']"),
        "chlorine (Cl) 1 left, 2 right",
    );
    refused(
        &substance("salt", "dissolves=['KCl -> K+ + Cl-']"),
        "is no reactant",
    );
    refused(
        &substance("salt", "relatives=[{name='r', formula='ClNa'}]"),
        "a relative has the same formula",
    );
    refused(
        &substance("salt", "density={value=-1.0, half_width=1.0, mark='M'}"),
        "density",
    );
    refused(
        &substance("salt", "drying={text='t', mark='V'}"),
        "needs its source",
    );
    refused(&substance("salt", "colour='white'"), "unknown field");
    refused(
        &substance("salt", "unclear=['salt']"),
        "unclear name and as a clear one",
    );
    let titration = "[[titration]]\nstandards=['salt']\ntitrants=['silver nitrate']\nstandard_acts_as='Cl-'\n\
                     titrant_acts_as='Ag+'\nreaction='Ag+ + Cl- -> AgCl'\nend_point=''\n";
    refused(
        &(substance("salt", "dissolves=['NaCl -> Na+ + Cl-']") + titration),
        "no substance has the name `silver nitrate`",
    );
    refused(
        &(substance("salt", "") + &titration.replace("silver nitrate", "salt")),
        "does not take part",
    );
}

proptest! {
    #[test]
    fn any_query_is_answered(query in any::<String>()) {
        let _ = Catalogue::embedded().find(&query);
    }
}
