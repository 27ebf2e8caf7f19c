//! Ink, grey and one pink accent for a terminal; plain text everywhere else.
//!
//! Colour only helps: every mark and word stands without it, and no colour means good or bad.

use std::fmt::Display;

/// Whether text is coloured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Style {
    /// No escape sequences at all.
    #[default]
    Plain,
    /// For a terminal that shows colour.
    Coloured,
}

/// Grey that reads on a light and on a dark ground (256-colour palette).
const QUIET: &str = "\u{1b}[38;5;245m";
/// The pink of the end point.
const ACCENT: &str = "\u{1b}[38;5;168m";
const STRONG: &str = "\u{1b}[1m";
const STRONG_ACCENT: &str = "\u{1b}[1;38;5;168m";
const END: &str = "\u{1b}[0m";

impl Style {
    /// Secondary text.
    pub fn quiet(self, text: impl Display) -> String {
        self.wrap(QUIET, text)
    }

    /// Where the eye should go.
    pub fn accent(self, text: impl Display) -> String {
        self.wrap(ACCENT, text)
    }

    /// Headings.
    pub fn strong(self, text: impl Display) -> String {
        self.wrap(STRONG, text)
    }

    /// The one thing on the page that is read first.
    pub fn strong_accent(self, text: impl Display) -> String {
        self.wrap(STRONG_ACCENT, text)
    }

    fn wrap(self, start: &str, text: impl Display) -> String {
        let text = text.to_string();
        match self {
            Self::Coloured if !text.trim().is_empty() => format!("{start}{text}{END}"),
            _ => text,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Style;

    #[test]
    fn plain_text_carries_no_escape() {
        assert_eq!(Style::Plain.strong_accent("0.1008"), "0.1008");
        assert_eq!(Style::Coloured.quiet("  "), "  ");
        assert_eq!(Style::Coloured.strong("c"), "\u{1b}[1mc\u{1b}[0m");
    }
}
