use std::fmt::Display;
use std::io::{self, Write};

use comfy_table::{CellAlignment, ContentArrangement, Table, presets};
use serde::Serialize;

/// Columns of text in a narrow terminal or a pipe.
const WIDTH: u16 = 80;

/// Where results go.
pub(crate) struct Screen<'a> {
    out: &'a mut dyn Write,
    /// Whether programs read it.
    pub(crate) json: bool,
}

impl<'a> Screen<'a> {
    pub(crate) fn new(out: &'a mut dyn Write, json: bool) -> Screen<'a> {
        Screen { out, json }
    }

    /// One line of text.
    pub(crate) fn line(&mut self, text: impl Display) -> io::Result<()> {
        writeln!(self.out, "{text}")
    }

    /// A title with a blank line before it.
    pub(crate) fn title(&mut self, text: impl Display) -> io::Result<()> {
        writeln!(self.out, "\n{text}")
    }

    /// A longer text, broken between words, each line after this lead.
    pub(crate) fn words(&mut self, lead: &str, text: &str) -> io::Result<()> {
        self.broken(lead, lead, text)
    }

    /// A longer text with a blank line before it, after a head of its own; what is broken off is
    /// indented.
    pub(crate) fn entry(&mut self, head: &str, text: &str) -> io::Result<()> {
        self.line("")?;
        self.broken(&format!("{head} "), "  ", text)
    }

    /// A longer text under an entry, behind a mark such as `-`.
    pub(crate) fn item(&mut self, mark: &str, text: &str) -> io::Result<()> {
        let under = " ".repeat(mark.chars().count());
        self.broken(mark, &under, text)
    }

    fn broken(&mut self, first: &str, next: &str, text: &str) -> io::Result<()> {
        let (mut line, mut empty) = (String::from(first), true);
        for word in text.split_whitespace() {
            let full = line.chars().count() + 1 + word.chars().count() > usize::from(WIDTH);
            if full && !empty {
                self.line(line.trim_end())?;
                (line, empty) = (next.to_string(), true);
            }
            if !empty {
                line.push(' ');
            }
            line.push_str(word);
            empty = false;
        }
        self.line(line.trim_end())
    }

    /// One JSON value in one line.
    pub(crate) fn value(&mut self, value: &impl Serialize) -> io::Result<()> {
        serde_json::to_writer(&mut *self.out, value)?;
        writeln!(self.out)
    }

    /// Rows under a heading; the columns named in `right` hold numbers.
    pub(crate) fn table<const N: usize>(
        &mut self,
        heading: [&str; N],
        right: &[usize],
        rows: impl IntoIterator<Item = [String; N]>,
    ) -> io::Result<()> {
        let mut table = Table::new();
        table
            .load_style(presets::NOTHING)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(WIDTH)
            .set_header(heading.map(str::to_string))
            .add_rows(rows);
        for (n, column) in table.column_iter_mut().enumerate() {
            column.set_padding(if n == 0 { (2, 1) } else { (1, 1) });
            if right.contains(&n) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        writeln!(self.out, "{}", table.trim_fmt())
    }
}
