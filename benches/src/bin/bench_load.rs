//! How quickly the bench answers. `bench_load PROGRAM [BENCHES] [SECONDS]` starts the program on records of its own and
//! measures: start to first byte, idle memory, the page of a determination, news of another tablet, and readings of many
//! benches at once, first at the pace of people, then as quickly as they are taken.

use benches::http::{Client, Failure};
use hyper::StatusCode;
use std::fmt::Write;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::Barrier;
use tokio::task::JoinHandle;
use tokio::time::sleep;

/// A person reads, types and looks again for so long, in milliseconds: least, and what is added by chance.
const THINK: (u64, u64) = (1500, 3000);
/// Times that a start is measured.
const STARTS: usize = 11;
/// Steps of a set of six runs: begin, mass, initial, final; then the bench opens its next determination.
const STEPS: u64 = 24;
/// Times that a page is asked for.
const PAGES: usize = 200;

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |at: usize, else_: u64| {
        arguments
            .get(at)
            .map_or(Ok(else_), |text| text.parse::<u64>())
    };
    let program = arguments
        .first()
        .ok_or("expected: bench_load PROGRAM [BENCHES] [SECONDS]")?;
    let (benches, seconds) = (number(1, 200)?, number(2, 60)?);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    runtime.block_on(measure(program, benches, Duration::from_secs(seconds)))
}

/// A server that is stopped at the end, however it ends.
struct Server {
    process: Child,
    host: String,
}

impl Server {
    fn start(program: &str, record: &[&str]) -> Result<Self, Failure> {
        let mut process = Command::new(program)
            .args(["serve", "--no-browser", "--who", "sorrel", "--port", "0"])
            .args(record)
            .stdout(Stdio::piped())
            .spawn()?;
        let mut said = String::new();
        let out = process.stdout.take().ok_or("the program says nothing")?;
        BufReader::new(out).read_line(&mut said)?;
        let host = said
            .split("http://")
            .nth(1)
            .and_then(|rest| rest.split('/').next())
            .ok_or("the program names no address")?
            .to_string();
        Ok(Self { process, host })
    }

    /// Resident memory, MB (Linux).
    fn memory(&self) -> Result<f64, Failure> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.process.id()))?;
        let line = status
            .lines()
            .find_map(|line| line.strip_prefix("VmRSS:"))
            .ok_or("no VmRSS")?;
        let kilobytes: f64 = line.split_whitespace().next().unwrap_or("0").parse()?;
        Ok(kilobytes / 1024.0)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// Times, sorted.
struct Times(Vec<Duration>);

impl Times {
    fn of(mut times: Vec<Duration>) -> Self {
        times.sort_unstable();
        Self(times)
    }

    fn at(&self, share: f64) -> f64 {
        let last = self.0.len().saturating_sub(1);
        let place = (share * last as f64).ceil() as usize;
        self.0
            .get(place)
            .map_or(f64::NAN, |t| 1000.0 * t.as_secs_f64())
    }

    fn words(&self) -> String {
        format!(
            "p50 {:.1} ms, p99 {:.1} ms, at most {:.1} ms ({} times)",
            self.at(0.5),
            self.at(0.99),
            self.at(1.0),
            self.0.len()
        )
    }
}

