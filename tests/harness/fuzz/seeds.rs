//! Bodies that an honest phone, server or person would send, made anew from the code as it is: where
//! the fuzzer starts, and what the replay cuts short and flips.

use pointdown_core::files::Format;
use pointdown_core::sync::Answer;
use pointdown_core::trade::rules::RulePack;
use serde_json::json;

use super::bench::{Bench, MONTH, NOW, contents};
use crate::raw::{Foreign, documents, id};

const LOG: &str = "Date,Time,Coop,Species,Eggs,Weights,Birds,Note\n\
    2026-04-01,07:30,Orchard,hen,12,58;60.5,20,\"two\n\"\"lines\"\"\"\n\
    2026-04-02,,pond,ducks,3,,,\n2026-04-04,,Orchard,,0,,19,late\n,,,,,,,\n";

/// Honest inputs of a way in, each with a name.
pub fn seeds(target: &str) -> Vec<(&'static str, Vec<u8>)> {
    let bench = Bench::new();
    let round = |n: u32| {
        let fields = json!({"kind": "gather", "coop": bench.ids[0].1.to_string(),
                            "species": "hen", "count": n, "by": bench.ids[4].1.to_string()});
        (id(NOW, n.into()).to_string(), fields)
    };
    let mut foreign = Foreign::apart(bench.farm.id(), MONTH, 9);
    let (month, change) = foreign.put(&[round(1), round(2)]);
    // A phone that has one change more than the one that the bytes come to.
    let more = Bench::new();
    more.farm
        .take(&[(month, change.clone())])
        .expect("a change");
    let file = more.farm.export().expect("an export");
    let saved = || {
        let all = documents(&file).into_iter();
        all.map(|(doc, saved)| (u8::from(doc.is_farm()), contents(&saved).to_vec()))
    };
    let led = |how: u8, body: &[u8]| [&[how][..], body].concat();
    let own = crate::raw::changes(&more.farm);
    match target {
        "change" => {
            let two = foreign.put(&[round(3)]).1;
            vec![
                ("one", led(0x00, contents(&change))),
                ("folded", led(0x20, contents(&change))),
                ("whole", led(0x80, &change)),
                ("builds_on_another", led(0x00, contents(&two))),
            ]
        }
        "document" => saved()
            .map(|(n, body)| (["month", "farm"][usize::from(n)], led(n, &body)))
            .collect(),
        "log" => vec![
            ("plain", led(0, LOG.as_bytes())),
            ("windows", led(1, LOG.replace('\n', "\r\n").as_bytes())),
            ("tabs", led(2, LOG.replace(',', "\t").as_bytes())),
        ],
        "records" => [Format::Csv, Format::JsonLines]
            .map(|form| more.farm.export_records(form, None).expect("a file"))
            .into_iter()
            .zip(["csv", "json_lines"])
            .map(|(file, name)| (name, file))
            .collect(),
        "bundle" => vec![("file", file[48..].to_vec())],
        "envelope" => {
            let other = crate::raw::empty(bench.farm.id(), 3);
            let (mut a, mut b) = (bench.farm.peer(), other.peer());
            let mut said = vec![b.say().expect("it speaks")];
            for _ in 0..3 {
                b.listen(&a.say().expect("it speaks")).expect("it listens");
                said.push(b.say().expect("it speaks"));
                a.listen(&said[said.len() - 1]).expect("it listens");
            }
            let mut all = vec![
                ("change", led(0x00, contents(&change))),
                ("folded", led(0x30, contents(&change))),
            ];
            let names = ["first", "second", "third", "fourth"];
            all.extend(names.into_iter().zip(said.iter().map(|s| led(0x80, s))));
            all
        }
        "answer" => {
            let answer = Answer::decode(&answered(&bench)).expect("an answer");
            let mut all = vec![
                ("whole", led(0x80, &answer.encode())),
                ("change", led(0x00, contents(&change))),
                ("pack", led(0x40, &inflated(&own))),
            ];
            all.extend(saved().map(|(n, body)| ("document", led(0x30 | n, &body))));
            all
        }
        "ask" => vec![
            ("whole", led(0x80, &bench.farm.sync_ask().expect("an ask"))),
            ("change", led(0x00, contents(&change))),
            ("checked", led(0x08, contents(&change))),
            ("pack", led(0x40, &inflated(&own))),
        ],
        "join" => vec![
            ("invited", led(0, JOIN.as_bytes())),
            ("unasked", led(2, b"")),
        ],
        "record" => vec![
            ("gather", record(&round(4).1)),
            (
                "wash",
                record(&json!({"kind": "wash", "parts": {"2026-05-01/hen": 3}, "means": "dry"})),
            ),
            (
                "void",
                record(&json!({"kind": "void", "target": bench.ids[2].1.to_string(), "why": "x"})),
            ),
        ],
        "book" => BOOKS
            .iter()
            .map(|(n, t)| (*n, t.as_bytes().to_vec()))
            .collect(),
        "draft" => DRAFTS
            .iter()
            .map(|(n, t)| (*n, t.as_bytes().to_vec()))
            .collect(),
        "rules" => {
            let pack = RulePack::us_federal().to_json().expect("JSON");
            vec![("us_federal", pack.into_bytes())]
        }
        "words" => ["farm", "2026-05", NOW, "2026-05-01/hen", "America/Chicago"]
            .into_iter()
            .map(|w| (w.split('/').next().unwrap_or(w), w.as_bytes().to_vec()))
            .chain([("id", bench.farm.id().to_string().into_bytes())])
            .collect(),
        other => panic!("no way in is named {other}"),
    }
}

