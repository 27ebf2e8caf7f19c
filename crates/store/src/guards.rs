//! What guards the events: triggers that let no event be changed or deleted, and tables as they were laid out.
//!
//! On a file all of the layout is compared with that of a new record; on a server the trigger of the events.

use crate::error::StoreError;
use crate::place::{LITE, Place};
use sqlx::any::{AnyPoolOptions, install_default_drivers};
use sqlx::{AnyConnection, AnyPool};
use std::collections::BTreeMap;

/// Each part of a layout by its kind and name, with the words that make it.
type Layout = BTreeMap<(String, String), String>;

/// What is not as it should be, in words.
pub(crate) async fn gone(pool: &AnyPool, place: &Place) -> Result<Vec<String>, StoreError> {
    let mut db = pool.acquire().await?;
    if !place.is_file() {
        return server(&mut db).await;
    }
    let ours = layout(&mut db).await?;
    let mut found = Vec::new();
    let new = new_layout().await?;
    for ((kind, name), words) in &new {
        match ours.get(&(kind.clone(), name.clone())) {
            Some(same) if same == words => {}
            Some(_) => found.push(format!("the {kind} {name} was altered")),
            None => found.push(format!("the {kind} {name} is gone{}", meaning(name))),
        }
    }
    let more = ours.keys().filter(|key| !new.contains_key(*key));
    for (kind, name) in more.filter(|(kind, _)| kind == "trigger" || kind == "view") {
        found.push(format!("a {kind} {name} was put in, which no record has"));
    }
    Ok(found)
}

fn meaning(name: &str) -> &'static str {
    match name {
        "event_stays" => ", which lets no event be changed",
        "event_is_kept" => ", which lets no event be deleted",
        _ => "",
    }
}

/// The layout of a new record, made in memory.
pub(crate) async fn new_layout() -> Result<Layout, StoreError> {
    install_default_drivers();
    let one = AnyPoolOptions::new().max_connections(1);
    let new = one.connect("sqlite::memory:").await?;
    LITE.run(&new)
        .await
        .map_err(|error| StoreError::Damaged(error.to_string()))?;
    let layout = layout(&mut *new.acquire().await?).await;
    new.close().await;
    layout
}

async fn layout(db: &mut AnyConnection) -> Result<Layout, StoreError> {
    let rows: Vec<(String, String, String)> = sqlx::query_as(
        "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'",
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|(kind, name, words)| ((kind, name), words))
        .collect())
}

/// The trigger of the events on a server: there, switched on, and refusing.
async fn server(db: &mut AnyConnection) -> Result<Vec<String>, StoreError> {
    let trigger: Option<(String, String)> = sqlx::query_as(
        "SELECT CAST(t.tgenabled AS TEXT), p.prosrc FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid
         JOIN pg_namespace n ON n.oid = c.relnamespace JOIN pg_proc p ON p.oid = t.tgfoid
         WHERE n.nspname = current_schema() AND c.relname = 'event' AND t.tgname = 'event_stays'",
    )
    .fetch_optional(db)
    .await?;
    let found = match trigger {
        None => "is gone",
        Some((on, _)) if on != "O" && on != "A" => "is switched off",
        Some((_, does)) if !does.contains("BEGIN RAISE EXCEPTION") => "was altered",
        Some(_) => return Ok(Vec::new()),
    };
    Ok(vec![format!(
        "the trigger event_stays {found}, which lets no event be changed or deleted"
    )])
}
