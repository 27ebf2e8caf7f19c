//! Density of the air in which one weighs.
//!
//! Sources: CIPM-2007: Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149-155. Simplified: OIML R 111-1:2004,
//! annex E. Constants and marks in `reference/physical/air-density.toml`.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::error::{VolumetryError, in_range};

#[derive(Deserialize)]
struct Data {
    cipm_2007: Cipm2007,
    simplified: Simplified,
    typical_room: TypicalRoom,
}

#[derive(Deserialize)]
struct Cipm2007 {
    source: String,
    molar_term: f64,
    carbon_dioxide_term: f64,
    carbon_dioxide_reference: f64,
    vapour_factor: f64,
    saturation: [f64; 4],
    enhancement: [f64; 3],
    compressibility_a: [f64; 3],
    compressibility_b: [f64; 2],
    compressibility_c: [f64; 2],
    compressibility_d: f64,
    compressibility_e: f64,
    relative_uncertainty: f64,
    recommended_temperature_c: [f64; 2],
    recommended_pressure_pa: [f64; 2],
}

#[derive(Clone, Copy, Deserialize)]
struct Simplified {
    k1: f64,
    k2: f64,
    k3: f64,
    relative_uncertainty: f64,
}

#[derive(Deserialize)]
struct TypicalRoom {
    temperature_c: [f64; 2],
    pressure_pa: [f64; 2],
    relative_humidity: [f64; 2],
}

static DATA: LazyLock<Data> = LazyLock::new(|| {
    crate::embedded::parse(
        "physical/air-density.toml",
        include_str!("../../../reference/physical/air-density.toml"),
    )
});

/// Temperature range in which the formulas are evaluated, degC: wider than recommended, see
/// [`Air::is_in_recommended_range`].
const TEMPERATURE_C: [f64; 2] = [0.0, 40.0];
/// Pressure range in which the formulas are evaluated, Pa.
const PRESSURE_PA: [f64; 2] = [50_000.0, 110_000.0];

/// State of the air at the balance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Temperature, degC.
    pub temperature_c: f64,
    /// Pressure at the place (not reduced to sea level), Pa.
    pub pressure_pa: f64,
    /// Relative humidity, 0 to 1.
    pub relative_humidity: f64,
}

impl Air {
    /// The air of an ordinary room of which nothing was read (common practice); see [`Air::typical_half_widths`].
    #[must_use]
    pub fn typical() -> Self {
        let room = &DATA.typical_room;
        Self {
            temperature_c: room.temperature_c[0],
            pressure_pa: room.pressure_pa[0],
            relative_humidity: room.relative_humidity[0],
        }
    }

    /// Half-widths that go with [`Air::typical`]: degC, Pa, relative humidity.
    #[must_use]
    pub fn typical_half_widths() -> Self {
        let room = &DATA.typical_room;
        Self {
            temperature_c: room.temperature_c[1],
            pressure_pa: room.pressure_pa[1],
            relative_humidity: room.relative_humidity[1],
        }
    }

    fn check(&self, formula: &'static str) -> Result<(), VolumetryError> {
        in_range(
            "the air temperature",
            self.temperature_c,
            "degC",
            formula,
            TEMPERATURE_C,
        )?;
        in_range(
            "the air pressure",
            self.pressure_pa,
            "Pa",
            formula,
            PRESSURE_PA,
        )?;
        in_range(
            "the relative humidity",
            self.relative_humidity,
            "(as a fraction)",
            formula,
            [0.0, 1.0],
        )
    }

    /// Whether the authors of CIPM-2007 recommend the equation for this state (15 to 27 degC, 600 to 1100 hPa).
    #[must_use]
    pub fn is_in_recommended_range(&self) -> bool {
        let [t_min, t_max] = DATA.cipm_2007.recommended_temperature_c;
        let [p_min, p_max] = DATA.cipm_2007.recommended_pressure_pa;
        (t_min..=t_max).contains(&self.temperature_c) && (p_min..=p_max).contains(&self.pressure_pa)
    }

    /// Density by the full CIPM-2007 equation, kg/m3, for 400 µmol/mol of carbon dioxide.
    ///
    /// # Errors
    /// [`VolumetryError::OutsideRange`] outside 0 to 40 degC, 500 to 1100 hPa, or a humidity not between 0 and 1.
    pub fn density_cipm_2007(&self) -> Result<f64, VolumetryError> {
        self.density_cipm_2007_with_carbon_dioxide(DATA.cipm_2007.carbon_dioxide_reference)
    }

