//! Densities of weighed substances stand in two data files, as volumetry and chemistry know nothing of each other.
//! They must not drift apart: `reference/physical/weighed-densities.toml`, `reference/substances/*.toml`.

use chemistry::substances::Catalogue;
use volumetry::buoyancy;

#[test]
fn both_files_state_the_same_density() {
    let mut compared = 0;
    for substance in Catalogue::embedded().substances() {
        let Some(density) = substance.density else {
            continue;
        };
        let formula = substance.formula.to_string();
        let mut names = substance.names().chain([formula.as_str()]);
        let Some(other) = names.find_map(|name| buoyancy::substance(name).ok()) else {
            continue;
        };
        assert!(
            (density.value - other.density).abs() < 1e-9 * other.density,
            "{substance}"
        );
        assert!(
            (density.half_width - other.half_width).abs() < 1e-9 * other.half_width,
            "{substance}"
        );
        compared += 1;
    }
    assert!(
        compared >= 7,
        "only {compared} substances stand in both files"
    );
}
