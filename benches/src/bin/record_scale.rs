//! How a record behaves when it is large. `record_scale EVENTS [FOLDER]` makes two records in the folder (the present one
//! if left out), one of 10,000 events and one of that many, measures both in one run, and removes them.
//!
//! The records are made by another process, so that the peak of memory is that of the measured work.

use benches::record::{self, Failure};
use notebook::payload::{LotCertificateCorrected, Payload, ReadingTaken, RunStarted, Slot};
use notebook::{Command, Day, Kind, Moment, Node};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};
use store::{Filter, Machine, Order, Store};

/// Events of the record that the large one is compared with.
const SMALL: u64 = 10_000;
/// Readings taken one after the other in each record.
const READINGS: usize = 1000;
/// Times that a list is asked for.
const ASKED: usize = 15;

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["make", events, folder] => runtime.block_on(make(events.parse()?, Path::new(folder))),
        [events] => runtime.block_on(measure(events.parse()?, Path::new("."))),
        [events, folder] => runtime.block_on(measure(events.parse()?, Path::new(folder))),
        _ => Err("expected: record_scale EVENTS [FOLDER]".into()),
    }
}

fn place(folder: &Path, events: u64) -> PathBuf {
    folder.join(format!("scale-{events}.record"))
}

/// The first day of the records: the last is today's past.
fn first_day() -> Result<Moment, Failure> {
    Ok("2016-01-04T08:00:00+01:00".parse()?)
}

/// Events that are handed over at once.
const TOGETHER: usize = 500;

/// Made on one core and written on another; nothing is kept beside the record itself.
async fn make(events: u64, folder: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(folder)?;
    let to = place(folder, events);
    let to = to
        .to_str()
        .ok_or("a folder with a readable name is needed")?;
    let work = Work::begins();
    let store = Store::create(to, Arc::new(Machine::new(0))).await?;
    let (send, receive) = std::sync::mpsc::sync_channel(8);
    let first_day = first_day()?;
    let maker = std::thread::spawn(move || {
        let mut part = Vec::with_capacity(TOGETHER);
        let mut sink = |event, body| -> Result<(), Failure> {
            part.push((event, body));
            if part.len() == TOGETHER {
                send.send(std::mem::replace(&mut part, Vec::with_capacity(TOGETHER)))?;
            }
            Ok(())
        };
        let made = record::write(events, first_day, &mut sink).map_err(|error| error.to_string());
        // Who receives may have failed, which is told there.
        let _ = send.send(part);
        made
    });
    let mut part = Vec::new().into_iter();
    store::fill(&store, || {
        if part.len() == 0 {
            part = receive.recv().unwrap_or_default().into_iter();
        }
        Ok(part.next())
    })
    .await?;
    store.close().await;
    let made = maker.join().map_err(|_| "the maker panicked")??;
    println!(
        "made: {} events, {} determinations, {} on the lot that is corrected, {:.0} MB; decided, evaluated, hashed and written: events {}",
        made.events,
        made.determinations,
        made.on_lot,
        std::fs::metadata(to)?.len() as f64 / 1e6,
        work.rate(made.events),
    );
    Ok(())
}

/// A record that is removed at the end, however it ends.
struct Files(Vec<PathBuf>);

impl Drop for Files {
    fn drop(&mut self) {
        for path in &self.0 {
            for end in ["", "-wal", "-shm"] {
                let _ = std::fs::remove_file(format!("{}{end}", path.display()));
            }
        }
    }
}

