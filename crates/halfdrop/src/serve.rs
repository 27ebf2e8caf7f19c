//! `halfdrop serve`, and `halfdrop` alone: the bench in a browser, on a record of its own.

use crate::failure::Failure;
use crate::opened::{closing, machine};
use notebook::payload::RecordOpened;
use notebook::{Command, Node};
use server::App;
use std::io::{IsTerminal, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use store::{Order, Store, StoreError};
use tokio::net::TcpListener;

/// Where the bench stands if nothing is said.
const PORT: u16 = 7373;
/// Ports tried after it, if it is taken and was not asked for.
const TRIED: u16 = 20;
const SEED: u64 = 1;

/// Open the bench in a browser.
///
/// For example: halfdrop serve --record bench.record
#[derive(Debug, Default, clap::Args)]
pub(crate) struct Serve {
    /// The record: a file, made if there is none, or the postgres:// URL of one [default: halfdrop.record].
    #[arg(long, value_name = "PLACE")]
    record: Option<String>,
    /// Look around in the demo record of the pickle works, made anew.
    #[arg(long, conflicts_with = "record")]
    demo: bool,
    /// Port [default: 7373, or the next free one].
    #[arg(long)]
    port: Option<u16>,
    /// Let in other devices: the address of this machine that they reach, or 0.0.0.0 for all.
    #[arg(long, value_name = "ADDRESS")]
    let_in: Option<IpAddr>,
    /// Who works here [default: the name of this login].
    #[arg(long, value_name = "NAME")]
    who: Option<String>,
    /// A language: a file with the keys of the English texts (crates/server/texts/en.toml).
    #[arg(long, value_name = "FILE")]
    texts: Option<PathBuf>,
    /// Only print the address.
    #[arg(long)]
    no_browser: bool,
}

/// Serves until it is interrupted; gives the closing words.
///
/// # Errors
/// [`Failure::Record`] or [`Failure::Serve`].
pub(crate) fn run(options: &Serve) -> Result<String, Failure> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::Serve(error.to_string()))?;
    runtime.block_on(served(options))
}

async fn served(options: &Serve) -> Result<String, Failure> {
    let who = person(options.who.as_deref())?;
    if let Some(file) = &options.texts {
        texts(file)?;
    }
    let (store, place) = record(options, &who).await?;
    let served = closing(store, async |store| {
        bench(options, store, &place, &who).await
    });
    served.await?;
    Ok(format!("Everything is saved in {place}.\n"))
}

/// The bench on an open record, until it is told to stop.
async fn bench(options: &Serve, store: &Store, place: &str, who: &str) -> Result<(), Failure> {
    // What an interrupted run left to be computed again.
    store.settle_all().await?;
    let shared = store.world(&[]).await?.record().is_some_and(|r| r.shared);
    if options.let_in.is_some_and(|host| !host.is_loopback()) && !shared {
        return Err(Failure::Serve(format!(
            "{place}: other devices are let in only to a shared record, where people sign in; open the bench on this machine first and share it under People"
        )));
    }
    let listener = listener(options).await?;
    let address = listener
        .local_addr()
        .map_err(|error| Failure::Serve(error.to_string()))?;
    let stop = told_to_stop();
    announce(options, address, place);
    let watch = store.clone();
    let watching = tokio::spawn(async move { watch.watch_others().await });
    let mut app = App::new(store.clone(), who);
    if options.demo {
        app = app.as_demo();
    } else {
        let who = who.to_string();
        app = app.with_demo(Arc::new(move || Box::pin(demo_beside(who.clone()))));
    }
    let end = server::serve(app, listener, stop).await;
    watching.abort();
    end.map_err(|error| Failure::Serve(error.to_string()))
}

/// Comes true when the program is told to stop: by Ctrl-C, or as a system stops its services. It listens from now on, not
/// only from when it is first waited for.
#[cfg(unix)]
fn told_to_stop() -> impl Future<Output = ()> + Send + 'static {
    use tokio::signal::unix::{SignalKind, signal};
    let interrupt = signal(SignalKind::interrupt());
    let terminate = signal(SignalKind::terminate());
    async move {
        // Without signals there is no other way to stop than to end the process.
        match (interrupt, terminate) {
            (Ok(mut interrupt), Ok(mut terminate)) => {
                tokio::select! {
                    _ = interrupt.recv() => {}
                    _ = terminate.recv() => {}
                }
            }
            _ => std::future::pending().await,
        }
    }
}

