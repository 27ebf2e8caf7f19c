//! Tables as CSV (RFC 4180), safe to be opened in a spreadsheet.

use axum::http::header;
use axum::response::{IntoResponse, Response};
use store::csv;

/// A table under construction.
pub(crate) struct Csv {
    text: String,
}

/// What stands in a cell.
pub(crate) enum Cell {
    /// Words. What a spreadsheet would take for a formula gets an apostrophe before it.
    Words(String),
    /// A number, in full.
    Number(f64),
    /// Nothing.
    Empty,
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Words(text.to_string())
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::Words(text)
    }
}

impl From<f64> for Cell {
    fn from(number: f64) -> Self {
        if number.is_finite() {
            Self::Number(number)
        } else {
            Self::Empty
        }
    }
}

impl<T: Into<Self>> From<Option<T>> for Cell {
    fn from(cell: Option<T>) -> Self {
        cell.map_or(Self::Empty, Into::into)
    }
}

impl Csv {
    /// A table with these headings.
    pub(crate) fn new(headings: &[&str]) -> Self {
        let mut csv = Self {
            text: String::new(),
        };
        csv.row(headings.iter().map(|heading| Cell::from(*heading)));
        csv
    }

    /// A row.
    pub(crate) fn row(&mut self, cells: impl IntoIterator<Item = Cell>) {
        let cells: Vec<String> = cells.into_iter().map(|cell| written(&cell)).collect();
        self.text.push_str(&cells.join(","));
        self.text.push_str("\r\n");
    }

    /// The file, to be saved under a name.
    pub(crate) fn answer(self, name: &str) -> Response {
        let name: String = name
            .chars()
            .map(|c| {
                if c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.') {
                    c
                } else {
                    '-'
                }
            })
            .collect();
        let headers = [
            (
                header::CONTENT_TYPE,
                "text/csv; charset=utf-8; header=present".to_string(),
            ),
            (
                header::CONTENT_DISPOSITION,
                format!("attachment; filename=\"{name}.csv\""),
            ),
        ];
        (headers, self.text).into_response()
    }
}

fn written(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Number(number) => number.to_string(),
        Cell::Words(words) => csv::field(words),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// RFC 4180, section 2: what was written, read back.
    fn read(text: &str) -> Vec<Vec<String>> {
        let (mut rows, mut row, mut cell, mut inside) = (vec![], vec![], String::new(), false);
        let mut rest = text.chars().peekable();
        while let Some(c) = rest.next() {
            match c {
                '"' if inside && rest.peek() == Some(&'"') => {
                    rest.next();
                    cell.push('"');
                }
                '"' => inside = !inside,
                ',' if !inside => row.push(std::mem::take(&mut cell)),
                '\r' if !inside && rest.peek() == Some(&'\n') => {
                    rest.next();
                    row.push(std::mem::take(&mut cell));
                    rows.push(std::mem::take(&mut row));
                }
                c => cell.push(c),
            }
        }
        rows
    }

    proptest! {
        #[test]
        fn cells_are_read_back_as_they_were(cells in prop::collection::vec("[ -~\r\n\"é]{0,12}", 1..5)) {
            let mut csv = Csv::new(&["a"]);
            csv.row(cells.iter().map(|cell| Cell::from(cell.as_str())));
            let expected: Vec<String> = cells.iter().map(|cell| csv::harmless(cell)).collect();
            let rows = read(&csv.text);
            prop_assert_eq!(&rows[1], &expected);
        }
    }
}
