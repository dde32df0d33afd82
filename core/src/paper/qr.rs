use maud::{Markup, html};
use qrcodegen::{QrCode as Encoded, QrCodeEcc};

use crate::record::InvalidRecord;

/// Modules of white that ISO/IEC 18004 asks for on each side.
const QUIET: i32 = 4;

/// The longest text of a code on a label, in bytes: more would print too fine for a phone's eye.
const LONGEST: usize = 60;

/// A QR code, by ISO/IEC 18004. A quarter of it may be lost to damp and dirt (level Q).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QrCode {
    text: String,
    size: i32,
    /// Row by row, without the white around.
    dark: Vec<bool>,
}

impl QrCode {
    /// The code of a text.
    ///
    /// # Errors
    /// A text that is empty or longer than 60 bytes.
    pub fn new(text: &str) -> Result<QrCode, InvalidRecord> {
        let wrong = || InvalidRecord::new("code", text, "allowed are 1 to 60 bytes of text");
        if text.is_empty() || text.len() > LONGEST {
            return Err(wrong());
        }
        let code = Encoded::encode_text(text, QrCodeEcc::Quartile).map_err(|_| wrong())?;
        let size = code.size();
        Ok(QrCode {
            text: text.into(),
            size,
            dark: (0..size * size)
                .map(|n| code.get_module(n % size, n / size))
                .collect(),
        })
    }

    /// Modules on a side, the white around it included.
    pub fn modules(&self) -> i32 {
        self.size + 2 * QUIET
    }

    /// Whether the module in this column and row is dark; outside, all is light.
    pub fn is_dark(&self, column: i32, row: i32) -> bool {
        let (x, y) = (column - QUIET, row - QUIET);
        let within = (0..self.size).contains(&x) && (0..self.size).contains(&y);
        within
            && usize::try_from(y * self.size + x)
                .is_ok_and(|n| self.dark.get(n).copied().unwrap_or(false))
    }

    /// The code as a picture that scales, black on white in dark mode too. It is read aloud as its
    /// text.
    pub(super) fn picture(&self) -> Markup {
        let side = self.modules();
        let mut path = String::new();
        for row in 0..side {
            let mut column = 0;
            while column < side {
                let run = (column..side).take_while(|c| self.is_dark(*c, row)).count();
                let run = i32::try_from(run).unwrap_or(1);
                if run > 0 {
                    path.push_str(&format!("M{column} {row}h{run}v1h-{run}z"));
                }
                column += run.max(1);
            }
        }
        html! {
            svg.qr viewBox={ "0 0 " (side) " " (side) } role="img"
                aria-label={ "QR code: " (self.text) } shape-rendering="crispEdges" {
                rect width=(side) height=(side) fill="#fff" {}
                path d=(path) fill="#000" {}
            }
        }
    }
}
