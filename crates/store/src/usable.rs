//! What may be used today, until when, and why not: every lot, solution and piece of apparatus.

use crate::error::StoreError;
use crate::list::{Cursor, Filter};
use crate::read;
use crate::store::Store;
use notebook::state::State;
use notebook::{Day, Kind, Node, World, validity};
use serde::Serialize;

/// Things of a page.
const A_PAGE: u32 = 200;

/// Whether a thing may be used.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Usable {
    /// The thing.
    pub node: Node,
    /// What it is, in words.
    pub title: String,
    /// True if it may be used today for what it is there for: a standard and a solution that was standardized for their
    /// value.
    pub usable: bool,
    /// The last day on which it may be used, if there is one.
    pub until: Option<Day>,
    /// Why it may not be used.
    pub why: Vec<String>,
}

/// A page of what may be used.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UsablePage {
    /// The day that is spoken of.
    pub today: Day,
    /// The things, newest first.
    pub things: Vec<Usable>,
    /// Where the next page starts; none if this is the last.
    pub next: Option<Cursor>,
}

/// Why a thing that is known may not be used for what it is there for.
fn objections(world: &World, node: &Node, today: Day) -> Vec<String> {
    let for_its_value =
        matches!(world.state(node), Some(State::Solution(s)) if !s.standardized.is_empty());
    validity::objections(world, node, today, for_its_value)
}

impl Store {
    /// A page of the lots, solutions or pieces of apparatus, with what may be used today.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn usable(
        &self,
        kind: Kind,
        after: Option<Cursor>,
    ) -> Result<UsablePage, StoreError> {
        let filter = Filter {
            kind: Some(kind),
            after,
            limit: Some(A_PAGE),
            ..Filter::default()
        };
        let page = self.list(&filter).await?;
        let nodes: Vec<Node> = page.things.iter().map(|thing| thing.node.clone()).collect();
        let mut world = World::default();
        if !nodes.is_empty() {
            let mut db = self.pool().acquire().await?;
            read::load_together(&mut db, &mut world, &nodes).await?;
        }
        let today = self.now().day();
        let things = page.things.into_iter().map(|thing| {
            let why = objections(&world, &thing.node, today);
            Usable {
                usable: why.is_empty(),
                until: validity::last_day(&world, &thing.node),
                why,
                node: thing.node,
                title: thing.title,
            }
        });
        Ok(UsablePage {
            today,
            things: things.collect(),
            next: page.next,
        })
    }
}