    /// Density by the full CIPM-2007 equation for an amount fraction of carbon dioxide, kg/m3.
    ///
    /// # Errors
    /// As [`Air::density_cipm_2007`]; the amount fraction must lie between 0 and 0.01.
    pub fn density_cipm_2007_with_carbon_dioxide(
        &self,
        amount_fraction: f64,
    ) -> Result<f64, VolumetryError> {
        self.check("CIPM-2007")?;
        in_range(
            "the amount fraction of carbon dioxide",
            amount_fraction,
            "mol/mol",
            "CIPM-2007",
            [0.0, 0.01],
        )?;
        let k = &DATA.cipm_2007;
        let (t, p) = (self.temperature_c, self.pressure_pa);
        let kelvin = t + 273.15;
        let [a, b, c, d] = k.saturation;
        let saturation_pressure = (a * kelvin * kelvin + b * kelvin + c + d / kelvin).exp();
        let [alpha, beta, gamma] = k.enhancement;
        let enhancement = alpha + beta * p + gamma * t * t;
        let vapour = self.relative_humidity * enhancement * saturation_pressure / p;
        let ([a0, a1, a2], [b0, b1], [c0, c1]) = (
            k.compressibility_a,
            k.compressibility_b,
            k.compressibility_c,
        );
        let ratio = p / kelvin;
        let compressibility = 1.0
            - ratio
                * (a0
                    + a1 * t
                    + a2 * t * t
                    + (b0 + b1 * t) * vapour
                    + (c0 + c1 * t) * vapour * vapour)
            + ratio * ratio * (k.compressibility_d + k.compressibility_e * vapour * vapour);
        let molar =
            k.molar_term + k.carbon_dioxide_term * (amount_fraction - k.carbon_dioxide_reference);
        Ok(molar * 1e-3 * ratio / compressibility * (1.0 - k.vapour_factor * vapour))
    }

    /// Density by the simplified formula of OIML R 111, kg/m3: within about 2e-4 of CIPM-2007 in an ordinary room.
    ///
    /// # Formula
    /// rho = (0.34848 p - 0.009 h exp(0.061 t)) / (273.15 + t), p in hPa, h in per cent, t in degC.
    ///
    /// # Errors
    /// As [`Air::density_cipm_2007`].
    pub fn density_simplified(&self) -> Result<f64, VolumetryError> {
        self.check("the simplified air density formula")?;
        let k = DATA.simplified;
        let t = self.temperature_c;
        Ok((k.k1 * self.pressure_pa / 100.0
            - k.k2 * self.relative_humidity * 100.0 * (k.k3 * t).exp())
            / (273.15 + t))
    }
}

/// Relative standard uncertainty of CIPM-2007 itself, without that of the readings.
#[must_use]
pub fn cipm_2007_relative_uncertainty() -> f64 {
    DATA.cipm_2007.relative_uncertainty
}

/// Relative standard uncertainty of the simplified formula, without that of the readings (from memory).
#[must_use]
pub fn simplified_relative_uncertainty() -> f64 {
    DATA.simplified.relative_uncertainty
}

/// The publication of CIPM-2007.
#[must_use]
pub fn source() -> &'static str {
    &DATA.cipm_2007.source
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROOM: Air = Air {
        temperature_c: 20.0,
        pressure_pa: 101_325.0,
        relative_humidity: 0.5,
    };

    #[test]
    fn more_carbon_dioxide_is_denser_and_moist_air_lighter() {
        let rho = ROOM.density_cipm_2007().unwrap();
        assert!(
            ROOM.density_cipm_2007_with_carbon_dioxide(0.0008).unwrap() > rho,
            "carbon dioxide is heavier than air"
        );
        let moist = Air {
            relative_humidity: 0.9,
            ..ROOM
        };
        assert!(moist.density_cipm_2007().unwrap() < rho);
    }

    #[test]
    fn refuses_a_humidity_in_per_cent() {
        let air = Air {
            relative_humidity: 50.0,
            ..ROOM
        };
        assert!(air.density_cipm_2007().is_err() && air.density_simplified().is_err());
    }

    #[test]
    fn knows_the_recommended_range() {
        assert!(ROOM.is_in_recommended_range());
        let cold = Air {
            temperature_c: 10.0,
            ..ROOM
        };
        assert!(!cold.is_in_recommended_range() && cold.density_cipm_2007().is_ok());
    }
}
