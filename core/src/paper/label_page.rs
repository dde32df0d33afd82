use maud::{Markup, html};

use super::figures::cups;
use super::label::{Layout, face_lines, rest_lines};
use super::page::{Sheet, document, number};
use super::{CartonLabel, LabelOrder, Page, Stock};
use crate::record::InvalidRecord;
use crate::trade::label::{LabelLine, Part};

/// The most labels in one file.
const MOST: u32 = 1000;

/// A page of labels, and what came of the order.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelPage {
    /// The page.
    pub page: Page,
    /// Sheets that it prints.
    pub sheets: u32,
    /// Labels to a carton: two where the label is too small for one.
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
    let rest = rest_lines(label);
    let second = layout.apart && !rest.is_empty();
    let per_carton = 1 + u32::from(second);
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
    if second {
        cautions.push(
            "The labels are small, so each carton takes two: the first on the lid, the second with \
             the statement and your address beside it or inside the lid."
                .into(),
        );
    }
    cautions.push(
        "The count is set as high as the rules ask on a panel of the label's size; on a lid that \
         is larger, they may ask for more."
            .into(),
    );

    let cell = |n: u32| -> Option<Markup> {
        let n = n.checked_sub(skipped)?;
        (n < order.cartons * per_carton).then(|| {
            if second && n % 2 == 1 {
                html! { div.label.second { (rest_of(label)) p.lot { (lot(label)) } } }
            } else {
                html! {
                    div.label {
                        (face(label))
                        @if !layout.apart && !rest.is_empty() { (cups()) (rest_of(label)) }
                    }
                }
            }
        })
    };
    let title = format!("Labels {}", lot(label));
    let body = html! {
        header.screen {
            h1 { (title) }
            p { (stock.to_string()) "; " (order.cartons) " cartons, " (sheets) " sheets." }
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

fn face(label: &CartonLabel) -> Markup {
    html! {
        div.face {
            div.words {
                @for (part, text, bold) in face_lines(label) {
                    p.count[part == Part::Count].bold[bold] { (text) }
                }
            }
            div.code { (label.code.picture()) p.lot { (lot(label)) } }
        }
    }
}

fn rest_of(label: &CartonLabel) -> Markup {
    let statement = |line: &LabelLine| {
        let (bold, plain) = line
            .text
            .split_at_checked(line.bold)
            .unwrap_or(("", &line.text));
        html! { p.statement.boxed[line.boxed] { b { (bold) } (plain) } }
    };
    html! {
        div.rest {
            @for line in label.lines.iter().filter(|l| l.part == Part::SafeHandling) {
                (statement(line))
            }
            @for (_, text, bold) in rest_lines(label).iter().filter(|l| l.0 != Part::SafeHandling) {
                p.bold[*bold] { (text) }
            }
        }
    }
}
