//! The writer: the one place where events are written.
//!
//! Commands wait in a queue. All that wait are decided in one transaction, each under a savepoint of its own, and are
//! made durable by one commit; only then is anybody told "taken". So many benches at once share the cost of the disk.
//! Who writes holds the end of the chain, on SQLite by an immediate transaction, on PostgreSQL by the lock on one row;
//! several processes may write one after the other.

use crate::error::{Conflict, StoreError};
use crate::live::Change;
use crate::order::{Order, Receipt};
use crate::outside::Outside;
use crate::place::Place;
use crate::project::{self, int};
use crate::rows::Rows;
use notebook::decide::{self, Actor, Draft};
use notebook::payload::AttemptRefused;
use notebook::{
    Cause, Event, Hash, Kind, Moment, Node, Payload, Permissions, Refusal, World, cascade, uuid_v7,
};
use sqlx::{Acquire, Row};
use sqlx::{AnyConnection, AnyPool};
use std::sync::Arc;
use tokio::sync::{broadcast, mpsc, oneshot};

/// Most commands that share a commit.
const TOGETHER: usize = 256;
/// Things that are kept at hand between commands.
const AT_HAND: usize = 2000;
/// Longest key of a command.
const MAX_KEY: usize = 200;

/// What the writer can be asked.
pub(crate) enum Task {
    /// Decide a command.
    Submit(Box<Order>, oneshot::Sender<Result<Receipt, StoreError>>),
    /// Write events that the record itself makes.
    Record(Box<Own>, oneshot::Sender<Result<Vec<Event>, StoreError>>),
    /// Write what waits, then let go of the record.
    Close(oneshot::Sender<()>),
}

/// Events that the record itself makes.
pub(crate) struct Own {
    pub(crate) who: String,
    pub(crate) device: String,
    pub(crate) at: Option<Moment>,
    pub(crate) cause: Cause,
    pub(crate) drafts: Vec<Draft>,
    /// Only if this correction is not settled yet.
    pub(crate) while_unsettled: Option<u64>,
}

/// The end of the chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct End {
    pub(crate) number: u64,
    pub(crate) hash: Hash,
}

pub(crate) struct Writer {
    pub(crate) place: Place,
    pub(crate) pool: AnyPool,
    pub(crate) outside: Arc<dyn Outside>,
    pub(crate) live: broadcast::Sender<Change>,
    pub(crate) permissions: Permissions,
    world: World,
    end: End,
}

enum Answer {
    Submit(
        oneshot::Sender<Result<Receipt, StoreError>>,
        Result<Receipt, StoreError>,
    ),
    Record(
        oneshot::Sender<Result<Vec<Event>, StoreError>>,
        Result<Vec<Event>, StoreError>,
    ),
}

impl Answer {
    fn send(self, lost: Option<&dyn Fn() -> StoreError>) {
        // Who asked may be gone; what was written stays.
        match self {
            Self::Submit(to, result) => {
                let _ = to.send(match (result, lost) {
                    (Ok(_), Some(lost)) => Err(lost()),
                    (result, _) => result,
                });
            }
            Self::Record(to, result) => {
                let _ = to.send(match (result, lost) {
                    (Ok(_), Some(lost)) => Err(lost()),
                    (result, _) => result,
                });
            }
        }
    }

    /// An error that is no answer to the command, but a fault of the disk, the server or the program.
    fn fault(&self) -> Option<&StoreError> {
        let error = match self {
            Self::Submit(_, result) => result.as_ref().err(),
            Self::Record(_, result) => result.as_ref().err(),
        }?;
        let answer = matches!(
            error,
            StoreError::Refused(_)
                | StoreError::Conflict(_)
                | StoreError::KeyReused { .. }
                | StoreError::Event { .. }
        );
        (!answer).then_some(error)
    }

    fn events(&self) -> &[Event] {
        match self {
            Self::Submit(_, Ok(receipt)) if !receipt.repeated => &receipt.events,
            Self::Record(_, Ok(events)) => events,
            _ => &[],
        }
    }
}

impl Writer {
    pub(crate) fn new(
        place: Place,
        pool: AnyPool,
        outside: Arc<dyn Outside>,
        live: broadcast::Sender<Change>,
        permissions: Permissions,
    ) -> Self {
        Self {
            place,
            pool,
            outside,
            live,
            permissions,
            world: World::default(),
            end: End {
                number: 0,
                hash: Hash::ZERO,
            },
        }
    }