async fn measure(program: &str, benches: u64, length: Duration) -> Result<(), Failure> {
    let folder = tempfile::tempdir()?;
    let demo = folder.path().join("demo.record");
    let demo = demo.to_str().ok_or("a folder with a readable name")?;
    let made = Command::new(program)
        .args(["record", "demo", demo])
        .stdout(Stdio::null())
        .status()?;
    if !made.success() {
        return Err("the demo record cannot be made".into());
    }

    let mut starts = Vec::new();
    for _ in 0..STARTS {
        let start = Instant::now();
        let server = Server::start(program, &["--record", demo])?;
        Client::connect(&server.host).await?.get("/", false).await?;
        starts.push(start.elapsed());
    }
    println!("start to the first page: {}", Times::of(starts).words());

    let server = Server::start(program, &["--record", demo])?;
    let mut client = Client::connect(&server.host).await?;
    client.get("/", false).await?;
    sleep(Duration::from_secs(1)).await;
    println!(
        "memory, idle after the first page: {:.0} MB",
        server.memory()?
    );
    for path in ["/determinations/D-0001", "/determinations/D-0005"] {
        let (mut times, mut length) = (Vec::new(), 0);
        for _ in 0..PAGES {
            let start = Instant::now();
            let (status, page) = client.get(path, false).await?;
            times.push(start.elapsed());
            if status != StatusCode::OK {
                return Err(format!("{path}: {status}").into());
            }
            length = page.len();
        }
        println!(
            "{path}: {}, {:.0} kB",
            Times::of(times).words(),
            length as f64 / 1000.0
        );
    }
    println!(
        "news of another tablet: {}",
        news(&server.host).await?.words()
    );
    println!("memory after that: {:.0} MB", server.memory()?);
    drop(server);

    for (name, think) in [
        ("at the pace of people", true),
        ("as quickly as taken", false),
    ] {
        let place = folder.path().join(format!("load-{think}.record"));
        std::fs::copy(demo, &place)?;
        let place = place.to_str().ok_or("a folder with a readable name")?;
        let server = Server::start(program, &["--record", place])?;
        let load = load(&server.host, benches, length, think).await?;
        println!(
            "{benches} benches {name}, {:.0} s: {:.0} readings/s; reading durable and confirmed: {}; page after it: {}; failed: {}; memory {:.0} MB",
            length.as_secs_f64(),
            load.readings.0.len() as f64 / length.as_secs_f64(),
            load.readings.words(),
            load.pages.words(),
            load.failed,
            server.memory()?
        );
    }
    Ok(())
}

/// From the moment a reading is sent until another tablet has drawn the page with it.
async fn news(host: &str) -> Result<Times, Failure> {
    let on = "determination/D-0005";
    let mut live = Client::connect(host).await?.live(on).await?;
    let (mut writer, mut other) = (Client::connect(host).await?, Client::connect(host).await?);
    let mut times = Vec::new();
    for n in 0..50 {
        let text = format!("remark number {n}");
        let command = format!(
            "{{\"on\":\"{on}\",\"kind\":\"remarked\",\"payload\":{{\"text\":\"{text}\"}}}}"
        );
        let start = Instant::now();
        let (sent, told) = tokio::join!(writer.command(&command), live.next());
        let (status, answer) = sent?;
        if status != StatusCode::OK || told.is_none() {
            return Err(format!("{status}: {}", String::from_utf8_lossy(&answer)).into());
        }
        let (_, page) = other.get("/determinations/D-0005", true).await?;
        times.push(start.elapsed());
        if !String::from_utf8_lossy(&page).contains(&text) {
            return Err("the page lacks what was told".into());
        }
    }
    Ok(Times::of(times))
}

struct Load {
    readings: Times,
    pages: Times,
    failed: usize,
}

/// So many benches, each a standardization of its own, all beginning at once.
async fn load(host: &str, benches: u64, length: Duration, think: bool) -> Result<Load, Failure> {
    let ready = Arc::new(Barrier::new(usize::try_from(benches)?));
    let mut people = tokio::task::JoinSet::new();
    for bench in 0..benches {
        let (host, ready) = (host.to_string(), Arc::clone(&ready));
        people.spawn(async move { person(&host, bench, &ready, length, think).await });
    }
    let (mut readings, mut pages, mut failed) = (Vec::new(), Vec::new(), 0);
    while let Some(done) = people.join_next().await {
        let work = done??;
        readings.extend(work.readings);
        pages.extend(work.pages);
        failed += work.failed;
    }
    Ok(Load {
        readings: Times::of(readings),
        pages: Times::of(pages),
        failed,
    })
}

#[derive(Default)]
struct Work {
    readings: Vec<Duration>,
    pages: Vec<Duration>,
    failed: usize,
}

