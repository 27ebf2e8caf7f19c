//! The canonical form of JSON: one text for one value, so that a hash of it means the value.
//!
//! Source: RFC 8785 (JSON Canonicalization Scheme): members sorted by UTF-16 code units, no white space, the shortest
//! escapes, numbers as ECMAScript writes a double. Whatever was written by hand at the bench is a JSON *string*, so its
//! decimals stay; only computed figures are numbers.

use serde_json::{Number, Value};
use std::fmt::Write;

/// Largest whole number that a double holds without loss, 2^53.
const EXACT: u64 = 1 << 53;

/// The canonical text of a value.
pub fn canonical(value: &Value) -> String {
    let mut out = String::with_capacity(256);
    write_value(value, &mut out);
    out
}

fn write_value(value: &Value, out: &mut String) {
    match value {
        Value::Null => out.push_str("null"),
        Value::Bool(true) => out.push_str("true"),
        Value::Bool(false) => out.push_str("false"),
        Value::Number(number) => write_number(number, out),
        Value::String(text) => write_string(text, out),
        Value::Array(items) => {
            out.push('[');
            for (index, item) in items.iter().enumerate() {
                if index > 0 {
                    out.push(',');
                }
                write_value(item, out);
            }
            out.push(']');
        }
        Value::Object(members) => {
            let mut members: Vec<_> = members.iter().collect();
            members.sort_by(|(a, _), (b, _)| a.encode_utf16().cmp(b.encode_utf16()));
            out.push('{');
            for (index, (name, value)) in members.into_iter().enumerate() {
                if index > 0 {
                    out.push(',');
                }
                write_string(name, out);
                out.push(':');
                write_value(value, out);
            }
            out.push('}');
        }
    }
}

/// A string with the shortest escapes.
pub(crate) fn write_string(text: &str, out: &mut String) {
    out.push('"');
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\u{8}' => out.push_str("\\b"),
            '\t' => out.push_str("\\t"),
            '\n' => out.push_str("\\n"),
            '\u{c}' => out.push_str("\\f"),
            '\r' => out.push_str("\\r"),
            c if c < ' ' => {
                // Writing to a string does not fail.
                let _ = write!(out, "\\u{:04x}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
}

fn write_number(number: &Number, out: &mut String) {
    if let Some(n) = number.as_u64().filter(|n| *n <= EXACT) {
        let _ = write!(out, "{n}");
    } else if let Some(n) = number.as_i64().filter(|n| n.unsigned_abs() <= EXACT) {
        let _ = write!(out, "{n}");
    } else {
        write_double(number.as_f64().unwrap_or(0.0), out);
    }
}

/// A double as ECMAScript writes it (ECMA-262, Number::toString): the shortest digits that read back as the same double.
fn write_double(x: f64, out: &mut String) {
    if x == 0.0 {
        // Minus zero is written as zero.
        out.push('0');
        return;
    }
    let scientific = format!("{:e}", x.abs());
    let (mantissa, exponent) = scientific.split_once('e').unwrap_or((&scientific, "0"));
    let digits: String = mantissa.chars().filter(|c| *c != '.').collect();
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let count = i32::try_from(digits.len()).unwrap_or(i32::MAX);
    // Digits before the decimal point.
    let before = exponent + 1;
    if x < 0.0 {
        out.push('-');
    }
    let zeros = |n: i32| "0".repeat(usize::try_from(n).unwrap_or(0));
    if (count..=21).contains(&before) {
        out.push_str(&digits);
        out.push_str(&zeros(before - count));
    } else if (1..=21).contains(&before) {
        let (whole, rest) = digits.split_at(usize::try_from(before).unwrap_or(0));
        let _ = write!(out, "{whole}.{rest}");
    } else if (-5..=0).contains(&before) {
        let _ = write!(out, "0.{}{digits}", zeros(-before));
    } else {
        let (first, rest) = digits.split_at(1);
        out.push_str(first);
        if !rest.is_empty() {
            let _ = write!(out, ".{rest}");
        }
        let sign = if exponent < 0 { '-' } else { '+' };
        let _ = write!(out, "e{sign}{}", exponent.unsigned_abs());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> String {
        canonical(&serde_json::from_str(text).unwrap())
    }

    /// The sample of the scheme's reference repository (cyberphone/json-canonicalization, README): seen there.
    #[test]
    fn the_published_sample() {
        let sample = r#"{
            "numbers": [1E30,4.50,6,2e-3,0.000000000000000000000000001],
            "escaping": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
            "other":  [null, true, false]
        }"#;
        let expected = "{\"escaping\":\"\u{20ac}$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\",\"numbers\":[1e+30,4.5,6,0.002,1e-27],\"other\":[null,true,false]}";
        assert_eq!(of(sample), expected);
    }

    /// Doubles of RFC 8785, appendix B (bit patterns and texts from memory).
    #[test]
    fn doubles_as_ecmascript_writes_them() {
        for (bits, text) in [
            (0x0000_0000_0000_0000_u64, "0"),
            (0x8000_0000_0000_0000, "0"),
            (0x0000_0000_0000_0001, "5e-324"),
            (0x7fef_ffff_ffff_ffff, "1.7976931348623157e+308"),
            (0x4340_0000_0000_0000, "9007199254740992"),
            (0x4430_0000_0000_0000, "295147905179352830000"),
            (0x44b5_2d02_c7e1_4af5, "9.999999999999997e+22"),
            (0x44b5_2d02_c7e1_4af6, "1e+23"),
            (0x444b_1ae4_d6e2_ef4f, "999999999999999900000"),
            (0x444b_1ae4_d6e2_ef50, "1e+21"),
            (0x3eb0_c6f7_a0b5_ed8c, "9.999999999999997e-7"),
            (0x3eb0_c6f7_a0b5_ed8d, "0.000001"),
            (0x41b3_de43_5555_5553, "333333333.3333332"),
            (0xbecb_f647_612f_3696, "-0.0000033333333333333333"),
        ] {
            let mut out = String::new();
            write_double(f64::from_bits(bits), &mut out);
            assert_eq!(out, text, "{bits:016x}");
        }
    }

    #[test]
    fn members_are_sorted_by_utf16_units() {
        // U+1F600 is two surrogates (d83d..), which sort before U+FB33 (RFC 8785, 3.2.3).
        assert_eq!(
            of("{\"\u{fb33}\":1,\"\u{1f600}\":2,\"b\":3,\"a\":4}"),
            "{\"a\":4,\"b\":3,\"\u{1f600}\":2,\"\u{fb33}\":1}"
        );
    }

    #[test]
    fn written_decimals_stay() {
        assert_eq!(of(r#"{"v":"18.60 mL"}"#), r#"{"v":"18.60 mL"}"#);
    }
}
