//! The fonts, the widths of their glyphs, and where a line is broken.
//!
//! Every character is set by its own glyph, without kerning or joining: enough for Latin, Greek and Cyrillic text and for
//! numbers. A character that the fonts lack is drawn as U+FFFD; the attached data keeps it.

use crate::error::CertificateError;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::GlyphMetrics;
use skrifa::{FontRef, MetadataProvider};

/// A typeface of the document.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Face {
    /// Running text.
    Text,
    /// What the eye should find.
    Strong,
    /// The large number.
    Light,
    /// Hashes.
    Mono,
}

struct Cut {
    font: Font,
    outlines: FontRef<'static>,
    metrics: GlyphMetrics<'static>,
}

/// The fonts, read.
pub(crate) struct Typefaces {
    cuts: [Cut; 4],
}

impl Typefaces {
    pub(crate) fn read() -> Result<Self, CertificateError> {
        Ok(Self {
            cuts: [
                cut("DejaVu Sans Condensed", dejavu::sans_condensed::regular())?,
                cut("DejaVu Sans Condensed Bold", dejavu::sans_condensed::bold())?,
                cut("DejaVu Sans ExtraLight", dejavu::sans::extra_light())?,
                cut("DejaVu Sans Mono", dejavu::sans_mono::regular())?,
            ],
        })
    }

    fn cut(&self, face: Face) -> &Cut {
        &self.cuts[match face {
            Face::Text => 0,
            Face::Strong => 1,
            Face::Light => 2,
            Face::Mono => 3,
        }]
    }

    pub(crate) fn font(&self, face: Face) -> Font {
        self.cut(face).font.clone()
    }

    /// The text as this face can draw it: one line, every character with a glyph.
    pub(crate) fn drawable(&self, face: Face, text: &str) -> String {
        let cut = self.cut(face);
        let private = |c: char| matches!(u32::from(c), 0xE000..=0xF8FF | 0xF_0000..=0x10_FFFF);
        text.chars()
            .map(|c| match c {
                c if c.is_whitespace() && c != '\u{a0}' => ' ',
                '\u{feff}' | '\u{fffe}' => '\u{fffd}',
                c if c.is_control() || private(c) => '\u{fffd}',
                c if cut.outlines.charmap().map(c).is_none() => '\u{fffd}',
                c => c,
            })
            .filter(|c| *c != '\u{fffd}' || cut.outlines.charmap().map('\u{fffd}').is_some())
            .collect()
    }

    /// The glyphs of a drawable text.
    pub(crate) fn glyphs(&self, face: Face, text: &str) -> Vec<KrillaGlyph> {
        let cut = self.cut(face);
        text.char_indices()
            .filter_map(|(at, c)| {
                let glyph = cut.outlines.charmap().map(c)?;
                let advance = cut.metrics.advance_width(glyph).unwrap_or(0.0);
                let range = at..at + c.len_utf8();
                Some(KrillaGlyph::new(
                    GlyphId::new(glyph.to_u32()),
                    advance,
                    0.0,
                    0.0,
                    0.0,
                    range,
                    None,
                ))
            })
            .collect()
    }

    /// Width of a text in points.
    pub(crate) fn width(&self, face: Face, size: f32, text: &str) -> f32 {
        let cut = self.cut(face);
        let em: f32 = text
            .chars()
            .filter_map(|c| cut.metrics.advance_width(cut.outlines.charmap().map(c)?))
            .sum();
        em * size
    }

    /// The text in lines no wider than this; it is broken at spaces, not at no-break spaces. A word that is wider by itself is broken where the line ends.
    pub(crate) fn lines(&self, face: Face, size: f32, width: f32, text: &str) -> Vec<String> {
        let mut lines = Vec::new();
        let mut line = String::new();
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            let spaced = if line.is_empty() {
                word.to_string()
            } else {
                format!("{line} {word}")
            };
            if self.width(face, size, &spaced) <= width {
                line = spaced;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for c in word.chars() {
                line.push(c);
                if self.width(face, size, &line) > width && line.chars().count() > 1 {
                    line.pop();
                    lines.push(std::mem::replace(&mut line, c.to_string()));
                }
            }
        }
        if !line.is_empty() {
            lines.push(line);
        }
        lines
    }

    /// The text cut to a width, with an ellipsis if something is lost.
    pub(crate) fn cut_to(&self, face: Face, size: f32, width: f32, text: &str) -> String {
        if self.width(face, size, text) <= width {
            return text.to_string();
        }
        let mut kept: String = text.to_string();
        while kept.pop().is_some() {
            let shown = format!("{}…", kept.trim_end());
            if self.width(face, size, &shown) <= width {
                return shown;
            }
        }
        "…".into()
    }
}

fn cut(name: &'static str, bytes: &'static [u8]) -> Result<Cut, CertificateError> {
    let font = Font::new(bytes.into(), 0).ok_or(CertificateError::Font(name))?;
    let outlines = FontRef::new(bytes).map_err(|_| CertificateError::Font(name))?;
    // Widths in parts of the em, as the glyphs of the document want them.
    let metrics = outlines.glyph_metrics(Size::new(1.0), LocationRef::default());
    Ok(Cut {
        font,
        outlines,
        metrics,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// DejaVu Sans Condensed: 2048 units per em, a digit is 1174 wide (read from its hmtx table with ttx).
    #[test]
    fn widths_are_those_of_the_font() {
        let faces = Typefaces::read().unwrap();
        let width = faces.width(Face::Text, 10.0, "0");
        assert!((width - 10.0 * 1174.0 / 2048.0).abs() < 0.02, "{width}");
        let all: Vec<f32> = ('0'..='9')
            .map(|c| faces.width(Face::Text, 10.0, &c.to_string()))
            .collect();
        assert!(
            all.iter().all(|w| (w - width).abs() < 1e-4),
            "figures are tabular: {all:?}"
        );
    }

    #[test]
    fn lines_lose_no_word_and_keep_their_width() {
        let faces = Typefaces::read().unwrap();
        let text = "potassium hydrogen phthalate, dried, and aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa";
        let lines = faces.lines(Face::Text, 9.0, 90.0, text);
        assert!(lines.len() > 3);
        assert!(
            lines
                .iter()
                .all(|l| faces.width(Face::Text, 9.0, l) <= 90.0)
        );
        let squeezed: String = text.split_whitespace().collect();
        assert_eq!(lines.concat().replace(' ', ""), squeezed);
    }

    #[test]
    fn what_no_font_has_is_seen_to_be_missing() {
        let faces = Typefaces::read().unwrap();
        assert_eq!(
            faces.drawable(Face::Text, "a\u{7}\u{e000}β½"),
            "a\u{fffd}\u{fffd}β½"
        );
        assert!(
            faces
                .drawable(Face::Text, "漢")
                .chars()
                .all(|c| c == '\u{fffd}')
        );
    }
}
