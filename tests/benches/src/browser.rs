//! The phone app's core in a real browser, with the same history.

use std::path::Path;

use serde_json::json;

use crate::Outcome;
use crate::family::Family;
use crate::figures::Figures;
use crate::peers::script;

/// (a), (b) and (f) in the worker of the phone app.
pub fn everything(
    family: &Family,
    program: &Path,
    work: &Path,
    runs: usize,
    figures: &mut Figures,
) -> Outcome<()> {
    let copy = family.afresh("browser")?;
    let phone = copy.phone(0)?;
    let bundle = work.join("history.bundle");
    std::fs::write(&bundle, phone.export()?)?;
    let to = phone.today()?;
    let given = work.join("browser.json");
    let asked = json!({
        "bundle": bundle,
        "from": to - chrono::Days::new(364),
        "to": to,
        "runs": runs,
    });
    std::fs::write(&given, serde_json::to_vec(&asked)?)?;
    drop(phone);
    script(program, &[&given], family.years, figures)?;
    copy.done()
}
