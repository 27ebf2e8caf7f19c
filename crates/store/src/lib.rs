//! Where the record lives: a file of SQLite, or a PostgreSQL by its URL.
//!
//! A [`Store`] takes commands and answers once the events they make are durable; it reads events, folds them, lists,
//! traces, checks. It is cheap to clone and may be used from any number of tasks.
//!
//! ```
//! use notebook::{Command, Kind, Node, payload::*};
//! use store::{Filter, Machine, Order, Store};
//! use std::sync::Arc;
//!
//! # #[tokio::main(flavor = "current_thread")]
//! # async fn main() -> Result<(), Box<dyn std::error::Error>> {
//! # let folder = std::env::temp_dir().join(format!("record-doc-{}", std::process::id()));
//! # std::fs::create_dir_all(&folder)?;
//! # let file = folder.join("bench.record");
//! let store = Store::create(file.to_str().unwrap(), Arc::new(Machine::here())).await?;
//! let open = RecordOpened { name: "Quality bench".into() };
//! store.submit(Order::new("fennel", "desk", Command::new(Node::record(), open))).await?;
//!
//! // A command has a key of the sender's: sent again, it is taken once and answered the same.
//! let sample = Node::new(Kind::Sample, "V-231")?;
//! let came_in = SampleReceived {
//!     what: "vinegar, tank 4".into(), role: Default::default(), from: None,
//!     limits: None, expected: None, density: None,
//! };
//! let order = Order::new("fennel", "desk", Command::new(sample.clone(), came_in)).keyed("tablet-1/17");
//! let receipt = store.submit(order.clone()).await?;
//! assert!(!receipt.repeated && receipt.version == 1);
//! assert!(store.submit(order).await?.repeated);
//!
//! // What is known of a thing, a list, the check of the chain.
//! let world = store.world(&[sample.clone()]).await?;
//! assert_eq!(world.sample(&sample).unwrap().received.what, "vinegar, tank 4");
//! let page = store.list(&Filter { kind: Some(Kind::Sample), ..Filter::default() }).await?;
//! assert_eq!(page.things[0].node, sample);
//! assert!(store.check().await?.broken.is_none());
//! # std::fs::remove_dir_all(&folder)?;
//! # Ok(())
//! # }
//! ```
//!
//! A refusal ([`StoreError::Refused`]), a conflict ([`StoreError::Conflict`], when [`Order::expects`] is given) and every
//! fault of the disk or the server are errors whose text is for the person. After any error nothing of the command is
//! saved, and it is safe to send it again with the same key.
#![forbid(unsafe_code)]

mod accounts;
mod altered;
mod as_of;
mod asked;
mod attempts;
mod backup;
mod beside;
mod bulk;
mod check;
mod correction;
pub mod csv;
mod demo;
mod error;
mod exchange;
mod files;
mod folding;
mod guards;
mod keepers;
mod known;
mod list;
mod lists;
mod live;
mod look;
mod order;
mod outside;
mod place;
mod project;
mod read;
mod rebuild;
mod rows;
mod search;
mod secrets;
mod settle;
mod store;
mod threads;
mod trace;
mod usable;
mod writer;

pub use accounts::{IDLE_MS, LONGEST_MS, MOST_FAILURES, Secret, Session};
pub use backup::restore;
pub use bulk::fill;
pub use check::{Broken, Checked};
pub use correction::{Corrected, Recomputed};
pub use demo::build_demo;
pub use error::{Conflict, StoreError};
pub use exchange::{import, import_line};
pub use list::{Cursor, Filter, Page, Thing};
pub use lists::{Difference, How};
pub use live::Change;
pub use order::{Order, Receipt};
pub use outside::{Machine, Outside, Told};
pub use place::Place;
pub use rebuild::Rebuilt;
pub use secrets::NewSecret;
pub use settle::Pooled;
pub use store::{Evaluation, Notice, Store};
pub use trace::Trace;
pub use usable::{Usable, UsablePage};
