//! The record on the command line: the demo, checks, lists, the graph, backups and exports.

use crate::answer;
use crate::checked::{Noted, check};
use crate::exit_code::ExitCode;
use crate::failure::Failure;
use crate::opened::{closing, machine, with_record};
use clap::Subcommand;
use notebook::graph::How;
use notebook::payload::Payload;
use notebook::{Kind, Moment, Node};
use std::fmt::Write;
use std::path::PathBuf;
use store::{Store, StoreError, Trace};

/// What to do with a record. PLACE is a file, or the URL of a PostgreSQL (postgres://...).
#[derive(Debug, Subcommand)]
pub(crate) enum RecordCommand {
    /// Build the demo record of a small pickle works: certified acid, base, vinegar, and a correction.
    Demo {
        /// Where; there must be nothing yet.
        place: String,
        /// Seed of the readings; the same seed and day give the same record.
        #[arg(long, default_value_t = 1)]
        seed: u64,
        /// When it begins, such as 2026-03-09T08:00:00+01:00; six days ago if left out.
        #[arg(long, value_name = "MOMENT")]
        begins: Option<Moment>,
    },
    /// Open a new, empty record.
    New {
        /// Where; there must be nothing yet.
        place: String,
        /// What it is called.
        #[arg(long, default_value = "Bench")]
        name: String,
        /// Who opens it [default: the name of this login].
        #[arg(long, value_name = "NAME")]
        who: Option<String>,
    },
    /// Hash the whole chain again, make all lists again beside those of the record, and say what was altered.
    ///
    /// The lists are made in temporary files (of TMPDIR), which need about a third of the room of the record.
    Check {
        /// The record.
        place: String,
        /// Only the chain, the attached files and the triggers: sooner, and blind for what was altered in the lists.
        #[arg(long)]
        chain_only: bool,
        /// Compare with a link of the chain that was noted before, as a check prints it.
        #[arg(long, value_name = "NUMBER:HASH")]
        against: Option<Noted>,
    },
    /// List what is in the record, newest first.
    List(crate::listed::List),
    /// Say what may be used today, until when, and why not: every lot, solution and piece of apparatus.
    Usable {
        /// The record.
        place: String,
        /// Only this kind of thing: lot, solution or apparatus.
        #[arg(long)]
        kind: Option<Kind>,
    },
    /// What a correction brought about: every result that came out otherwise, old beside new.
    Correction {
        /// The record.
        place: String,
        /// Number of the event that corrected.
        number: u64,
    },
    /// What came out otherwise, after corrections, of what a person did.
    Notices {
        /// The record.
        place: String,
        /// The person [default: the name of this login].
        #[arg(long, value_name = "NAME")]
        who: Option<String>,
    },
    /// Repeatability pooled from the record, with its degrees of freedom.
    Repeatability {
        /// The record.
        place: String,
        /// By what: a method such as method/vinegar-acidity, or the lot or solution that served as the standard.
        plan: Node,
        /// Only the work of this person.
        #[arg(long, value_name = "NAME")]
        who: Option<String>,
        /// Only with this burette, such as apparatus/B-3.
        #[arg(long, value_name = "NODE")]
        burette: Option<Node>,
    },
    /// Make all lists again from the events.
    Rebuild {
        /// The record.
        place: String,
    },
    /// Give a person a new passphrase, for who can read the record's file: typed here, or a line of standard input.
    Passphrase {
        /// The record.
        place: String,
        /// Short name of the person.
        person: String,
    },
    /// Copy a record that may be in use into one file.
    Backup {
        /// The record, a file.
        place: String,
        /// The copy; there must be nothing yet.
        to: PathBuf,
    },
    /// Check a backup and put it where there is nothing yet.
    Restore {
        /// The backup.
        backup: PathBuf,
        /// Where the record shall be.
        place: PathBuf,
    },
    /// Write everything into a folder, or a file that ends in .zip, that a person can read without this program.
    Export {
        /// The record.
        place: String,
        /// The folder or zip file; there must be nothing yet.
        to: PathBuf,
    },
    /// Read an export into a new record with the same hashes.
    Import {
        /// The folder or zip file.
        from: PathBuf,
        /// Where the record shall be; there must be nothing yet.
        place: String,
    },
}

/// Follow a thing of the record both ways: what it is made of, what rests on it.
#[derive(Debug, clap::Args)]
pub(crate) struct TraceCommand {
    /// The thing, such as solution/T-0117 or certificate/C-0004.
    node: Node,
    /// The record: a file, or the URL of a PostgreSQL.
    #[arg(long, value_name = "PLACE", env = "HALFDROP_RECORD")]
    record: String,
}

