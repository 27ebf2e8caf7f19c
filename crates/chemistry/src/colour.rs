//! Colours of indicator forms and of their mixtures, as values a screen can paint.
//!
//! A colour stands for what a flask of usual depth lets through. Mixtures follow the law of Beer and Lambert: optical densities
//! of the forms add in proportion to their shares, in linear light (IEC 61966-2-1 for the sRGB transfer function).

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

/// An sRGB colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colour {
    /// Red, 0-255.
    pub red: u8,
    /// Green, 0-255.
    pub green: u8,
    /// Blue, 0-255.
    pub blue: u8,
}

impl Colour {
    /// Clear water.
    pub const CLEAR: Self = Self {
        red: 255,
        green: 255,
        blue: 255,
    };

    /// The value of a colour name of reference/indicators/colours.toml.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        NAMED.get(name).copied()
    }

    /// Reads `#rrggbb`.
    #[must_use]
    pub fn from_hex(text: &str) -> Option<Self> {
        let digits = text
            .strip_prefix('#')
            .filter(|digits| digits.len() == 6 && digits.is_ascii())?;
        let channel = |at: usize| u8::from_str_radix(&digits[at..at + 2], 16).ok();
        Some(Self {
            red: channel(0)?,
            green: channel(2)?,
            blue: channel(4)?,
        })
    }

    /// Written as `#rrggbb`.
    #[must_use]
    pub fn hex(&self) -> String {
        format!("#{:02x}{:02x}{:02x}", self.red, self.green, self.blue)
    }

    /// Optical density of each channel.
    fn densities(self) -> [f64; 3] {
        [self.red, self.green, self.blue].map(|value| -to_linear(value).max(DARKEST).log10())
    }

    /// Colour of a mixture of forms with their shares; `depth` is the amount of indicator relative to the usual one.
    #[must_use]
    pub fn mixed(forms: &[(Self, f64)], depth: f64) -> Self {
        let mut density = [0.0; 3];
        for (colour, share) in forms {
            for (sum, part) in density.iter_mut().zip(colour.densities()) {
                *sum += share * part * depth;
            }
        }
        let [red, green, blue] = density.map(|d| from_linear(10f64.powf(-d)));
        Self { red, green, blue }
    }
}

/// Linear light below which a channel counts as black: half a step of 8 bits, so that a density stays finite.
const DARKEST: f64 = 0.5 / 255.0 / 12.92;

fn to_linear(value: u8) -> f64 {
    let v = f64::from(value) / 255.0;
    if v <= 0.04045 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to 0-255"
)]
fn from_linear(light: f64) -> u8 {
    let v = if light <= 0.003_130_8 {
        12.92 * light
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    };
    (255.0 * v).round().clamp(0.0, 255.0) as u8
}

#[derive(Debug, Deserialize)]
struct ColourFile {
    colour: BTreeMap<String, String>,
}

#[expect(
    clippy::expect_used,
    reason = "embedded data; a test reads it, so a broken file never ships"
)]
static NAMED: LazyLock<BTreeMap<String, Colour>> = LazyLock::new(|| {
    let file: ColourFile =
        toml::from_str(include_str!("../../../reference/indicators/colours.toml"))
            .expect("reference/indicators/colours.toml");
    let value =
        |hex: &str| Colour::from_hex(hex).expect("a colour of reference/indicators/colours.toml");
    file.colour
        .iter()
        .map(|(name, hex)| (name.clone(), value(hex)))
        .collect()
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pure_forms_keep_their_colour_and_water_dilutes() {
        let pink = Colour::named("pink").unwrap();
        assert_eq!(Colour::mixed(&[(pink, 1.0)], 1.0), pink);
        let faint = Colour::mixed(&[(Colour::CLEAR, 0.9), (pink, 0.1)], 1.0);
        assert!(
            faint.green > pink.green && faint.green < 255 && faint.red >= pink.red,
            "{faint:?}"
        );
        assert_eq!(Colour::mixed(&[(pink, 1.0)], 0.0), Colour::CLEAR);
        assert_eq!(Colour::from_hex(&pink.hex()), Some(pink));
        assert_eq!(Colour::from_hex("pink"), None);
    }

    /// Half yellow, half blue: light that neither takes away is green.
    #[test]
    fn yellow_and_blue_make_green() {
        let mix = Colour::mixed(
            &[
                (Colour::named("yellow").unwrap(), 0.5),
                (Colour::named("blue").unwrap(), 0.5),
            ],
            1.0,
        );
        assert!(mix.green > mix.red && mix.green > mix.blue, "{mix:?}");
    }
}
