//! The decimal mark of a language on a page: numbers in running text get it, whatever wrote them.
//!
//! What is code, what is typed into a form, names that people gave (`translate="no"`), and what only looks like a number stays
//! as it is: versions (0.1.0), names of documents (10.1515/…), days and clocks.

use crate::text::spoken;

/// Elements whose text is not for reading as numbers.
const LITERAL: [&str; 5] = ["code", "pre", "script", "style", "textarea"];

/// The page with the decimal mark of the language that is spoken.
pub(crate) fn localized(page: String) -> String {
    match spoken().decimal.as_deref() {
        Some(mark) if mark != "." => with_mark(&page, mark),
        _ => page,
    }
}

/// A text without markup.
pub(crate) fn in_text(text: &str) -> String {
    match spoken().decimal.as_deref() {
        Some(mark) if mark != "." => marked(text, mark),
        _ => text.to_string(),
    }
}

fn with_mark(page: &str, mark: &str) -> String {
    let mut out = String::with_capacity(page.len() + 64);
    let mut rest = page;
    while let Some(at) = rest.find('<') {
        out.push_str(&marked(&rest[..at], mark));
        rest = &rest[at..];
        // A stroke cannot stand in a tag but in quotes, where markup is escaped.
        let tag = rest.find('>').map_or(rest.len(), |end| end + 1);
        let name = rest[1..tag]
            .split(|c: char| !c.is_ascii_alphanumeric())
            .next()
            .unwrap_or_default();
        let literal = LITERAL.contains(&name) || rest[..tag].contains(" translate=\"no\"");
        let end = if literal { closed(rest, name) } else { tag };
        out.push_str(&rest[..end]);
        rest = &rest[end..];
    }
    out.push_str(&marked(rest, mark));
    out
}

/// Where the element ends that the text begins with.
fn closed(text: &str, name: &str) -> usize {
    let (opening, closing) = (format!("<{name}"), format!("</{name}>"));
    let (mut at, mut depth) = (opening.len(), 1);
    while depth > 0 {
        let Some(end) = text[at..].find(&closing) else {
            return text.len();
        };
        depth += text[at..at + end].matches(&opening).count();
        depth -= 1;
        at += end + closing.len();
    }
    at
}

/// Points between digits become the mark where the number holds only one and no document's name goes on behind it.
fn marked(text: &str, mark: &str) -> String {
    if !text.contains('.') {
        return text.to_string();
    }
    let bytes = text.as_bytes();
    let of_number = |b: u8| b.is_ascii_digit() || b == b'.';
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    while at < bytes.len() {
        if !bytes[at].is_ascii_digit() {
            let end = text[at..]
                .find(|c: char| c.is_ascii_digit())
                .map_or(text.len(), |n| at + n);
            out.push_str(&text[at..end]);
            at = end;
            continue;
        }
        let mut end = at;
        while end < bytes.len() && of_number(bytes[end]) {
            end += 1;
        }
        // A point that ends a sentence is none of the number's.
        while bytes[end - 1] == b'.' {
            end -= 1;
        }
        let number = &text[at..end];
        let decimal = number.matches('.').count() == 1
            && bytes.get(end) != Some(&b'/')
            && (at == 0 || !matches!(bytes[at - 1], b'.' | b'/' | b'-' | b':' | b'_') || {
                // A minus sign of ASCII stands behind a blank or a parenthesis.
                bytes[at - 1] == b'-' && (at < 2 || matches!(bytes[at - 2], b' ' | b'('))
            });
        if decimal {
            out.push_str(&number.replace('.', mark));
        } else {
            out.push_str(number);
        }
        at = end;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_numbers_get_the_mark() {
        for (text, said) in [
            ("0.10061 ± 0.00012 mol/L", "0,10061 ± 0,00012 mol/L"),
            ("k = 1.97.", "k = 1,97."),
            ("−0.041, -0.5 and (0.2)", "−0,041, -0,5 and (0,2)"),
            ("halfdrop 0.1.0", "halfdrop 0.1.0"),
            ("doi:10.1515/pac-2019-0603", "doi:10.1515/pac-2019-0603"),
            ("2026-11-26 03:14", "2026-11-26 03:14"),
            ("1. Feb. 2027", "1. Feb. 2027"),
            ("§ 4.2 é 1.5×10⁻⁵", "§ 4,2 é 1,5×10⁻⁵"),
        ] {
            assert_eq!(marked(text, ","), said);
        }
        let names = "<a translate=\"no\"><a>V 1.5</a> 2.5</a> 3.5 <i translate=\"no\">4.5";
        let said = "<a translate=\"no\"><a>V 1.5</a> 2.5</a> 3,5 <i translate=\"no\">4.5";
        assert_eq!(with_mark(names, ","), said);
        let page = "<p data-u=\"0.5\">0.5 <code>0.5</code> <b>1.5</b></p><pre>2.5</pre>3.5";
        let said = "<p data-u=\"0.5\">0,5 <code>0.5</code> <b>1,5</b></p><pre>2.5</pre>3,5";
        assert_eq!(with_mark(page, ","), said);
    }
}
