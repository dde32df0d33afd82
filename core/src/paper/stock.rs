use std::fmt;
use std::str::FromStr;

use super::page::{Paper, number};
use crate::record::InvalidRecord;
use crate::trade::units::MILLIMETRES_PER_INCH;

/// Sheets of labels that are sold in many shops, by their measured geometry: a name, then the form
/// that [`Stock::from_str`] reads. On each, margins, labels and gaps make up the page.
const KNOWN: [(&str, &str); 10] = [
    ("a4-2x4", "a4 2x4 99.1x67.7 2.5x0 4.65x13.1 mm"),
    ("a4-2x7", "a4 2x7 99.1x38.1 2.5x0 4.65x15.15 mm"),
    ("a4-3x7", "a4 3x7 63.5x38.1 2.5x0 7.25x15.15 mm"),
    ("a4-3x8", "a4 3x8 70x37 0x0 0x0.5 mm"),
    ("letter-2x3", "letter 2x3 4x3.3333 0.1875x0 0.15625x0.5 in"),
    ("letter-2x5", "letter 2x5 4x2 0.1875x0 0.15625x0.5 in"),
    ("letter-2x10", "letter 2x10 4x1 0.1875x0 0.15625x0.5 in"),
    ("letter-3x10", "letter 3x10 2.625x1 0.125x0 0.1875x0.5 in"),
    ("single-62x29", "62x29 1x1 62x29 0x0 0x0 mm"),
    ("single-100x50", "100x50 1x1 100x50 0x0 0x0 mm"),
];

/// A sheet or roll of labels. Lengths are in millimetres.
#[derive(Debug, Clone, PartialEq)]
pub struct Stock {
    /// Its name, or its measures where it has none.
    pub name: String,
    /// Width and height of the sheet.
    pub page: (f64, f64),
    /// Labels side by side.
    pub columns: u32,
    /// Labels one below the other.
    pub rows: u32,
    /// Width and height of a label.
    pub label: (f64, f64),
    /// Space between labels, sideways and downwards.
    pub gap: (f64, f64),
    /// From the left and the upper edge to the first label.
    pub margin: (f64, f64),
}

impl Stock {
    /// The stocks that have names.
    pub fn known() -> Vec<Stock> {
        KNOWN
            .iter()
            .filter_map(|(name, _)| name.parse().ok())
            .collect()
    }

    /// The stock to use where nobody chose one: its labels hold all that a carton has to say.
    pub fn usual(paper: Paper) -> &'static str {
        match paper {
            Paper::A4 => "a4-2x4",
            Paper::Letter => "letter-2x5",
        }
    }

    /// Labels on a sheet.
    pub fn labels(&self) -> u32 {
        self.columns * self.rows
    }

    /// The upper left corner of a label, counted from 0, row by row.
    pub fn corner(&self, n: u32) -> (f64, f64) {
        let (column, row) = (n % self.columns, n / self.columns);
        (
            self.margin.0 + f64::from(column) * (self.label.0 + self.gap.0),
            self.margin.1 + f64::from(row) * (self.label.1 + self.gap.1),
        )
    }

    /// The area of a label in square inches.
    pub fn square_inches(&self) -> f64 {
        self.label.0 * self.label.1 / (MILLIMETRES_PER_INCH * MILLIMETRES_PER_INCH)
    }

    fn check(self) -> Result<Stock, InvalidRecord> {
        let wrong = |allowed: String| Err(InvalidRecord::new("sheet", &self.name, allowed));
        let (columns, rows) = (f64::from(self.columns), f64::from(self.rows));
        if !(1.0..=20.0).contains(&columns) || !(1.0..=40.0).contains(&rows) {
            return wrong("allowed are 1 to 20 columns and 1 to 40 rows of labels".into());
        }
        for (page, label, gap, margin, n) in [
            (
                self.page.0,
                self.label.0,
                self.gap.0,
                self.margin.0,
                columns,
            ),
            (self.page.1, self.label.1, self.gap.1, self.margin.1, rows),
        ] {
            if !(15.0..=450.0).contains(&page) || !(15.0..=450.0).contains(&label) {
                return wrong("allowed are sheets and labels of 15 to 450 mm".into());
            }
            if !(0.0..=450.0).contains(&gap) || !(0.0..=450.0).contains(&margin) {
                return wrong("allowed are gaps and margins of 0 mm or more".into());
            }
            let end = margin + n * label + (n - 1.0) * gap;
            // A measure given in inches or tenths of a millimetre is rounded somewhere.
            if end > page + 0.05 {
                return wrong(format!(
                    "the labels end at {} mm, the sheet at {} mm: margin, labels and gaps have to \
                     fit on it",
                    number(end),
                    number(page)
                ));
            }
        }
        Ok(self)
    }
}

impl fmt::Display for Stock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (width, height) = (number(self.label.0), number(self.label.1));
        match self.labels() {
            1 => write!(f, "single labels of {width} × {height} mm"),
            n => write!(
                f,
                "{n} labels of {width} × {height} mm, {} across and {} down, on {} × {} mm",
                self.columns,
                self.rows,
                number(self.page.0),
                number(self.page.1)
            ),
        }
    }
}

impl FromStr for Stock {
    type Err = InvalidRecord;

    /// A name such as `a4-3x7`, `single-WIDTHxHEIGHT` in millimetres, or measures of one's own:
    /// `PAGE COLUMNSxROWS WIDTHxHEIGHT GAPxGAP LEFTxTOP UNIT`, where the page is `a4`, `letter` or
    /// a size, gaps are sideways and downwards, and the unit is `mm` or `in`.
    fn from_str(text: &str) -> Result<Stock, InvalidRecord> {
        let text = text.trim();
        if let Some((name, form)) = KNOWN.iter().find(|(name, _)| *name == text) {
            return measured(name, form);
        }
        if let Some(size) = text.strip_prefix("single-") {
            return measured(text, &format!("{size} 1x1 {size} 0x0 0x0 mm"));
        }
        measured(text, text)
    }
}

fn measured(name: &str, form: &str) -> Result<Stock, InvalidRecord> {
    let read = || -> Option<Stock> {
        let words: Vec<&str> = form.split_whitespace().collect();
        let [page, counts, label, gap, margin, unit] = words.as_slice() else {
            return None;
        };
        let mm = match *unit {
            "mm" => 1.0,
            "in" => MILLIMETRES_PER_INCH,
            _ => return None,
        };
        let pair = |text: &str| -> Option<(f64, f64)> {
            let (across, down) = text.split_once('x')?;
            let length = |text: &str| text.parse::<f64>().ok().filter(|n| n.is_finite());
            Some((length(across)? * mm, length(down)? * mm))
        };
        let (columns, rows) = counts.split_once('x')?;
        Some(Stock {
            name: name.into(),
            page: match Paper::from_code(page) {
                Some(paper) => paper.mm(),
                None => pair(page)?,
            },
            columns: columns.parse().ok()?,
            rows: rows.parse().ok()?,
            label: pair(label)?,
            gap: pair(gap)?,
            margin: pair(margin)?,
        })
    };
    read()
        .ok_or_else(|| {
            let names: Vec<&str> = KNOWN.iter().map(|(name, _)| *name).collect();
            let allowed = format!(
                "allowed are {}, single-WIDTHxHEIGHT in mm, or measures: \
                 'a4 3x7 63.5x38.1 2.5x0 7.25x15.15 mm' for page, columns x rows, label, gaps, \
                 left and upper margin, mm or in",
                names.join(", ")
            );
            InvalidRecord::new("sheet", format!("{name:?}"), allowed)
        })?
        .check()
}
