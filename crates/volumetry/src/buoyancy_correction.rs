//! The air buoyancy of a weighing as a formula: density of the air, of what is weighed, and of the weights.

use metrology::{Distribution, Expr, Input, Origin, Quantity};

use crate::air::{self, Air};
use crate::buoyancy::{self, Substance};
use crate::conditions::rectangular_or_exact;
use crate::error::{VolumetryError, positive};
use crate::units;

/// The density of the air at the balance.
#[derive(Debug, Clone, PartialEq)]
pub struct AirDensity {
    /// Identity of the input: weighings in the same air share it.
    pub id: String,
    /// Density, kg/m3.
    pub value: f64,
    /// Standard uncertainty, kg/m3.
    pub standard_uncertainty: f64,
    /// Where it comes from.
    pub origin: Origin,
}

impl AirDensity {
    /// From readings of temperature, pressure and humidity with the half-widths (degC, Pa, fraction) within which the
    /// air at the balance had them; CIPM-2007.
    ///
    /// # Errors
    /// [`VolumetryError::OutsideRange`] as [`Air::density_cipm_2007`].
    pub fn measured(
        id: impl Into<String>,
        air: Air,
        half_widths: Air,
    ) -> Result<Self, VolumetryError> {
        Ok(Self {
            id: id.into(),
            value: air.density_cipm_2007()?,
            standard_uncertainty: standard_uncertainty(air, half_widths)?,
            origin: Origin::Reading(format!(
                "{} degC, {} hPa, {} % relative humidity; CIPM-2007",
                air.temperature_c,
                air.pressure_pa / 100.0,
                air.relative_humidity * 100.0
            )),
        })
    }

    /// Of an ordinary room of which nothing was read (common practice).
    ///
    /// # Errors
    /// Never with the data of this program; the formula is checked all the same.
    pub fn typical() -> Result<Self, VolumetryError> {
        let room = Air::typical();
        Ok(Self {
            origin: Origin::Assumption(
                "ordinary room below about 500 m, nothing read (common practice)".into(),
            ),
            ..Self::measured("air/density/typical", room, Air::typical_half_widths())?
        })
    }

    pub(crate) fn expr(&self) -> Expr {
        Expr::input(
            Input::new(
                &self.id,
                "ρ_A",
                Quantity::new(self.value, units::kg_per_m3()),
            )
            .described("density of the air")
            .distributed(Distribution::Normal {
                standard_uncertainty: self.standard_uncertainty,
            })
            .from_origin(self.origin.clone())
            .grouped("air buoyancy"),
        )
    }
}

/// First-order uncertainty of the density: slopes by central differences over a hundredth of each half-width.
fn standard_uncertainty(air: Air, half_widths: Air) -> Result<f64, VolumetryError> {
    let shifted = |t: f64, p: f64, h: f64| Air {
        temperature_c: air.temperature_c + t,
        pressure_pa: air.pressure_pa + p,
        relative_humidity: (air.relative_humidity + h).clamp(0.0, 1.0),
    };
    let part = |t: f64, p: f64, h: f64| -> Result<f64, VolumetryError> {
        let (up, down) = (shifted(t, p, h), shifted(-t, -p, -h));
        let difference = up.density_cipm_2007()? - down.density_cipm_2007()?;
        // The humidity is cut at its ends, which halves its difference there.
        let width = if h > 0.0 {
            (up.relative_humidity - down.relative_humidity) / h
        } else {
            2.0
        };
        Ok(difference / width * 100.0 / 3f64.sqrt())
    };
    let one = |half_width: f64| half_width / 100.0;
    let parts = [
        part(one(half_widths.temperature_c), 0.0, 0.0)?,
        part(0.0, one(half_widths.pressure_pa), 0.0)?,
        part(0.0, 0.0, one(half_widths.relative_humidity))?,
        air.density_cipm_2007()? * air::cipm_2007_relative_uncertainty(),
    ];
    Ok(parts.iter().map(|u| u * u).sum::<f64>().sqrt())
}

