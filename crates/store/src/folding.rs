//! Determinations folded while many events pass by, so that each is kept once it takes no readings any more.

use crate::error::StoreError;
use crate::read;
use crate::rows::Rows;
use notebook::{Event, Kind, Node, World};
use sqlx::AnyConnection;

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
