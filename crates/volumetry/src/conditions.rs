//! The liquid in the glass and its temperature.

use metrology::{Distribution, Expr, Input, Origin, Quantity};

use crate::error::{VolumetryError, in_range, positive};
use crate::glass::{Glass, reference_temperature_c};
use crate::units;
use crate::water;

/// The temperature of the liquid when its volume was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct LiquidTemperature {
    /// Identity of the input: runs that share a temperature share its error.
    pub id: String,
    /// Temperature, degC.
    pub value_c: f64,
    /// What is known about it, K.
    pub distribution: Distribution,
    /// Where it comes from.
    pub origin: Origin,
}

impl LiquidTemperature {
    /// A temperature that was read, with the half-width within which the liquid had it, K.
    ///
    /// # Errors
    /// [`VolumetryError::OutsideRange`] outside 0 to 40 degC; [`VolumetryError::NotPositive`] for a half-width that is
    /// not positive.
    pub fn read(
        id: impl Into<String>,
        value_c: f64,
        half_width_k: f64,
    ) -> Result<Self, VolumetryError> {
        water::density(value_c)?;
        positive("the half-width of the temperature", half_width_k)?;
        Ok(Self {
            id: id.into(),
            value_c,
            distribution: Distribution::Rectangular {
                half_width: half_width_k,
            },
            origin: Origin::Reading("temperature of the liquid".into()),
        })
    }

    /// A temperature that nobody read: 20 degC within the half-width, K, in which the room is known to stay.
    ///
    /// # Errors
    /// As [`LiquidTemperature::read`].
    pub fn assumed(id: impl Into<String>, half_width_k: f64) -> Result<Self, VolumetryError> {
        Ok(Self {
            origin: Origin::Assumption(format!(
                "not read; the room is kept at {} degC within {half_width_k} K",
                reference_temperature_c()
            )),
            ..Self::read(id, reference_temperature_c(), half_width_k)?
        })
    }

    pub(crate) fn expr(&self) -> Expr {
        Expr::input(
            Input::new(&self.id, "t", Quantity::new(self.value_c, units::deg_c()))
                .described("temperature of the liquid")
                .distributed(self.distribution)
                .from_origin(self.origin.clone())
                .grouped("temperature"),
        )
    }
}

/// A liquid by its thermal expansion.
#[derive(Debug, Clone, PartialEq)]
pub struct Liquid {
    /// Name, such as "dilute aqueous solution".
    pub name: String,
    /// Mean cubic expansion coefficient between 20 degC and the temperature of use, 1/K.
    pub expansion_per_k: f64,
    /// Half-width of the allowance for it, 1/K.
    pub half_width_per_k: f64,
    /// Where it comes from.
    pub source: String,
}

impl Liquid {
    /// An aqueous solution of about 0.1 mol/L or less, used at `t_c`: it expands as water does, within 5 %.
    ///
    /// # Errors
    /// [`VolumetryError::OutsideRange`] outside 0 to 40 degC.
    pub fn dilute_aqueous(t_c: f64) -> Result<Self, VolumetryError> {
        let expansion_per_k = water::mean_expansion_from_20_c(t_c)?;
        Ok(Self {
            name: format!("dilute aqueous solution at {t_c} degC"),
            expansion_per_k,
            half_width_per_k: expansion_per_k.abs() * water::dilute_solution_relative_half_width(),
            source: format!(
                "water, {}; allowance of 5 % for what is dissolved (common practice)",
                water::source()
            ),
        })
    }

    /// Another liquid, such as acetic acid with 0.0011/K.
    ///
    /// # Errors
    /// [`VolumetryError::OutsideRange`] for a coefficient beyond any liquid's (0.003/K either way) or a negative
    /// half-width.
    pub fn new(
        name: impl Into<String>,
        expansion_per_k: f64,
        half_width_per_k: f64,
        source: impl Into<String>,
    ) -> Result<Self, VolumetryError> {
        let what = "the cubic expansion coefficient of the liquid";
        in_range(
            what,
            expansion_per_k,
            "1/K",
            "the correction",
            [-0.003, 0.003],
        )?;
        in_range(
            "the half-width of the expansion coefficient",
            half_width_per_k,
            "1/K",
            "the correction",
            [0.0, 0.003],
        )?;
        Ok(Self {
            name: name.into(),
            expansion_per_k,
            half_width_per_k,
            source: source.into(),
        })
    }

    /// The expansion coefficient as a formula input, shared by all uses of the liquid.
    #[must_use]
    pub fn expansion(&self) -> Expr {
        Expr::input(
            Input::new(
                format!("liquid/{}/expansion", self.name),
                "β",
                Quantity::new(self.expansion_per_k, units::per_kelvin()),
            )
            .described(format!("cubic expansion coefficient of {}", self.name))
            .distributed(rectangular_or_exact(self.half_width_per_k))
            .from_origin(Origin::Table(self.source.clone()))
            .grouped("temperature"),
        )
    }
}

/// Expansion of a glass as an input; all pieces of one glass share it.
pub(crate) fn glass_expansion(glass: &Glass) -> Expr {
    Expr::input(
        Input::new(
            format!("glass/{}/expansion", glass.name),
            "γ",
            Quantity::new(glass.cubic_expansion_per_k, units::per_kelvin()),
        )
        .described(format!("cubic expansion coefficient of {}", glass.name))
        .distributed(rectangular_or_exact(glass.half_width_per_k))
        .from_origin(Origin::Table(glass.source.clone()))
        .grouped("temperature"),
    )
}

/// The difference of a temperature to 20 degC.
pub(crate) fn above_20_c(temperature: &LiquidTemperature) -> Expr {
    temperature.expr() - Expr::constant(Quantity::new(reference_temperature_c(), units::deg_c()))
}

/// The factor from a volume in `glass` at temperature to the volume that the liquid has at 20 degC:
/// 1 + (gamma - beta) (t - 20 degC). A piece without glass (a piston pipette) has beta alone.
pub(crate) fn factor_to_20_c(
    glass: Option<&Glass>,
    liquid: &Liquid,
    temperature: &LiquidTemperature,
) -> Expr {
    let dt = above_20_c(temperature);
    let factor = match glass {
        Some(glass) => Expr::number(1.0) + (glass_expansion(glass) - liquid.expansion()) * dt,
        None => Expr::number(1.0) - liquid.expansion() * dt,
    };
    factor.named("f_t", "factor to 20 degC")
}

/// An allowance of zero is no uncertainty.
pub(crate) fn rectangular_or_exact(half_width: f64) -> Distribution {
    if half_width > 0.0 {
        Distribution::Rectangular { half_width }
    } else {
        Distribution::Exact
    }
}
