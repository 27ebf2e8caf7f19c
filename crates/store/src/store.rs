//! The store: what the program asks of a record.

use crate::beside;
use crate::check::{self, Checked};
use crate::error::StoreError;
use crate::guards;
use crate::list::{self, Filter, Page, Thing};
use crate::lists::{self, Difference};
use crate::live::Change;
use crate::order::{Order, Receipt};
use crate::outside::Outside;
use crate::place::{Access, Place};
use crate::project::int;
use crate::read;
use crate::rebuild::{self, Rebuilt};
use crate::trace::{self, Trace, Way};
use crate::writer::{Own, Task, Writer, corrected};
use notebook::{
    EvaluateError, Evaluator, Event, Hash, Kind, Moment, Node, Outcome, Permissions, World,
};
use serde::Serialize;
use sqlx::AnyPool;
use sqlx::Row;
use std::sync::Arc;
use tokio::sync::{broadcast, mpsc, oneshot};

/// Commands that may wait to be written.
const QUEUE: usize = 4096;
/// Changes that a slow watcher may lag behind.
const LAG: usize = 4096;
/// Connections for reading.
pub(crate) const READERS: u32 = 4;

/// A record that is open.
#[derive(Clone)]
pub struct Store {
    place: Place,
    pool: AnyPool,
    outside: Arc<dyn Outside>,
    tasks: mpsc::Sender<Task>,
    live: broadcast::Sender<Change>,
    /// It was of an earlier layout when it was opened.
    earlier: bool,
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Store")
            .field("place", &self.place)
            .finish_non_exhaustive()
    }
}

/// A determination with all that is known of it, evaluated.
#[derive(Debug)]
pub struct Evaluation {
    /// The determination and all that it rests on.
    pub world: World,
    /// What it gives; or why it gives nothing yet.
    pub outcome: Result<Outcome, EvaluateError>,
}

/// Something that a person should know.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Notice {
    /// Number of the event.
    pub number: u64,
    /// What it is about.
    pub node: Node,
    /// What to know, in a sentence.
    pub text: String,
    /// Number of the correction that is the reason.
    pub because: u64,
    /// What it gave, in words.
    pub was: Option<String>,
    /// What it gives; none if it cannot be computed any more.
    pub now: Option<String>,
    /// Whether the verdict changes.
    pub flips: bool,
    /// Certificates that hold no more since then.
    pub superseded: Vec<Node>,
}

impl Store {
    /// Makes an empty record where there is none: a file name, or a `postgres://` URL of a database without tables.
    ///
    /// # Errors
    /// [`StoreError::Exists`] if there is something; else what the disk or server says, and no file is left.
    pub async fn create(place: &str, outside: Arc<dyn Outside>) -> Result<Self, StoreError> {
        let place = Place::of(place)?;
        place.make_file()?;
        let created = Self::created(place.clone(), outside).await;
        if let (Err(_), Place::File(path)) = (&created, &place) {
            beside::clear(path);
        }
        created
    }

    async fn created(place: Place, outside: Arc<dyn Outside>) -> Result<Self, StoreError> {
        let pool = place.pool(READERS, Access::Write).await?;
        if !place.is_file() && place.has_record(&pool).await? {
            return Err(StoreError::Exists(place.to_string()));
        }
        place.migrate(&pool).await?;
        Self::started(place, pool, Access::Write, outside).await
    }

    /// Opens a record; one of an earlier layout is brought up to date. Where nothing may be written and no log lies beside
    /// it, it can be read.
    ///
    /// # Errors
    /// [`StoreError::NoRecord`], [`StoreError::NotARecord`], [`StoreError::Newer`], or what the disk or server says.
    pub async fn open(place: &str, outside: Arc<dyn Outside>) -> Result<Self, StoreError> {
        let place = Place::of(place)?;
        place.look().await?;
        let mut access = Access::Write;
        if let Place::File(path) = &place
            && !beside::with_end(path, "-wal").exists()
            && !place.may_be_written().await?
        {
            access = Access::Still;
        }
        let pool = place.pool(READERS, access).await?;
        if !place.has_record(&pool).await? {
            return Err(StoreError::NoRecord(place.to_string()));
        }
        let earlier = place.migrate(&pool).await?;
        if earlier {
            // What lists say may be said otherwise by now. A record that was altered is opened, so that a check can tell.
            match rebuild::rebuild(&pool, &place).await {
                Ok(_)
                | Err(
                    StoreError::Altered { .. }
                    | StoreError::Event { .. }
                    | StoreError::Fold(_)
                    | StoreError::Damaged(_),
                ) => {}
                Err(error) => return Err(error),
            }
        }
        let mut store = Self::started(place, pool, access, outside).await?;
        store.earlier = earlier;
        Ok(store)
    }

