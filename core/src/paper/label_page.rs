use maud::{Markup, html};

use super::figures::cups;
use super::label::{Group, Layout, face_lines, is_short};
use super::page::{Sheet, document, number};
use super::words::counted;
use super::{CartonLabel, LabelOrder, Page, Stock};
use crate::record::InvalidRecord;
use crate::trade::label::Part;

/// The most labels in one file.
const MOST: u32 = 1000;

/// A page of labels, and what came of the order.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelPage {
    /// The page.
    pub page: Page,
    /// Sheets that it prints.
    pub sheets: u32,
    /// Labels to a carton: two or three where they are too small for all that has to be said.
    pub labels_per_carton: u32,
    /// The first label of the last sheet that stays free, from 1; nothing if it is used up.
    pub next_free: Option<u32>,
    /// What the person at the printer should know.
    pub cautions: Vec<String>,
}

/// Labels for a run of cartons, on sheets or on a roll.
///
/// # Errors
/// No cartons or too many, a first label that the sheet does not have, or a stock too small for what
/// has to stand on it.
pub fn label_page(label: &CartonLabel, order: &LabelOrder) -> Result<LabelPage, InvalidRecord> {
    let stock = &order.stock;
    let on_sheet = stock.labels();
    if !(1..=on_sheet).contains(&order.first) {
        let allowed = format!("allowed is 1 to {on_sheet}, the labels of a sheet");
        return Err(InvalidRecord::new("first", order.first, allowed));
    }
    let layout = Layout::of(label, stock)?;
    let rest = layout.on_labels(label);
    let per_carton = if layout.labels == 1 {
        1
    } else {
        1 + rest.len() as u32
    };
    if order.cartons < 1 || order.cartons > MOST / per_carton {
        let allowed = format!("allowed is 1 to {} in one file", MOST / per_carton);
        return Err(InvalidRecord::new("cartons", order.cartons, allowed));
    }
    let skipped = order.first - 1;
    let ends = skipped + order.cartons * per_carton;
    let sheets = ends.div_ceil(on_sheet);

    let mut cautions = label.cautions.clone();
    cautions.push(
        "Print at 100 %, not fitted to the page, and hold one sheet of plain paper against the \
         labels first."
            .into(),
    );
    if per_carton > 1 {
        cautions.push(format!(
            "The labels are small, so each carton takes {per_carton}: the first on the lid, the \
             others, with the statement and your address, beside it or inside the lid."
        ));
    }
    cautions.push(
        "The count is set as high as the rules ask on a panel of the label's size; on a lid that \
         is larger, they may ask for more."
            .into(),
    );

    let cell = |n: u32| -> Option<Markup> {
        let n = n.checked_sub(skipped)?;
        (n < order.cartons * per_carton).then(|| match (n % per_carton) as usize {
            0 => html! {
                div.label {
                    (face(label, layout.qr))
                    @if per_carton == 1 {
                        @if layout.cups && !rest.is_empty() { (cups()) }
                        @for groups in &rest { (below(label, groups)) }
                    }
                }
            },
            further => html! {
                div.label {
                    @if let Some(groups) = rest.get(further - 1) {
                        (below(label, groups))
                        @if layout.has_room_for_lot(groups, stock) { p.lot { (lot(label)) } }
                    }
                }
            },
        })
    };
    let title = format!("Labels, {}", lot(label));
    let body = html! {
        header.screen {
            h1 { (title) }
            p {
                (stock.to_string()) "; " (counted(i64::from(order.cartons), "carton")) ", "
                (counted(i64::from(sheets), "sheet")) "."
            }
            ul { @for caution in &cautions { li { (caution) } } }
        }
        main {
            @for sheet in 0..sheets {
                section.sheet aria-label={ "sheet " (sheet + 1) } {
                    @for n in sheet * on_sheet..(sheet + 1) * on_sheet {
                        @match cell(n) { Some(label) => (label), None => div.free {} }
                    }
                }
            }
        }
    };
    let style = format!(
        "{}{}{}",
        sheet_style(stock),
        layout.style(),
        include_str!("style/label.css")
    );
    let paper = Sheet {
        size: stock.page,
        margin: 0.0,
    };
    Ok(LabelPage {
        page: document(&title, &paper, &style, &[], body),
        sheets,
        labels_per_carton: per_carton,
        next_free: (!ends.is_multiple_of(on_sheet)).then_some(ends % on_sheet + 1),
        cautions,
    })
}

fn sheet_style(stock: &Stock) -> String {
    let mm = number;
    format!(
        ".sheet {{ width: {}mm; grid-template-columns: repeat({}, {}mm); grid-template-rows: \
         repeat({}, {}mm); gap: {}mm {}mm; padding: {}mm 0 0 {}mm; }}\n",
        mm(stock.page.0),
        stock.columns,
        mm(stock.label.0),
        stock.rows,
        mm(stock.label.1),
        mm(stock.gap.1),
        mm(stock.gap.0),
        mm(stock.margin.1),
        mm(stock.margin.0),
    )
}

fn lot(label: &CartonLabel) -> &str {
    label.text(Part::Lot).unwrap_or_default()
}

fn face(label: &CartonLabel, qr: f64) -> Markup {
    html! {
        div.face {
            div.words {
                @for line in face_lines(label) {
                    p.count[line.part == Part::Count].bold[line.bold] { (line.text) }
                }
            }
            div.code {
                (label.code.picture())
                p.lot {
                    @match lot(label).split_once(' ') {
                        Some((word, code)) => {
                            (word) " " span.whole[is_short(code, qr)] { (code) }
                        }
                        None => (lot(label)),
                    }
                }
            }
        }
    }
}

fn below(label: &CartonLabel, groups: &[Group]) -> Markup {
    html! {
        div.below {
            @for group in groups {
                div {
                    @for line in group {
                        @if line.part == Part::SafeHandling { (statement(label)) }
                        @else { p.bold[line.bold] { (line.text) } }
                    }
                }
            }
        }
    }
}

/// The statement letter for letter, its first words bold, in its box.
fn statement(label: &CartonLabel) -> Markup {
    html! {
        @for line in label.lines.iter().filter(|l| l.part == Part::SafeHandling) {
            @let (bold, plain) = line.text.split_at_checked(line.bold).unwrap_or(("", &line.text));
            p.statement.boxed[line.boxed] { b { (bold) } (plain) }
        }
    }
}