/// What is weighed, by its density.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Name.
    pub name: String,
    /// Density, kg/m3.
    pub density: f64,
    /// Half-width of the allowance for it, kg/m3.
    pub half_width: f64,
    /// Where it comes from.
    pub origin: Origin,
}

impl Body {
    /// A substance of the list, see [`buoyancy::substance`].
    ///
    /// # Errors
    /// [`VolumetryError::NotKnown`] with the known names.
    pub fn named(name: &str) -> Result<Self, VolumetryError> {
        Ok(Self::from(buoyancy::substance(name)?))
    }

    /// A substance of known density.
    ///
    /// # Errors
    /// [`VolumetryError::NotPositive`] for a density below that of any air (2 kg/m3).
    pub fn new(
        name: impl Into<String>,
        density: f64,
        half_width: f64,
        origin: Origin,
    ) -> Result<Self, VolumetryError> {
        positive("the density above that of air", density - 2.0)?;
        Ok(Self {
            name: name.into(),
            density,
            half_width,
            origin,
        })
    }

    fn expr(&self) -> Expr {
        Expr::input(
            Input::new(
                format!("density/{}", self.name),
                format!("ρ({})", self.name),
                Quantity::new(self.density, units::kg_per_m3()),
            )
            .described(format!("density of {}", self.name))
            .distributed(rectangular_or_exact(self.half_width))
            .from_origin(self.origin.clone())
            .grouped("air buoyancy"),
        )
    }
}

impl From<&Substance> for Body {
    fn from(substance: &Substance) -> Self {
        Self {
            name: substance.name.clone(),
            density: substance.density,
            half_width: substance.half_width,
            origin: Origin::Table(
                "usual handbook density, from memory; allowance by common practice".into(),
            ),
        }
    }
}

/// Density of the weights that adjusted the balance.
pub(crate) fn weights_expr() -> Expr {
    Expr::input(
        Input::new(
            "weights/density",
            "ρ_B",
            Quantity::new(buoyancy::weight_density(), units::kg_per_m3()),
        )
        .described("density of the weights that adjust the balance")
        .distributed(rectangular_or_exact(buoyancy::weight_density_half_width()))
        .from_origin(Origin::Table("conventional mass, OIML D 28".into()))
        .grouped("air buoyancy"),
    )
}

/// The factor from a balance reading to the mass of a body.
pub(crate) fn factor(air: &AirDensity, body: &Body) -> Expr {
    let one = || Expr::number(1.0);
    ((one() - air.expr() / weights_expr()) / (one() - air.expr() / body.expr()))
        .named(format!("f_b({})", body.name), "factor for air buoyancy")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn uncertainty_of_a_typical_room_is_three_per_cent() {
        let air = AirDensity::typical().unwrap();
        // Ideal gas: 5 K in 293 K is 1.7 %, 45 hPa in 985 hPa is 4.6 %, both rectangular: 2.8 % of 1.165 kg/m3; moist
        // air adds a little.
        assert!((1.15..1.18).contains(&air.value), "{air:?}");
        assert!(
            (0.028..0.040).contains(&(air.standard_uncertainty / air.value)),
            "{air:?}"
        );
    }

    #[test]
    fn saturated_air_has_a_humidity_slope_too() {
        let air = |h| Air {
            temperature_c: 20.0,
            pressure_pa: 1e5,
            relative_humidity: h,
        };
        let widths = Air {
            temperature_c: 0.0,
            pressure_pa: 0.0,
            relative_humidity: 0.3,
        };
        let inside = standard_uncertainty(air(0.5), widths).unwrap();
        let at_end = standard_uncertainty(air(1.0), widths).unwrap();
        assert!((at_end / inside - 1.0).abs() < 0.02, "{inside} {at_end}");
    }
}