#[cfg(not(unix))]
async fn told_to_stop() {
    if tokio::signal::ctrl_c().await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// Opens the demo at an address of its own on this machine, until the program ends.
async fn demo_beside(who: String) -> Result<String, String> {
    let options = Serve {
        demo: true,
        ..Serve::default()
    };
    let open = async {
        let (store, _) = record(&options, &who).await?;
        let listener = listener(&options).await?;
        let address = listener
            .local_addr()
            .map_err(|error| Failure::Serve(error.to_string()))?;
        tokio::spawn(server::serve(
            App::new(store, &who).as_demo(),
            listener,
            std::future::pending(),
        ));
        Ok::<_, Failure>(format!("http://{address}/"))
    };
    open.await.map_err(|error| error.to_string())
}

/// Who works here: as said, or the name of this login.
///
/// # Errors
/// [`Failure::Serve`] if no person can have the name that was said.
pub(crate) fn person(said: Option<&str>) -> Result<String, Failure> {
    if let Some(said) = said {
        let name = said.trim();
        return match notebook::decide::person(name) {
            Ok(_) => Ok(name.into()),
            Err(_) => Err(Failure::Serve(format!(
                "--who \"{said}\": this is no name of a person (at least one character, no /); leave it out to take the name of this login"
            ))),
        };
    }
    let login = std::env::var("USER").ok();
    Ok(login
        .map(|name| name.trim().to_string())
        .filter(|name| !name.is_empty() && !name.contains('/'))
        .unwrap_or_else(|| "analyst".into()))
}

/// Makes a new record with its first event; nothing is left if that is refused.
///
/// # Errors
/// [`Failure::Record`].
pub(crate) async fn begin(place: &str, who: &str, name: &str) -> Result<Store, Failure> {
    let store = Store::create(place, machine()).await?;
    let open = RecordOpened { name: name.into() };
    let command = Command::new(Node::record(), open);
    let begun = store.submit(Order::new(who, "this machine", command)).await;
    match begun {
        Ok(_) => Ok(store),
        Err(error) => {
            store.discard().await;
            Err(error.into())
        }
    }
}

/// Takes a language in; what it lacks is named, and is said in English.
fn texts(file: &Path) -> Result<(), Failure> {
    let fail = |why: String| Failure::Serve(format!("{}: {why}", file.display()));
    let text = std::fs::read_to_string(file).map_err(|error| fail(error.to_string()))?;
    let missing = server::add_texts(&text).map_err(|error| fail(error.to_string()))?;
    if !missing.is_empty() {
        eprintln!(
            "{}: {} texts are missing and stay English: {}",
            file.display(),
            missing.len(),
            missing.join(", ")
        );
    }
    Ok(())
}

/// The record where none is named.
pub(crate) const PLACE: &str = "halfdrop.record";

/// The record that is asked for.
async fn record(options: &Serve, who: &str) -> Result<(Store, String), Failure> {
    if options.demo {
        let place = demo_folder()?.join("demo.record").display().to_string();
        let first_day = machine().now().plus(-7 * 86_400_000);
        store::build_demo(&place, SEED, first_day)
            .await?
            .close()
            .await;
        return Ok((Store::open(&place, machine()).await?, place));
    }
    let place = options.record.clone().unwrap_or_else(|| PLACE.into());
    match Store::open(&place, machine()).await {
        Ok(store) => Ok((store, place)),
        Err(StoreError::NoRecord(_)) => Ok((begin(&place, who, "Bench").await?, place)),
        Err(error) => Err(error.into()),
    }
}

/// A new folder for a demo; those of earlier ones may lie beside it, also of a process with the same number.
fn demo_folder() -> Result<PathBuf, Failure> {
    let mut number = 0;
    loop {
        let name = format!("halfdrop-demo-{}-{number}", std::process::id());
        let folder = std::env::temp_dir().join(name);
        match std::fs::create_dir(&folder) {
            Ok(()) => return Ok(folder),
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => number += 1,
            Err(error) => {
                return Err(Failure::Serve(format!("{}: {error}", folder.display())));
            }
        }
    }
}

async fn listener(options: &Serve) -> Result<TcpListener, Failure> {
    let host = options.let_in.unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST));
    let first = options.port.unwrap_or(PORT);
    let last = match options.port {
        Some(port) => port,
        None => PORT + TRIED,
    };
    let mut said = String::new();
    for port in first..=last {
        match TcpListener::bind(SocketAddr::new(host, port)).await {
            Ok(listener) => return Ok(listener),
            Err(error) => said = format!("{host}:{port}: {error}; choose another with --port"),
        }
    }
    Err(Failure::Serve(said))
}

fn announce(options: &Serve, address: SocketAddr, place: &str) {
    let url = format!("http://{address}/");
    let mut out = std::io::stdout();
    // Nobody may be reading.
    let _ = writeln!(
        out,
        "The bench is open at {url} (record: {place}). Stop it with Ctrl-C."
    );
    if options.let_in.is_some() {
        let _ = writeln!(
            out,
            "Caution: what is sent over this network is not encrypted; put a server with a certificate in front, or use a network of your own."
        );
    }
    let _ = out.flush();
    let on_a_desk =
        std::env::var_os("DISPLAY").is_some() || std::env::var_os("WAYLAND_DISPLAY").is_some();
    if on_a_desk && !options.no_browser && out.is_terminal() {
        // The address is printed; a browser that does not open is no failure.
        let _ = std::process::Command::new("xdg-open").arg(url).spawn();
    }
}
