//! What every request needs: the record, and how this program is used.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use store::{Store, StoreError};
use tokio::sync::{OnceCell, watch};

/// Opens the demo at an address of its own, which it gives; or says why it cannot.
pub type Demo =
    Arc<dyn Fn() -> Pin<Box<dyn Future<Output = Result<String, String>> + Send>> + Send + Sync>;

/// The record with the way it is served. Nothing of a session is kept here, so any number of servers can stand before
/// one record.
#[derive(Clone)]
pub struct App {
    pub(crate) store: Store,
    /// The person who works here while nobody has to sign in.
    pub(crate) who: Arc<str>,
    ends: Arc<watch::Sender<bool>>,
    demo: Option<Demo>,
    is_demo: bool,
    demo_at: Arc<OnceCell<String>>,
}

impl App {
    /// The record, and the person who works at this machine while the record is not shared.
    pub fn new(store: Store, who: &str) -> Self {
        Self {
            store,
            who: who.into(),
            ends: Arc::new(watch::channel(false).0),
            demo: None,
            is_demo: false,
            demo_at: Arc::default(),
        }
    }

    /// Offers a demo to look around in, opened beside this record when it is asked for.
    #[must_use]
    pub fn with_demo(mut self, demo: Demo) -> Self {
        self.demo = Some(demo);
        self
    }

    /// Says that the record is the demo of the pickle works: its first page then says what to look at.
    #[must_use]
    pub fn as_demo(mut self) -> Self {
        self.is_demo = true;
        self
    }

    /// True if the record is the demo.
    pub(crate) fn is_demo(&self) -> bool {
        self.is_demo
    }

    /// True if a demo can be opened.
    pub(crate) fn offers_demo(&self) -> bool {
        self.demo.is_some()
    }

    /// The address of the demo, which is opened if it is not yet; none if none is offered.
    pub(crate) async fn demo(&self) -> Option<Result<&str, String>> {
        let demo = self.demo.as_ref()?;
        let at = self.demo_at.get_or_try_init(|| demo()).await;
        Some(at.map(String::as_str))
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
