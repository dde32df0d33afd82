//! The vectors that every language runs, and the only program that writes what they expect.

mod told;

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use pointdown_native::{
    Bowl, Count, CountOf, Draft, Event, Farm, Means, PointdownError, SetUp, Sink, Species, Station,
};
use serde_json::{Value, json};
use told::{told, told_finding, told_money, told_sink, told_stocktake};

fn file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/day.json")
}

fn read() -> Value {
    serde_json::from_str(&std::fs::read_to_string(file()).expect("the vectors")).expect("JSON")
}

fn species(word: &str) -> Species {
    match word {
        "hen" => Species::Hen,
        "duck" => Species::Duck,
        other => panic!("no vector has {other}"),
    }
}

fn means(word: &str) -> Means {
    match word {
        "spray" => Means::Spray,
        "sponge" => Means::Sponge,
        "basin" => Means::Basin,
        other => panic!("no vector has {other}"),
    }
}

/// What is asked once everything was logged: money, the sink, and a stocktake, which logs.
fn ask(found: &mut Value, farm: &Farm) {
    let text = |value: &Value| value.as_str().expect("text").to_string();
    for span in found["takings"].as_array_mut().expect("takings") {
        let (first, last) = (text(&span["first"]), text(&span["last"]));
        let takings = farm.takings(first.clone(), last.clone()).expect("takings");
        let costs = farm.costs(first, last).expect("costs");
        span["lines"] = json!(told_money(&takings, &costs));
    }
    for sink in found["sinks"].as_array_mut().expect("sinks") {
        let asked = Sink {
            species: species(&text(&sink["species"])),
            means: means(&text(&sink["means"])),
            egg_c: sink["egg_c"].as_f64().expect("a temperature"),
            water_c: sink["water_c"].as_f64(),
            water_end_c: None,
            rinse_c: None,
            sanitiser_ppm: None,
            minutes: None,
            sink_cleaned: None,
            bowl: Some(Bowl {
                litres: 10.0,
                room_c: 18.0,
                each_minutes: 0.5,
                egg_grams: 60.0,
            }),
        };
        let advice = farm.sink(asked).expect("advice").expect("rules");
        assert!(!advice.why.is_empty() && !advice.caution.is_empty());
        sink["line"] = json!(told_sink(&advice));
    }
    for stock in found["stocktakes"].as_array_mut().expect("stocktakes") {
        let object = |value: &Value| value.as_object().expect("counts").clone();
        let eggs = |n: Value| n.as_u64().expect("a number") as u32;
        let mut counts = Vec::new();
        for (lot, n) in object(&stock["lots"]) {
            let of = CountOf::OneLot { lot };
            counts.push(Count { of, eggs: eggs(n) });
        }
        for (whole, n) in object(&stock["species"]) {
            let of = CountOf::Whole {
                species: species(&whole),
            };
            counts.push(Count { of, eggs: eggs(n) });
        }
        assert_eq!(text(&stock["station"]), "basket");
        let taken = farm.stocktake(Station::Basket, counts, stock["at_ms"].as_i64());
        stock["lines"] = json!(told_stocktake(&taken.expect("a stocktake")));
    }
}

/// Names of the vector that stand for ids.
#[derive(Default)]
struct Ids(HashMap<String, String>);

impl Ids {
    fn fill(&self, value: &Value) -> String {
        let named = |text: String, (name, id): (&String, &String)| {
            text.replace(&format!("\"${name}\""), &format!("\"{id}\""))
        };
        self.0.iter().fold(value.to_string(), named)
    }

    fn of(&self, value: &Value) -> String {
        let name = value.as_str().expect("a name").trim_start_matches('$');
        self.0[name].clone()
    }

    /// Ids differ from run to run.
    fn hide(&self, text: &str) -> String {
        let hidden =
            |text: String, (name, id): (&String, &String)| text.replace(id, &format!("${name}"));
        self.0.iter().fold(text.to_string(), hidden)
    }
}

