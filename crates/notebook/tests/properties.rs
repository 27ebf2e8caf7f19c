//! What holds for any input; the fuzz targets in `fuzz/` ask the same for longer.
#![allow(clippy::unwrap_used)]

mod common;

use notebook::{Event, Head, canonical};
use proptest::prelude::*;
use serde_json::Value;
use std::sync::LazyLock;

static BODIES: LazyLock<Vec<String>> = LazyLock::new(|| {
    common::demo(1)
        .bodies()
        .iter()
        .map(|(body, _)| body.clone())
        .collect()
});

fn json() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<f64>()
            .prop_filter("finite", |x| x.is_finite())
            .prop_map(Value::from),
        ".{0,12}".prop_map(Value::from),
    ];
    leaf.prop_recursive(4, 40, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
            prop::collection::hash_map(".{0,8}", inner, 0..6)
                .prop_map(|map| Value::Object(map.into_iter().collect())),
        ]
    })
}

proptest! {
    #[test]
    fn no_text_makes_an_event_panic(text in ".{0,200}") {
        let _ = Event::read(&text);
        let _ = Head::read(&text);
    }

    /// A body with one byte changed is refused or read; what is read is written and read again the same.
    #[test]
    fn a_changed_byte_makes_nothing_panic(at in any::<prop::sample::Index>(), byte in any::<prop::sample::Index>(), to in any::<u8>()) {
        let body = &BODIES[at.index(BODIES.len())];
        let mut bytes = body.clone().into_bytes();
        let place = byte.index(bytes.len());
        prop_assume!(bytes[place] != to);
        bytes[place] = to;
        if let Ok(text) = String::from_utf8(bytes)
            && let Ok(event) = Event::read(&text)
        {
            let again = event.body().unwrap();
            prop_assert_eq!(Event::read(&again).unwrap(), event);
        }
    }

    #[test]
    fn the_canonical_form_is_one_and_means_the_same(value in json()) {
        let text = canonical(&value);
        let back: Value = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(canonical(&back), text);
    }
}