    async fn started(
        place: Place,
        pool: AnyPool,
        access: Access,
        outside: Arc<dyn Outside>,
    ) -> Result<Self, StoreError> {
        let (tasks, queue) = mpsc::channel(QUEUE);
        let (live, _) = broadcast::channel(LAG);
        let writer = Writer::new(
            place.clone(),
            place.pool(1, access).await?,
            Arc::clone(&outside),
            live.clone(),
            Permissions::shipped().clone(),
        );
        tokio::spawn(writer.work(queue));
        let store = Self {
            place,
            pool,
            outside,
            tasks,
            live,
            earlier: false,
        };
        Ok(store)
    }

    /// Where it lives.
    pub fn place(&self) -> &Place {
        &self.place
    }

    /// The present moment, by the clock that the record goes by.
    pub fn now(&self) -> Moment {
        self.outside.now()
    }

    pub(crate) fn outside(&self) -> Arc<dyn Outside> {
        Arc::clone(&self.outside)
    }

    /// Writes what waits and lets go of the record, for this store and all its clones. All of a file is then in the file
    /// itself, unless another process still has it open.
    pub async fn close(&self) {
        let (to, closed) = oneshot::channel();
        if self.tasks.send(Task::Close(to)).await.is_ok() {
            // The writer may have been stopped already.
            let _ = closed.await;
        }
        if self.place.is_file() && !self.pool.is_closed() {
            // Others may read meanwhile, or the disk be full: the log then stays beside the file, with all that is in it.
            let _ = self.empty_log().await;
        }
        self.pool.close().await;
    }

    async fn empty_log(&self) -> Result<(), StoreError> {
        let mut db = self.pool.acquire().await?;
        // Who waits for readers here lets nobody write meanwhile.
        for sql in [
            "PRAGMA busy_timeout = 50",
            "PRAGMA wal_checkpoint(TRUNCATE)",
        ] {
            sqlx::query(sql).execute(&mut *db).await?;
        }
        Ok(())
    }

    /// Lets go of a record that was just made, and removes its file.
    pub async fn discard(self) {
        self.close().await;
        if let Place::File(path) = &self.place {
            beside::clear(path);
        }
    }

    pub(crate) fn pool(&self) -> &AnyPool {
        &self.pool
    }

    /// Does what a command asks and answers once it is durable. What rests on a correction is computed again at once.
    ///
    /// # Errors
    /// [`StoreError::Refused`], [`StoreError::Conflict`], or what the disk or server says; nothing is saved then.
    pub async fn submit(&self, order: Order) -> Result<Receipt, StoreError> {
        let (to, answer) = oneshot::channel();
        self.tasks
            .send(Task::Submit(Box::new(order), to))
            .await
            .map_err(|_| StoreError::Closed)?;
        let receipt = answer.await.map_err(|_| StoreError::Closed)??;
        if !receipt.repeated
            && let Some(event) = corrected(&receipt.events)
            && self.is_unsettled(event.number).await?
        {
            self.settle(event).await?;
        }
        Ok(receipt)
    }

    async fn is_unsettled(&self, number: u64) -> Result<bool, StoreError> {
        let count: i64 =
            sqlx::query_scalar("SELECT CAST(COUNT(*) AS BIGINT) FROM unsettled WHERE number = $1")
                .bind(int(number))
                .fetch_one(&self.pool)
                .await?;
        Ok(count > 0)
    }

    pub(crate) async fn record(&self, own: Own) -> Result<Vec<Event>, StoreError> {
        let (to, answer) = oneshot::channel();
        self.tasks
            .send(Task::Record(Box::new(own), to))
            .await
            .map_err(|_| StoreError::Closed)?;
        answer.await.map_err(|_| StoreError::Closed)?
    }

