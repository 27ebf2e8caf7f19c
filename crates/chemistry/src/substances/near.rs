//! Names compared as people write them, and names that are nearly what was asked for.

use super::Substance;

/// Letters and digits in lower case, British spelling of sulfur compounds made one with IUPAC's.
pub(super) fn key(name: &str) -> String {
    // Longer than any name; bounds the work on a huge text.
    let letters = name.chars().take(200).filter(|c| c.is_alphanumeric());
    letters
        .flat_map(char::to_lowercase)
        .collect::<String>()
        .replace("sulph", "sulf")
}

/// Up to three substances whose names hold the key, or are within a few slips of the pen of it.
pub(super) fn names(substances: &[Substance], key: &str) -> Vec<String> {
    if key.chars().count() < 2 {
        return Vec::new();
    }
    let mut scored: Vec<(usize, &str)> = substances
        .iter()
        .filter_map(|s| {
            let formula = s.formula.to_string();
            let distance = s
                .names()
                .chain([formula.as_str()])
                .filter_map(|n| score(&self::key(n), key))
                .min()?;
            Some((distance, s.name.as_str()))
        })
        .collect();
    scored.sort();
    // Only those about as near as the nearest.
    let limit = scored.first().map_or(0, |(best, _)| best + 1);
    scored.retain(|(distance, _)| *distance <= limit);
    scored
        .into_iter()
        .take(3)
        .map(|(_, name)| name.to_owned())
        .collect()
}

/// Slips between two keys if they are few for their length; a key within the other counts as nearly right.
fn score(name: &str, key: &str) -> Option<usize> {
    let slips = slips(name, key);
    let few = key.chars().count().min(name.chars().count()) / 3;
    if slips <= few.max(1) {
        Some(slips)
    } else {
        (key.len() > 3 && name.len() > 3 && (name.contains(key) || key.contains(name)))
            .then_some(few.max(1) + 1)
    }
}

/// Letters to insert, delete or replace (Levenshtein distance).
fn slips(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(x != *y);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}
