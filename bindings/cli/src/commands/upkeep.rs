use pointdown_core::farm::{ErrorKind, FarmError, HOLDS};
use serde_json::json;

use crate::base::Base;
use crate::fail::Failure;
use crate::tables::Screen;

pub(crate) fn check(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let found = farm.check()?;
    let strays = farm.strays()?;
    if screen.json {
        let all = json!({
            "records": found.records,
            "checked": HOLDS,
            "wrong": found.wrong,
            "strays": strays.iter().map(|s| json!({"doc": s.doc, "key": s.key, "why": s.why}))
                .collect::<Vec<_>>(),
        });
        screen.value(&all)?;
    } else {
        screen.line(format!("Looked at {} records.", found.records))?;
        for holds in HOLDS {
            screen.line(format!("Checked: {holds}."))?;
        }
        for wrong in &found.wrong {
            screen.line(format!("Wrong: {wrong}"))?;
        }
        for stray in &strays {
            screen.line(format!(
                "Kept, not counted: {} in {}: {}",
                stray.key, stray.doc, stray.why
            ))?;
        }
        if found.wrong.is_empty() {
            screen.line("Everything holds.")?;
        }
    }
    if found.wrong.is_empty() {
        return Ok(());
    }
    Err(FarmError::new(
        ErrorKind::Damaged,
        "something does not hold; `pointdown rebuild` makes the book anew from the changes",
    )
    .into())
}

pub(crate) fn rebuild(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    farm.rebuild()?;
    let records = farm.record_count()?;
    if screen.json {
        return Ok(screen.value(&json!({"records": records}))?);
    }
    Ok(screen.line(format!("Made the book anew: {records} records."))?)
}
