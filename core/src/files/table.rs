use csv::{ByteRecord, ReaderBuilder};

use crate::record::InvalidRecord;

/// The largest file that is read, in bytes: more than a century of any household's rounds.
pub const LARGEST: usize = 32 * 1024 * 1024;

const BOM: &[u8] = b"\xef\xbb\xbf";
const SEPARATORS: [u8; 4] = *b",;\t|";

/// Text in rows and columns under a heading: CSV by RFC 4180, or with semicolons, tabs or bars; lines
/// end as on Unix, Windows or old Macintoshes; a byte order mark is passed over.
pub(super) struct Table<'a> {
    bytes: &'a [u8],
    pub(super) separator: u8,
    /// The words of the heading, blanks around them taken away.
    pub(super) heading: Vec<String>,
}

/// One row below the heading.
pub(super) struct TableRow {
    /// As a spreadsheet numbers it.
    pub(super) row: usize,
    record: ByteRecord,
}

impl<'a> Table<'a> {
    /// Reads the heading. Of the possible separators the one is taken that shows most of the wanted
    /// columns, then the one that shows most columns.
    pub(super) fn open(bytes: &'a [u8], wanted: &[&str]) -> Result<Table<'a>, InvalidRecord> {
        let wrong = |value: &str, allowed: &str| InvalidRecord::new("file", value, allowed);
        if bytes.len() > LARGEST {
            return Err(wrong(
                &format!("{} bytes", bytes.len()),
                &format!("allowed are at most {LARGEST} bytes"),
            ));
        }
        if bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff") {
            return Err(wrong(
                "UTF-16 text",
                "allowed is text in UTF-8: save it again as such",
            ));
        }
        let bytes = bytes.strip_prefix(BOM).unwrap_or(bytes);
        let mut best: Option<(usize, usize, Table<'a>)> = None;
        for separator in SEPARATORS {
            let Some(first) = reader(bytes, separator).byte_records().next() else {
                return Err(wrong("nothing", "allowed is a table with a heading"));
            };
            let first = first.map_err(|e| wrong("unreadable", &e.to_string()))?;
            let heading: Result<Vec<String>, _> = first
                .iter()
                .map(|cell| std::str::from_utf8(cell).map(|text| text.trim().to_string()))
                .collect();
            let heading =
                heading.map_err(|_| wrong("a heading that is not UTF-8", "allowed is UTF-8"))?;
            let found = wanted.iter().filter(|w| place(&heading, w).is_some());
            let score = (found.count(), heading.len());
            if best.as_ref().is_none_or(|(a, b, _)| score > (*a, *b)) {
                let table = Table {
                    bytes,
                    separator,
                    heading,
                };
                best = Some((score.0, score.1, table));
            }
        }
        best.map(|(_, _, table)| table)
            .ok_or_else(|| wrong("nothing", "allowed is a table with a heading"))
    }

    /// Where a column stands: by its name in the heading, letter case aside, or by its number, `#2`.
    pub(super) fn column(&self, name: &str) -> Option<usize> {
        place(&self.heading, name).or_else(|| {
            let n: usize = name.trim().strip_prefix('#')?.parse().ok()?;
            (1..=self.heading.len()).contains(&n).then(|| n - 1)
        })
    }

    /// The rows below the heading, each with its number; empty lines are passed over, but counted.
    pub(super) fn rows(&self) -> Vec<TableRow> {
        let mut row = 0;
        let mut rows = Vec::new();
        for record in reader(self.bytes, self.separator).byte_records() {
            // Reading from memory cannot fail, and rows may be of any length.
            let Ok(record) = record else { break };
            let start = record.position().map_or(0, |p| p.byte() as usize);
            row += 1 + blank_lines(self.bytes, start);
            rows.push(TableRow { row, record });
        }
        rows.drain(..1.min(rows.len()));
        rows
    }

    /// Whether the last row swallowed lines after a quotation mark that is never closed.
    pub(super) fn never_closed(&self, last: &TableRow) -> bool {
        let odd = self.bytes.iter().filter(|b| **b == b'"').count() % 2 == 1;
        odd && last.record.iter().any(|cell| cell.contains(&b'\n'))
    }
}

impl TableRow {
    /// A cell without blanks around it; nothing where it is empty or the row is too short.
    pub(super) fn cell(&self, column: usize) -> Result<Option<&str>, String> {
        let Some(bytes) = self.record.get(column) else {
            return Ok(None);
        };
        match std::str::from_utf8(bytes) {
            Ok(text) => Ok(Some(text.trim()).filter(|text| !text.is_empty())),
            Err(_) => {
                let shown = String::from_utf8_lossy(bytes);
                let shown: String = shown.trim().chars().take(40).collect();
                Err(format!("{shown:?} is not UTF-8 text"))
            }
        }
    }