/// One bench: begins a run, weighs, reads the burette twice, and so on; after each reading the page is drawn anew, and a
/// stream of changes is open all the time, as in a browser.
async fn person(
    host: &str,
    bench: u64,
    ready: &Barrier,
    length: Duration,
    think: bool,
) -> Result<Work, Failure> {
    let mut client = Client::connect(host).await?;
    let mut dice = 0x9e37_79b9_7f4a_7c15 ^ (bench + 1).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let mut chance = move || {
        dice ^= dice << 13;
        dice ^= dice >> 7;
        dice ^= dice << 17;
        dice
    };
    let mut work = Work::default();
    let mut watching = begin(host, &mut client, bench, 0).await?;
    ready.wait().await;
    let end = Instant::now() + length;
    let mut step = 0_u64;
    while Instant::now() < end {
        if think {
            sleep(Duration::from_millis(THINK.0 + chance() % THINK.1)).await;
        }
        let (set, within) = (step / STEPS, step % STEPS);
        if set > 0 && within == 0 {
            watching.abort();
            watching = begin(host, &mut client, bench, set).await?;
        }
        let run = within / 4 + 1;
        let name = name(bench, set);
        let mut command = format!("{{\"on\":\"determination/{name}\",\"key\":\"{bench}/{step}\",");
        let reading = |command: &mut String, slot: &str, value: String| {
            let _ = write!(
                command,
                "\"kind\":\"reading-taken\",\"payload\":{{\"run\":{run},\"reading\":\"{slot}\",\"value\":\"{value}\"}}}}"
            );
        };
        match within % 4 {
            0 => {
                let _ = write!(
                    command,
                    "\"kind\":\"run-started\",\"payload\":{{\"run\":{run},\"run_kind\":\"replicate\"}}}}"
                );
            }
            1 => reading(&mut command, "mass", format!("0.51{:02} g", chance() % 9)),
            2 => reading(&mut command, "initial", format!("0.{:02} mL", chance() % 9)),
            _ => reading(
                &mut command,
                "final",
                format!("25.{:02} mL", 10 + chance() % 9),
            ),
        }
        let start = Instant::now();
        let (status, answer) = client.command(&command).await?;
        if within % 4 > 0 {
            work.readings.push(start.elapsed());
        }
        if status != StatusCode::OK {
            work.failed += 1;
            eprintln!("{status}: {}", String::from_utf8_lossy(&answer));
        }
        let start = Instant::now();
        let (status, _) = client.get(&format!("/determinations/{name}"), true).await?;
        work.pages.push(start.elapsed());
        if status != StatusCode::OK {
            work.failed += 1;
        }
        step += 1;
    }
    watching.abort();
    Ok(work)
}

fn name(bench: u64, set: u64) -> String {
    format!("L-{bench:03}-{set:03}")
}

/// Opens the next determination of a bench and follows its changes.
async fn begin(
    host: &str,
    client: &mut Client,
    bench: u64,
    set: u64,
) -> Result<JoinHandle<()>, Failure> {
    let on = format!("determination/{}", name(bench, set));
    let opened = format!(
        "{{\"on\":\"{on}\",\"kind\":\"determination-opened\",\"payload\":{{\"title\":\"load {bench}\",\"burette\":\"apparatus/B-3\",\"balance\":\"apparatus/W-2\",\"conditions\":{{\"temperature\":\"21 degC\"}},\"plan\":{{\"of\":\"standardization\",\"sought\":\"solution/T-0117\",\"place\":\"burette\",\"known\":{{\"lot\":\"lot/S-0041\"}}}}}}}}"
    );
    let (status, answer) = client.command(&opened).await?;
    if status != StatusCode::OK {
        return Err(format!("{status}: {}", String::from_utf8_lossy(&answer)).into());
    }
    let mut live = Client::connect(host).await?.live(&on).await?;
    Ok(tokio::spawn(
        async move { while live.next().await.is_some() {} },
    ))
}
