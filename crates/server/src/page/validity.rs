//! Until when a thing may be used, in words: what has to be done by which day.

use crate::calendar;
use crate::text::{filled, t};
use notebook::{Day, Node, State, World};

/// What has to be done by when: "re-standardize by Thursday 3 Dec".
pub(crate) fn validity(world: &World, node: &Node, today: Day) -> Option<String> {
    let day = notebook::validity::last_day(world, node)?;
    let text = calendar::said(day, today);
    let places = [("day", text.as_str())];
    let past = day < today;
    Some(match world.state(node)? {
        State::Solution(solution) => {
            let standing = solution.standing().and_then(|s| s.use_before);
            match (standing == Some(day), past) {
                (true, false) => filled("validity.standardize", &places),
                (true, true) => filled("validity.standardize_past", &places),
                (false, false) => filled("validity.replace", &places),
                (false, true) => filled("validity.past", &places),
            }
        }
        State::Apparatus(_) if past => filled("validity.calibrate_past", &places),
        State::Apparatus(_) => filled("validity.calibrate", &places),
        _ if past => filled("validity.past", &places),
        _ => format!("{} {text}", t("list.until")),
    })
}
