//! Formulas as text, with lowered indices: what stands behind an underscore is set smaller and below the line.

use crate::paper::{Paper, Type};

/// Size of an index, and how far it stands below the line, of the size of the text.
const SMALLER: f32 = 0.72;
const BELOW: f32 = 0.18;

/// The parts of a text: each with whether it is an index.
fn parts(text: &str) -> Vec<(bool, String)> {
    let mut parts = vec![(false, String::new())];
    let (mut before, mut depth) = (' ', 0_i32);
    for c in text.chars() {
        let index = parts.last().is_some_and(|(index, _)| *index);
        match c {
            '_' if !index && before.is_alphanumeric() || c == '_' && before == '\u{2032}' => {
                depth = 0;
                parts.push((true, String::new()));
            }
            _ => {
                depth += i32::from(c == '(') - i32::from(c == ')');
                // A parenthesis that was not opened within the index ends it, as a space and a sign do.
                let ends = c == ' ' || depth < 0 || matches!(c, '·' | '+' | '\u{2212}' | '/' | '=');
                if index && ends {
                    parts.push((false, String::new()));
                }
                if let Some((_, part)) = parts.last_mut() {
                    part.push(c);
                }
            }
        }
        before = c;
    }
    parts.retain(|(_, part)| !part.is_empty());
    parts
}

/// A line of a formula; gives its width.
pub(crate) fn line(paper: &mut Paper, (x, y): (f32, f32), set: Type, text: &str) -> f32 {
    let mut at = x;
    for (index, part) in parts(text) {
        let (set, base) = if index {
            let size = SMALLER * set.size;
            (Type { size, ..set }, y + BELOW * set.size)
        } else {
            (set, y)
        };
        at += paper.text((at, base), set, &part);
    }
    at - x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_index_ends_where_its_symbol_ends() {
        let said = |text: &str| -> String {
            parts(text)
                .into_iter()
                .map(|(index, part)| if index { format!("[{part}]") } else { part })
                .collect()
        };
        assert_eq!(said("V_end,1 − V_start,1"), "V[end,1] − V[start,1]");
        assert_eq!(
            said("(V + 0.91 · C_B(20))·f_t"),
            "(V + 0.91 · C[B(20)])·f[t]"
        );
        assert_eq!(said("V_V-232\u{a0}1 = 1"), "V[V-232\u{a0}1] = 1");
        assert_eq!(said("c′ = c_mean′"), "c′ = c[mean′]");
    }
}
