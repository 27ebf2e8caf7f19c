//! The record as it stood when an event was written: by the events up to that one.

use crate::error::StoreError;
use crate::project::int;
use crate::read;
use crate::store::Store;
use notebook::{Node, World, graph};
use sqlx::{AnyConnection, Row};
use std::collections::BTreeSet;

impl Store {
    /// What was known of things once the event of this number was written, each with all that it rested on.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn world_as_of(&self, nodes: &[Node], number: u64) -> Result<World, StoreError> {
        let mut db = self.pool().acquire().await?;
        let mut world = World::default();
        let mut seen = BTreeSet::from([Node::record()]);
        seen.extend(nodes.iter().cloned());
        let mut front: Vec<Node> = seen.iter().cloned().collect();
        while let Some(node) = front.pop() {
            load(&mut db, &mut world, &node, number).await?;
            let below = graph::upstream(&world, &node).into_iter();
            front.extend(below.filter(|node| seen.insert(node.clone())));
        }
        Ok(world)
    }
}

async fn load(
    db: &mut AnyConnection,
    world: &mut World,
    node: &Node,
    last: u64,
) -> Result<(), StoreError> {
    let rows = sqlx::query(
        "SELECT number, body FROM event WHERE stream = $1 AND number <= $2 ORDER BY stream_version",
    )
    .bind(node.to_string())
    .bind(int(last))
    .fetch_all(db)
    .await?;
    for row in rows {
        let (number, body): (i64, &str) = (row.try_get(0)?, row.try_get(1)?);
        world.apply(&read::read(number, body)?)?;
    }
    world.nothing(node);
    Ok(())
}
