//! Photographs: what kind they are, and the code of a label on one. Decoded here, so that a tablet needs neither a script
//! nor a secure connection for it.

use png::{ColorType, Transformations};
use rqrr::PreparedImage;
use std::io::Cursor;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// Most pixels of a photograph that is decoded; a telephone makes 12 to 50 million.
const MAX_PIXELS: usize = 52_000_000;
/// Widths at which a code is looked for: a sharp picture of a small code first, then coarser ones, in which blur and
/// noise are averaged away.
const WIDTHS: [usize; 4] = [1600, 1000, 640, 400];

/// What a file is, by its first bytes; what it is called does not matter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Media {
    Jpeg,
    Png,
}

impl Media {
    pub(crate) fn of(bytes: &[u8]) -> Option<Self> {
        if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
            Some(Self::Jpeg)
        } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            Some(Self::Png)
        } else {
            None
        }
    }

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
        }
    }
}

/// Why a picture shows nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum PictureError {
    /// Neither JPEG nor PNG, or broken.
    #[error("this is no JPEG or PNG picture that can be read")]
    NoPicture,
    /// Too many pixels.
    #[error("this picture has too many pixels")]
    TooLarge,
}

/// A picture in shades of grey.
struct Grey {
    width: usize,
    height: usize,
    pixels: Vec<u8>,
}

impl Grey {
    fn of(bytes: &[u8]) -> Result<Self, PictureError> {
        match Media::of(bytes).ok_or(PictureError::NoPicture)? {
            Media::Jpeg => jpeg(bytes),
            Media::Png => png(bytes),
        }
    }

    /// Averaged down to about a width; a picture that is narrower stays.
    fn narrowed(&self, wanted: usize) -> Self {
        let step = (self.width / wanted).max(1);
        let (width, height) = (self.width / step, self.height / step);
        let mut pixels = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let mut sum = 0_usize;
                for row in 0..step {
                    let from = (y * step + row) * self.width + x * step;
                    sum += self.pixels[from..from + step]
                        .iter()
                        .map(|p| usize::from(*p))
                        .sum::<usize>();
                }
                pixels.push(u8::try_from(sum / (step * step)).unwrap_or(u8::MAX));
            }
        }
        Self {
            width,
            height,
            pixels,
        }
    }
}

fn jpeg(bytes: &[u8]) -> Result<Grey, PictureError> {
    let no = |_| PictureError::NoPicture;
    let options = DecoderOptions::default()
        .jpeg_set_out_colorspace(ColorSpace::Luma)
        .set_max_width(1 << 15)
        .set_max_height(1 << 15);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(no)?;
    let (width, height) = decoder.dimensions().ok_or(PictureError::NoPicture)?;
    within(width, height)?;
    let pixels = decoder.decode().map_err(no)?;
    sized(width, height, pixels)
}

fn png(bytes: &[u8]) -> Result<Grey, PictureError> {
    let no = |_| PictureError::NoPicture;
    let mut decoder = png::Decoder::new(Cursor::new(bytes));
    decoder.set_transformations(Transformations::EXPAND | Transformations::STRIP_16);
    let mut reader = decoder.read_info().map_err(no)?;
    let (width, height) = (reader.info().width as usize, reader.info().height as usize);
    within(width, height)?;
    let size = reader.output_buffer_size().ok_or(PictureError::TooLarge)?;
    let mut buffer = vec![0; size];
    let frame = reader.next_frame(&mut buffer).map_err(no)?;
    let samples = frame.color_type.samples();
    let grey = |p: &[u8]| -> u8 {
        // Seen against white paper.
        let over = |value: u8, alpha: u8| {
            let (value, alpha) = (u32::from(value), u32::from(alpha));
            (value * alpha + 255 * (255 - alpha)) / 255
        };
        let luma = match (frame.color_type, p) {
            (ColorType::GrayscaleAlpha, [v, a]) => over(*v, *a),
            (ColorType::Rgb, [r, g, b]) => {
                (u32::from(*r) * 299 + u32::from(*g) * 587 + u32::from(*b) * 114) / 1000
            }
            (ColorType::Rgba, [r, g, b, a]) => {
                (over(*r, *a) * 299 + over(*g, *a) * 587 + over(*b, *a) * 114) / 1000
            }
            (_, [v, ..]) => u32::from(*v),
            (_, []) => 255,
        };
        u8::try_from(luma).unwrap_or(u8::MAX)
    };
    let pixels = buffer[..frame.buffer_size()]
        .chunks_exact(samples)
        .map(grey)
        .collect();
    sized(width, height, pixels)
}

