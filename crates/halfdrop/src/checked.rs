//! `halfdrop record check`: what was looked at, what was found, and what to do about it.

use crate::exit_code::ExitCode;
use crate::failure::Failure;
use notebook::Hash;
use std::fmt::Write;
use std::str::FromStr;
use store::{Checked, Difference, How, Store};

/// A link of the chain that was noted elsewhere.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Noted {
    /// Number of the event, if it was noted.
    number: Option<u64>,
    hash: Hash,
}

impl FromStr for Noted {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (number, hash) = match text.split_once(':') {
            Some((number, hash)) => {
                let number = number
                    .trim()
                    .parse::<u64>()
                    .ok()
                    .filter(|number| *number > 0);
                (
                    Some(number.ok_or("before the colon stands the number of an event")?),
                    hash,
                )
            }
            None => (None, text),
        };
        let hash =
            hash.trim().to_lowercase().parse().map_err(
                |_| "expected NUMBER:HASH or HASH, a hash being 64 digits of 0-9 and a-f",
            )?;
        Ok(Self { number, hash })
    }
}

/// Checks a record, its lists too unless they are left out, and compares it with a noted link.
///
/// # Errors
/// [`Failure::Record`] if it cannot be read at all.
pub(crate) async fn check(
    store: &Store,
    place: &str,
    chain_only: bool,
    against: Option<Noted>,
) -> Result<(String, ExitCode), Failure> {
    let checked = store.check().await?;
    let lists = match (&checked.broken, chain_only) {
        (None, false) => Some(store.check_lists().await?),
        // Events that were altered say nothing of what was made from them.
        _ => None,
    };
    let mut text = String::new();
    for note in &checked.notes {
        let _ = writeln!(text, "note: {note}");
    }
    let mut sound = told(&mut text, place, &checked);
    if let Some(differences) = lists.as_deref().filter(|lists| !lists.is_empty()) {
        sound = false;
        listed(&mut text, place, differences);
    }
    if let (Some(noted), None) = (against, &checked.broken) {
        sound &= compared(&mut text, store, place, &checked, noted).await?;
    }
    if checked.broken.is_none() {
        let lists = match lists.as_deref() {
            Some([]) => ", and the lists are what its events give",
            Some(_) => "",
            None => "; the lists were not looked at",
        };
        let link = format!("{}:{}", checked.events, checked.last_hash);
        let _ = writeln!(
            text,
            "{place}: {} events, the chain holds{lists}\nlast link {link}",
            checked.events
        );
        if sound {
            let _ = writeln!(
                text,
                "A chain that is hashed anew from its beginning holds as well: note this link outside the record, and compare with it later:\n  halfdrop record check {place} --against {link}"
            );
        }
    }
    let code = match sound {
        true => ExitCode::Usable,
        false => ExitCode::RuleBroken,
    };
    Ok((report::without_control(&text), code))
}

/// What the check of the chain, the files and the guards found. True if nothing.
fn told(text: &mut String, place: &str, checked: &Checked) -> bool {
    for hash in &checked.altered_files {
        let _ = writeln!(
            text,
            "{place}: the attached file {hash} was altered. Restore a backup beside this record, and take the file from there."
        );
    }
    for found in &checked.found {
        let _ = writeln!(
            text,
            "{place}: {found}. Somebody was at the tables past the program: keep this file as it is, compare with a backup, and go on in the backup."
        );
    }
    if let Some(broken) = &checked.broken {
        let _ = writeln!(
            text,
            "{place}: {broken}\n{} events before it are as they were written. Keep this file as it is, and restore a backup beside it.",
            checked.events.min(broken.number.saturating_sub(1))
        );
    }
    checked.sound()
}

/// The lists that are not what the events give, and what to do.
fn listed(text: &mut String, place: &str, differences: &[Difference]) {
    for difference in differences {
        let _ = writeln!(text, "{place}: {difference}");
    }
    if differences
        .iter()
        .any(|difference| matches!(difference.how, How::Gap(..)))
    {
        let _ = writeln!(
            text,
            "The lists were not compared. Keep this file as it is, and restore a backup beside it."
        );
        return;
    }
    let _ = writeln!(
        text,
        "Either these lists were altered, or the events and all their hashes. Keep this file as it is, and compare first: with a link of the chain that was noted (halfdrop record check {place} --against NUMBER:HASH), or with a backup (halfdrop record check BACKUP). Only if the events are those that were written: halfdrop record rebuild {place} makes the lists again from them."
    );
}

/// Compares with a noted link. True if it is a link of this chain.
async fn compared(
    text: &mut String,
    store: &Store,
    place: &str,
    checked: &Checked,
    noted: Noted,
) -> Result<bool, Failure> {
    let Noted { number, hash } = noted;
    let found = match number {
        Some(number) => store
            .hash_of(number)
            .await?
            .filter(|found| *found == hash)
            .map(|_| number),
        None => store.number_of(hash).await?,
    };
    let (holds, said) = match (found, number) {
        (Some(found), _) => (
            true,
            format!("the noted link is that of event {found}: all up to it is as it was when that was noted"),
        ),
        (None, Some(number)) if number > checked.events => (
            false,
            format!(
                "the noted link is of event {number}, and there are only {}: events were taken out, or this is an older copy",
                checked.events
            ),
        ),
        (None, Some(number)) => (
            false,
            format!(
                "event {number} has another hash than the one noted, although the chain holds: an event up to this one was altered and all hashes after it made anew, or the link is of another record"
            ),
        ),
        (None, None) => (
            false,
            "no event has the noted hash, although the chain holds: events were altered or taken out and the hashes made anew, or the hash is of another record".into(),
        ),
    };
    let advice = match holds {
        true => "",
        false => ". Keep this file as it is, and compare with a backup",
    };
    let _ = writeln!(text, "{place}: {said}{advice}");
    Ok(holds)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_is_read_with_and_without_its_number() {
        let hash = "a".repeat(64);
        assert_eq!(
            format!("12:{hash}").parse::<Noted>().unwrap().number,
            Some(12)
        );
        assert_eq!(hash.parse::<Noted>().unwrap().number, None);
        for wrong in [
            "",
            "12",
            "0:aa",
            &format!("x:{hash}"),
            &format!("12:{hash}a"),
        ] {
            assert!(wrong.parse::<Noted>().is_err(), "{wrong}");
        }
    }
}
