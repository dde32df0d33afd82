use super::fit::{LEADING, MM_PER_PT, O_HEIGHT, height, lines};
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
const BOX: (f64, f64) = (1.8, 1.8);
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
fn of_the_trade(error: TradeError) -> InvalidRecord {
    InvalidRecord::of_the_trade(error).unwrap_or_else(|other| {
        InvalidRecord::new("label", "what was asked for", other.to_string())
    })
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
    /// Whether a row of carton cups stands between the parts.
    pub(super) cups: bool,
    /// On how many labels the parts stand: face, statement, producer.
    pub(super) labels: u32,
}

impl Layout {
    /// The layout on the fewest labels, and of those the one with the largest code and type.
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
        Err(InvalidRecord::new("sheet", &stock.name, allowed))
    }

    fn try_of(label: &CartonLabel, stock: &Stock) -> Result<Option<Layout>, InvalidRecord> {
        let (width, high) = stock.label;
        let least = f64::from(label.code.modules()) * LEAST_MODULE;
        let large = (0.3 * width).min(0.5 * high).min(WIDEST_QR).max(least);
        if least > 0.45 * width || least > high {
            return Ok(None);
        }
        // The height that the rule asks of the net quantity, on a panel as large as the label.
        let o = type_height(stock.square_inches()).map_err(of_the_trade)? * 25.4;
        let count_least = o / O_HEIGHT / MM_PER_PT;
        let parts = 1 + groups(label).len() as u32;
        for labels in 1..=parts {
            for (qr, cups, larger) in [(large, true, 1.5), (least, true, 1.5), (least, false, 1.2)]
            {
                let mut base = LARGEST_PT;
                while base >= LEAST_PT {
                    let layout = Layout {
                        base,
                        count: count_least.max(larger * base),
                        qr,
                        cups,
                        labels,
                    };
                    if layout.fits(label, stock) {
                        return Ok(Some(layout));
                    }
                    base = if base > LEAST_PT {
                        (base - STEP_PT).max(LEAST_PT)
                    } else {
                        0.0
                    };
                }
            }
        }
        Ok(None)
    }

    fn fits(&self, label: &CartonLabel, stock: &Stock) -> bool {
        let room = stock.label.1 - 2.0 * PAD;
        let cups = if self.cups { CUPS + 2.0 * SPACE } else { 0.0 };
        let face = self.face(label, stock.label.0);
        let rest = self.on_labels(label);
        match self.labels {
            1 => {
                let below: f64 = rest.iter().map(|groups| self.height(groups, stock)).sum();
                face + below + if below > 0.0 { cups } else { 0.0 } <= room
            }
            _ => face <= room && rest.iter().all(|groups| self.height(groups, stock) <= room),
        }
    }

    /// The groups of lines on each label after the face; all on the face's own where there is one.
    pub(super) fn on_labels(&self, label: &CartonLabel) -> Vec<Vec<Group>> {
        let groups = groups(label);
        if self.labels > 2 {
            groups.into_iter().map(|group| vec![group]).collect()
        } else if groups.is_empty() {
            Vec::new()
        } else {
            vec![groups]
        }
    }

    /// Whether the code in letters has room under these groups.
    pub(super) fn has_room_for_lot(&self, groups: &[Group], stock: &Stock) -> bool {
        let lot = LOT_PT * MM_PER_PT * LEADING + SPACE;
        self.height(groups, stock) + lot <= stock.label.1 - 2.0 * PAD
    }

    fn height(&self, groups: &[Group], stock: &Stock) -> f64 {
        let between = SPACE * groups.len().saturating_sub(1) as f64;
        groups
            .iter()
            .map(|group| self.group(group, stock))
            .sum::<f64>()
            + between
    }

    /// The part with the code: what the eggs are, their dates, the cold.
    fn face(&self, label: &CartonLabel, width: f64) -> f64 {
        // The white of the code reaches to the label's edge; it keeps its own distance.
        let room = width - PAD - self.qr;
        let words: f64 = face_lines(label)
            .iter()
            .map(|line| {
                let pt = if line.part == Part::Count {
                    self.count
                } else {
                    self.base
                };
                height(&line.text, pt, line.bold, room)
            })
            .sum();
        let lot = label.text(Part::Lot).unwrap_or_default();
        // A code breaks after `Lot`, not within.
        let lots = match lot.split_once(' ') {
            Some((_, code)) if is_short(code, self.qr) && !is_short(lot, self.qr) => 2,
            _ => lines_of(lot, self.qr),
        };
        words.max(self.qr - PAD + f64::from(lots) * LOT_PT * MM_PER_PT * LEADING)
    }

    /// The statement, or who packed.
    fn group(&self, group: &Group, stock: &Stock) -> f64 {
        let room = stock.label.0 - 2.0 * PAD;
        let line = |line: &Set| match line.part {
            Part::SafeHandling => BOX.0 + height(&line.text, self.base, false, room - BOX.1),
            _ => height(&line.text, self.base, line.bold, room),
        };
        group.iter().map(line).sum()
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

/// Whether a text fits on one line under the code.
pub(super) fn is_short(text: &str, qr: f64) -> bool {
    lines_of(text, qr) == 1
}

fn lines_of(text: &str, qr: f64) -> u32 {
    lines(text, LOT_PT, false, qr)
}

/// The size of the code in letters, in points.
const LOT_PT: f64 = 6.5;

/// One line of a label, as it is set.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Set {
    pub(super) part: Part,
    pub(super) text: String,
    pub(super) bold: bool,
}

/// Lines that stay together.
pub(super) type Group = Vec<Set>;

fn set(part: Part, text: impl Into<String>, bold: bool) -> Set {
    let text = text.into();
    Set { part, text, bold }
}

/// The lines of the face in order; the grade stands beside what the eggs are.
pub(super) fn face_lines(label: &CartonLabel) -> Group {
    let mut all = Group::new();
    for line in &label.lines {
        match line.part {
            Part::Count => all.insert(0, set(line.part, &line.text, true)),
            Part::Identity => {
                let text = match label.text(Part::Grade) {
                    Some(grade) => format!("{} · {grade}", line.text),
                    None => line.text.clone(),
                };
                all.push(set(line.part, text, line.bold > 0));
            }
            Part::KeepCold => all.push(set(line.part, &line.text, true)),
            Part::PackDay | Part::BestBy => all.push(set(line.part, &line.text, false)),
            Part::Grade
            | Part::SafeHandling
            | Part::Producer
            | Part::ProducerCode
            | Part::Lot
            | Part::Claim => {}
        }
    }
    all
}

/// What stands below the face: the statement, then who packed, and the seller's further words.
fn groups(label: &CartonLabel) -> Vec<Group> {
    let (mut statement, mut producer) = (Group::new(), Group::new());
    for line in &label.lines {
        match line.part {
            Part::SafeHandling => statement.push(set(line.part, &line.text, false)),
            Part::Producer => {
                // The name, then the address in one run: labels are wider than high.
                let mut lines = line.text.lines().map(str::trim).filter(|l| !l.is_empty());
                producer.push(set(line.part, lines.next().unwrap_or_default(), true));
                let address: Vec<&str> = lines.collect();
                if !address.is_empty() {
                    producer.push(set(line.part, address.join(", "), false));
                }
            }
            Part::ProducerCode | Part::Claim => producer.push(set(line.part, &line.text, false)),
            _ => {}
        }
    }
    [statement, producer]
        .into_iter()
        .filter(|group| !group.is_empty())
        .collect()
}
