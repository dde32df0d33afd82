//! Pages for print and pictures of trends, as text: carton labels, the day sheet, the gather sheet,
//! the call-back list, and charts that print and can be read aloud.
//!
//! Each page is one HTML file that needs nothing else: no script, no font, no picture from
//! elsewhere. Its content security policy allows its own style and nothing more, so that no name
//! in a farm's records can bring anything in. Sizes are exact, in millimetres and points.

mod call_back;
mod called;
mod chart;
mod day_sheet;
mod figures;
mod fit;
mod gather_sheet;
mod label;
mod label_page;
mod page;
mod qr;
mod stock;
mod trend_page;
mod words;

pub use call_back::{CallBack, Got, StillHere, ToCall, call_back_page};
pub use chart::{MOST_SPANS, trend_chart};
pub use day_sheet::{DaySheet, day_sheet_page};
pub use gather_sheet::{GatherSheet, gather_sheet_page};
pub use label::{CartonLabel, LabelOrder};
pub use label_page::{LabelPage, label_page};
pub use page::{Page, Paper};
pub use qr::QrCode;
pub use stock::Stock;
pub use trend_page::trend_page;
