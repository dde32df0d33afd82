//! A family that logs at random, from plain numbers: what the merge tests are played on.

use pointdown_core::farm::{ErrorKind, Filter, Row};
use pointdown_core::record::{Draft, Fields, Kind};
use pointdown_tests::phone::{Phone, gather, meet};
use serde_json::Value;

/// One step: what, on which phone, and three numbers to make it from.
pub(crate) type Step = (u8, u8, u16, u16, u16);

const HOUR: i64 = 3_600_000;

/// Phones of one farm that have met once, then act apart.
pub(crate) struct Family {
    pub(crate) phones: Vec<Phone>,
    /// Drafts that were not allowed, so that a test can see that most were.
    pub(crate) refused: usize,
}

impl Family {
    pub(crate) fn new(phones: usize, zone: &str) -> Family {
        let first = Phone::first("Ada", "2026-03-06T12:00:00Z", zone);
        let mut all: Vec<Phone> = ["Ben", "Cleo", "Dan"][..phones - 1]
            .iter()
            .map(|name| first.another(name))
            .collect();
        all.insert(0, first);
        Family {
            phones: all,
            refused: 0,
        }
    }

    pub(crate) fn play(&mut self, steps: &[Step]) {
        for step in steps {
            self.step(*step);
        }
    }

    fn step(&mut self, (what, who, a, b, c): Step) {
        let n = self.phones.len();
        let me = who as usize % n;
        self.phones[me].env.pass_ms(i64::from(a % 300) * 60_000);
        let phone = &self.phones[me];
        // Back-dated by up to two days, now and then ahead by some hours.
        let now = pointdown_core::farm::Env::now(&*phone.env);
        let at = now.plus_ms(i64::from(b % 54) * -HOUR + 6 * HOUR);
        let lot = |k: u16| {
            let day = phone.farm.zone().expect("a zone").day(at);
            let day = day - chrono::Days::new(u64::from(k % 3));
            format!("{day}/{}", if k.is_multiple_of(5) { "duck" } else { "hen" })
        };
        let parts = |k: u16, eggs: u16| match k % 4 {
            // Two lots, where they are not one and the same.
            0 if lot(k) != lot(k + 1) && lot(k)[11..] == lot(k + 1)[11..] => {
                format!("{}={eggs},{}=3", lot(k), lot(k + 1))
            }
            _ => format!("{}={eggs}", lot(k)),
        };
        let some = c % 12 + 1;
        let draft = match what % 17 {
            0..=3 => {
                let (coop, species) =
                    [("Orchard", "hen"), ("Pond", "duck"), ("Pond", "hen")][(a % 3) as usize];
                gather(coop, species, u32::from(c % 30)).with("floor_laid", c % 30 / 4)
            }
            4 => Draft::new(Kind::Wash)
                .with("parts", parts(a, some))
                .with("means", ["spray", "dry", "brush"][(c % 3) as usize]),
            5 => Draft::new(Kind::Cull)
                .with("station", ["basket", "clean", "cartoned"][(c % 3) as usize])
                .with("parts", parts(a, some))
                .with("reason", ["dung", "leaker", "other"][(b % 3) as usize])
                .with("use", ["home", "compost"][(b % 2) as usize]),
            6 => Draft::new(Kind::Carton)
                .with("parts", format!("{}={}", lot(a), 6 * (c % 3 + 1)))
                .with("from", ["basket", "clean"][(b % 2) as usize])
                .with("species", lot(a)[11..].to_string())
                .with("eggs_per_carton", 6)
                .with("cartons", c % 3 + 1)
                .with("packed", at.utc().date_naive().to_string())
                .with("size", ["large", "mixed"][(b % 2) as usize]),
            7 => Draft::new(Kind::Out)
                .with(
                    "way",
                    ["sold", "eaten", "returned", "given"][(c % 4) as usize],
                )
                .with("station", ["cartoned", "clean"][(b % 2) as usize])
                .with("parts", parts(a, some)),
            8 => Draft::new(Kind::Recount)
                .with("station", ["basket", "clean", "cartoned"][(c % 3) as usize])
                .with("species", ["hen", "duck"][(a % 2) as usize])
                .with("counted", c % 40),
            9 => Draft::new(Kind::Recount)
                .with("station", ["basket", "clean"][(c % 2) as usize])
                .with("lot", lot(a))
                .with("counted", c % 20),
            10 | 11 => return self.amend(me, a, b, c),
            12 | 13 => return self.void(me, a, b),
            14 => {
                let other = (me + 1 + a as usize % (n - 1)) % n;
                meet(&self.phones[me], &self.phones[other]);
                return;
            }
            15 => {
                // Moving house, rarely: every farm day may be another one.
                let zones = ["Asia/Tokyo", "America/Chicago", "Australia/Lord_Howe"];
                let zone = zones[(b % 3) as usize];
                let set = [("zone".to_string(), zone.into())].into_iter().collect();
                let tried = phone.farm.amend(phone.farm.id(), set, None);
                tried.expect("another zone");
                return;
            }
            _ => {
                let other = (me + 1 + a as usize % (n - 1)) % n;
                let file = self.phones[me].farm.export().expect("an export");
                self.phones[other].farm.import(&file).expect("an import");
                return;
            }
        };
        let tried = phone.farm.log(draft.clone().at(at));
        self.settle(tried.map(|_| ()).map_err(|e| (e, format!("{draft:?}"))));
    }