    /// Number and hash of the last event.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn end(&self) -> Result<(u64, Hash), StoreError> {
        let row = sqlx::query("SELECT number, hash FROM chain_end WHERE one = 1")
            .fetch_optional(&self.pool)
            .await?
            .ok_or_else(|| StoreError::Damaged("the end of its chain is not written down any more (table chain_end); `halfdrop record rebuild` writes it again from the events".into()))?;
        let (number, hash): (i64, String) = (row.try_get(0)?, row.try_get(1)?);
        let hash = hash
            .parse()
            .map_err(|_| StoreError::Damaged("the end of the chain has no hash".into()))?;
        Ok((u64::try_from(number).unwrap_or(0), hash))
    }

    /// One event.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn event(&self, number: u64) -> Result<Option<Event>, StoreError> {
        Ok(self.events(number.saturating_sub(1), 1).await?.pop())
    }

    /// The events after a number, in order, at most so many.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn events(&self, after: u64, most: u32) -> Result<Vec<Event>, StoreError> {
        let mut db = self.pool.acquire().await?;
        let last = int(after).saturating_add(i64::from(most));
        read::bodies(&mut db, int(after), last)
            .await?
            .iter()
            .map(|(number, body)| read::read(int(*number), body))
            .collect()
    }

    /// The events of a thing, after a version of it.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn history(&self, node: &Node, after_version: u64) -> Result<Vec<Event>, StoreError> {
        let mut db = self.pool.acquire().await?;
        read::history(&mut db, node, after_version).await
    }

    /// What is known of things, each with all that it rests on.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn world(&self, nodes: &[Node]) -> Result<World, StoreError> {
        let mut db = self.pool.acquire().await?;
        let mut world = World::default();
        read::load(&mut db, &mut world, &Node::record()).await?;
        read::load_behind(&mut db, &mut world, nodes).await?;
        Ok(world)
    }

    /// A determination, evaluated with all that it rests on. An open one is evaluated as far as it is.
    ///
    /// # Errors
    /// [`StoreError`]; that it cannot be evaluated yet is no error here.
    pub async fn evaluate(&self, determination: &Node) -> Result<Evaluation, StoreError> {
        let world = self.world(std::slice::from_ref(determination)).await?;
        let outcome = Evaluator::new(&world).so_far(determination);
        Ok(Evaluation { world, outcome })
    }

    /// A page of a list.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn list(&self, filter: &Filter) -> Result<Page, StoreError> {
        let mut db = self.pool.acquire().await?;
        list::list(&mut db, filter).await
    }

    /// One line of a list.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn thing(&self, node: &Node) -> Result<Option<Thing>, StoreError> {
        let mut db = self.pool.acquire().await?;
        list::one(&mut db, node).await
    }

    /// A name for a new thing: a letter of its kind and the next number, such as `D-0017`.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn free_name(&self, kind: Kind) -> Result<Node, StoreError> {
        let letter = match kind {
            Kind::Determination => "D",
            Kind::Certificate => "C",
            Kind::Lot => "S",
            Kind::Solution => "T",
            Kind::Sample => "V",
            Kind::Apparatus => "A",
            _ => "N",
        };
        let count: i64 =
            sqlx::query_scalar("SELECT CAST(COUNT(*) AS BIGINT) FROM thing WHERE kind = $1")
                .bind(kind.word())
                .fetch_one(&self.pool)
                .await?;
        let mut number = count + 1;
        loop {
            let node = Node::new(kind, &format!("{letter}-{number:04}"))
                .map_err(|e| StoreError::Damaged(e.to_string()))?;
            if self.thing(&node).await?.is_none() {
                return Ok(node);
            }
            number += 1;
        }
    }

    /// What a thing is made of, down to lots and apparatus.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn made_of(&self, node: &Node) -> Result<Trace, StoreError> {
        let mut db = self.pool.acquire().await?;
        trace::trace(&mut db, node, Way::Down).await
    }

    /// What rests on a thing, up to certificates.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn rests_on(&self, node: &Node) -> Result<Trace, StoreError> {
        let mut db = self.pool.acquire().await?;
        trace::trace(&mut db, node, Way::Up).await
    }

    /// The determinations whose value rests on a thing, each after those it rests on.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn dependents(&self, node: &Node) -> Result<Vec<Node>, StoreError> {
        let mut db = self.pool.acquire().await?;
        trace::dependents(&mut db, node).await
    }

    /// What a person should know since an event: what came out otherwise of what he did; the latest 200.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn notices(&self, person: &str, after: u64) -> Result<Vec<Notice>, StoreError> {
        let rows = sqlx::query(
            "SELECT number, node, text FROM (SELECT number, node, text FROM notice WHERE person = $1 AND number > $2
             ORDER BY number DESC LIMIT 200) AS latest ORDER BY number",
        )
        .bind(person)
        .bind(int(after))
        .fetch_all(&self.pool)
        .await?;
        let mut notices = Vec::with_capacity(rows.len());
        for row in rows {
            let (number, node, text): (i64, String, String) =
                (row.try_get(0)?, row.try_get(1)?, row.try_get(2)?);
            let number = u64::try_from(number).unwrap_or(0);
            let node = node
                .parse()
                .map_err(|_| StoreError::Damaged("a notice is about nothing".into()))?;
            notices.push(self.notice(number, node, text).await?);
        }
        Ok(notices)
    }

    /// Changes from now on, as they become durable.
    pub fn changes(&self) -> broadcast::Receiver<Change> {
        self.live.subscribe()
    }

    /// Watches for what other processes write, so that [`Self::changes`] tells of it: by the server's own messages on
    /// PostgreSQL, by a look each second at a file. Ends when the store is dropped or the task is aborted.
    ///
    /// # Errors
    /// [`StoreError`] if the record cannot be read any more.
    pub async fn watch_others(&self) -> Result<(), StoreError> {
        let mut last = self.end().await?.0;
        let mut heard = match &self.place {
            Place::Server(url) => {
                let mut listener = sqlx::postgres::PgListener::connect(url).await?;
                listener.listen("halfdrop").await?;
                Some(listener)
            }
            Place::File(_) => None,
        };
        loop {
            match &mut heard {
                Some(listener) => {
                    listener.recv().await?;
                }
                None => tokio::time::sleep(std::time::Duration::from_secs(1)).await,
            }
            let number = self.end().await?.0;
            if number > last {
                last = number;
                // Nobody may be watching.
                let _ = self.live.send(Change::elsewhere(number));
            }
        }
    }

    /// Hashes the whole chain again and compares every event with its place, the attached files with their hashes, and
    /// what guards the events with what it should be.
    ///
    /// # Errors
    /// [`StoreError`] if the record cannot be read at all; that it is altered is in the answer.
    pub async fn check(&self) -> Result<Checked, StoreError> {
        let mut checked = check::check(&self.pool, self.place.is_file()).await?;
        if self.earlier {
            checked.notes.push("the record was of an earlier layout, so its lists were made again from its events when it was opened; what they said before is only in a copy or backup".into());
        }
        checked.altered_files = self.altered_files().await?;
        checked
            .found
            .extend(guards::gone(&self.pool, &self.place).await?);
        Ok(checked)
    }

    /// Makes all lists again from the events, beside those that are there, and compares them; at most a few differences are
    /// named. Nothing of the record is changed.
    ///
    /// # Errors
    /// [`StoreError::Altered`] if the chain of the events is broken.
    pub async fn check_lists(&self) -> Result<Vec<Difference>, StoreError> {
        lists::differences(&self.pool, &self.place).await
    }

    /// The hash of an event, made from its content.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn hash_of(&self, number: u64) -> Result<Option<Hash>, StoreError> {
        let mut db = self.pool.acquire().await?;
        let bodies = read::bodies(&mut db, int(number) - 1, int(number)).await?;
        Ok(bodies.first().map(|(_, body)| Hash::of(body.as_bytes())))
    }

    /// The number of the event with a hash.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn number_of(&self, hash: Hash) -> Result<Option<u64>, StoreError> {
        let number: Option<i64> = sqlx::query_scalar("SELECT number FROM event WHERE hash = $1")
            .bind(hash.to_string())
            .fetch_optional(&self.pool)
            .await?;
        Ok(number.and_then(|number| u64::try_from(number).ok()))
    }

    /// Makes all lists again from the events, whose chain is looked at on the way.
    ///
    /// # Errors
    /// [`StoreError::Altered`] where the chain breaks; the lists are then as they were.
    pub async fn rebuild(&self) -> Result<Rebuilt, StoreError> {
        rebuild::rebuild(&self.pool, &self.place).await
    }

    /// The rows of all lists as text, to compare them before and after [`Self::rebuild`].
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn projected(&self) -> Result<Vec<String>, StoreError> {
        rebuild::rows(&self.pool).await
    }
}
