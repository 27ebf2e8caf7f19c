//! Decoding an event: no text panics, and what is read is written again the same.
#![no_main]

use libfuzzer_sys::fuzz_target;
use notebook::{Event, Head};

fuzz_target!(|text: &str| {
    let _ = Head::read(text);
    if let Ok(event) = Event::read(text)
        && let Ok(body) = event.body()
    {
        assert_eq!(Event::read(&body).as_ref(), Ok(&event));
    }
});
