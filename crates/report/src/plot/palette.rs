//! The colours of a drawing by their role; one accent, where the eye should go.

/// Colours by role, each as a colour of SVG.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Palette {
    /// The ground.
    pub paper: &'static str,
    /// Text and curves.
    pub ink: &'static str,
    /// Secondary text, axes.
    pub quiet: &'static str,
    /// Rules and grids.
    pub hairline: &'static str,
    /// Empty surfaces.
    pub glass: &'static str,
    /// Filled surfaces.
    pub liquid: &'static str,
    /// The accent, from the palest to the one that carries text.
    pub pink: [&'static str; 4],
}

impl Palette {
    /// For a light ground. The secondary text has a contrast of 5.5 to 1 on it (WCAG 2.1 asks for 4.5).
    pub const LIGHT: Self = Self {
        paper: "#fcfdfd",
        ink: "#22303a",
        quiet: "#5a6b75",
        hairline: "#d9e1e5",
        glass: "#eef3f5",
        liquid: "#cfe2e6",
        pink: ["#fbe7ee", "#f4bfd1", "#e88fb0", "#b23a6b"],
    };

    /// The colours of the page that a picture stands in, so that it follows the theme; those of a light ground elsewhere.
    pub const PAGE: Self = Self {
        paper: "var(--paper, #fcfdfd)",
        ink: "var(--ink, #22303a)",
        quiet: "var(--quiet, #5a6b75)",
        hairline: "var(--hairline, #d9e1e5)",
        glass: "var(--glass, #eef3f5)",
        liquid: "var(--bar, #9dbccb)",
        pink: [
            "var(--pink1, #fbe7ee)",
            "var(--pink2, #f4bfd1)",
            "var(--pink3, #e88fb0)",
            "var(--pink4, #b23a6b)",
        ],
    };
}

#[cfg(test)]
mod tests {
    use super::Palette;

    /// Relative luminance and contrast as WCAG 2.1 defines them.
    fn contrast(one: &str, other: &str) -> f64 {
        let luminance = |hex: &str| {
            let channel = |at: usize| {
                let v = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
                if v <= 0.03928 {
                    v / 12.92
                } else {
                    ((v + 0.055) / 1.055).powf(2.4)
                }
            };
            0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
        };
        let (a, b) = (luminance(one), luminance(other));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn text_stands_out_from_the_paper() {
        let p = Palette::LIGHT;
        for text in [p.ink, p.quiet, p.pink[3]] {
            assert!(contrast(text, p.paper) >= 4.5, "{text}");
        }
    }
}
