//! Days in words.

use crate::text::{filled, t};
use notebook::Day;

/// 1970-01-01 was a Thursday.
fn weekday(day: Day) -> &'static str {
    let Ok(first) = "1970-01-01".parse::<Day>() else {
        return "";
    };
    match (first.days_to(day) + 3).rem_euclid(7) {
        0 => t("calendar.monday"),
        1 => t("calendar.tuesday"),
        2 => t("calendar.wednesday"),
        3 => t("calendar.thursday"),
        4 => t("calendar.friday"),
        5 => t("calendar.saturday"),
        _ => t("calendar.sunday"),
    }
}

fn month(number: &str) -> &'static str {
    match number {
        "01" => t("calendar.january"),
        "02" => t("calendar.february"),
        "03" => t("calendar.march"),
        "04" => t("calendar.april"),
        "05" => t("calendar.may"),
        "06" => t("calendar.june"),
        "07" => t("calendar.july"),
        "08" => t("calendar.august"),
        "09" => t("calendar.september"),
        "10" => t("calendar.october"),
        "11" => t("calendar.november"),
        _ => t("calendar.december"),
    }
}

/// A day without its weekday: "3 Dec", with the year if it is another than today's.
pub(crate) fn short(day: Day, today: Day) -> String {
    let (text, now) = (day.to_string(), today.to_string());
    let mut parts = text.split('-');
    let (year, number, of_month) = (
        parts.next().unwrap_or_default(),
        parts.next().unwrap_or_default(),
        parts.next().unwrap_or_default(),
    );
    let places = [
        ("day", of_month.trim_start_matches('0')),
        ("month", month(number)),
    ];
    let short = filled("calendar.short", &places);
    if now.starts_with(year) {
        short
    } else {
        format!("{short} {year}")
    }
}

/// A day as people say it: "Thursday 3 Dec".
pub(crate) fn said(day: Day, today: Day) -> String {
    format!("{} {}", weekday(day), short(day, today))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_said_as_people_say_them() {
        let day = |text: &str| text.parse::<Day>().unwrap();
        let today = day("2026-11-25");
        for (one, text) in [
            ("2026-12-03", "Thursday 3 Dec"),
            ("2026-11-25", "Wednesday 25 Nov"),
            ("2027-01-01", "Friday 1 Jan 2027"),
            ("1970-01-01", "Thursday 1 Jan 1970"),
            ("2024-02-29", "Thursday 29 Feb 2024"),
        ] {
            assert_eq!(said(day(one), today), text);
        }
    }
}
