//! The vectors that every language runs, and the only program that writes what they expect.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use pointdown_native::{
    Choice, Costs, Count, CountOf, Draft, Event, Farm, Finding, Means, PointdownError, SetUp,
    Sheet, Sink, SinkAdvice, Species, Station, Stocktake, Taken, Takings, What,
};
use serde::Serialize;
use serde_json::{Value, json};

fn file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/day.json")
}

fn read() -> Value {
    serde_json::from_str(&std::fs::read_to_string(file()).expect("the vectors")).expect("JSON")
}

/// A word as records have it.
fn word(of: impl Serialize) -> String {
    json!(of).as_str().expect("a word").to_string()
}

/// A sheet as sorted lines of text.
fn told(sheet: &Sheet) -> Vec<String> {
    let gathered = &sheet.gathered;
    let mut lines = vec![format!(
        "gathered {} floor {}",
        gathered.eggs, gathered.floor_laid
    )];
    for row in &gathered.by_coop {
        let eggs = row.eggs.map_or("unknown".into(), |n| n.to_string());
        let days = &row.days;
        lines.push(format!(
            "coop {} {} {eggs} floor {} rounds {} known {} zero {} unknown {}",
            row.name,
            word(row.species),
            row.floor_laid,
            row.rounds,
            days.known,
            days.zero,
            days.unknown
        ));
    }
    let mut each = |what: &str, all: &HashMap<String, i64>| {
        lines.extend(all.iter().map(|(of, n)| format!("{what} {of} {n}")));
    };
    each("by", &gathered.by_person);
    each("pulled", &sheet.pulled.by_reason);
    each("pulled for", &sheet.pulled.by_use);
    each("washed", &sheet.washed);
    each("candled", &sheet.candled);
    each("out", &sheet.out.eggs);
    each("out in cartons", &sheet.out.cartons);
    for (species, n) in &gathered.by_species {
        lines.push(format!("gathered {} {n}", word(species)));
    }
    for (species, n) in &sheet.unaccounted {
        lines.push(format!("unaccounted {} {n}", word(species)));
    }
    for (species, grams) in &sheet.mean_grams {
        lines.push(format!("mean {} {grams:.2}", word(species)));
    }
    for c in &sheet.cartoned {
        let (species, size) = (word(c.species), &c.size);
        lines.push(format!(
            "cartoned {species} [{size}] {} of {} eggs {}",
            c.cartons, c.eggs_per_carton, c.eggs
        ));
    }
    for here in &sheet.on_hand {
        let lots: Vec<String> = here
            .lots
            .iter()
            .map(|l| format!("{}={}", l.lot, l.eggs))
            .collect();
        let (station, species) = (word(here.station), word(here.species));
        lines.push(format!(
            "on hand {station} {species} {} {}",
            here.eggs,
            lots.join(" ")
        ));
    }
    lines.sort();
    lines
}

fn told_choice(choice: &Choice) -> String {
    match choice {
        Choice::Keep { value_json, .. } => format!("keep {value_json}"),
        Choice::Void { .. } => "void".into(),
        Choice::Restore { .. } => "restore".into(),
        Choice::BothRight => "both_right".into(),
        Choice::Recount { .. } => "recount".into(),
        Choice::RecountAll { .. } => "recount_all".into(),
        Choice::PullHeld { cartons } => format!("pull_held {}", cartons.len()),
        Choice::Shift { by_s, .. } => format!("shift {by_s}"),
        Choice::Retire { .. } => "retire".into(),
        Choice::Seen => "seen".into(),
    }
}

/// A line of the review list as text; the kinds that one phone alone can bring about.
fn told_finding(finding: &Finding) -> String {
    let what = match &finding.what {
        What::HeldEggs {
            on_shelf,
            gone,
            certain,
        } => {
            let shelf: u32 = on_shelf.iter().map(|run| run.cartons).sum();
            format!(
                "held_eggs shelf {shelf} gone {} certain {certain}",
                gone.len()
            )
        }
        What::Overdraw { place, lot, eggs } => format!("overdraw {} {lot} {eggs}", word(place)),
        What::CountOvertaken { counted, then, now } => {
            format!("count_overtaken {counted} {then} {now}")
        }
        What::Breach { rule, .. } => format!("breach {rule}"),
        What::SameName { name } => format!("same_name {name}"),
        What::Misdated { how, .. } => format!("misdated {}", word(how)),
        other => format!("{other:?}"),
    };
    let choices: Vec<String> = finding.choices.iter().map(told_choice).collect();
    format!(
        "{} {what} records {}: {}",
        word(finding.weight),
        finding.records.len(),
        choices.join(", ")
    )
}

