//! A shared record keeps somebody who can let others in.

use crate::error::StoreError;
use crate::secrets::keeps;
use notebook::payload::{Payload, Role};
use notebook::{Command, Kind, Node, Refusal, World};
use sqlx::AnyConnection;

/// The names that have a passphrase.
pub(crate) async fn with_passphrase(db: &mut AnyConnection) -> Result<Vec<String>, StoreError> {
    let names = sqlx::query_scalar(
        "SELECT person FROM secret WHERE which = 'passphrase' AND hash <> '' ORDER BY person",
    )
    .fetch_all(db)
    .await?;
    Ok(names)
}

/// Refuses what would leave a shared record without a keeper who has a passphrase. Secrets are no events, so this is
/// asked by who writes, and not decided from what is known of the record.
///
/// # Errors
/// [`Refusal::NoKeeper`], or what the database says.
pub(crate) async fn remain(
    tx: &mut AnyConnection,
    world: &mut World,
    command: &Command,
) -> Result<(), StoreError> {
    let shared = world.record().is_some_and(|record| record.shared);
    let goes = match &command.payload {
        Payload::RecordShared(_) => None,
        Payload::PersonLeft(_) if shared => Some(&command.on),
        Payload::RolesChanged(p) if shared && !p.roles.contains(&Role::Keeper) => Some(&command.on),
        _ => return Ok(()),
    };
    if goes.is_some_and(|node| !keeps(world, node)) {
        return Ok(());
    }
    for name in with_passphrase(tx).await? {
        let Ok(node) = Node::new(Kind::Person, &name) else {
            continue;
        };
        if !world.knows(&node) {
            crate::read::load(tx, world, &node).await?;
        }
        if goes != Some(&node) && keeps(world, &node) {
            return Ok(());
        }
    }
    Err(Refusal::NoKeeper.into())
}
