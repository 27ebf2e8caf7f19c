//! What a substance is made of: how many atoms of each element one formula unit holds.

use std::collections::BTreeMap;
use std::fmt;

use crate::elements::Element;

/// Atoms of each element in one formula unit.
///
/// The electron has the empty composition. Counts are whole and positive; an element that is absent has no entry.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Composition {
    counts: BTreeMap<Element, u64>,
}

/// Most atoms that one formula unit may hold; far below what a count in f64 resolves exactly (2^53).
pub const MOST_ATOMS: u64 = 1_000_000_000_000;

impl Composition {
    /// Atoms of this element, 0 if absent.
    pub fn count(&self, element: Element) -> u64 {
        self.counts.get(&element).copied().unwrap_or(0)
    }

    /// The elements present with their counts, by atomic number.
    pub fn iter(&self) -> impl Iterator<Item = (Element, u64)> + '_ {
        self.counts.iter().map(|(e, n)| (*e, *n))
    }

    /// The elements present, by atomic number.
    pub fn elements(&self) -> impl Iterator<Item = Element> + '_ {
        self.counts.keys().copied()
    }

    /// Whether there is no atom at all, as for the electron.
    pub fn is_empty(&self) -> bool {
        self.counts.is_empty()
    }

    /// All atoms of one formula unit.
    pub fn atoms(&self) -> u64 {
        self.counts.values().sum()
    }

    /// Protons of one formula unit.
    pub fn protons(&self) -> u64 {
        self.iter()
            .map(|(e, n)| u64::from(e.atomic_number()) * n)
            .sum()
    }

    /// Adds `times` the atoms of `other`; `None` if the sum passes [`MOST_ATOMS`].
    #[must_use]
    pub(crate) fn plus(mut self, other: &Self, times: u64) -> Option<Self> {
        for (element, count) in other.iter() {
            let entry = self.counts.entry(element).or_insert(0);
            *entry = count
                .checked_mul(times)
                .and_then(|n| entry.checked_add(n))
                .filter(|n| *n <= MOST_ATOMS)?;
        }
        Some(self)
    }

    /// One atom of one element.
    pub(crate) fn atom(element: Element) -> Self {
        Self {
            counts: BTreeMap::from([(element, 1)]),
        }
    }
}

impl fmt::Display for Composition {
    /// Order of Hill: carbon, hydrogen, then the rest by letter; without carbon all by letter.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let has_carbon = self.elements().any(|e| e.symbol() == "C");
        let mut entries: Vec<_> = self.iter().collect();
        entries.sort_by_key(|(e, _)| match e.symbol() {
            "C" => (0, "C"),
            "H" if has_carbon => (1, "H"),
            other => (2, other),
        });
        for (element, count) in entries {
            write!(f, "{element}")?;
            if count > 1 {
                write!(f, "{count}")?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use crate::formula::Formula;

    #[test]
    fn hill_order() {
        for (formula, hill) in [
            ("KHC8H4O4", "C8H5KO4"),
            ("NaOH", "HNaO"),
            ("Na2S2O3.5H2O", "H10Na2O8S2"),
            ("e-", ""),
        ] {
            assert_eq!(
                Formula::parse(formula).unwrap().composition().to_string(),
                hill
            );
        }
    }
}
