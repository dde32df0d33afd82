use ciborium::Value as Cbor;
use serde_json::{Map, Number, Value};

use super::{Fields, InvalidRecord};

/// The longest encoded record that is read, in bytes.
const LONGEST: usize = 256 * 1024;

/// A record's fields as CBOR (RFC 8949): a map with text keys, in the data model of JSON, so that
/// any program with a CBOR reader can open a document.
pub fn encode(fields: &Fields) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(96);
    let map = fields
        .iter()
        .map(|(k, v)| (Cbor::Text(k.clone()), to_cbor(v)))
        .collect();
    // Writing to a vector cannot fail.
    let _ = ciborium::into_writer(&Cbor::Map(map), &mut bytes);
    bytes
}

/// Reads what [`encode`] or a foreign program wrote.
pub fn decode(bytes: &[u8]) -> Result<Fields, InvalidRecord> {
    let wrong =
        |what: &str| InvalidRecord::new("record", what, "allowed is one CBOR map with text keys");
    if bytes.len() > LONGEST {
        return Err(InvalidRecord::new(
            "record",
            format!("{} bytes", bytes.len()),
            format!("allowed are at most {LONGEST} bytes"),
        ));
    }
    let mut rest = bytes;
    let cbor: Cbor = ciborium::de::from_reader_with_recursion_limit(&mut rest, 16)
        .map_err(|_| wrong("broken CBOR"))?;
    if !rest.is_empty() {
        return Err(wrong("something after the record"));
    }
    match to_json(cbor) {
        Some(Value::Object(fields)) => Ok(fields),
        _ => Err(wrong("something else")),
    }
}

fn to_cbor(value: &Value) -> Cbor {
    match value {
        Value::Null => Cbor::Null,
        Value::Bool(b) => Cbor::Bool(*b),
        Value::Number(n) => match (n.as_u64(), n.as_i64(), n.as_f64()) {
            (Some(u), _, _) => Cbor::Integer(u.into()),
            (_, Some(i), _) => Cbor::Integer(i.into()),
            (_, _, f) => Cbor::Float(f.unwrap_or_default()),
        },
        Value::String(s) => Cbor::Text(s.clone()),
        Value::Array(all) => Cbor::Array(all.iter().map(to_cbor).collect()),
        Value::Object(map) => Cbor::Map(
            map.iter()
                .map(|(k, v)| (Cbor::Text(k.clone()), to_cbor(v)))
                .collect(),
        ),
    }
}

fn to_json(cbor: Cbor) -> Option<Value> {
    Some(match cbor {
        Cbor::Null => Value::Null,
        Cbor::Bool(b) => Value::Bool(b),
        Cbor::Integer(i) => {
            let i: i128 = i.into();
            u64::try_from(i)
                .map(Value::from)
                .or_else(|_| i64::try_from(i).map(Value::from))
                .ok()?
        }
        Cbor::Float(f) => Value::Number(Number::from_f64(f)?),
        Cbor::Text(s) => Value::String(s),
        Cbor::Array(all) => Value::Array(all.into_iter().map(to_json).collect::<Option<_>>()?),
        Cbor::Map(all) => {
            let mut map = Map::new();
            for (key, value) in all {
                let Cbor::Text(key) = key else { return None };
                if map.insert(key, to_json(value)?).is_some() {
                    return None;
                }
            }
            Value::Object(map)
        }
        _ => return None,
    })
}
