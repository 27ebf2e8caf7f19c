//! A bench sheet: no text panics, neither when it is read nor when it is evaluated.
#![no_main]

use libfuzzer_sys::fuzz_target;
use titrimetry::{Sheet, evaluation::evaluate};

fuzz_target!(|text: &str| {
    if let Ok(sheet) = Sheet::read(text) {
        let _ = evaluate(&sheet, None);
    }
});
