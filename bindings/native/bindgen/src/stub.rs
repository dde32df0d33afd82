//! The types of the generated Python side as a stub for type checkers.
//!
//! What UniFFI writes makes the kinds of an enum and of an error by assignments at run time, which no
//! type checker follows. The stub says the same in words that they know: a class within its class, of
//! which it is a subclass.

use std::collections::BTreeMap;

use uniffi_bindgen::macro_metadata::extract_from_library;
use uniffi_meta::{
    DefaultValueMetadata, EnumMetadata, EnumShape, FieldMetadata, FnParamMetadata, Metadata, Type,
    VariantMetadata,
};

const HEAD: &str = "\
# What type checkers know of the generated half. Written by `cargo xtask bindings --bless` from the
# library itself, and held against it by the tests; not to be edited.

import builtins
import enum
";

/// Python's own words.
const KEYWORDS: [&str; 32] = [
    "and", "as", "assert", "async", "await", "break", "class", "continue", "def", "del", "elif",
    "else", "except", "finally", "for", "from", "global", "if", "import", "in", "is", "lambda",
    "nonlocal", "not", "or", "pass", "raise", "return", "try", "while", "with", "yield",
];

/// Reads a library that was built and not stripped.
pub(crate) fn of(library: &str) -> Result<String, String> {
    let items = extract_from_library(library.into()).map_err(|e| format!("{library}: {e:#}"))?;
    // By name, so that nothing hangs on the order of the source.
    let mut all: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    let mut methods: BTreeMap<&str, BTreeMap<&str, Vec<String>>> = BTreeMap::new();
    for item in &items {
        match item {
            Metadata::Func(f) => {
                let lines = call("", &f.name, &f.inputs, &f.return_type, None);
                all.insert(&f.name, lines);
            }
            Metadata::Record(r) => {
                let mut lines = class(&r.name, "");
                lines.extend(fields(&r.fields, true));
                all.insert(&r.name, lines);
            }
            Metadata::Enum(e) => {
                all.insert(&e.name, one_of(e));
            }
            Metadata::Object(o) => {
                methods.entry(&o.name).or_default();
            }
            Metadata::Constructor(f) if f.name == "new" => {
                let lines = call("self", "__init__", &f.inputs, &None, None);
                let of = methods.entry(&f.self_name).or_default();
                of.insert("", lines);
            }
            Metadata::Constructor(f) => {
                let lines = call("cls", &f.name, &f.inputs, &None, Some(&f.self_name));
                let of = methods.entry(&f.self_name).or_default();
                of.insert(&f.name, lines);
            }
            Metadata::Method(f) => {
                let lines = call("self", &f.name, &f.inputs, &f.return_type, None);
                let of = methods.entry(&f.self_name).or_default();
                of.insert(&f.name, lines);
            }
            Metadata::TraitMethod(f) => {
                let lines = call("self", &f.name, &f.inputs, &f.return_type, None);
                let of = methods.entry(&f.trait_name).or_default();
                of.insert(&f.name, lines);
            }
            _ => {}
        }
    }
    if all.is_empty() {
        return Err(format!("{library} has no interface; was it stripped?"));
    }
    for (name, of) in methods {
        let mut lines = class(name, "");
        lines.extend(inner(of.into_values().flatten()));
        all.insert(name, lines);
    }
    let mut text = String::from(HEAD);
    for lines in all.values() {
        text += "\n";
        for line in lines {
            text += line;
            text += "\n";
        }
    }
    Ok(text)
}

fn class(name: &str, of: &str) -> Vec<String> {
    let base = if of.is_empty() {
        String::new()
    } else {
        format!("({of})")
    };
    vec![format!("class {name}{base}:")]
}

fn inner(lines: impl IntoIterator<Item = String>) -> Vec<String> {
    lines
        .into_iter()
        .map(|line| format!("    {line}"))
        .collect()
}

