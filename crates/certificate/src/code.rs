//! Codes for a camera (ISO/IEC 18004), drawn as squares.

use crate::error::CertificateError;
use qrcode::{Color, EcLevel, QrCode};

/// A code with what it says.
pub(crate) struct Code {
    said: String,
    width: usize,
    dark: Vec<bool>,
}

impl Code {
    /// The code of a text. A quarter of it may be spoiled (level Q), as on a bottle that drips.
    pub(crate) fn of(text: &str) -> Result<Self, CertificateError> {
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
