//! Determinations folded while many events pass by, so that each is kept once it takes no readings any more.

use crate::error::StoreError;
use crate::read;
use crate::rows::Rows;
use notebook::{Event, Kind, Node, World};
use sqlx::{AnyConnection, AnyPool, Row};

/// Determinations at hand at the most; those that come again later are folded anew.
const AT_HAND: usize = 2_000;

/// The determinations that are at hand.
#[derive(Default)]
pub(crate) struct Folding {
    world: World,
}

impl Folding {
    /// Follows the next event; those before it are in the table, or wait in the rows.
    pub(crate) async fn follow(
        &mut self,
        tx: &mut AnyConnection,
        rows: &mut Rows,
        event: &Event,
    ) -> Result<(), StoreError> {
        if event.stream.kind() != Kind::Determination {
            return Ok(());
        }
        if self.world.version(&event.stream) + 1 != event.stream_version {
            self.world.forget(&event.stream);
            rows.flush(tx).await?;
            for earlier in read::history(tx, &event.stream, 0).await? {
                if earlier.stream_version < event.stream_version {
                    self.world.apply(&earlier)?;
                }
            }
        }
        self.world.apply(event)?;
        rows.fold(&self.world, event);
        if self.world.nodes().len() > AT_HAND {
            self.forget_closed();
        }
        Ok(())
    }

    fn forget_closed(&mut self) {
        let closed = |node: &&Node| self.world.determination(node).is_none_or(|d| !d.is_open());
        let closed: Vec<Node> = self.world.nodes().filter(closed).cloned().collect();
        // All open at once: some must go nevertheless.
        let gone = match closed.is_empty() {
            true => self.world.nodes().take(AT_HAND / 2).cloned().collect(),
            false => closed,
        };
        for node in gone {
            self.world.forget(&node);
        }
    }
}

/// Folds that are compared at a time.
const AT_A_TIME: i64 = 500;
/// Most that are named.
const MOST_NAMED: usize = 20;

/// Determinations of which what is kept is not what their events give.
pub(crate) async fn stale(pool: &AnyPool) -> Result<Vec<String>, StoreError> {
    let mut db = pool.acquire().await?;
    let mut stale = Vec::new();
    let mut after = String::new();
    loop {
        let rows =
            sqlx::query("SELECT node, form, body FROM fold WHERE node > $1 ORDER BY node LIMIT $2")
                .bind(after.as_str())
                .bind(AT_A_TIME)
                .fetch_all(&mut *db)
                .await?;
        let mut kept = Vec::with_capacity(rows.len());
        for row in &rows {
            let (name, form, body): (&str, i64, &str) =
                (row.try_get(0)?, row.try_get(1)?, row.try_get(2)?);
            after = name.to_string();
            match name.parse::<Node>() {
                // Those of another form are not read.
                Ok(node) if form == World::FORM => kept.push((node, body.to_string())),
                Ok(_) => {}
                Err(_) => stale.push(name.to_string()),
            }
        }
        let mut world = World::default();
        for part in kept.chunks(read::TOGETHER) {
            let nodes: Vec<Node> = part.iter().map(|(node, _)| node.clone()).collect();
            read::load_together(&mut db, &mut world, &nodes).await?;
        }
        for (node, body) in &kept {
            if world.kept(node).as_ref() != Some(body) {
                stale.push(node.to_string());
            }
        }
        if rows.is_empty() || stale.len() >= MOST_NAMED {
            stale.truncate(MOST_NAMED);
            return Ok(stale);
        }
    }
}