    fn rows(&self, me: usize) -> Vec<Row> {
        let filter = Filter {
            all: true,
            ..Filter::default()
        };
        let mut rows = self.phones[me].farm.list(&filter).expect("a list");
        // Set-up facts keep still, so that the coops can be named throughout.
        rows.retain(|row| !row.doc.is_farm());
        rows
    }

    fn amend(&mut self, me: usize, a: u16, b: u16, c: u16) {
        let mut rows = self.rows(me);
        rows.retain(|row| !matches!(row.kind.as_str(), "amend" | "void"));
        if rows.is_empty() {
            return;
        }
        // Mostly the newest few, so that several phones amend the same ones.
        let row = &rows[a as usize % rows.len().min(6)];
        let mut set = Fields::new();
        let at = row.at.plus_ms(i64::from(c % 60) * HOUR - 30 * HOUR);
        let eggs = Value::from(c % 25 + 1);
        match (row.kind.as_str(), b % 5) {
            (_, 0) => drop(set.insert("at".into(), at.to_string().into())),
            (_, 1) => drop(set.insert("note".into(), format!("note {c}").into())),
            ("gather", 2) => drop(set.insert("coop".into(), "Pond".into())),
            ("gather", _) => drop(set.insert("count".into(), eggs)),
            ("recount", _) => drop(set.insert("counted".into(), eggs)),
            ("carton", _) => {
                let cartons = c % 3 + 1;
                let Some((lot, _)) = row.fields["parts"]
                    .as_object()
                    .and_then(|p| p.iter().next())
                else {
                    return;
                };
                set.insert("cartons".into(), cartons.into());
                set.insert("parts".into(), format!("{lot}={}", cartons * 6).into());
            }
            (_, 2) => drop(set.insert("note".into(), Value::Null)),
            _ => {
                let lots = row.fields["parts"].as_object().expect("parts");
                let (lot, _) = lots.iter().next().expect("a lot");
                set.insert("parts".into(), format!("{lot}={}", c % 25 + 1).into());
            }
        }
        let tried = self.phones[me].farm.amend(row.id, set.clone(), None);
        self.settle(tried.map(|_| ()).map_err(|e| (e, format!("{set:?}"))));
    }

    fn void(&mut self, me: usize, a: u16, b: u16) {
        let mut rows = self.rows(me);
        if b.is_multiple_of(3) {
            // A void of a void, or of an amendment.
            rows.retain(|row| matches!(row.kind.as_str(), "amend" | "void"));
        }
        if rows.is_empty() {
            return;
        }
        let id = rows[a as usize % rows.len().min(8)].id;
        let tried = self.phones[me].farm.void(id, "by mistake");
        self.settle(tried.map(|_| ()).map_err(|e| (e, format!("void {id}"))));
    }

    fn settle(&mut self, tried: Result<(), (pointdown_core::farm::FarmError, String)>) {
        if let Err((e, what)) = tried {
            assert_eq!(e.kind, ErrorKind::Invalid, "{what}: {e}");
            self.refused += 1;
        }
    }

    /// Everyone meets everyone, twice round.
    pub(crate) fn gather_round(&self) {
        for _ in 0..2 {
            for one in &self.phones {
                for other in &self.phones {
                    if one.farm.device() != other.farm.device() {
                        meet(one, other);
                    }
                }
            }
        }
    }
}