    /// Works until nobody can ask any more.
    pub(crate) async fn work(mut self, mut tasks: mpsc::Receiver<Task>) {
        let mut waiting = Vec::new();
        let mut closers = Vec::new();
        while tasks.recv_many(&mut waiting, TOGETHER).await > 0 {
            waiting.retain_mut(|task| match task {
                Task::Close(to) => {
                    let (nobody, _) = oneshot::channel();
                    closers.push(std::mem::replace(to, nobody));
                    tasks.close();
                    false
                }
                _ => true,
            });
            if !waiting.is_empty() {
                self.together(&mut waiting).await;
            }
        }
        self.pool.close().await;
        for closer in closers {
            let _ = closer.send(());
        }
    }

    /// Decides all that wait, and commits once.
    async fn together(&mut self, waiting: &mut Vec<Task>) {
        let mut answers = Vec::with_capacity(waiting.len());
        let mut queue = std::mem::take(waiting).into_iter();
        let pool = self.pool.clone();
        let begin = if self.place.is_file() {
            "BEGIN IMMEDIATE"
        } else {
            "BEGIN"
        };
        let committed = async {
            let mut tx = pool.begin_with(begin).await?;
            self.hold(&mut tx).await?;
            for task in queue.by_ref() {
                let answer = self.one(&mut tx, task).await;
                let fault = answer.as_ref().and_then(Answer::fault).map(again);
                answers.extend(answer);
                // What a database answers after a fault cannot be trusted: PostgreSQL takes the commit of a failed
                // transaction without a word and undoes it. All that waited is undone, and told so.
                if let Some(fault) = fault {
                    return Err(fault);
                }
            }
            if !self.place.is_file() && answers.iter().any(|a| !a.events().is_empty()) {
                sqlx::query("SELECT pg_notify('halfdrop', $1)")
                    .bind(self.end.number.to_string())
                    .execute(&mut *tx)
                    .await?;
            }
            tx.commit().await?;
            Ok::<_, StoreError>(())
        }
        .await;
        match committed {
            Ok(()) => {
                for answer in answers {
                    for event in answer.events() {
                        let _ = self.live.send(Change::of(event));
                    }
                    answer.send(None);
                }
            }
            Err(error) => {
                self.forget();
                let error = Arc::new(error);
                let lost = || again(&error);
                for answer in answers {
                    answer.send(Some(&lost));
                }
                for task in queue {
                    match task {
                        Task::Submit(_, to) => {
                            let _ = to.send(Err(lost()));
                        }
                        Task::Record(_, to) => {
                            let _ = to.send(Err(lost()));
                        }
                        Task::Close(_) => {}
                    }
                }
            }
        }
    }

    fn forget(&mut self) {
        self.world = World::default();
        self.end = End {
            number: 0,
            hash: Hash::ZERO,
        };
    }

    /// Takes hold of the end of the chain; nobody else writes until the transaction ends.
    async fn hold(&mut self, tx: &mut AnyConnection) -> Result<(), StoreError> {
        let row = sqlx::query(
            "UPDATE chain_end SET number = number WHERE one = 1 RETURNING number, hash",
        )
        .fetch_one(tx)
        .await?;
        let number: i64 = row.try_get(0)?;
        let hash: String = row.try_get(1)?;
        let end = End {
            number: u64::try_from(number).unwrap_or(0),
            hash: hash
                .parse()
                .map_err(|_| StoreError::Damaged("the end of the chain has no hash".into()))?,
        };
        // Another process wrote meanwhile: what is at hand is old.
        if end != self.end || self.world.nodes().count() > AT_HAND {
            self.world = World::default();
        }
        self.end = end;
        Ok(())
    }

    async fn one(&mut self, tx: &mut AnyConnection, task: Task) -> Option<Answer> {
        Some(match task {
            Task::Submit(order, to) => {
                let result = self.guarded(tx, &order).await;
                Answer::Submit(to, result)
            }
            Task::Record(own, to) => {
                let result = self.own(tx, *own).await;
                Answer::Record(to, result)
            }
            Task::Close(_) => return None,
        })
    }

    /// A command under a savepoint; a refused attempt is written down.
    async fn guarded(
        &mut self,
        tx: &mut AnyConnection,
        order: &Order,
    ) -> Result<Receipt, StoreError> {
        let mut point = tx.begin().await?;
        let end = self.end;
        match self.submit(&mut point, order).await {
            Ok(receipt) => {
                point.commit().await?;
                Ok(receipt)
            }
            Err(error) => {
                point.rollback().await?;
                // An error while writing leaves events in what is at hand that are not in the record.
                if !matches!(error, StoreError::Refused(_) | StoreError::Conflict(_)) {
                    self.world = World::default();
                }
                self.end = end;
                if let StoreError::Refused(refusal) = &error {
                    self.attempt(tx, order, refusal).await?;
                }
                Err(error)
            }
        }
    }

