use super::fit::{LEADING, MM_PER_PT, O_HEIGHT, height};
use super::page::number;
use super::{QrCode, Stock};
use crate::record::InvalidRecord;
use crate::trade::label::{LabelLine, LabelRequest, Part, label, type_height};
use crate::trade::rules::{HousePolicy, RulePack};
use crate::trade::{Finding, TradeError};

/// Type on a label, in points: the largest that looks well, and the least.
///
/// The least has a lower-case o of 1/16 inch. Source, from memory: 21 CFR 101.2(c).
const LARGEST_PT: f64 = 13.0;
const LEAST_PT: f64 = 25.4 / 16.0 / O_HEIGHT / MM_PER_PT;
const STEP_PT: f64 = 0.25;

/// Edges of a label and space between its parts, in millimetres; the style says the same.
pub(super) const PAD: f64 = 2.0;
pub(super) const SPACE: f64 = 1.0;
/// Border and padding of the boxed statement, above and below together, and left and right.
const BOX: (f64, f64) = (2.4, 1.6);
/// The row of carton cups between the parts, where there is room.
pub(super) const CUPS: f64 = 2.2;

/// The finest module of a code that a phone reads well from a damp carton, in millimetres.
const LEAST_MODULE: f64 = 0.42;
const WIDEST_QR: f64 = 26.0;

/// What stands on the label of a carton, under the rules in force.
#[derive(Debug, Clone, PartialEq)]
pub struct CartonLabel {
    /// The lines, each with the rule behind it.
    pub lines: Vec<LabelLine>,
    /// The code that traces the carton.
    pub code: QrCode,
    /// What the person at the printer should know; none of it stands on the label.
    pub cautions: Vec<String>,
}

/// On what to print, and how much.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelOrder {
    /// The labels in the printer.
    pub stock: Stock,
    /// The first free label of the first sheet, from 1, row by row.
    pub first: u32,
    /// How many cartons to label.
    pub cartons: u32,
}

impl CartonLabel {
    /// The label that was asked for, with its code.
    ///
    /// # Errors
    /// What [`label`] refuses: a grade, class or claim not open to these eggs, a date past its limit,
    /// a missing part; a lot code that is missing or too long.
    pub fn new(
        request: &LabelRequest,
        pack: &RulePack,
        house: &HousePolicy,
    ) -> Result<CartonLabel, InvalidRecord> {
        let Finding { value, caution, .. } = label(request, pack, house).map_err(of_the_trade)?;
        let code = request
            .lot
            .as_deref()
            .ok_or_else(|| InvalidRecord::missing("code", "allowed is the code of the carton"))?;
        Ok(CartonLabel {
            lines: value,
            code: QrCode::new(code)?,
            cautions: vec![caution],
        })
    }

    /// The text of a part, if it is there.
    pub fn text(&self, part: Part) -> Option<&str> {
        let line = self.lines.iter().find(|line| line.part == part)?;
        Some(&line.text)
    }
}

/// An error of the trade as one about a field.
pub(crate) fn of_the_trade(error: TradeError) -> InvalidRecord {
    match error {
        TradeError::OutOfRange {
            field,
            value,
            low,
            high,
            unit,
        } => InvalidRecord::new(
            field,
            format!("{value} {unit}"),
            format!("allowed is {low} to {high} {unit}"),
        ),
        TradeError::NotAllowed {
            field,
            value,
            allowed,
        } => InvalidRecord::new(field, value, format!("allowed is {allowed}")),
        other => InvalidRecord::new("label", "what was asked for", other.to_string()),
    }
}

/// How a label is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Layout {
    /// The size of most type, in points.
    pub(super) base: f64,
    /// The size of the net quantity, in points.
    pub(super) count: f64,
    /// The side of the code, in millimetres.
    pub(super) qr: f64,
    /// Whether the statement and the producer stand on a second label.
    pub(super) apart: bool,
}

impl Layout {
    /// The layout with the largest type that fits: on one label if that can be, else on two.
    pub(super) fn of(label: &CartonLabel, stock: &Stock) -> Result<Layout, InvalidRecord> {
        if let Some(layout) = Layout::try_of(label, stock)? {
            return Ok(layout);
        }
        let fits = |stock: &Stock| matches!(Layout::try_of(label, stock), Ok(Some(_)));
        let names: Vec<String> = Stock::known()
            .into_iter()
            .filter(fits)
            .map(|s| s.name)
            .collect();
        let allowed = if names.is_empty() {
            "what the label has to say fits on none of the known ones in type of 1/16 inch; shorten \
             the producer's address or the further words"
                .to_owned()
        } else {
            format!(
                "in type that can be read, what it has to say fits on {}",
                names.join(", ")
            )
        };
        Err(InvalidRecord::new("sheet", stock, allowed))
    }