/// Comings and goings that are shown.
const LAST_GOINGS: u64 = 50;

const DAY: i64 = 86_400_000;

/// Runs what is asked, on a small runtime of its own.
fn on<T>(work: impl Future<Output = Result<T, Failure>>) -> Result<T, Failure> {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?
        .block_on(work)
}

pub(crate) fn run(command: &RecordCommand) -> Result<(String, ExitCode), Failure> {
    on(async {
        Ok(match command {
            RecordCommand::Demo {
                place,
                seed,
                begins,
            } => {
                let begins = begins.unwrap_or_else(|| machine().now().plus(-6 * DAY));
                let store = store::build_demo(place, *seed, begins).await?;
                let (events, hash) = closing(store, async |store| Ok(store.end().await?)).await?;
                let text = format!(
                    "{place}: the demo record with {events} events, ending in {hash}\n\
                     Look at it:  halfdrop record list {place}\n             \
                     halfdrop trace certificate/C-0004 --record {place}\n"
                );
                (text, ExitCode::Usable)
            }
            RecordCommand::New { place, name, who } => {
                let who = crate::serve::person(who.as_deref())?;
                crate::serve::begin(place, &who, name).await?.close().await;
                (
                    format!(
                        "{place}: a new record, opened by {who}\nWork in it:  halfdrop serve --record {place}\n"
                    ),
                    ExitCode::Usable,
                )
            }
            RecordCommand::Check {
                place,
                chain_only,
                against,
            } => {
                with_record(place, async |store| {
                    check(store, place, *chain_only, *against).await
                })
                .await?
            }
            RecordCommand::List(list) => {
                let text = with_record(&list.place, async |store| list.lines(store).await).await?;
                (text, ExitCode::Usable)
            }
            RecordCommand::Usable { place, kind } => {
                let said = async |store: &Store| answer::usable(store, *kind).await;
                (with_record(place, said).await?, ExitCode::Usable)
            }
            RecordCommand::Correction { place, number } => {
                let said = async |store: &Store| answer::correction(store, *number).await;
                (with_record(place, said).await?, ExitCode::Usable)
            }
            RecordCommand::Notices { place, who } => {
                let who = crate::serve::person(who.as_deref())?;
                let said = async |store: &Store| answer::notices(store, &who).await;
                (with_record(place, said).await?, ExitCode::Usable)
            }
            RecordCommand::Repeatability {
                place,
                plan,
                who,
                burette,
            } => {
                let (who, burette) = (who.as_deref(), burette.as_ref());
                let said =
                    async |store: &Store| answer::repeatability(store, plan, who, burette).await;
                (with_record(place, said).await?, ExitCode::Usable)
            }
            RecordCommand::Rebuild { place } => {
                let rebuilt = with_record(place, async |store| Ok(store.rebuild().await?)).await?;
                let mut text = format!(
                    "{place}: all lists made again from {} events, whose chain holds\nlast link {}:{}\n",
                    rebuilt.events, rebuilt.events, rebuilt.last_hash
                );
                if rebuilt.end_written {
                    text.push_str("The end of the chain was not written down any more, and was written again from these events. Whether there were more, only a backup or a noted link can tell.\n");
                }
                (text, ExitCode::Usable)
            }
            RecordCommand::Passphrase { place, person } => {
                let set = async |store: &Store| crate::passphrase::set(store, person).await;
                (with_record(place, set).await?, ExitCode::Usable)
            }
            RecordCommand::Backup { place, to } => {
                let checked = with_record(place, async |store| Ok(store.backup(to).await?)).await?;
                let text = format!(
                    "{}: backed up, {} events\nlast link {}:{}\n",
                    to.display(),
                    checked.events,
                    checked.events,
                    checked.last_hash
                );
                (text, ExitCode::Usable)
            }
            RecordCommand::Restore { backup, place } => {
                let checked = store::restore(backup, place, machine()).await?;
                let text = format!(
                    "{}: restored and checked, {} events, and the lists are what they give\nlast link {}:{}\n",
                    place.display(),
                    checked.events,
                    checked.events,
                    checked.last_hash
                );
                (text, ExitCode::Usable)
            }
            RecordCommand::Export { place, to } => {
                let count = with_record(place, async |store| Ok(store.export(to).await?)).await?;
                let text = format!(
                    "{}: {count} events, checked before; tables and a README\n",
                    to.display()
                );
                (text, ExitCode::Usable)
            }
            RecordCommand::Import { from, place } => {
                let store = store::import(from, place, machine()).await?;
                let ((events, hash), way_in) = closing(store, async |store| {
                    let way_in = crate::passphrase::way_in(store, place).await?;
                    Ok((store.end().await?, way_in))
                })
                .await?;
                let text = format!(
                    "{place}: imported, {events} events
last link {events}:{hash}
{way_in}"
                );
                (text, ExitCode::Usable)
            }
        })
    })
}