    async fn submit(
        &mut self,
        tx: &mut AnyConnection,
        order: &Order,
    ) -> Result<Receipt, StoreError> {
        let on = &order.command.on;
        if let Some(key) = &order.key {
            if key.is_empty() || key.len() > MAX_KEY {
                return Err(Refusal::Text {
                    what: "key",
                    most: MAX_KEY,
                }
                .into());
            }
            if let Some(receipt) = self.taken_before(tx, key, order).await? {
                return Ok(receipt);
            }
        }
        let actor = Actor {
            who: order.who.clone(),
            at: order.at.unwrap_or_else(|| self.outside.now()),
        };
        loop {
            let wanted = decide::needs(&self.world, &actor, &order.command);
            if wanted.is_empty() {
                break;
            }
            for node in wanted {
                crate::read::load(tx, &mut self.world, &node).await?;
            }
        }
        if let Payload::CertificateIssued(p) = &order.command.payload {
            // What states the result already.
            let others = crate::trace::certificates_of(tx, &[&p.determination]).await?;
            for node in others.into_values().flatten() {
                crate::read::load(tx, &mut self.world, &node).await?;
            }
        }
        if let Some(expected) = order.expects {
            let found = self.world.version(on);
            if expected > found {
                return Err(Refusal::NoVersion {
                    node: on.clone(),
                    given: expected,
                    found,
                }
                .into());
            }
            if found != expected {
                let meanwhile = crate::read::history(tx, on, expected).await?;
                return Err(StoreError::Conflict(Box::new(Conflict {
                    command: order.command.clone(),
                    expected,
                    found,
                    meanwhile,
                })));
            }
        }
        let drafts = decide::decide(&self.world, &self.permissions, &actor, &order.command)?;
        crate::keepers::remain(tx, &mut self.world, &order.command).await?;
        let cause = Cause {
            command: order.key.clone(),
            event: None,
        };
        let events = self
            .write(tx, &order.who, &order.device, actor.at, &cause, drafts)
            .await?;
        Ok(Receipt {
            version: self.world.version(on),
            events,
            repeated: false,
        })
    }

    /// The answer to a key that was taken before.
    async fn taken_before(
        &mut self,
        tx: &mut AnyConnection,
        key: &str,
        order: &Order,
    ) -> Result<Option<Receipt>, StoreError> {
        let row =
            sqlx::query("SELECT first_event, last_event FROM command_taken WHERE command_key = $1")
                .bind(key)
                .fetch_optional(&mut *tx)
                .await?;
        let Some(row) = row else { return Ok(None) };
        let (first, last): (i64, i64) = (row.try_get(0)?, row.try_get(1)?);
        let mut events = Vec::new();
        for (number, body) in crate::read::bodies(tx, first - 1, last).await? {
            let event = Event::read(&body).map_err(|error| StoreError::Event { number, error })?;
            events.push(event);
        }
        if let Some(held) = crate::asked::taken_otherwise(events.first(), order) {
            return Err(StoreError::KeyReused {
                key: key.into(),
                held,
            });
        }
        let version = events
            .iter()
            .filter(|event| event.stream == order.command.on)
            .map(|event| event.stream_version)
            .max()
            .unwrap_or(0);
        Ok(Some(Receipt {
            events,
            repeated: true,
            version,
        }))
    }

    /// Every attempt at something that this person may not do is an event. A slip in what was typed is not.
    async fn attempt(
        &mut self,
        tx: &mut AnyConnection,
        order: &Order,
        refusal: &Refusal,
    ) -> Result<(), StoreError> {
        let access = matches!(
            refusal,
            Refusal::Unknown(_)
                | Refusal::Left { .. }
                | Refusal::NotPermitted { .. }
                | Refusal::RecordOnly(_)
                | Refusal::OwnWork(_)
                | Refusal::OthersWork { .. }
                | Refusal::NoKeeper
        );
        if !access || self.world.record().is_none() {
            return Ok(());
        }
        let who = order
            .who
            .chars()
            .take(notebook::MAX_NAME)
            .collect::<String>();
        let Ok(stream) = Node::new(Kind::Access, &who) else {
            return Ok(());
        };
        let attempt = AttemptRefused {
            on: order.command.on.clone(),
            asked: order.command.payload.kind().into(),
            told: refusal.to_string(),
            times: 1,
        };
        let at = self.outside.now();
        let drafts = vec![Draft::new(&stream, attempt)];
        self.write(tx, &who, &order.device, at, &Cause::default(), drafts)
            .await?;
        Ok(())
    }

