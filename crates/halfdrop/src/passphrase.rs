//! `halfdrop record passphrase`: whoever can read the file may give a person a passphrase; so a record whose secrets are lost
//! or that was imported (secrets are in no export) has a way in.

use crate::failure::Failure;
use std::io::{BufRead, IsTerminal};
use store::{Secret, Store};

/// Who does it, in the record: not a person of it, but whoever keeps the machine.
const WHO: &str = "keeper of the machine";
/// Longest line that is read, in bytes.
const LONGEST: u64 = 4096;

/// Sets the passphrase of a person; gives the closing words.
///
/// # Errors
/// [`Failure::Record`], or what the terminal says.
pub(crate) async fn set(store: &Store, person: &str) -> Result<String, Failure> {
    let secret = read(person)?;
    let login = crate::serve::person(None).unwrap_or_else(|_| "unknown".into());
    store
        .set_secret(
            WHO,
            &format!("login {login}"),
            person,
            Secret::Passphrase,
            &secret,
        )
        .await?;
    Ok(format!(
        "{person} has a new passphrase; the record says that it was set here, not what it is.\n"
    ))
}

/// The passphrase: typed twice at a terminal, where it is not shown, or one line of standard input.
fn read(person: &str) -> Result<String, Failure> {
    let unread = |error: std::io::Error| {
        Failure::Passphrase(format!("the passphrase cannot be read: {error}"))
    };
    if std::io::stdin().is_terminal() {
        let asked = format!("New passphrase of {person}: ");
        let secret = rpassword::prompt_password(asked).map_err(unread)?;
        if secret != rpassword::prompt_password("Once more: ").map_err(unread)? {
            return Err(Failure::Passphrase("the two are not the same".into()));
        }
        return Ok(secret);
    }
    let mut line = String::new();
    std::io::Read::take(std::io::stdin().lock(), LONGEST)
        .read_line(&mut line)
        .map_err(unread)?;
    Ok(line.trim_end_matches(['\r', '\n']).to_string())
}

/// What to do with a shared record that nobody can enter yet; nothing for any other.
///
/// # Errors
/// [`Failure::Record`].
pub(crate) async fn way_in(store: &Store, place: &str) -> Result<String, Failure> {
    let shared = store.world(&[]).await?.record().is_some_and(|r| r.shared);
    if !shared || store.has_keeper().await? {
        return Ok(String::new());
    }
    Ok(format!(
        "This record is shared, and secrets are in no export: nobody can sign in yet. Give a keeper a passphrase:\n  \
         halfdrop record passphrase {place} NAME\nKeepers: {}. They set those of the others under People.\n",
        store.keepers().await?.join(", ")
    ))
}