fn record(fields: &serde_json::Value) -> Vec<u8> {
    pointdown_core::record::encode(fields.as_object().expect("fields"))
}

/// Packed changes before they are folded.
fn inflated(changes: &[crate::raw::Loose]) -> Vec<u8> {
    use std::io::Read as _;
    let packed = pointdown_core::sync::pack(changes.iter().map(|c| (&c.doc, c.bytes.as_slice())));
    let mut plain = Vec::new();
    flate2::read::DeflateDecoder::new(packed.as_slice())
        .read_to_end(&mut plain)
        .expect("it unfolds");
    plain
}

/// What a server says to the phone's first message.
fn answered(bench: &Bench) -> Vec<u8> {
    super::wire::answered(&bench.farm.sync_ask().expect("an ask"))
}

const JOIN: &str = r#"{"invite":"aaaa-aaaa aaaaaaaaaaaaaaaaaa","farm":null,"name":"Kim's phone","actors":["09090909090909090909090909090909"]}"#;

const DRAFTS: [(&str, &str); 8] = [
    (
        "gather",
        r#"{"kind":"gather","coop":"$c","species":"hen","count":"12","floor_laid":2}"#,
    ),
    (
        "wash",
        r#"{"kind":"wash","parts":{"2026-05-01/hen":3},"means":"spray","water_start":"105 F","at":"2026-05-01T11:00:00Z"}"#,
    ),
    (
        "carton",
        r#"{"kind":"carton","parts":{"2026-05-01/hen":6},"from":"clean","species":"hen","eggs_per_carton":6,"cartons":1,"packed":"2026-05-01"}"#,
    ),
    (
        "out",
        r#"{"kind":"out","carton":"$k","cartons":1,"how":"sold","price":4.5}"#,
    ),
    (
        "amend",
        r#"{"kind":"amend","target":"$g","set":{"count":30,"at":"2026-04-30T20:00:00Z"},"why":"x"}"#,
    ),
    (
        "amend_carton",
        r#"{"kind":"amend","target":"$k","set":{"parts":{"2026-05-01/hen":24},"cartons":2,"note":null}}"#,
    ),
    ("void", r#"{"kind":"void","target":"$k","why":"x"}"#),
    (
        "hold",
        r#"{"kind":"hold","coop":"$d","from":"2026-04-30","until":"2026-05-09","cause":"medicine"}"#,
    ),
];

const BOOKS: [(&str, &str); 6] = [
    (
        "amend_and_void",
        r#"[{"kind":"gather","coop":"$c","species":"hen","count":5},{"kind":"amend","target":"$0","set":{"count":7},"_as":1},{"kind":"void","target":"$1","why":"x"}]"#,
    ),
    (
        "apart",
        r#"[{"kind":"amend","target":"$g","set":{"count":7}},{"kind":"amend","target":"$g","set":{"count":9,"species":"duck"},"_as":1},{"kind":"void","target":"$g","why":"x","over":["$0"]}]"#,
    ),
    (
        "recount",
        r#"[{"kind":"recount","station":"basket","lot":"2026-05-01/hen","counted":3},{"kind":"cull","station":"basket","parts":{"2026-05-01/hen":9},"reason":"cracked","use":"home","_as":1}]"#,
    ),
    (
        "out",
        r#"[{"kind":"carton","parts":{"2026-05-01/hen":12},"from":"basket","species":"hen","eggs_per_carton":12,"cartons":1,"packed":"2026-05-01"},{"kind":"out","carton":"$0","cartons":1,"how":"sold"},{"kind":"hold","coop":"$c","from":"2026-05-01","cause":"medicine","_as":1}]"#,
    ),
    (
        "farm",
        r#"[{"kind":"amend","target":"$f","set":{"zone":"Asia/Kolkata","coops_apart":true}},{"kind":"coop","name":"Orchard","species":"quail","_as":1}]"#,
    ),
    (
        "odd",
        r#"[{"kind":5},{},{"kind":"gather","count":-1,"coop":{"a":[null,1e300]}},{"kind":"clock","offset_s":99999999},{"kind":"decision","line":"x","seen":["$g"]}]"#,
    ),
];
