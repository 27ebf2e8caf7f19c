//! When a piece was used: in one run, or once for all runs.

use metrology::{Input, Scope};

/// An occasion on which a piece was filled or a thing was weighed.
///
/// Its id starts the ids of the inputs that belong to it alone, its label ends their symbols.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Occasion {
    /// Identity, unique within everything evaluated together, such as `standardization/run-1`.
    pub id: String,
    /// Short text for the symbols, such as `1`.
    pub label: String,
    /// Whether it belongs to one run.
    pub scope: Scope,
}

impl Occasion {
    /// A run; its label is what follows the last hyphen, slash or blank of the id.
    #[must_use]
    pub fn run(id: impl Into<String>) -> Self {
        let id = id.into();
        Self {
            label: last_part(&id),
            scope: Scope::Run(id.clone()),
            id,
        }
    }

    /// Something done once for all runs, such as making up a stock solution.
    #[must_use]
    pub fn once(id: impl Into<String>) -> Self {
        let id = id.into();
        Self {
            label: last_part(&id),
            scope: Scope::Shared,
            id,
        }
    }

    /// Chooses the label.
    #[must_use]
    pub fn labelled(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    /// Gives an input the scope of the occasion.
    pub(crate) fn owns(&self, mut input: Input) -> Input {
        input.scope = self.scope.clone();
        input
    }
}

fn last_part(id: &str) -> String {
    id.rsplit(['-', '/', ' '])
        .next()
        .unwrap_or_default()
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_label_is_the_last_part_of_the_id() {
        assert_eq!(Occasion::run("assay/run-3").label, "3");
        assert_eq!(Occasion::once("stock").label, "stock");
        assert_eq!(Occasion::run("run-1").labelled("a").label, "a");
    }
}
