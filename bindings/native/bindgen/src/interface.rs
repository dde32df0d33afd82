//! The interface of a library as text, one thing a line, in an order that does not hang on the order
//! of the source.

use std::collections::BTreeSet;

use uniffi_bindgen::macro_metadata::extract_from_library;
use uniffi_meta::{
    DefaultValueMetadata, EnumShape, FieldMetadata, FnParamMetadata, LiteralMetadata, Metadata,
    Type,
};

/// Reads a library that was built and not stripped.
pub(crate) fn of(library: &str) -> Result<String, String> {
    let items = extract_from_library(library.into()).map_err(|e| format!("{library}: {e:#}"))?;
    let lines: BTreeSet<String> = items.iter().flat_map(told).collect();
    if lines.is_empty() {
        return Err(format!("{library} has no interface; was it stripped?"));
    }
    let mut text: Vec<String> = lines.into_iter().collect();
    text.push(String::new());
    Ok(text.join("\n"))
}

fn told(item: &Metadata) -> Vec<String> {
    match item {
        Metadata::Func(f) => vec![format!(
            "function {}{}",
            f.name,
            shape(&f.inputs, &f.return_type, &f.throws)
        )],
        Metadata::Constructor(f) => vec![format!(
            "object {}: new {}{}",
            f.self_name,
            f.name,
            shape(&f.inputs, &None, &f.throws)
        )],
        Metadata::Method(f) => vec![format!(
            "object {}: {}{}",
            f.self_name,
            f.name,
            shape(&f.inputs, &f.return_type, &f.throws)
        )],
        Metadata::TraitMethod(f) => vec![format!(
            "listener {}: {}{}",
            f.trait_name,
            f.name,
            shape(&f.inputs, &f.return_type, &f.throws)
        )],
        // The order of fields and variants is part of the interface, so they are numbered.
        Metadata::Record(r) => numbered(&format!("record {}", r.name), r.fields.iter().map(field)),
        Metadata::Enum(e) => {
            let word = match e.shape {
                EnumShape::Enum => "enum",
                EnumShape::Error { .. } => "error",
            };
            let variants = e.variants.iter().map(|variant| {
                let fields: Vec<String> = variant.fields.iter().map(field).collect();
                match fields.as_slice() {
                    [] => variant.name.clone(),
                    fields => format!("{} {{ {} }}", variant.name, fields.join(", ")),
                }
            });
            numbered(&format!("{word} {}", e.name), variants)
        }
        Metadata::Object(o) => vec![format!("object {}", o.name)],
        Metadata::Namespace(n) => vec![format!("namespace {}", n.name)],
        other => vec![format!("other {other:?}")],
    }
}

fn numbered(of: &str, parts: impl Iterator<Item = String>) -> Vec<String> {
    let parts = parts.enumerate();
    parts
        .map(|(n, part)| format!("{of}: {:02} {part}", n + 1))
        .collect()
}

fn shape(inputs: &[FnParamMetadata], gives: &Option<Type>, throws: &Option<Type>) -> String {
    let inputs: Vec<String> = inputs
        .iter()
        .map(|one| format!("{}: {}{}", one.name, name(&one.ty), default(&one.default)))
        .collect();
    let mut text = format!("({})", inputs.join(", "));
    if let Some(gives) = gives {
        text += &format!(" -> {}", name(gives));
    }
    if let Some(throws) = throws {
        text += &format!(" throws {}", name(throws));
    }
    text
}

fn field(field: &FieldMetadata) -> String {
    format!(
        "{}: {}{}",
        field.name,
        name(&field.ty),
        default(&field.default)
    )
}

fn default(value: &Option<DefaultValueMetadata>) -> String {
    match value {
        None => String::new(),
        Some(DefaultValueMetadata::Literal(LiteralMetadata::None)) => " = none".into(),
        Some(DefaultValueMetadata::Literal(LiteralMetadata::Boolean(yes))) => format!(" = {yes}"),
        Some(other) => format!(" = {other:?}"),
    }
}

fn name(ty: &Type) -> String {
    match ty {
        Type::Object { name, .. }
        | Type::Record { name, .. }
        | Type::Enum { name, .. }
        | Type::CallbackInterface { name, .. }
        | Type::Custom { name, .. } => name.clone(),
        Type::Optional { inner_type } => format!("{}?", name(inner_type)),
        Type::Sequence { inner_type } => format!("[{}]", name(inner_type)),
        Type::Map {
            key_type,
            value_type,
        } => format!("[{}: {}]", name(key_type), name(value_type)),
        other => format!("{other:?}"),
    }
}