fn or_unknown(amount: &Option<String>) -> &str {
    amount.as_deref().unwrap_or("unknown")
}

fn told_taken(who: &str, taken: &Taken) -> String {
    format!(
        "{who} {} back {} sales {} unpriced {} sold {} cartons {} given {} eaten {} returned {} dozen {}",
        taken.taken,
        taken.paid_back,
        taken.sales,
        taken.sales_without_price,
        taken.sold,
        taken.cartons,
        taken.given,
        taken.eaten,
        taken.returned,
        or_unknown(&taken.per_dozen)
    )
}

/// Takings and costs of a span as lines of text.
fn told_money(takings: &Takings, costs: &Costs) -> Vec<String> {
    let mut lines = vec![told_taken("all", &takings.all)];
    for from in &takings.by_outlet {
        lines.push(told_taken(
            from.who.as_deref().unwrap_or("nobody"),
            &from.taken,
        ));
    }
    for kind in &takings.cartons {
        let (mean, lowest, highest) = (&kind.mean, &kind.lowest, &kind.highest);
        lines.push(format!(
            "carton {} {} [{}] {} for {} mean {} from {} to {} unpriced {}",
            word(kind.species),
            kind.eggs_per_carton.unwrap_or(0),
            kind.size.as_deref().unwrap_or(""),
            kind.cartons,
            kind.taken,
            or_unknown(mean),
            or_unknown(lowest),
            or_unknown(highest),
            kind.without_price
        ));
    }
    lines.push(format!(
        "feed {} records {} without {} kg {:.2}",
        costs.feed.cost, costs.feed.records, costs.feed.without_cost, costs.feed_kg
    ));
    for (item, spent) in &costs.supplies {
        let (records, without) = (spent.records, spent.without_cost);
        lines.push(format!(
            "supply {item} {} records {records} without {without}",
            spent.cost
        ));
    }
    lines.push(format!(
        "dozen feed {} supplies {} kg {:.3} of {} gathered unknown {} complete {}",
        or_unknown(&costs.feed_per_dozen),
        or_unknown(&costs.supplies_per_dozen),
        costs.feed_kg_per_dozen.unwrap_or(0.0),
        costs.gathered,
        costs.unknown_flock_days,
        costs.complete
    ));
    lines
}

fn told_sink(advice: &SinkAdvice) -> String {
    let degrees = |c: Option<f64>| c.map_or("none".into(), |c| format!("{c:.1}"));
    let window = advice.window.as_ref();
    let faults: Vec<String> = advice.faults.iter().map(|f| word(f.what)).collect();
    format!(
        "{} window {} to {} temper {} water {} takes {}: {}",
        word(advice.permission),
        degrees(window.map(|w| w.low_c)),
        degrees(window.and_then(|w| w.high_c)),
        degrees(advice.temper_c),
        word(advice.verdict),
        advice.capacity.as_ref().map_or(0, |c| c.eggs),
        faults.join(", ")
    )
}

fn told_stocktake(found: &Stocktake) -> Vec<String> {
    let mut lines = Vec::new();
    for count in &found.counted {
        let of = match &count.of {
            CountOf::OneLot { lot } => lot.clone(),
            CountOf::Whole { species } => word(species),
        };
        lines.push(format!(
            "{of} expected {} counted {} difference {} explained {} asks {}",
            count.expected,
            count.counted,
            count.difference,
            count.explained_by.len(),
            count.line.is_some()
        ));
    }
    let left = found.not_counted.iter();
    lines.extend(left.map(|one| format!("not counted {}={}", one.lot, one.eggs)));
    lines
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
            bowl: Some(pointdown_native::Bowl {
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