    fn try_of(label: &CartonLabel, stock: &Stock) -> Result<Option<Layout>, InvalidRecord> {
        let (width, high) = stock.label;
        let least = f64::from(label.code.modules()) * LEAST_MODULE;
        let qr = (0.3 * width).min(0.5 * high).min(WIDEST_QR).max(least);
        if qr > 0.45 * width || qr > high {
            return Ok(None);
        }
        // The height that the rule asks of the net quantity, on a panel as large as the label.
        let o = type_height(stock.square_inches()).map_err(of_the_trade)? * 25.4;
        let count_least = o / O_HEIGHT / MM_PER_PT;
        for apart in [false, true] {
            let mut base = LARGEST_PT;
            while base >= LEAST_PT {
                let layout = Layout {
                    base,
                    count: count_least.max(1.5 * base),
                    qr,
                    apart,
                };
                if layout.fits(label, width, high) {
                    return Ok(Some(layout));
                }
                base = if base - STEP_PT < LEAST_PT && base > LEAST_PT {
                    LEAST_PT
                } else {
                    base - STEP_PT
                };
            }
        }
        Ok(None)
    }

    fn fits(&self, label: &CartonLabel, width: f64, high: f64) -> bool {
        let room = high - 2.0 * PAD;
        let face = self.face(label, width);
        let rest = self.rest(label, width);
        if self.apart {
            face <= room && rest <= room
        } else {
            let cups = if rest > 0.0 { CUPS + 2.0 * SPACE } else { 0.0 };
            face + cups + rest <= room
        }
    }

    /// The part with the code: what the eggs are, their dates, the cold.
    fn face(&self, label: &CartonLabel, width: f64) -> f64 {
        // The white of the code reaches to the label's edge; it keeps its own distance.
        let room = width - PAD - self.qr;
        let words: f64 = face_lines(label)
            .iter()
            .map(|line| {
                let pt = if line.0 == Part::Count {
                    self.count
                } else {
                    self.base
                };
                height(&line.1, pt, line.2, room)
            })
            .sum();
        let lot = label.text(Part::Lot).unwrap_or_default();
        words.max(self.qr - PAD + height(lot, LOT_PT, false, self.qr - PAD))
    }

    /// The statement and who packed.
    fn rest(&self, label: &CartonLabel, width: f64) -> f64 {
        let room = width - 2.0 * PAD;
        let mut sum = 0.0;
        for (part, text, bold) in rest_lines(label) {
            sum += match part {
                Part::SafeHandling => BOX.0 + height(&text, self.base, true, room - BOX.1) + SPACE,
                _ => height(&text, self.base, bold, room),
            };
        }
        if self.apart && sum > 0.0 {
            sum += LOT_PT * MM_PER_PT * LEADING + SPACE;
        }
        sum
    }

    /// The style of this layout.
    pub(super) fn style(&self) -> String {
        format!(
            ".label {{ --base: {}pt; --count: {}pt; --qr: {}mm; --lot: {}pt; }}\n",
            number(self.base),
            number(self.count),
            number(self.qr),
            number(LOT_PT),
        )
    }
}

/// The size of the code in letters, in points.
const LOT_PT: f64 = 7.0;

/// The lines of the face in order: part, text, whether it is bold.
pub(super) fn face_lines(label: &CartonLabel) -> Vec<(Part, String, bool)> {
    let mut all = Vec::new();
    for line in &label.lines {
        match line.part {
            Part::Count => all.insert(0, (line.part, line.text.clone(), true)),
            Part::KeepCold => all.push((line.part, line.text.clone(), true)),
            Part::Identity => all.push((line.part, line.text.clone(), line.bold > 0)),
            Part::Grade | Part::PackDay | Part::BestBy | Part::Claim => {
                all.push((line.part, line.text.clone(), false));
            }
            Part::SafeHandling | Part::Producer | Part::ProducerCode | Part::Lot => {}
        }
    }
    all
}

/// The lines of the rest in order: part, text, whether it is bold.
pub(super) fn rest_lines(label: &CartonLabel) -> Vec<(Part, String, bool)> {
    let mut all = Vec::new();
    for line in &label.lines {
        match line.part {
            Part::SafeHandling => all.insert(0, (line.part, line.text.clone(), false)),
            Part::Producer => {
                // The name, then the address in one run: labels are wider than high.
                let mut lines = line.text.lines().map(str::trim).filter(|l| !l.is_empty());
                let name = lines.next().unwrap_or_default().to_owned();
                let address: Vec<&str> = lines.collect();
                all.push((Part::Producer, name, true));
                if !address.is_empty() {
                    all.push((Part::Producer, address.join(", "), false));
                }
            }
            Part::ProducerCode => all.push((line.part, line.text.clone(), false)),
            _ => {}
        }
    }
    all
}
