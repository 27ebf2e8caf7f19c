//! What every request needs: the record, and how this program is used.

use std::sync::Arc;
use store::{Store, StoreError};
use tokio::sync::watch;

/// The record with the way it is served. Nothing of a session is kept here, so any number of servers can stand before
/// one record.
#[derive(Clone)]
pub struct App {
    pub(crate) store: Store,
    /// The person who works here while nobody has to sign in.
    pub(crate) who: Arc<str>,
    ends: Arc<watch::Sender<bool>>,
}

impl App {
    /// The record, and the person who works at this machine while the record is not shared.
    pub fn new(store: Store, who: &str) -> Self {
        Self {
            store,
            who: who.into(),
            ends: Arc::new(watch::channel(false).0),
        }
    }

    /// Whether people sign in. Asked anew each time: another server may have shared the record a moment ago.
    pub(crate) async fn is_shared(&self) -> Result<bool, StoreError> {
        let world = self.store.world(&[]).await?;
        Ok(world.record().is_some_and(|record| record.shared))
    }

    /// Where the end of the program is told.
    pub(crate) fn ends(&self) -> Arc<watch::Sender<bool>> {
        Arc::clone(&self.ends)
    }

    /// Comes true when the program ends.
    pub(crate) fn ending(&self) -> watch::Receiver<bool> {
        self.ends.subscribe()
    }
}
