//! Codes for a camera (ISO/IEC 18004), drawn as squares.

use crate::error::CertificateError;
use qrcode::{Color, EcLevel, QrCode};
use std::fmt::Write;

/// Light squares around a code that the standard asks for.
const QUIET: usize = 4;

/// A code with what it says.
#[derive(Clone, Debug)]
pub struct Code {
    said: String,
    width: usize,
    dark: Vec<bool>,
}

impl Code {
    /// The code of a text. A quarter of it may be spoiled (level Q), as on a bottle that drips.
    ///
    /// # Errors
    /// [`CertificateError::Code`] if the text is too long.
    pub fn of(text: &str) -> Result<Self, CertificateError> {
        let code = QrCode::with_error_correction_level(text, EcLevel::Q)
            .map_err(|_| CertificateError::Code(text.chars().take(60).collect()))?;
        Ok(Self {
            said: format!("code for a camera: {text}"),
            width: code.width(),
            dark: code
                .to_colors()
                .into_iter()
                .map(|c| c == Color::Dark)
                .collect(),
        })
    }

    pub(crate) fn said(&self) -> &str {
        &self.said
    }

    /// Squares along a side, the light ones around it among them.
    #[must_use]
    pub fn side(&self) -> usize {
        self.width + 2 * QUIET
    }

    /// The dark squares as the path of an SVG whose view is [`Code::side`] wide and high.
    #[must_use]
    pub fn path(&self) -> String {
        let mut path = String::new();
        for (x, y, length, height) in self.squares((QUIET as f32, QUIET as f32), self.width as f32)
        {
            let _ = write!(path, "M{x} {y}h{length}v{height}h-{length}z");
        }
        path
    }

    /// The dark squares of a code of this side; runs along a row are one rectangle, so that no seam shows in print.
    pub(crate) fn squares(&self, (x, y): (f32, f32), side: f32) -> Vec<(f32, f32, f32, f32)> {
        let module = side / self.width as f32;
        let mut squares = Vec::new();
        for (row, dark) in self.dark.chunks(self.width).enumerate() {
            let mut column = 0;
            while column < self.width {
                let length = dark[column..].iter().take_while(|d| **d).count();
                if length > 0 {
                    squares.push((
                        x + column as f32 * module,
                        y + row as f32 * module,
                        length as f32 * module,
                        module,
                    ));
                }
                column += length.max(1);
            }
        }
        squares
    }
}
