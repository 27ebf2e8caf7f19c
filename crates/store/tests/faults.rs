//! Faults, made to happen: processes killed while they write, files locked, read-only or full, a log copied half way,
//! a server that cuts connections, a clock that goes back.
//!
//! `HALFDROP_KILLS` sets the number of kills (500 in the full test).
#![allow(clippy::unwrap_used)]

mod common;

use common::server::Server;
use common::{Folder, demo, first_day, node, postgres};
use notebook::payload::Remarked;
use notebook::{Command, Node};
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::process::{Command as Process, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::time::{Duration, Instant};
use store::{Machine, Order, Store, StoreError, Told};

fn open_determination() -> Node {
    node("determination/D-0005")
}

fn remark(text: &str) -> Command {
    let text = text.into();
    Command::new(open_determination(), Remarked { run: None, text })
}

async fn opened(place: &str) -> Store {
    Store::open(place, Arc::new(Machine::new(0))).await.unwrap()
}

/// The other process: writes without end and says each key once it is taken. Started by the tests below; alone it does
/// nothing.
#[test]
fn other_process() {
    let Ok(place) = std::env::var("HALFDROP_TEST_CHILD") else {
        return;
    };
    let name = std::env::var("HALFDROP_TEST_NAME").unwrap();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let store = match Store::open(&place, Arc::new(Machine::new(0))).await {
            Ok(store) => store,
            Err(error) => {
                println!("ERROR {error}");
                return;
            }
        };
        for n in 0..1_000_000 {
            let mut together = Vec::new();
            for bench in 0..4 {
                let key = format!("{name}/{bench}/{n}");
                let order = Order::new("marsh", "tablet", remark(&key)).keyed(key.clone());
                let store = store.clone();
                together.push(tokio::spawn(
                    async move { (key, store.submit(order).await) },
                ));
            }
            for task in together {
                match task.await.unwrap() {
                    (key, Ok(_)) => println!("TAKEN {key}"),
                    (_, Err(error)) => {
                        println!("ERROR {error}");
                        return;
                    }
                }
            }
        }
    });
}

fn child(place: &str, name: &str) -> Process {
    let mut process = Process::new(std::env::current_exe().unwrap());
    process
        .args(["--exact", "other_process", "--nocapture"])
        .env("HALFDROP_TEST_CHILD", place)
        .env("HALFDROP_TEST_NAME", name)
        .stdout(Stdio::piped())
        .stderr(Stdio::null());
    process
}

/// Runs the other process for a while and kills it; gives the keys that it said were taken.
fn killed(place: &str, name: &str, after: Duration) -> Vec<String> {
    let mut process = child(place, name).spawn().unwrap();
    let out = process.stdout.take().unwrap();
    let reader = std::thread::spawn(move || {
        BufReader::new(out)
            .lines()
            .map_while(Result::ok)
            .filter_map(|line| line.split_once("TAKEN ").map(|(_, key)| key.to_string()))
            .collect::<Vec<_>>()
    });
    std::thread::sleep(after);
    // SIGKILL on Unix.
    process.kill().unwrap();
    process.wait().unwrap();
    reader.join().unwrap()
}

async fn keys(store: &Store) -> Vec<String> {
    let events = store.history(&open_determination(), 0).await.unwrap();
    events
        .into_iter()
        .filter_map(|event| event.cause.command)
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kill_at_any_moment_loses_nothing_that_was_taken() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    demo(&place).await.close().await;
    let rounds: u32 = std::env::var("HALFDROP_KILLS").map_or(24, |n| n.parse().unwrap());
    let mut taken = Vec::new();
    let mut state = 88_172_645_463_325_252_u64;
    for round in 0..rounds {
        // Marsaglia's xorshift: moments that differ from round to round.
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        let after = Duration::from_micros(30_000 + state % 220_000);
        taken.extend(killed(&place, &format!("r{round}"), after));
    }
    assert!(
        taken.len() > rounds as usize,
        "only {} were taken",
        taken.len()
    );
    let store = opened(&place).await;
    let checked = store.check().await.unwrap();
    assert_eq!(checked.broken, None);
    let found = keys(&store).await;
    let unique: BTreeSet<&String> = found.iter().collect();
    assert_eq!(unique.len(), found.len(), "a command was taken twice");
    for key in &taken {
        assert!(unique.contains(key), "{key} was taken and is lost");
    }
    let before = store.projected().await.unwrap();
    store.rebuild().await.unwrap();
    assert_eq!(store.projected().await.unwrap(), before);
}

