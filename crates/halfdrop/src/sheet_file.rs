//! Reading the files of the bench: bounded, and every refusal says what was expected.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use titrimetry::sheet::MAX_LENGTH;

/// What is wrong with a file, told by the name that the person gave it.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum FileError {
    /// It is not there, or may not be read.
    #[error("{0}")]
    Unreadable(String),
    /// It is a folder.
    #[error("this is a folder; give the bench sheet itself, a TOML file")]
    Folder,
    /// It is far too long to be a sheet.
    #[error(
        "{} long; a bench sheet is a text file of at most {} MiB",
        length.map_or_else(|| "more than can be".to_string(), |bytes| format!("{} MiB", bytes / (1024 * 1024))),
        MAX_LENGTH / (1024 * 1024)
    )]
    TooLong {
        /// Its length in bytes, where that can be asked for.
        length: Option<u64>,
    },
    /// It holds bytes that no text has.
    #[error(
        "this is not a text file (byte {at} is zero); a bench sheet is a TOML text, `halfdrop sheet` writes one to \
         start from"
    )]
    Binary {
        /// Offset of the first zero byte, from 0.
        at: usize,
    },
    /// Its text is in another encoding.
    #[error("line {line}: the text is not UTF-8; save it as UTF-8 in the editor")]
    Encoding {
        /// Line of the first wrong byte, from 1.
        line: usize,
    },
}

/// The text of a file.
pub(crate) fn read_file(path: &Path) -> Result<String, FileError> {
    let metadata = std::fs::metadata(path).map_err(|error| unreadable(&error))?;
    if metadata.is_dir() {
        return Err(FileError::Folder);
    }
    if metadata.len() > MAX_LENGTH as u64 {
        return Err(FileError::TooLong {
            length: Some(metadata.len()),
        });
    }
    read_text(File::open(path).map_err(|error| unreadable(&error))?)
}

/// The text of a stream; never more than a sheet may have is read, whatever comes.
pub(crate) fn read_text(stream: impl Read) -> Result<String, FileError> {
    let mut bytes = Vec::new();
    stream
        .take(MAX_LENGTH as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| unreadable(&error))?;
    if bytes.len() > MAX_LENGTH {
        return Err(FileError::TooLong { length: None });
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(FileError::Encoding { line: 1 });
    }
    if let Some(at) = bytes.iter().position(|b| *b == 0) {
        return Err(FileError::Binary { at });
    }
    let text = String::from_utf8(bytes).map_err(|error| {
        let good = error.utf8_error().valid_up_to();
        let before = &error.as_bytes()[..good];
        FileError::Encoding {
            line: 1 + before.iter().filter(|b| **b == b'\n').count(),
        }
    })?;
    // Some editors put a byte order mark in front.
    Ok(text
        .strip_prefix('\u{feff}')
        .map_or_else(|| text.clone(), str::to_string))
}

fn unreadable(error: &io::Error) -> FileError {
    FileError::Unreadable(match error.kind() {
        io::ErrorKind::NotFound => "there is no such file".into(),
        io::ErrorKind::PermissionDenied => "the file may not be read (permission denied)".into(),
        _ => format!("the file cannot be read: {error}"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_endless_stream_is_given_up_in_time() {
        let error = read_text(io::repeat(b'#')).unwrap_err();
        assert!(error.to_string().contains("at most 4 MiB"), "{error}");
    }

    #[test]
    fn the_line_of_a_wrong_byte_is_told() {
        let error = read_text(&b"title = 'x'\nanalyst = 'M\xfcller'\n"[..]).unwrap_err();
        assert!(error.to_string().starts_with("line 2:"), "{error}");
    }

    #[test]
    fn a_byte_order_mark_is_no_matter() {
        assert_eq!(read_text("\u{feff}a = 1".as_bytes()).unwrap(), "a = 1");
        let utf16 = read_text(&b"\xff\xfea\0=\0"[..]).unwrap_err();
        assert!(utf16.to_string().contains("UTF-8"), "{utf16}");
    }
}