pub(crate) fn trace(command: &TraceCommand) -> Result<(String, ExitCode), Failure> {
    on(with_record(&command.record, async |store| {
        let Some(thing) = store.thing(&command.node).await? else {
            return Err(
                StoreError::Refused(notebook::Refusal::Missing(command.node.clone())).into(),
            );
        };
        let mut text = format!("{}: {} ({})\n", command.node, thing.title, thing.status);
        if let Some(result) = &thing.result {
            let _ = writeln!(text, "{result}");
        }
        let world = store.world(std::slice::from_ref(&command.node)).await?;
        text.push_str(&answer::validity(store, &world, &command.node).await?);
        text.push_str(&answer::history(store, &command.node, &command.record).await?);
        if command.node.kind() == Kind::Access {
            text.push_str(&goings(store, &command.node, thing.version).await?);
            return Ok((report::without_control(&text), ExitCode::Usable));
        }
        let down = store.made_of(&command.node).await?;
        let up = store.rests_on(&command.node).await?;
        for (title, trace, downwards) in [
            ("What it is made of", &down, true),
            ("What rests on it", &up, false),
        ] {
            let _ = writeln!(text, "\n{title}");
            tree(&mut text, trace, downwards);
        }
        Ok((report::without_control(&text), ExitCode::Usable))
    }))
}

/// The last comings and goings of a person, the latest last.
async fn goings(store: &Store, node: &Node, version: u64) -> Result<String, Failure> {
    let mut text = String::new();
    let before = version.saturating_sub(LAST_GOINGS);
    if before > 0 {
        let _ = writeln!(text, "{before} before these");
    }
    for event in store.history(node, before).await? {
        let what = match &event.payload {
            Payload::AttemptRefused(p) => {
                format!(" {} on {}, {} x: {}", p.asked, p.on, p.times, p.told)
            }
            Payload::SignedIn(p) => format!(" by {}", p.by),
            Payload::SignInFailed(p) => format!(" by {}, {} in a row", p.by, p.in_a_row),
            Payload::LockedOut(p) => format!(" until {}", p.until),
            Payload::SecretSet(p) => format!(" {} by {}", p.which, event.who),
            _ => String::new(),
        };
        let kind = event.payload.kind();
        let _ = writeln!(text, "  {} {} ({}){what}", event.at, kind, event.device);
    }
    Ok(text)
}

/// The threads as an indented list; what was shown before is not shown again in full.
fn tree(text: &mut String, trace: &Trace, downwards: bool) {
    if trace.threads.is_empty() {
        text.push_str("  nothing\n");
        return;
    }
    let mut shown = std::collections::BTreeSet::from([trace.of.clone()]);
    branch(text, trace, downwards, &trace.of, 1, &mut shown);
    if trace.cut {
        text.push_str(
            "  and more than can be shown; `halfdrop record list --on` pages through them\n",
        );
    }
}

fn branch(
    text: &mut String,
    trace: &Trace,
    downwards: bool,
    at: &Node,
    depth: usize,
    shown: &mut std::collections::BTreeSet<Node>,
) {
    for (_, edge) in &trace.threads {
        let (here, next) = if downwards {
            (&edge.what, &edge.on)
        } else {
            (&edge.on, &edge.what)
        };
        if here != at {
            continue;
        }
        let how = if downwards {
            edge.how.word().to_string()
        } else {
            passive(edge.how).to_string()
        };
        let first = shown.insert(next.clone());
        let again = if first { "" } else { " (see above)" };
        let _ = writeln!(text, "{}{how} {next}{again}", "  ".repeat(depth));
        if first && depth < 24 {
            branch(text, trace, downwards, next, depth + 1, shown);
        }
    }
}

/// How a thing serves another, seen from beneath.
fn passive(how: How) -> &'static str {
    match how {
        How::MadeOf => "went into",
        How::MadeWith => "served to make",
        How::StandardizedBy => "gave the concentration of",
        How::Seeks => "was measured by",
        How::KnownBy => "gave its value to",
        How::ResultOf => "its result went into",
        How::Uses => "was used in",
        How::MeasuredWith => "measured in",
        How::About => "was tested by",
        How::ByMethod => "was followed in",
        How::JudgedBy => "judged",
        How::States => "is stated by",
        How::Replaces => "was replaced by",
        How::ComparedWith => "is what a titrant was compared with by",
    }
}
