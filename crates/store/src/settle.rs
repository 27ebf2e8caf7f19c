//! After a correction: what rests on it is computed again, and that is written down. And what earlier work says of the
//! repeatability of new work.

use crate::error::StoreError;
use crate::read;
use crate::store::{READERS, Store};
use crate::trace;
use crate::writer::Own;
use futures_util::{StreamExt, TryStream, TryStreamExt};
use notebook::cascade::{self, Change};
use notebook::payload::CorrectionSettled;
use notebook::{Cause, Draft, Evaluator, Event, Met, Node, World};
use serde::Serialize;
use sqlx::{AnyPool, Row};
use std::sync::{Arc, Mutex, PoisonError};

/// Determinations that are computed before they are written down.
const TOGETHER: usize = 400;

/// Repeatability pooled over earlier sets.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pooled {
    /// Relative standard deviation of one run.
    pub relative: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
    /// How many sets it rests on.
    pub sets: u64,
}

/// Some dependents of which something changes, with all that they rest on, and what changes of them.
struct Part {
    world: World,
    changes: Vec<Change>,
}

/// What parts that were computed before leave for the next.
type Known = Arc<Mutex<Vec<Met>>>;

async fn compute(pool: &AnyPool, nodes: &[Node], known: &Known) -> Result<Part, StoreError> {
    let mut world = World::default();
    let mut db = pool.acquire().await?;
    read::load_folds(&mut db, &mut world, nodes).await?;
    read::load_behind(&mut db, &mut world, nodes).await?;
    drop(db);
    let known = || known.lock().unwrap_or_else(PoisonError::into_inner);
    let met = known().pop().unwrap_or_default();
    let mut evaluator = Evaluator::new(&world).with(met);
    let changes = nodes
        .iter()
        .filter_map(|node| cascade::change(&world, &mut evaluator, node))
        .collect::<Vec<Change>>();
    let met = evaluator.into_met();
    known().push(met);
    // Nobody asks for a world in which nothing changes; it goes where it was made, beside the other cores.
    if changes.is_empty() {
        world = World::default();
    }
    Ok(Part { world, changes })
}

impl Store {
    /// What would change if everything that rests on a thing were computed again now. Nothing is written.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn changes_after(&self, corrected: &Node) -> Result<Vec<Change>, StoreError> {
        let dependents = self.dependents(corrected).await?;
        let mut parts = self.computed(&dependents);
        let mut changes = Vec::new();
        while let Some(part) = parts.try_next().await? {
            changes.extend(part.changes);
        }
        Ok(changes)
    }

    /// The dependents computed again, part by part in their order, on several cores. Each part is read for
    /// itself, so that memory does not grow with the number of dependents.
    fn computed<'a>(
        &self,
        dependents: &'a [Node],
    ) -> impl TryStream<Ok = Part, Error = StoreError> + Unpin + use<'a> {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        // One part is read while each core computes one; one connection is for what is written meanwhile.
        let together = (cores + 1).min(READERS as usize - 1);
        let pool = self.pool().clone();
        let known = Known::default();
        let parts = dependents.chunks(TOGETHER).map(move |part| {
            let (pool, part, known) = (pool.clone(), part.to_vec(), Arc::clone(&known));
            // A task of its own: so parts are computed side by side.
            let task = tokio::spawn(async move { compute(&pool, &part, &known).await });
            async move {
                task.await
                    .map_err(|error| StoreError::Damaged(error.to_string()))?
            }
        });
        Box::pin(futures_util::stream::iter(parts).buffered(together))
    }

    /// Settles every correction that is not settled yet, such as one before the power went. Gives how many.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn settle_all(&self) -> Result<u64, StoreError> {
        let open: Vec<i64> = sqlx::query_scalar("SELECT number FROM unsettled ORDER BY number")
            .fetch_all(self.pool())
            .await?;
        for number in &open {
            let number = u64::try_from(*number).unwrap_or(0);
            if let Some(event) = self.event(number).await? {
                self.settle(&event).await?;
            }
        }
        Ok(open.len() as u64)
    }

    /// Computes again what rests on a correction and writes it down: the changes, the certificates superseded, the
    /// people told. Safe to be done twice or by two processes.
    pub(crate) async fn settle(&self, correction: &Event) -> Result<(), StoreError> {
        let mut db = self.pool().acquire().await?;
        let dependents = trace::dependents(&mut db, &correction.stream).await?;
        let reason = cascade::reason(correction);
        let (mut changed, mut flips, mut superseded) = (0, 0, 0);
        let own = |drafts: Vec<Draft>| Own {
            who: correction.who.clone(),
            device: correction.device.clone(),
            at: None,
            cause: Cause {
                command: None,
                event: Some(correction.number),
            },
            drafts,
            while_unsettled: Some(correction.number),
        };
        let mut parts = self.computed(&dependents);
        while let Some(Part { mut world, changes }) = parts.try_next().await? {
            let mut drafts = Vec::new();
            let of: Vec<&Node> = changes.iter().map(|c| &c.determination).collect();
            let certificates = trace::certificates_of(&mut db, &of).await?;
            let all: Vec<Node> = certificates.values().flatten().cloned().collect();
            read::load_behind(&mut db, &mut world, &all).await?;
            for change in changes {
                let stated = certificates.get(&change.determination);
                let mut holding = stated.cloned().unwrap_or_default();
                holding.retain(|certificate| {
                    world
                        .certificate(certificate)
                        .is_some_and(notebook::state::Certificate::is_current)
                });
                changed += 1;
                flips += u64::from(change.flips);
                superseded += holding.len() as u64;
                drafts.extend(change.drafts(&world, correction.number, &reason, &holding));
            }
            if !drafts.is_empty() {
                self.record(own(drafts)).await?;
            }
        }
        let settled = CorrectionSettled {
            because: correction.number,
            changed,
            flips,
            superseded,
        };
        self.record(own(vec![Draft::new(&Node::record(), settled)]))
            .await?;
        Ok(())
    }

    /// Repeatability of earlier work by the same plan (a method such as `method/vinegar-acidity`, or "standardization
    /// with" a substance), by a person or with a burette if named. `None` without earlier sets.
    ///
    /// Pooled as variances weighted by their degrees of freedom (JCGM 100:2008, 4.2.4).
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn pooled_repeatability(
        &self,
        plan: &str,
        who: Option<&str>,
        burette: Option<&Node>,
    ) -> Result<Option<Pooled>, StoreError> {
        let row = sqlx::query(
            "SELECT SUM(relative * relative * degrees_of_freedom), SUM(degrees_of_freedom),
             CAST(COUNT(*) AS BIGINT) FROM scatter
             WHERE plan = $1 AND (who = $2 OR $2 = '') AND (burette = $3 OR $3 = '')",
        )
        .bind(plan)
        .bind(who.unwrap_or_default())
        .bind(burette.map(Node::to_string).unwrap_or_default())
        .fetch_one(self.pool())
        .await?;
        let squares: Option<f64> = row.try_get(0)?;
        let degrees: Option<f64> = row.try_get(1)?;
        let sets: i64 = row.try_get(2)?;
        Ok(match (squares, degrees) {
            (Some(squares), Some(degrees)) if degrees > 0.0 => Some(Pooled {
                relative: (squares / degrees).sqrt(),
                degrees_of_freedom: degrees,
                sets: u64::try_from(sets).unwrap_or(0),
            }),
            _ => None,
        })
    }
}
