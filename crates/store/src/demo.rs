//! Writes the demo record.

use crate::error::StoreError;
use crate::order::Order;
use crate::outside::Told;
use crate::store::Store;
use notebook::{Moment, demo};
use std::sync::Arc;

/// Builds the demo record at a place where there is none, from its first day on. The same seed and day give the same
/// events with the same hashes.
///
/// # Errors
/// [`StoreError`].
pub async fn build_demo(place: &str, seed: u64, first_day: Moment) -> Result<Store, StoreError> {
    let steps = demo::script(seed, first_day).map_err(StoreError::Unsound)?;
    let clock = Arc::new(Told::at(first_day, seed));
    let store = Store::create(place, clock.clone()).await?;
    for step in steps {
        clock.set(step.stamp.at);
        let mut order = Order::new(&step.stamp.who, &step.stamp.device, step.command);
        order.key = step.stamp.key;
        store.submit(order).await?;
    }
    Ok(store)
}
