//! What stands in the cells of a CSV table (RFC 4180), safe to be opened in a spreadsheet.

/// Words as a cell: made harmless, and in quotes where they need them.
pub fn field(words: &str) -> String {
    quoted(&harmless(words))
}

/// Words that a spreadsheet takes for words: what begins with a sign of a formula gets an apostrophe before it.
pub fn harmless(words: &str) -> String {
    let formula = words.starts_with([
        '=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}',
    ]);
    // A reading such as "-0.02" is a number and does no harm.
    if formula && words.parse::<f64>().is_err() {
        format!("'{words}")
    } else {
        words.to_string()
    }
}

fn quoted(words: &str) -> String {
    if words.contains([',', '"', '\r', '\n']) || words != words.trim() {
        format!("\"{}\"", words.replace('"', "\"\""))
    } else {
        words.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_formula_is_no_formula() {
        for (words, safe) in [
            ("=1+1", "'=1+1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),
            ("-2+3", "'-2+3"),
            ("\tx", "'\tx"),
            ("-0.02", "-0.02"),
            ("24.60 mL", "24.60 mL"),
            ("", ""),
        ] {
            assert_eq!(harmless(words), safe);
        }
    }
}
