//! `halfdrop record list`.

use crate::failure::Failure;
use notebook::{Day, Kind, Node};
use std::fmt::Write;
use store::{Filter, Store, Thing};

/// Lines that are asked for at a time.
const PAGE: u32 = 200;

/// What to list.
#[derive(Debug, clap::Args)]
pub(crate) struct List {
    /// The record.
    pub(crate) place: String,
    /// Kind of thing: determination, lot, solution, apparatus, sample, certificate, person, method, rules, access (comings
    /// and goings) [default: determination; any kind with --search].
    #[arg(long)]
    kind: Option<Kind>,
    /// Begun by this person.
    #[arg(long, value_name = "NAME")]
    who: Option<String>,
    /// In this status, such as open.
    #[arg(long)]
    status: Option<String>,
    /// Resting on this thing, at once or through others, such as lot/S-0107.
    #[arg(long, value_name = "NODE")]
    on: Option<Node>,
    /// With this finding.
    #[arg(long, value_name = "CODE")]
    finding: Option<String>,
    /// Begun on this day or later, such as 2026-03-09.
    #[arg(long, value_name = "DAY")]
    from: Option<Day>,
    /// Begun on this day or earlier.
    #[arg(long, value_name = "DAY")]
    to: Option<Day>,
    /// Found by these words: names, titles, numbers of certificates, who began it.
    #[arg(long, value_name = "WORDS")]
    search: Option<String>,
    /// How many lines, at least one.
    #[arg(long, default_value_t = 50, value_parser = clap::value_parser!(u32).range(1..))]
    limit: u32,
}

impl List {
    /// The lines as text.
    ///
    /// # Errors
    /// [`Failure::Record`], also for a name that is not known.
    pub(crate) async fn lines(&self, store: &Store) -> Result<String, Failure> {
        let mut filter = Filter {
            kind: self.kind,
            any_kind: self.kind.is_none() && self.search.is_some(),
            who: self.who.clone(),
            status: self.status.clone(),
            rests_on: self.on.clone(),
            finding: self.finding.clone(),
            from: self.from,
            to: self.to,
            search: self.search.clone(),
            ..Filter::default()
        };
        let mut things: Vec<Thing> = Vec::new();
        loop {
            let left = self.limit - u32::try_from(things.len()).unwrap_or(self.limit);
            filter.limit = Some(left.min(PAGE));
            let page = store.list(&filter).await?;
            things.extend(page.things);
            filter.after = page.next;
            if filter.after.is_none() || things.len() >= self.limit as usize {
                break;
            }
        }
        let mut text = table(&things, filter.any_kind, store.now().day());
        if filter.after.is_some() {
            text.push_str("and more; a higher --limit shows more\n");
        }
        Ok(text)
    }
}

/// The things with headings; each with its kind where there are several.
fn table(things: &[Thing], kinds: bool, today: Day) -> String {
    if things.is_empty() {
        return "nothing found\n".into();
    }
    let headings = ["name", "since", "status", "by", "what", "result"];
    let mut lines = vec![headings.map(str::to_string)];
    for thing in things {
        let mut status = thing.status.clone();
        if thing.usable == Some(false) {
            status.push_str(", not usable");
        }
        let past = thing.use_before.filter(|day| *day < today);
        if let (Some(day), "standardized" | "unopened" | "opened" | "in use") =
            (past, thing.status.as_str())
        {
            let _ = write!(status, ", not to be used since {day}");
        }
        lines.push([
            match kinds {
                true => thing.node.to_string(),
                false => thing.node.name().to_string(),
            },
            thing.since.day().to_string(),
            status,
            thing.who.clone(),
            thing.title.clone(),
            match (&thing.result, thing.usable) {
                (Some(result), _) => result.clone(),
                (None, Some(false)) => "cannot be computed any more".into(),
                (None, _) => String::new(),
            },
        ]);
    }
    let wide = |column: usize| {
        let widths = lines.iter().map(|line| line[column].chars().count());
        widths.max().unwrap_or(0)
    };
    let widths: [usize; 5] = std::array::from_fn(wide);
    let mut text = String::new();
    for line in &lines {
        let mut row = String::new();
        for (cell, wide) in line.iter().zip(widths) {
            let _ = write!(row, "{cell:wide$}  ");
        }
        row.push_str(&line[5]);
        let _ = writeln!(text, "{}", report::without_control(row.trim_end()));
    }
    text
}
