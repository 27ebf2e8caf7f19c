//! A record opened for one command, and let go of before the program ends: all of a file is in the file then.

use crate::failure::Failure;
use std::sync::Arc;
use store::{Machine, Outside, Store};

/// The clock and randomness of this machine.
pub(crate) fn machine() -> Arc<dyn Outside> {
    Arc::new(Machine::here())
}

/// Opens a record, works with it, and closes it whatever came of the work.
///
/// # Errors
/// [`Failure::Record`], or what the work says.
pub(crate) async fn with_record<T>(
    place: &str,
    work: impl AsyncFnOnce(&Store) -> Result<T, Failure>,
) -> Result<T, Failure> {
    closing(Store::open(place, machine()).await?, work).await
}

/// Works with a record that is open, and closes it.
///
/// # Errors
/// What the work says.
pub(crate) async fn closing<T>(
    store: Store,
    work: impl AsyncFnOnce(&Store) -> Result<T, Failure>,
) -> Result<T, Failure> {
    let done = work(&store).await;
    store.close().await;
    done
}