/// A class of its own for each kind, or plain words where none has a field.
fn one_of(e: &EnumMetadata) -> Vec<String> {
    let error = matches!(e.shape, EnumShape::Error { .. });
    if !error && e.variants.iter().all(|v| v.fields.is_empty()) {
        let mut lines = class(&e.name, "enum.Enum");
        let words = e.variants.iter().enumerate();
        lines.extend(words.map(|(n, v)| format!("    {} = {n}", shouted(&v.name))));
        return lines;
    }
    let mut lines = class(&e.name, if error { "Exception" } else { "" });
    if error {
        // Whoever catches any of them wants to say what all of them have.
        let shared = |f: &&FieldMetadata| {
            let has =
                |v: &VariantMetadata| v.fields.iter().any(|g| g.name == f.name && g.ty == f.ty);
            e.variants.iter().all(has)
        };
        let first = e.variants.first().into_iter().flat_map(|v| &v.fields);
        lines.extend(first.filter(shared).map(|f| format!("    {}", field(f))));
    }
    for variant in &e.variants {
        let name = if error {
            variant.name.clone()
        } else {
            shouted(&variant.name)
        };
        let mut kind = class(&name, &e.name);
        kind.extend(fields(&variant.fields, false));
        lines.extend(inner(kind));
        if !error {
            let asked = name.to_lowercase();
            lines.push(format!("    def is_{asked}(self) -> bool: ..."));
        }
    }
    lines
}

/// Fields, and how something with them is made: by name only where it is a record.
fn fields(all: &[FieldMetadata], by_name: bool) -> Vec<String> {
    let mut lines: Vec<String> = all.iter().map(|f| format!("    {}", field(f))).collect();
    let mut words = vec!["self".to_owned()];
    if by_name && !all.is_empty() {
        words.push("*".to_owned());
    }
    for f in all {
        words.push(format!("{}{}", field(f), default(&f.default)));
    }
    lines.push(format!(
        "    def __init__({}) -> None: ...",
        words.join(", ")
    ));
    lines
}

fn field(f: &FieldMetadata) -> String {
    format!("{}: {}", spoken(&f.name), name(&f.ty))
}

/// The generated half puts a line before a name that means something in Python.
fn spoken(name: &str) -> String {
    let taken = KEYWORDS.contains(&name);
    format!("{}{name}", if taken { "_" } else { "" })
}

fn call(
    on: &str,
    called: &str,
    inputs: &[FnParamMetadata],
    gives: &Option<Type>,
    made: Option<&str>,
) -> Vec<String> {
    let own = (!on.is_empty()).then(|| on.to_owned());
    let words = inputs.iter().map(|one| {
        format!(
            "{}: {}{}",
            spoken(&one.name),
            name(&one.ty),
            default(&one.default)
        )
    });
    let words: Vec<String> = own.into_iter().chain(words).collect();
    let gives = match (made, gives) {
        (Some(made), _) => made.to_owned(),
        (None, Some(gives)) => name(gives),
        (None, None) => "None".to_owned(),
    };
    let mut lines = Vec::new();
    if on == "cls" {
        lines.push("@classmethod".to_owned());
    }
    lines.push(format!(
        "def {called}({}) -> {gives}: ...",
        words.join(", ")
    ));
    lines
}

fn default(value: &Option<DefaultValueMetadata>) -> &'static str {
    if value.is_some() { " = ..." } else { "" }
}

fn name(ty: &Type) -> String {
    match ty {
        Type::Object { name, .. }
        | Type::Record { name, .. }
        | Type::Enum { name, .. }
        | Type::CallbackInterface { name, .. }
        | Type::Custom { name, .. } => name.clone(),
        Type::Optional { inner_type } => format!("{} | None", name(inner_type)),
        // A field or method may have the name of a type, as `Farm.list` has.
        Type::Sequence { inner_type } => format!("builtins.list[{}]", name(inner_type)),
        Type::Map {
            key_type,
            value_type,
        } => format!("dict[{}, {}]", name(key_type), name(value_type)),
        Type::Boolean => "bool".to_owned(),
        Type::String => "str".to_owned(),
        Type::Bytes => "builtins.bytes".to_owned(),
        Type::Float32 | Type::Float64 => "float".to_owned(),
        _ => "int".to_owned(),
    }
}

/// `HeldEggs` as `HELD_EGGS`.
fn shouted(name: &str) -> String {
    let mut text = String::new();
    for c in name.chars() {
        if c.is_uppercase() && !text.is_empty() {
            text.push('_');
        }
        text.extend(c.to_uppercase());
    }
    text
}
