//! How much a chunk of Automerge's binary format (<https://automerge.org/automerge-binary-format-spec/>)
//! unfolds to, found without unfolding it: columns are run-length encoded and may be deflated, so
//! that a hundred bytes can claim to hold 2^60 operations, which Automerge would set out to read.

use std::io::Read;

use flate2::read::DeflateDecoder;

/// What a chunk may unfold to.
#[derive(Debug, Clone, Copy)]
struct Bounds {
    /// The most rows of a column, and so the most operations.
    rows: u64,
    /// The most bytes, inflated and with every repeated text counted.
    bytes: u64,
}

/// A phone writes one record in a change; an import by another program may write some thousands.
const CHANGE: Bounds = Bounds {
    rows: 1 << 16,
    bytes: 16 << 20,
};

/// A record takes many bytes, its key alone 22. So a change has fewer rows than bytes, but for as many
/// as this that say the same again: reading a message takes no longer than its bytes are worth.
const REPEATED: u64 = 256;

/// A month of a busy farm has some thousands of records. What was taken change by change must not
/// become too much as a whole, so this is far more.
const DOCUMENT: Bounds = Bounds {
    rows: 1 << 24,
    bytes: 1 << 30,
};

const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];

/// A column under DEFLATE has this bit in its specification; the three lowest say its type.
const DEFLATED: u64 = 8;

/// Holds a chunk, or several in a row, against what such a chunk may unfold to.
pub(super) fn measure(bytes: &[u8]) -> Result<(), String> {
    let mut rest = Bytes(bytes);
    while !rest.0.is_empty() {
        let (kind, contents) = rest.chunk().ok_or_else(cut)?;
        match kind {
            0 => document(Bytes(contents))?,
            1 => change(contents, CHANGE.bytes)?,
            2 => {
                let mut budget = Budget::of(CHANGE);
                let plain = budget.inflated(contents)?;
                change(&plain, budget.left)?;
            }
            // Documented as experimental, and written by nobody here.
            _ => return Err(format!("it is a chunk of type {kind}; allowed are 0 to 2")),
        }
    }
    Ok(())
}

fn cut() -> String {
    "it is cut short, or not in Automerge's form".into()
}

struct Budget {
    bounds: Bounds,
    left: u64,
}

impl Budget {
    fn of(bounds: Bounds) -> Budget {
        Budget {
            bounds,
            left: bounds.bytes,
        }
    }

    fn spend(&mut self, bytes: u64) -> Result<(), String> {
        self.left = self.left.checked_sub(bytes).ok_or_else(|| {
            let most = self.bounds.bytes;
            format!("it unfolds to more bytes than the {most} that are allowed")
        })?;
        Ok(())
    }

    fn inflated(&mut self, bytes: &[u8]) -> Result<Vec<u8>, String> {
        let mut plain = Vec::new();
        DeflateDecoder::new(bytes)
            .take(self.left.saturating_add(1))
            .read_to_end(&mut plain)
            .map_err(|e| format!("it cannot be inflated: {e}"))?;
        self.spend(plain.len() as u64)?;
        Ok(plain)
    }
}

fn change(contents: &[u8], left: u64) -> Result<(), String> {
    let rows = (contents.len() as u64).clamp(REPEATED, CHANGE.rows);
    let bounds = Bounds { rows, ..CHANGE };
    let mut bytes = Bytes(contents);
    let columns = bytes.columns_of_change().ok_or_else(cut)?;
    every(&mut bytes, &columns, &mut Budget { bounds, left })
}

fn document(mut bytes: Bytes<'_>) -> Result<(), String> {
    let columns = bytes.columns_of_document().ok_or_else(cut)?;
    every(&mut bytes, &columns, &mut Budget::of(DOCUMENT))
}

/// Holds each column against the bounds.
fn every(bytes: &mut Bytes<'_>, columns: &[(u64, u64)], budget: &mut Budget) -> Result<(), String> {
    for (spec, length) in columns {
        let data = bytes.take(*length).ok_or_else(cut)?;
        let plain;
        let data = if spec & DEFLATED == 0 {
            data
        } else {
            plain = budget.inflated(data)?;
            &plain
        };
        let rows = rows(Bytes(data), spec & 7, budget)?;
        if rows > budget.bounds.rows {
            return Err(format!(
                "it unfolds to {rows} operations; allowed are {}",
                budget.bounds.rows
            ));
        }
    }
    Ok(())
}