/// A power cut: the file and its log as they are at some moment, the log cut at any byte.
#[tokio::test(flavor = "multi_thread")]
async fn a_log_cut_at_any_byte_leaves_a_whole_record() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    let store = demo(&place).await;
    let mut after = Vec::new();
    for n in 0..30 {
        store
            .submit(Order::new("marsh", "tablet", remark(&format!("{n}"))))
            .await
            .unwrap();
        after.push(store.end().await.unwrap());
    }
    let log = std::fs::read(format!("{place}-wal")).unwrap();
    let file = std::fs::read(&place).unwrap();
    assert!(log.len() > 100_000, "{}", log.len());
    let mut last = 0;
    for part in 1..=12 {
        let cut = log.len() * part / 12 - if part < 12 { 137 * part % 4096 } else { 0 };
        let copy = folder.file(&format!("cut-{part}.record"));
        std::fs::write(&copy, &file).unwrap();
        std::fs::write(format!("{copy}-wal"), &log[..cut]).unwrap();
        let store = match Store::open(&copy, Arc::new(Machine::new(0))).await {
            Ok(store) => store,
            // Cut before the first commit there is no record yet, and it is said so.
            Err(StoreError::NotARecord { .. }) => continue,
            Err(error) => panic!("cut at {cut}: {error}"),
        };
        let checked = store.check().await.unwrap();
        assert_eq!(checked.broken, None, "cut at {cut}");
        assert!(checked.events >= last);
        last = checked.events;
        store.close().await;
    }
    assert_eq!(last, after.last().unwrap().0, "the whole log holds all");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_locked_by_another_is_said_to_be() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    let store = demo(&place).await;
    let end = store.end().await.unwrap();
    let pool = sqlx::AnyPool::connect(&format!("sqlite:{place}"))
        .await
        .unwrap();
    let lock = pool.begin_with("BEGIN IMMEDIATE").await.unwrap();
    let order = Order::new("marsh", "tablet", remark("waits")).keyed("once");
    let error = store.submit(order.clone()).await.unwrap_err();
    assert!(matches!(error, StoreError::Locked { .. }), "{error}");
    assert!(error.to_string().contains("close what else"), "{error}");
    assert_eq!(store.end().await.unwrap(), end);
    lock.rollback().await.unwrap();
    store.submit(order).await.unwrap();
    assert_eq!(store.end().await.unwrap().0, end.0 + 1);
}

/// Limits the size of files for the other process: writing fails as it does on a full disk.
#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_loses_nothing_that_was_taken() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    demo(&place).await.close().await;
    let size = std::fs::metadata(&place).unwrap().len();
    // In blocks of 512 bytes (POSIX), a little more than is there; the signal is ignored, so that writing reports it.
    let blocks = size / 512 + 200;
    let exe = child(&place, "full");
    let mut limited = Process::new("sh");
    limited
        .arg("-c")
        .arg(format!(
            "trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" --exact other_process --nocapture"
        ))
        .arg(exe.get_program())
        .env("HALFDROP_TEST_CHILD", &place)
        .env("HALFDROP_TEST_NAME", "full");
    let output = limited.output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let taken: Vec<&str> = text
        .lines()
        .filter_map(|l| l.split_once("TAKEN ").map(|(_, key)| key))
        .collect();
    let told = text
        .lines()
        .find_map(|l| l.split_once("ERROR ").map(|(_, e)| e.to_string()));
    let told = told.unwrap_or_else(|| panic!("no error: {text}"));
    assert!(told.contains("nothing was saved"), "{told}");
    let store = opened(&place).await;
    assert_eq!(store.check().await.unwrap().broken, None);
    let found = keys(&store).await;
    assert!(taken.iter().all(|key| found.iter().any(|k| k == key)));
    store
        .submit(Order::new("marsh", "tablet", remark("room again")))
        .await
        .unwrap();
}

