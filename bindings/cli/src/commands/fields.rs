use pointdown_core::record::{COMMON, FieldSpec, FieldType, Kind, spec};
use serde_json::{Value, json};

use crate::fail::Failure;
use crate::tables::Screen;

/// The table of fields of one kind, or of all.
pub(crate) fn print(screen: &mut Screen<'_>, kind: Option<&str>) -> Result<(), Failure> {
    let kinds = Kind::ALL
        .iter()
        .copied()
        .filter(|k| kind.is_none_or(|word| word == k.code()));
    if screen.json {
        let all: Vec<Value> = kinds
            .map(|kind| {
                let fields: Vec<Value> = fields_of(kind).map(as_json).collect();
                json!({"kind": kind, "fields": fields})
            })
            .collect();
        return Ok(screen.value(&all)?);
    }
    for (n, kind) in kinds.enumerate() {
        if n > 0 {
            screen.line("")?;
        }
        screen.line(format!("{}  (* must be given)", kind.code()))?;
        let rows = fields_of(kind).map(|field| {
            let star = if field.required { "*" } else { "" };
            let allowed = field.ty.allowed();
            let allowed = ["allowed are ", "allowed is "]
                .iter()
                .find_map(|start| allowed.strip_prefix(start))
                .unwrap_or(&allowed);
            [
                format!("{}{star}", field.name),
                field.about.to_string(),
                allowed.to_string(),
            ]
        });
        screen.table(["field", "meaning", "allowed"], &[], rows)?;
    }
    Ok(())
}

/// The device is always the one that logs, and what a writer had seen is known here: nobody gives
/// them.
fn fields_of(kind: Kind) -> impl Iterator<Item = &'static FieldSpec> {
    spec(kind)
        .iter()
        .chain(COMMON)
        .filter(|field| field.name != "device" && !matches!(field.ty, FieldType::Seen))
}

fn as_json(field: &FieldSpec) -> Value {
    json!({
        "name": field.name,
        "required": field.required,
        "meaning": field.about,
        "allowed": field.ty.allowed(),
    })
}
