//! Lines that fit: folding of prose and of formulas, padding, and text from outside made safe to print.

/// Widest line of a report, in characters.
pub const WIDTH: usize = 100;

/// Characters of a text; every character of a report is one column wide.
pub(crate) fn width(text: &str) -> usize {
    text.chars().count()
}

/// Text from outside without characters that steer a terminal; its lines are kept.
pub fn without_control(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' => c,
            c if c.is_control() || is_invisible(c) => ' ',
            c => c,
        })
        .collect()
}

/// Text from outside on one line, without characters that steer a terminal.
pub(crate) fn clean(text: &str) -> String {
    without_control(text)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// Characters that reorder or hide text.
fn is_invisible(c: char) -> bool {
    matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}

/// The text cut to a width, with a mark if anything is left out.
pub(crate) fn cut(text: &str, at_most: usize) -> String {
    if width(text) <= at_most {
        return text.to_string();
    }
    let kept: String = text.chars().take(at_most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// Padded on the right.
pub(crate) fn left(text: &str, columns: usize) -> String {
    format!("{text}{}", " ".repeat(columns.saturating_sub(width(text))))
}

/// Padded on the left.
pub(crate) fn right(text: &str, columns: usize) -> String {
    format!("{}{text}", " ".repeat(columns.saturating_sub(width(text))))
}

/// Prose folded to a width; a word longer than a line is cut into pieces, a number stays with its unit.
pub(crate) fn fold(text: &str, columns: usize) -> Vec<String> {
    let text = clean(text);
    let mut pieces: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match pieces.last_mut() {
            Some(last) if stays_with(last, word) => {
                last.push(' ');
                last.push_str(word);
            }
            _ => pieces.push(word.to_string()),
        }
    }
    fold_at(pieces.iter().map(String::as_str), columns)
}

/// Whether a line should not end between two words: in "n = 3" or "0.0204 mL".
fn stays_with(before: &str, word: &str) -> bool {
    const JOINTS: [&str; 6] = ["=", "\u{b1}", "<", "\u{2264}", "\u{2192}", "\u{b7}"];
    const UNITS: [&str; 9] = ["%", "mL", "g", "mg", "mol/L", "K", "°C", "degC", "hPa"];
    let last = before.rsplit(' ').next().unwrap_or_default();
    let is_number = last.starts_with(|c: char| c.is_ascii_digit() || c == '\u{2212}');
    let unit = word.trim_end_matches(['.', ',', ';', ':', ')']);
    width(before) < 24
        && (JOINTS.contains(&word)
            || JOINTS.contains(&last)
            || (is_number && UNITS.contains(&unit)))
}

/// Prose behind a heading: the first line starts with `head`, the others are indented by its width.
pub(crate) fn hanging(head: &str, text: &str) -> Vec<String> {
    behind(head, |columns| fold(text, columns))
}

/// A formula behind a heading, folded under itself.
pub(crate) fn hanging_formula(head: &str, formula: &str) -> Vec<String> {
    behind(head, |columns| fold_formula(formula, columns))
}

/// Widest heading that leaves room beside it; a wider one gets a line of its own.
const HEAD: usize = 64;
/// Indent below a heading that stands alone.
const BELOW: usize = 8;

fn behind(head: &str, fold: impl Fn(usize) -> Vec<String>) -> Vec<String> {
    let alone = width(head) > HEAD;
    let indent = if alone { BELOW } else { width(head) };
    let mut lines = Vec::new();
    if alone {
        lines.push(cut(head.trim_end(), WIDTH));
    }
    for line in fold(WIDTH - indent) {
        if lines.is_empty() {
            lines.push(format!("{head}{line}"));
        } else {
            lines.push(format!("{}{line}", " ".repeat(indent)));
        }
    }
    lines
}

/// A formula folded before its operators, those outside the brackets first.
pub(crate) fn fold_formula(text: &str, columns: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut rest: Vec<char> = text.chars().collect();
    while rest.len() > columns.max(1) {
        let at = break_at(&rest, columns.max(1));
        let next = rest.split_off(at);
        lines.push(rest.iter().collect::<String>().trim_end().to_string());
        rest = next;
    }
    lines.push(rest.into_iter().collect());
    lines
}

/// Where a line that is too long ends: before an operator as far outside as can be, and as late as can be; but not so
/// early that a line stays almost empty.
fn break_at(line: &[char], columns: usize) -> usize {
    let mut depth = 0_usize;
    let mut best: Option<(usize, usize)> = None;
    for i in 0..columns {
        match line[i] {
            '(' => depth += 1,
            ')' => depth = depth.saturating_sub(1),
            _ => {}
        }
        let operator = matches!(line[i], '+' | '\u{2212}' | '·' | '/')
            && i > 0
            && line[i - 1] == ' '
            && line.get(i + 1) == Some(&' ');
        if operator && i >= columns / 4 && best.is_none_or(|(least, _)| depth <= least) {
            best = Some((depth, i));
        }
    }
    best.map_or(columns, |(_, at)| at)
}

fn fold_at<'a>(words: impl Iterator<Item = &'a str>, columns: usize) -> Vec<String> {
    let columns = columns.max(1);
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in words {
        if !line.is_empty() && width(&line) + 1 + width(word) > columns {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
        while width(&line) > columns {
            let rest: String = line.chars().skip(columns).collect();
            lines.push(line.chars().take(columns).collect());
            line = rest;
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_formula_breaks_before_its_operators() {
        let text = "1000 mL/L · 0.3888 g · 1.0000 / (204.2212 g/mol · 18.64 mL)";
        assert_eq!(
            fold_formula(text, 40),
            [
                "1000 mL/L · 0.3888 g · 1.0000",
                "/ (204.2212 g/mol · 18.64 mL)"
            ]
        );
        // A bracket is broken only if there is nothing else.
        assert_eq!(
            fold_formula("(1 \u{2212} a / b) / (1 \u{2212} a / c)", 17),
            ["(1 \u{2212} a / b)", "/ (1 \u{2212} a / c)"]
        );
        assert_eq!(fold_formula("abcdefgh", 5), ["abcde", "fgh"]);
    }

    #[test]
    fn a_number_stays_with_its_unit_and_an_equation_together() {
        assert_eq!(fold("scatter of 0.02 mL", 15), ["scatter of", "0.02 mL"]);
        assert_eq!(fold("it shows (n = 3).", 12), ["it shows", "(n = 3)."]);
    }

    #[test]
    fn escape_sequences_from_outside_are_disarmed() {
        assert_eq!(clean("a\u{1b}[31mb\n c\u{202e}d"), "a [31mb c d");
    }

    proptest! {
        #[test]
        fn nothing_is_wider_than_asked_and_nothing_is_lost(text in "[a-zé ]{0,300}", columns in 1..60_usize) {
            let lines = fold(&text, columns);
            for line in &lines {
                prop_assert!(width(line) <= columns);
            }
            let letters = |s: &str| s.chars().filter(|c| *c != ' ').collect::<String>();
            prop_assert_eq!(letters(&lines.concat()), letters(&text));
        }
    }
}