    async fn own(&mut self, tx: &mut AnyConnection, own: Own) -> Result<Vec<Event>, StoreError> {
        if let Some(number) = own.while_unsettled {
            let open: i64 = sqlx::query_scalar(
                "SELECT CAST(COUNT(*) AS BIGINT) FROM unsettled WHERE number = $1",
            )
            .bind(int(number))
            .fetch_one(&mut *tx)
            .await?;
            if open == 0 {
                return Ok(Vec::new());
            }
        }
        let at = own.at.unwrap_or_else(|| self.outside.now());
        let mut point = tx.begin().await?;
        let end = self.end;
        let written = self
            .write(
                &mut point,
                &own.who,
                &own.device,
                at,
                &own.cause,
                own.drafts,
            )
            .await;
        match written {
            Ok(events) => {
                point.commit().await?;
                Ok(events)
            }
            Err(error) => {
                point.rollback().await?;
                self.end = end;
                self.world = World::default();
                Err(error)
            }
        }
    }

    /// Seals drafts to the chain and projects them.
    async fn write(
        &mut self,
        tx: &mut AnyConnection,
        who: &str,
        device: &str,
        at: Moment,
        cause: &Cause,
        drafts: Vec<Draft>,
    ) -> Result<Vec<Event>, StoreError> {
        let mut events = Vec::with_capacity(drafts.len());
        let mut rows = Rows::default();
        for draft in drafts {
            if !self.world.knows(&draft.stream) {
                crate::read::load(tx, &mut self.world, &draft.stream).await?;
            }
            let mut random = [0; 10];
            self.outside.random(&mut random);
            let event = Event {
                number: self.end.number + 1,
                id: uuid_v7(at, random),
                at,
                who: who.into(),
                device: device.into(),
                cause: cause.clone(),
                stream_version: self.world.version(&draft.stream) + 1,
                stream: draft.stream,
                payload: draft.payload,
                previous: self.end.hash,
            };
            let body = event.body().map_err(|error| StoreError::Event {
                number: event.number,
                error,
            })?;
            self.world.apply(&event)?;
            self.end = append(tx, &mut rows, &event, &body).await?;
            rows.fold(&self.world, &event);
            events.push(event);
        }
        rows.flush(tx).await?;
        if !events.is_empty() {
            chain_end(tx, self.end, at).await?;
        }
        Ok(events)
    }
}

/// Notes one event with its projections, to be written with the rows; the caller moves the end of the chain.
pub(crate) async fn append(
    tx: &mut AnyConnection,
    rows: &mut Rows,
    event: &Event,
    body: &str,
) -> Result<End, StoreError> {
    let hash = Hash::of(body.as_bytes());
    rows.event(event, body, &hash);
    project::project(tx, rows, event).await?;
    Ok(End {
        number: event.number,
        hash,
    })
}

/// Moves the end of the chain.
pub(crate) async fn chain_end(
    tx: &mut AnyConnection,
    end: End,
    at: Moment,
) -> Result<(), StoreError> {
    sqlx::query("UPDATE chain_end SET number = $1, hash = $2, at_ms = $3 WHERE one = 1")
        .bind(int(end.number))
        .bind(end.hash.to_string())
        .bind(at.milliseconds())
        .execute(tx)
        .await?;
    Ok(())
}

/// True if what rests on the thing of one of these events must be computed again.
pub(crate) fn corrected(events: &[Event]) -> Option<&Event> {
    events
        .iter()
        .find(|event| cascade::corrects(&event.payload))
}

/// The same error for another who waited for the same commit.
fn again(error: &StoreError) -> StoreError {
    match error {
        StoreError::Locked { seconds } => StoreError::Locked { seconds: *seconds },
        StoreError::Full => StoreError::Full,
        StoreError::ReadOnly => StoreError::ReadOnly,
        StoreError::Disk(reason) => StoreError::Disk(reason.clone()),
        StoreError::Damaged(reason) => StoreError::Damaged(reason.clone()),
        other => StoreError::Away(other.to_string()),
    }
}
