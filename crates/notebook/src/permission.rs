//! Who may do what: a table, as data in `reference/record/permissions.toml`.

use crate::payload::{Payload, Role};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;

const FILE: &str = include_str!("../../../reference/record/permissions.toml");

static SHIPPED: LazyLock<Permissions> = LazyLock::new(|| match Permissions::read(FILE) {
    Ok(table) => table,
    Err(error) => panic!("the embedded file reference/record/permissions.toml is broken: {error}"),
});

/// The permission table.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Permissions {
    /// Version of the table.
    pub version: String,
    /// Kinds that only the record itself writes.
    pub record_only: Vec<String>,
    /// Kinds that nobody does for his own work.
    pub second_person: Vec<String>,
    /// Kinds for which a person proves once more who it is.
    pub signed: Vec<String>,
    /// Roles by which a person touches only determinations that he opened.
    pub own_only: Vec<Role>,
    /// The people whom each role takes in, gives roles, or lets go, by their roles.
    pub people: BTreeMap<Role, Vec<Role>>,
    /// The roles that may do each kind.
    pub may: BTreeMap<String, Vec<Role>>,
}

impl Permissions {
    /// The table that the program ships.
    pub fn shipped() -> &'static Self {
        &SHIPPED
    }

    /// Reads a table; every kind of event must stand in it once.
    ///
    /// # Errors
    /// What is wrong, for the person who edits the file.
    pub fn read(text: &str) -> Result<Self, String> {
        let table: Self = toml::from_str(text).map_err(|e| e.message().to_string())?;
        for (kind, ..) in Payload::KINDS {
            let places = usize::from(table.record_only.iter().any(|k| k == kind))
                + usize::from(table.may.contains_key(*kind));
            if places != 1 {
                return Err(format!(
                    "\"{kind}\" must stand either under record_only or under [may]"
                ));
            }
        }
        let all = table
            .record_only
            .iter()
            .chain(&table.second_person)
            .chain(&table.signed)
            .chain(table.may.keys());
        for kind in all {
            if !Payload::KINDS.iter().any(|(known, ..)| known == kind) {
                return Err(format!("\"{kind}\" is no kind of event"));
            }
        }
        Ok(table)
    }

    /// True if one of the roles may do it.
    pub fn allows(&self, kind: &str, roles: &[Role]) -> bool {
        self.may
            .get(kind)
            .is_some_and(|may| roles.iter().any(|role| may.contains(role)))
    }

    /// The roles that may do it.
    pub fn roles_for(&self, kind: &str) -> &[Role] {
        self.may.get(kind).map_or(&[], Vec::as_slice)
    }

    /// True if one of the roles may do it to a determination that another person opened.
    pub fn allows_for_others(&self, kind: &str, roles: &[Role]) -> bool {
        let others = |role: &&Role| !self.own_only.contains(role);
        let others: Vec<Role> = roles.iter().filter(others).copied().collect();
        self.allows(kind, &others)
    }

    /// The roles that take in, give roles to, or let go a person of all these roles.
    pub fn roles_over(&self, people: &[Role]) -> Vec<Role> {
        self.people
            .iter()
            .filter(|(_, over)| people.iter().all(|role| over.contains(role)))
            .map(|(role, _)| *role)
            .collect()
    }

    /// True if only the record itself writes it.
    pub fn is_record_only(&self, kind: &str) -> bool {
        self.record_only.iter().any(|k| k == kind)
    }

    /// True if nobody may do it for his own work.
    pub fn needs_second_person(&self, kind: &str) -> bool {
        self.second_person.iter().any(|k| k == kind)
    }

    /// True if the person proves once more who it is.
    pub fn needs_signature(&self, kind: &str) -> bool {
        self.signed.iter().any(|k| k == kind)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_table_is_whole() {
        let table = Permissions::shipped();
        assert!(table.allows("reading-taken", &[Role::Student]));
        assert!(!table.allows("determination-approved", &[Role::Analyst, Role::Student]));
        assert!(!table.allows("signed-in", &Role::ALL));
        assert_eq!(
            table.roles_over(&[Role::Student]),
            [Role::Instructor, Role::Keeper]
        );
        assert_eq!(
            table.roles_over(&[Role::Student, Role::Reviewer]),
            [Role::Keeper]
        );
        assert!(!table.allows_for_others("reading-taken", &[Role::Student]));
        assert!(table.allows_for_others("reading-taken", &[Role::Student, Role::Analyst]));
    }

    #[test]
    fn a_table_with_a_gap_is_refused() {
        let gap = FILE.replace("lot-opened =", "# lot-opened =");
        assert!(Permissions::read(&gap).unwrap_err().contains("lot-opened"));
        let strange = FILE.replace("[may]", "[may]\nlot-drunk = []");
        assert!(
            Permissions::read(&strange)
                .unwrap_err()
                .contains("lot-drunk")
        );
    }
}