    /// The number of cells.
    pub(super) fn len(&self) -> usize {
        self.record.len()
    }
}

fn reader(bytes: &[u8], separator: u8) -> csv::Reader<&[u8]> {
    ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .from_reader(bytes)
}

fn place(heading: &[String], name: &str) -> Option<usize> {
    let name = name.trim();
    let exact = heading.iter().position(|word| word == name);
    exact.or_else(|| {
        let name = name.to_lowercase();
        heading.iter().position(|word| word.to_lowercase() == name)
    })
}

/// Empty lines before the record whose reading began at `start`.
fn blank_lines(bytes: &[u8], mut start: usize) -> usize {
    let at = |n: usize| bytes.get(n).copied();
    // The second half of a line end that the record before closed with.
    if start > 0 && at(start - 1) == Some(b'\r') && at(start) == Some(b'\n') {
        start += 1;
    }
    let mut blank = 0;
    loop {
        match (at(start), at(start + 1)) {
            (Some(b'\r'), Some(b'\n')) => start += 2,
            (Some(b'\r' | b'\n'), _) => start += 1,
            _ => return blank,
        }
        blank += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Vec<(usize, Vec<String>)> {
        let table = Table::open(text.as_bytes(), &[]).unwrap();
        let cells = |row: &TableRow| {
            let all = 0..row.len();
            all.map(|n| row.cell(n).unwrap().unwrap_or("").to_string())
                .collect()
        };
        table.rows().iter().map(|r| (r.row, cells(r))).collect()
    }

    #[test]
    fn rows_are_numbered_as_a_spreadsheet_does() {
        for end in ["\n", "\r\n", "\r"] {
            let text = ["a,b", "1,\"two\nlines\"", "", "", "3,4", "", "5,6"].join(end);
            let rows: Vec<usize> = read(&text).iter().map(|(row, _)| *row).collect();
            assert_eq!(rows, [2, 5, 7], "{end:?}");
        }
    }

    // RFC 4180 section 2, rules 5 to 7.
    #[test]
    fn quoted_fields_hold_separators_line_ends_and_quotation_marks() {
        let rows = read("aaa,bbb\r\n\"b \r\nbb\",\"c,c\"\r\n\"b\"\"bb\",ccc\r\n");
        assert_eq!(rows[0].1, ["b \r\nbb", "c,c"]);
        assert_eq!(rows[1].1, ["b\"bb", "ccc"]);
    }

    #[test]
    fn the_separator_is_the_one_that_shows_the_wanted_columns() {
        let text = "Date;Eggs, all;Who, and where\n1;2;3\n";
        let table = Table::open(text.as_bytes(), &["date", "Eggs, all"]).unwrap();
        assert_eq!((table.separator, table.heading.len()), (b';', 3));
        assert_eq!(table.column("eggs, ALL"), Some(1));
        assert_eq!(table.column("#3"), Some(2));
        assert_eq!(table.column("#4"), None);
    }
}
