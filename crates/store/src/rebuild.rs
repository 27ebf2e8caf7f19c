//! Makes the projections again from the events.

use crate::error::StoreError;
use crate::folding::Folding;
use crate::place::Place;
use crate::project::{self, TABLES};
use crate::rows::Rows;
use notebook::Event;
use sqlx::AssertSqlSafe;
use sqlx::{AnyConnection, AnyPool};

/// Events read at a time.
const AT_A_TIME: i64 = 2_000;

/// Empties the projections and fills them again, in one transaction. Gives the number of events.
pub(crate) async fn rebuild(pool: &AnyPool, place: &Place) -> Result<u64, StoreError> {
    let begin = if place.is_file() {
        "BEGIN IMMEDIATE"
    } else {
        "BEGIN"
    };
    let mut tx = pool.begin_with(begin).await?;
    // Nobody writes meanwhile.
    sqlx::query("UPDATE chain_end SET number = number WHERE one = 1")
        .execute(&mut *tx)
        .await?;
    for table in TABLES {
        sqlx::query(AssertSqlSafe(format!("DELETE FROM {table}")))
            .execute(&mut *tx)
            .await?;
    }
    let count = replay(&mut tx).await?;
    tx.commit().await?;
    Ok(count)
}

async fn replay(tx: &mut AnyConnection) -> Result<u64, StoreError> {
    let mut after = 0;
    let mut count = 0;
    let mut rows = Rows::default();
    let mut folding = Folding::default();
    loop {
        let bodies = crate::read::bodies(tx, after, after + AT_A_TIME).await?;
        let Some((last, _)) = bodies.last() else {
            rows.flush(tx).await?;
            return Ok(count);
        };
        after = project::int(*last);
        for (number, body) in bodies {
            let event = Event::read(&body).map_err(|error| StoreError::Event { number, error })?;
            folding.follow(tx, &mut rows, &event).await?;
            project::project(tx, &mut rows, &event).await?;
            count += 1;
        }
        rows.flush(tx).await?;
    }
}

/// The rows of the projections as text, sorted: to compare them.
pub(crate) async fn rows(pool: &AnyPool) -> Result<Vec<String>, StoreError> {
    use sqlx::{Column, Row, ValueRef};
    let mut all = Vec::new();
    let mut db = pool.acquire().await?;
    for table in TABLES {
        let rows = sqlx::query(AssertSqlSafe(format!("SELECT * FROM {table}")))
            .fetch_all(&mut *db)
            .await?;
        for row in rows {
            let mut text = format!("{table}:");
            for column in row.columns() {
                let at = column.ordinal();
                let value = if row.try_get_raw(at)?.is_null() {
                    "-".to_string()
                } else if let Ok(value) = row.try_get::<String, _>(at) {
                    value
                } else if let Ok(value) = row.try_get::<i64, _>(at) {
                    value.to_string()
                } else if let Ok(value) = row.try_get::<i16, _>(at) {
                    value.to_string()
                } else {
                    row.try_get::<f64, _>(at)?.to_string()
                };
                text.push_str(&format!(" {}={value:?}", column.name()));
            }
            all.push(text);
        }
    }
    all.sort();
    Ok(all)
}