async fn measure(events: u64, folder: &Path) -> Result<(), Failure> {
    let mut p99 = Vec::new();
    for size in [SMALL, events] {
        let _files = Files(vec![place(folder, size)]);
        let status = std::process::Command::new(std::env::current_exe()?)
            .args(["make", &size.to_string()])
            .arg(folder)
            .status()?;
        if !status.success() {
            return Err("the record could not be made".into());
        }
        let path = place(folder, size);
        let path = path
            .to_str()
            .ok_or("a folder with a readable name is needed")?;
        let store = Store::open(path, Arc::new(Machine::new(0))).await?;
        p99.push(append(&store).await?);
        open(&store).await?;
        lists(&store).await?;
        chain(&store).await?;
        cascade(&store).await?;
        store.close().await;
        println!(
            "peak memory {}\n",
            peak().unwrap_or_else(|| "unknown".into())
        );
    }
    if let [small, large] = p99[..] {
        println!(
            "append, p99, {events} events against {SMALL}: {:.2}",
            large.as_secs_f64() / small.as_secs_f64()
        );
    }
    Ok(())
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

fn rank(times: &mut [Duration], part: f64) -> Duration {
    times.sort();
    let last = times.len().saturating_sub(1);
    times[((last as f64) * part).round() as usize]
}

/// Readings one after the other, each durable before the next.
async fn append(store: &Store) -> Result<Duration, Failure> {
    let template = store.list(&Filter::default()).await?;
    let last = template.things.first().ok_or("no determination")?;
    let mut opened = None;
    for event in store.history(&last.node, 0).await? {
        if let Payload::DeterminationOpened(p) = event.payload {
            opened = Some((*p, event.who));
        }
    }
    let (mut opened, who) = opened.ok_or("the last determination was not opened")?;
    if let notebook::payload::Plan::Assay { titrant, .. } = &mut opened.plan
        && let notebook::payload::KnownBy::Solution { by, .. } = &mut titrant.known
    {
        *by = None;
    }
    let sample = match &opened.plan {
        notebook::payload::Plan::Assay { samples, .. } => samples.first().cloned(),
        notebook::payload::Plan::Standardization { .. } => None,
    };
    // On the day when the record ends, or the bottles would be too old.
    let at = last.since;
    let mut times = Vec::new();
    let mut on = last.node.clone();
    for index in 0..READINGS {
        let run = u32::try_from(index % 40)? + 1;
        if run == 1 {
            on = Node::new(Kind::Determination, &format!("X-{index}"))?;
            submit(store, &who, at, Command::new(on.clone(), opened.clone())).await?;
        }
        let started = RunStarted {
            run,
            run_kind: titrimetry::sheet::RunKind::Replicate,
            sample: sample.clone(),
            titration: None,
            name: None,
        };
        submit(store, &who, at, Command::new(on.clone(), started)).await?;
        let reading = ReadingTaken {
            run,
            sample: None,
            reading: Slot::Initial,
            value: format!("{:.2} mL", index as f64 / 1000.0),
            refilled: false,
        };
        let start = Instant::now();
        submit(store, &who, at, Command::new(on.clone(), reading)).await?;
        times.push(start.elapsed());
    }
    let (half, high) = (rank(&mut times, 0.5), rank(&mut times, 0.99));
    println!(
        "append a reading durably: p50 {:.2} ms, p99 {:.2} ms",
        ms(half),
        ms(high)
    );
    Ok(high)
}

async fn submit(store: &Store, who: &str, at: Moment, command: Command) -> Result<(), Failure> {
    let mut order = Order::new(who, "bench 1", command);
    order.at = Some(at);
    store.submit(order).await?;
    Ok(())
}

/// Determinations from all over the record, opened and evaluated.
async fn open(store: &Store) -> Result<(), Failure> {
    let mut times = Vec::new();
    for year in 2016..2026 {
        let to: Day = format!("{year}-06-15").parse()?;
        let filter = Filter {
            to: Some(to),
            status: Some("approved".into()),
            limit: Some(20),
            ..Filter::default()
        };
        for thing in store.list(&filter).await?.things {
            let start = Instant::now();
            let evaluation = store.evaluate(&thing.node).await?;
            evaluation.outcome?;
            times.push(start.elapsed());
        }
    }
    let count = times.len();
    println!(
        "open and evaluate a determination ({count}): p50 {:.2} ms, p99 {:.2} ms",
        ms(rank(&mut times, 0.5)),
        ms(rank(&mut times, 0.99))
    );
    Ok(())
}

async fn lists(store: &Store) -> Result<(), Failure> {
    let newest = store.list(&Filter::default()).await?;
    let who = newest.things.first().map(|thing| thing.who.clone());
    let sample = newest.things.first().map(|thing| thing.title.clone());
    let bottle = Node::new(Kind::Solution, "T-00041")?;
    let one = |change: &dyn Fn(&mut Filter)| {
        let mut filter = Filter::default();
        change(&mut filter);
        filter
    };
    let code = finding(store).await?;
    let day: Day = "2019-03-01".parse()?;
    let until: Day = "2019-03-31".parse()?;
    for (name, filter) in [
        ("newest", Filter::default()),
        ("by bottle", one(&|f| f.rests_on = Some(bottle.clone()))),
        (
            "by lot, through bottles",
            one(&|f| f.rests_on = record::busiest_lot().ok()),
        ),
        ("by analyst", one(&|f| f.who.clone_from(&who))),
        (
            "by date",
            one(&|f| (f.from, f.to) = (Some(day), Some(until))),
        ),
        ("by finding", one(&|f| f.finding.clone_from(&code))),
        (
            "by lot and analyst",
            one(&|f| {
                f.rests_on = record::busiest_lot().ok();
                f.who.clone_from(&who);
            }),
        ),
        (
            "by a word that many have",
            one(&|f| f.search = Some("vinegar".into())),
        ),
        (
            "by the beginning of a word",
            one(&|f| f.search = Some("vin".into())),
        ),
        ("by two words", one(&|f| f.search.clone_from(&sample))),
    ] {
        let mut times = Vec::new();
        let mut found = 0;
        for _ in 0..ASKED {
            let start = Instant::now();
            found = store.list(&filter).await?.things.len();
            times.push(start.elapsed());
        }
        let most = rank(&mut times, 1.0);
        println!(
            "list {name}: {:.2} ms, at most {:.2} ms ({found} lines)",
            ms(rank(&mut times, 0.5)),
            ms(most)
        );
    }
    Ok(())
}

/// A finding that some determination has.
async fn finding(store: &Store) -> Result<Option<String>, Failure> {
    let filter = Filter {
        status: Some("approved".into()),
        limit: Some(200),
        ..Filter::default()
    };
    for thing in store.list(&filter).await?.things {
        if let Some(found) = store
            .evaluate(&thing.node)
            .await?
            .outcome?
            .findings()
            .first()
        {
            return Ok(Some(found.code.to_string()));
        }
    }
    Err("no determination has a finding".into())
}

async fn chain(store: &Store) -> Result<(), Failure> {
    let work = Work::begins();
    let checked = store.check().await?;
    if let Some(broken) = checked.broken {
        return Err(format!("event {}: {}", broken.number, broken.what).into());
    }
    println!("check the chain: events {}", work.rate(checked.events));
    let work = Work::begins();
    if let Some(difference) = store.check_lists().await?.first() {
        return Err(difference.to_string().into());
    }
    println!("check the lists: events {}", work.rate(checked.events));
    Ok(())
}

/// First computed and not written, then for good.
async fn cascade(store: &Store) -> Result<(), Failure> {
    let lot = record::busiest_lot()?;
    let world = store.world(std::slice::from_ref(&lot)).await?;
    let mut certificate = world
        .lot(&lot)
        .and_then(|lot| lot.certificate.clone())
        .ok_or("the lot has no certificate")?;
    if let Some(stated) = &mut certificate.concentration {
        stated.value = "0.10014 mol/L".parse()?;
    }
    let work = Work::begins();
    let dependents = store.dependents(&lot).await?.len() as u64;
    println!("find {dependents} dependents: {}", work.rate(dependents));
    let work = Work::begins();
    store.changes_after(&lot).await?;
    println!(
        "cascade over {dependents} results, read, folded and evaluated: {}",
        work.rate(dependents)
    );
    let correction = LotCertificateCorrected {
        certificate,
        was: None,
        reason: "two digits swapped when it was entered".into(),
    };
    let at = store
        .list(&Filter::default())
        .await?
        .things
        .first()
        .map(|t| t.since);
    let at = at.ok_or("no determination")?;
    let before = store.end().await?.0;
    let work = Work::begins();
    submit(store, "fennel", at, Command::new(lot, correction)).await?;
    println!(
        "  with its {} events written: {}",
        store.end().await?.0 - before,
        work.rate(dependents)
    );
    Ok(())
}

/// Processor time that all threads of this process used so far, in seconds (proc(5): fields 14 and 15 of stat, in
/// hundredths); none where the system does not tell.
fn processor() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let (_, after_name) = stat.rsplit_once(')')?;
    let fields: Vec<&str> = after_name.split_whitespace().collect();
    let ticks = |at: usize| fields.get(at)?.parse::<f64>().ok();
    Some((ticks(11)? + ticks(12)?) / 100.0)
}

/// What a piece of work took: by the clock, and how busy it kept processors.
struct Work {
    start: Instant,
    processor: Option<f64>,
}

impl Work {
    fn begins() -> Self {
        Self {
            start: Instant::now(),
            processor: processor(),
        }
    }

    /// So many things a second; and what one core would do if it had nothing else to do.
    fn rate(&self, count: u64) -> String {
        let clock = count as f64 / self.start.elapsed().as_secs_f64();
        let busy = self.processor.zip(processor()).map(|(a, b)| b - a);
        match busy {
            Some(busy) if busy > 0.0 => format!(
                "{clock:.0}/s ({:.0} for each second of one core)",
                count as f64 / busy
            ),
            _ => format!("{clock:.0}/s"),
        }
    }
}

/// The most memory that this process ever held, as the system counts it.
fn peak() -> Option<String> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(line.trim().to_string())
}