fn within(width: usize, height: usize) -> Result<(), PictureError> {
    match width.checked_mul(height) {
        Some(0) => Err(PictureError::NoPicture),
        Some(pixels) if pixels <= MAX_PIXELS => Ok(()),
        _ => Err(PictureError::TooLarge),
    }
}

fn sized(width: usize, height: usize, pixels: Vec<u8>) -> Result<Grey, PictureError> {
    if pixels.len() == width * height {
        Ok(Grey {
            width,
            height,
            pixels,
        })
    } else {
        Err(PictureError::NoPicture)
    }
}

/// The first code on a photograph; none if there is none that can be read.
///
/// # Errors
/// [`PictureError`] if it is no picture.
pub(crate) fn code(bytes: &[u8]) -> Result<Option<String>, PictureError> {
    let grey = Grey::of(bytes)?;
    let mut widths: Vec<usize> = WIDTHS.to_vec();
    widths.retain(|width| *width < grey.width);
    if grey.width <= WIDTHS[0] {
        widths.insert(0, grey.width);
    }
    for width in widths {
        let narrowed = grey.narrowed(width);
        let mut image =
            PreparedImage::prepare_from_greyscale(narrowed.width, narrowed.height, |x, y| {
                narrowed.pixels[y * narrowed.width + x]
            });
        for grid in image.detect_grids() {
            if let Ok((_, text)) = grid.decode() {
                return Ok(Some(text));
            }
        }
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_picture_is_refused() {
        assert_eq!(code(b"GIF89a").unwrap_err(), PictureError::NoPicture);
        assert_eq!(code(b"").unwrap_err(), PictureError::NoPicture);
        // The first bytes alone make no picture.
        assert_eq!(
            code(&[0xff, 0xd8, 0xff, 0xe0, 0, 16]).unwrap_err(),
            PictureError::NoPicture
        );
        assert_eq!(
            code(b"\x89PNG\r\n\x1a\n").unwrap_err(),
            PictureError::NoPicture
        );
    }

    #[test]
    fn a_picture_that_claims_to_be_huge_is_not_decoded() {
        // IHDR of 60000 x 60000 pixels, grey, 8 bits; its check sum by the PNG standard's CRC-32.
        let mut bytes = b"\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR".to_vec();
        bytes.extend_from_slice(&60_000_u32.to_be_bytes());
        bytes.extend_from_slice(&60_000_u32.to_be_bytes());
        bytes.extend_from_slice(&[8, 0, 0, 0, 0]);
        let crc = crc32(&bytes[12..]);
        bytes.extend_from_slice(&crc.to_be_bytes());
        bytes.extend_from_slice(b"\x00\x00\x00\x00IDAT\x35\xaf\x06\x1e");
        assert_eq!(code(&bytes).unwrap_err(), PictureError::TooLarge);
    }

    fn crc32(bytes: &[u8]) -> u32 {
        let mut crc = u32::MAX;
        for byte in bytes {
            crc ^= u32::from(*byte);
            for _ in 0..8 {
                crc = if crc & 1 == 1 {
                    (crc >> 1) ^ 0xedb8_8320
                } else {
                    crc >> 1
                };
            }
        }
        !crc
    }
}