fn run(vector: &Value, path: &Path) -> Value {
    let mut found = vector.clone();
    let text = |value: &Value| value.as_str().expect("text").to_string();
    let set_up = &vector["set_up"];
    let farm = Farm::begin(
        path.display().to_string(),
        SetUp {
            name: text(&set_up["name"]),
            zone: text(&set_up["zone"]),
            person: text(&set_up["person"]),
            device: text(&set_up["device"]),
            more_json: Some(set_up["more"].to_string()),
        },
    )
    .expect("a farm");
    let mut ids = Ids::default();
    let steps = vector["steps"].as_array().expect("steps");
    for (n, step) in steps.iter().enumerate() {
        let why = || step["why"].as_str().map(str::to_string);
        let outcome = if step["amend"].is_string() {
            farm.amend(ids.of(&step["amend"]), ids.fill(&step["set"]), why())
        } else if step["void"].is_string() {
            farm.void(ids.of(&step["void"]), why().expect("why"))
        } else {
            let mut fields = step["log"].clone();
            let object = fields.as_object_mut().expect("a draft");
            let kind = text(&object.remove("kind").expect("a kind"));
            let at_ms = object.remove("at_ms").and_then(|at| at.as_i64());
            let event = Event::Other {
                kind,
                fields_json: ids.fill(&fields),
            };
            farm.log(Draft {
                event,
                at_ms,
                by: None,
                note: None,
            })
        };
        match outcome {
            Ok(logged) => {
                assert!(step["fails"].is_null(), "step {n} was to fail: {step}");
                if let Some(name) = step["as"].as_str() {
                    ids.0.insert(name.into(), logged.id);
                }
            }
            Err(PointdownError::Invalid {
                field,
                value,
                allowed,
                text,
            }) => {
                assert!(!step["fails"].is_null(), "step {n}: {text}");
                let value = value.map(|value| ids.hide(&value));
                found["steps"][n]["fails"] = json!({
                    "kind": "invalid", "field": field, "value": value, "allowed": allowed,
                });
            }
            Err(e) => panic!("step {n}: {e}"),
        }
    }
    for sheet in found["sheets"].as_array_mut().expect("sheets") {
        let days = (text(&sheet["first"]), text(&sheet["last"]));
        sheet["lines"] = json!(told(&farm.sheet(days.0, days.1).expect("a sheet")));
    }
    let review: Vec<String> = farm
        .review()
        .expect("a list")
        .iter()
        .map(told_finding)
        .collect();
    found["review"] = json!(review);
    for label in found["labels"].as_array_mut().expect("labels") {
        let printed = farm.label(ids.of(&label["carton"])).expect("a label");
        let lines: Vec<String> = printed.lines.into_iter().map(|line| line.text).collect();
        label["lines"] = json!(lines);
    }
    ask(&mut found, &farm);
    found
}

#[test]
fn what_every_language_expects_is_what_the_library_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let vector = read();
    let found = run(&vector, &folder.path().join("farm.db"));
    let parts = [
        "steps",
        "sheets",
        "review",
        "labels",
        "takings",
        "sinks",
        "stocktakes",
    ];
    for part in parts {
        let (due, got) = (vector[part].as_array(), found[part].as_array());
        let pairs = due.into_iter().flatten().zip(got.into_iter().flatten());
        for (n, (due, got)) in pairs.enumerate() {
            assert_eq!(due, got, "{part} {n}");
        }
        assert_eq!(due.map(Vec::len), got.map(Vec::len), "{part}");
    }
}

#[test]
#[ignore = "writes what is expected; read the change before it is committed"]
fn bless() {
    let folder = tempfile::tempdir().expect("a folder");
    let found = run(&read(), &folder.path().join("farm.db"));
    let text = serde_json::to_string_pretty(&found).expect("JSON");
    std::fs::write(file(), text + "\n").expect("written");
}
