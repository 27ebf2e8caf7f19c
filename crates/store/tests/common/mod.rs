//! One suite for both databases: every test runs on a fresh file, and on a fresh PostgreSQL schema if
//! `HALFDROP_TEST_POSTGRES` names a server.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used)] // Each test file uses its part.

pub mod server;

use notebook::{Moment, Node};
use sqlx::{Connection, Executor};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};
use store::{Store, build_demo};

/// A folder that goes when the test ends.
pub struct Folder(pub PathBuf);

static COUNT: AtomicU32 = AtomicU32::new(0);

impl Folder {
    pub fn new() -> Self {
        let n = COUNT.fetch_add(1, Ordering::SeqCst);
        let path = std::env::temp_dir().join(format!("halfdrop-store-{}-{n}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub fn file(&self, name: &str) -> String {
        self.0.join(name).to_str().unwrap().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The places of one test.
pub async fn places(folder: &Folder) -> Vec<String> {
    let mut places = vec![folder.file("bench.record")];
    if let Some(url) = postgres().await {
        places.push(url);
    }
    places
}

/// A fresh schema on the server of the tests, if there is one.
pub async fn postgres() -> Option<String> {
    let server = std::env::var("HALFDROP_TEST_POSTGRES").ok()?;
    let n = COUNT.fetch_add(1, Ordering::SeqCst);
    let schema = format!("t{}_{n}", std::process::id());
    let mut connection = sqlx::PgConnection::connect(&server).await.unwrap();
    connection
        .execute(sqlx::AssertSqlSafe(format!("CREATE SCHEMA {schema}")))
        .await
        .unwrap();
    let sign = if server.contains('?') { '&' } else { '?' };
    Some(format!("{server}{sign}options=-c%20search_path%3D{schema}"))
}

pub fn first_day() -> Moment {
    "2026-03-09T08:00:00+01:00".parse().unwrap()
}

pub fn node(text: &str) -> Node {
    text.parse().unwrap()
}

pub async fn demo(place: &str) -> Store {
    build_demo(place, 1, first_day()).await.unwrap()
}

/// The database beneath a record, past the store.
pub async fn beneath(place: &str) -> sqlx::AnyPool {
    sqlx::any::install_default_drivers();
    let url = match place.starts_with("postgres") {
        true => place.to_string(),
        false => format!("sqlite:{place}"),
    };
    // One connection: what it changes of the layout, another may not have seen yet.
    let one = sqlx::any::AnyPoolOptions::new().max_connections(1);
    one.connect(&url).await.unwrap()
}

/// A photograph attached to the open determination.
pub async fn attach(store: &Store, bytes: &[u8]) -> notebook::Hash {
    let hash = store.keep_file(bytes.to_vec()).await.unwrap();
    let attached = notebook::payload::FileAttached {
        run: None,
        reading: None,
        name: "meniscus, run 2.png".into(),
        media_type: "image/png".into(),
        sha256: hash.to_string(),
        bytes: bytes.len() as u64,
    };
    let command = notebook::Command::new(node("determination/D-0005"), attached);
    store
        .submit(store::Order::new("marsh", "tablet", command))
        .await
        .unwrap();
    hash
}