/// The number of rows of a column of this type.
fn rows(mut data: Bytes<'_>, kind: u64, budget: &mut Budget) -> Result<u64, String> {
    let mut rows = 0u64;
    while !data.0.is_empty() {
        let step = match kind {
            // Raw bytes, whose lengths stand in another column.
            7 => return Ok(0),
            // Runs of no and yes in turn.
            4 => data.number().map(|run| (run, 0)),
            _ => data.run(kind == 5),
        };
        let (run, text) = step.ok_or_else(cut)?;
        rows = rows.saturating_add(run);
        if rows > budget.bounds.rows {
            return Ok(rows);
        }
        budget.spend(run.saturating_mul(text))?;
    }
    Ok(rows)
}

/// Bytes that are read from the front; `None` where they end too early.
struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    fn take(&mut self, length: u64) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(usize::try_from(length).ok()?)?;
        self.0 = rest;
        Some(taken)
    }

    /// A number in LEB128, and in how many bits it came.
    fn leb128(&mut self) -> Option<(u64, u32)> {
        let mut n = 0u64;
        for shift in (0..70).step_by(7) {
            let byte = *self.take(1)?.first()?;
            n |= u64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Some((n, shift + 7));
            }
        }
        None
    }

    /// A number without a sign.
    fn number(&mut self) -> Option<u64> {
        self.leb128().map(|(n, _)| n)
    }

    /// The same with a sign.
    fn signed(&mut self) -> Option<i64> {
        let (n, bits) = self.leb128()?;
        let unused = 64u32.saturating_sub(bits);
        Some((n << unused) as i64 >> unused)
    }

    /// The next chunk: its type and its contents.
    fn chunk(&mut self) -> Option<(u8, &'a [u8])> {
        if self.take(4)? != MAGIC {
            return None;
        }
        self.take(4)?; // the checksum
        let kind = *self.take(1)?.first()?;
        let length = self.number()?;
        Some((kind, self.take(length)?))
    }

    fn skip_hashes(&mut self) -> Option<()> {
        let n = self.number()?;
        self.take(n.checked_mul(32)?).map(drop)
    }

    fn skip_text(&mut self) -> Option<()> {
        let length = self.number()?;
        self.take(length).map(drop)
    }

    fn skip_texts(&mut self) -> Option<()> {
        for _ in 0..self.number()? {
            self.skip_text()?;
        }
        Some(())
    }

    fn columns_of_change(&mut self) -> Option<Vec<(u64, u64)>> {
        self.skip_hashes()?;
        self.skip_text()?; // the actor
        self.number()?; // which change of this actor
        self.number()?; // the first operation
        self.number()?; // the time
        self.skip_text()?; // the message
        self.skip_texts()?; // other actors
        self.columns()
    }

    fn columns_of_document(&mut self) -> Option<Vec<(u64, u64)>> {
        self.skip_texts()?; // actors
        self.skip_hashes()?; // heads
        let mut columns = self.columns()?; // of changes
        columns.extend(self.columns()?); // of operations
        Some(columns)
    }

    /// Specification and length of each column.
    fn columns(&mut self) -> Option<Vec<(u64, u64)>> {
        let n = self.number()?;
        let mut columns = Vec::new();
        for _ in 0..n {
            columns.push((self.number()?, self.number()?));
        }
        Some(columns)
    }

    /// One run of a run-length encoded column: how long it is, and how many bytes its text has.
    fn run(&mut self, texts: bool) -> Option<(u64, u64)> {
        match self.signed()? {
            0 => Some((self.number()?, 0)),
            count @ 1.. => Some((count.unsigned_abs(), self.value(texts)?)),
            // Values one by one, which are all here.
            count => {
                for _ in 0..count.unsigned_abs() {
                    self.value(texts)?;
                }
                Some((count.unsigned_abs(), 0))
            }
        }
    }

    /// Skips a value and gives the number of bytes of its text.
    fn value(&mut self, text: bool) -> Option<u64> {
        let n = self.number()?;
        if text {
            self.take(n)?;
        }
        Some(if text { n } else { 0 })
    }
}