/// A record whose file and folder may be read and not written. Root may write everything, so root asks as another user.
#[cfg(unix)]
#[tokio::test(flavor = "multi_thread")]
async fn a_read_only_file_says_so() {
    use std::os::unix::fs::PermissionsExt;
    let folder = Folder::new();
    let place = folder.file("bench.record");
    demo(&place).await.close().await;
    let before = std::fs::read(&place).unwrap();
    let mode = |path: &std::path::Path, bits| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(bits)).unwrap();
    };
    mode(place.as_ref(), 0o444);
    mode(&folder.0, 0o555);
    let user = Process::new("id").arg("-u").output().unwrap().stdout;
    let direct = child(&place, "read-only");
    let root = String::from_utf8(user).unwrap().trim() == "0";
    let mut process = if root {
        let mut other = Process::new("setpriv");
        other
            .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
            .arg(direct.get_program())
            .args(direct.get_args())
            .env("HALFDROP_TEST_CHILD", &place)
            .env("HALFDROP_TEST_NAME", "read-only");
        other
    } else {
        direct
    };
    let output = process.output();
    mode(&folder.0, 0o755);
    let text = output.map(|o| String::from_utf8(o.stdout).unwrap());
    let text = match text {
        Ok(text) if !root || text.contains("running 1 test") => text,
        _ => {
            eprintln!("skipped: root may write everything, and no other user may run this program");
            return;
        }
    };
    assert!(!text.contains("TAKEN"), "{text}");
    let told = text.lines().find_map(|l| l.split_once("ERROR "));
    let (_, told) = told.unwrap_or_else(|| panic!("no error: {text}"));
    assert!(told.contains("check its permissions"), "{told}");
    assert_eq!(std::fs::read(&place).unwrap(), before);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_goes_back_is_noted_and_changes_no_order() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    let store = demo(&place).await;
    store.close().await;
    let clock = Arc::new(Told::at(first_day(), 3));
    let store = Store::open(&place, clock).await.unwrap();
    let before = store.end().await.unwrap().0;
    store
        .submit(Order::new("marsh", "tablet", remark("a week ago")))
        .await
        .unwrap();
    let checked = store.check().await.unwrap();
    assert_eq!((checked.broken, checked.events), (None, before + 1));
    assert_eq!(checked.notes.len(), 1);
    assert!(
        checked.notes[0].contains("the clock went back"),
        "{:?}",
        checked.notes
    );
}

