//! Finds the line of an entry in the sheet's text.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Line (from 1) of the entry with a path such as `run[2].final`, or of the nearest entry above it that is there.
pub(super) fn line_of(text: &str, path: &str) -> Option<usize> {
    let table = DeTable::parse(text).ok()?;
    let root = DeValue::Table(table.get_ref().clone());
    let mut at: &DeValue<'_> = &root;
    let mut offset = None;
    for part in path.split(['.', '[', ']']).filter(|part| !part.is_empty()) {
        let next: Option<&Spanned<DeValue<'_>>> = match at {
            DeValue::Table(table) => table.get(part),
            DeValue::Array(array) => {
                // Runs are counted from 1 in messages.
                part.parse::<usize>()
                    .ok()
                    .and_then(|n| n.checked_sub(1))
                    .and_then(|n| array.get(n))
            }
            _ => None,
        };
        let Some(next) = next else { break };
        offset = Some(next.span().start);
        at = next.get_ref();
    }
    let offset = offset?;
    Some(text.get(..offset)?.matches('\n').count() + 1)
}

#[cfg(test)]
mod tests {
    use super::line_of;

    #[test]
    fn entries_are_found_or_their_table_is() {
        let text = "title = \"a\"\n\n[[run]]\ninitial = \"0 mL\"\n[[run]]\ninitial = \"1 mL\"\nfinal = \"2 mL\"\n";
        assert_eq!(line_of(text, "run[2].final"), Some(7));
        assert_eq!(line_of(text, "run[1].final"), Some(3));
        assert_eq!(line_of(text, "known.purity"), None);
    }
}
