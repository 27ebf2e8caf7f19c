//! The units in which this crate builds its formulas.

use metrology::Unit;

fn unit(symbol: &str) -> Unit {
    match symbol.parse() {
        Ok(unit) => unit,
        Err(error) => panic!("{symbol} must be a unit: {error}"),
    }
}

pub(crate) fn ml() -> Unit {
    unit("mL")
}

pub(crate) fn g() -> Unit {
    unit("g")
}

pub(crate) fn kelvin() -> Unit {
    unit("K")
}

pub(crate) fn per_kelvin() -> Unit {
    unit("1/K")
}

pub(crate) fn deg_c() -> Unit {
    unit("degC")
}

pub(crate) fn kg_per_m3() -> Unit {
    unit("kg/m3")
}

#[cfg(test)]
mod tests {
    #[test]
    fn all_are_units() {
        super::ml();
        super::g();
        super::kelvin();
        super::per_kelvin();
        super::deg_c();
        super::kg_per_m3();
    }
}