/// The server is stopped in the middle of transactions, stays away, and is started again.
#[tokio::test(flavor = "multi_thread")]
async fn a_server_stopped_and_started_again_loses_nothing_that_was_taken() {
    let Some(server) = Server::start() else {
        eprintln!("skipped: no PostgreSQL is installed here");
        return;
    };
    let store = demo(&server.url()).await;
    // The benches write until the last start, however quick they are.
    let over = Arc::new(AtomicBool::new(false));
    let noticed = Arc::new(AtomicU32::new(0));
    let mut benches = Vec::new();
    for bench in 0..4 {
        let (store, over, noticed) = (store.clone(), Arc::clone(&over), Arc::clone(&noticed));
        benches.push(tokio::spawn(async move {
            let (mut taken, mut failed) = (Vec::new(), 0);
            for n in 0.. {
                if over.load(Ordering::Relaxed) {
                    break;
                }
                let key = format!("{bench}/{n}");
                // Safe to do again with the same key.
                loop {
                    let order = Order::new("marsh", "tablet", remark(&key)).keyed(key.clone());
                    match store.submit(order).await {
                        Ok(_) => {
                            taken.push(key);
                            break;
                        }
                        Err(StoreError::Away(_)) => {
                            failed += 1;
                            noticed.fetch_add(1, Ordering::Relaxed);
                            tokio::time::sleep(Duration::from_millis(50)).await;
                        }
                        Err(error) => panic!("{error}"),
                    }
                }
            }
            (taken, failed)
        }));
    }
    // Immediate: no transaction is ended in peace, the server recovers from its log when it starts.
    for how in ["immediate", "fast", "immediate"] {
        tokio::time::sleep(Duration::from_millis(150)).await;
        let before = noticed.load(Ordering::Relaxed);
        server.stop(how);
        // It stays away until a bench was told: on a busy machine one may wait for a connection longer than a moment.
        while noticed.load(Ordering::Relaxed) == before {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        server.again();
        // Until something is taken again; asking may meet a connection that is dead.
        let mut first = None;
        loop {
            tokio::time::sleep(Duration::from_millis(20)).await;
            let Ok((end, _)) = store.end().await else {
                continue;
            };
            if end >= *first.get_or_insert(end) + 8 {
                break;
            }
        }
    }
    over.store(true, Ordering::Relaxed);
    let (mut taken, mut failures) = (Vec::new(), 0);
    for bench in benches {
        let (keys, failed) = bench.await.unwrap();
        taken.extend(keys);
        failures += failed;
    }
    assert!(failures >= 3, "{failures} of three stops were noticed");
    assert!(taken.len() >= 24, "only {} were taken", taken.len());
    assert_eq!(store.check().await.unwrap().broken, None);
    let found = keys(&store).await;
    let unique: BTreeSet<&String> = found.iter().collect();
    assert_eq!(unique.len(), found.len(), "a command was taken twice");
    assert!(taken.iter().all(|key| unique.contains(key)));
    store.close().await;
}

/// The server cuts every connection while four benches write.
#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_cuts_connections_loses_nothing_that_was_taken() {
    let Some(place) = postgres().await else {
        return;
    };
    let store = demo(&place).await;
    let server = std::env::var("HALFDROP_TEST_POSTGRES").unwrap();
    sqlx::any::install_default_drivers();
    let knife = sqlx::AnyPool::connect(&server).await.unwrap();
    let schema = place.split("search_path%3D").nth(1).unwrap().to_string();
    let enough = Arc::new(AtomicBool::new(false));
    let mut benches = Vec::new();
    for bench in 0..4 {
        let (store, enough) = (store.clone(), Arc::clone(&enough));
        benches.push(tokio::spawn(async move {
            let mut taken = Vec::new();
            // Until connections were cut in the middle of what they did, however quick the machine is.
            for n in 0.. {
                if n >= 40 && enough.load(Ordering::Relaxed) {
                    break;
                }
                let key = format!("{bench}/{n}");
                // Safe to do again with the same key.
                for _ in 0..50 {
                    let order = Order::new("marsh", "tablet", remark(&key)).keyed(key.clone());
                    match store.submit(order).await {
                        Ok(_) => {
                            taken.push(key.clone());
                            break;
                        }
                        Err(StoreError::Away(_)) => {
                            tokio::time::sleep(Duration::from_millis(20)).await;
                        }
                        Err(error) => panic!("{error}"),
                    }
                }
            }
            taken
        }));
    }
    let mut cuts = 0;
    let until = Instant::now() + Duration::from_secs(60);
    while cuts < 8 && Instant::now() < until {
        tokio::time::sleep(Duration::from_millis(7)).await;
        // Only the connections of this record: other tests use the same server.
        let cut =
            "SELECT CAST(COUNT(pg_terminate_backend(a.pid)) AS BIGINT) FROM pg_stat_activity a
                   JOIN pg_locks l ON l.pid = a.pid JOIN pg_class c ON c.oid = l.relation
                   JOIN pg_namespace n ON n.oid = c.relnamespace
                   WHERE n.nspname = $1 AND a.pid <> pg_backend_pid()";
        let cut: i64 = sqlx::query_scalar(cut)
            .bind(&schema)
            .fetch_one(&knife)
            .await
            .unwrap();
        cuts += cut;
    }
    enough.store(true, Ordering::Relaxed);
    assert!(cuts >= 8, "{cuts} connections were cut in the middle");
    let mut taken = Vec::new();
    for bench in benches {
        let keys = bench.await.unwrap();
        assert!(keys.len() >= 40, "{}", keys.len());
        taken.extend(keys);
    }
    assert_eq!(store.check().await.unwrap().broken, None);
    let found = keys(&store).await;
    let unique: BTreeSet<&String> = found.iter().collect();
    assert_eq!(unique.len(), found.len(), "a command was taken twice");
    assert!(taken.iter().all(|key| unique.contains(key)));
}
