use pointdown_core::book::Place;
use pointdown_core::book::review::{Choice, Finding, Misdating, What};
use pointdown_core::farm::{Farm, Row};
use pointdown_core::record::{Id, Kind, Lot};
use serde_json::Value;

use crate::fail::Failure;
use crate::words::{Words, label};

/// How the lines of the review list read to people.
pub(crate) struct Findings<'a> {
    farm: &'a Farm,
    pub(crate) words: Words,
}

impl Findings<'_> {
    pub(crate) fn of(farm: &Farm) -> Result<Findings<'_>, Failure> {
        Ok(Findings {
            farm,
            words: Words::of(farm)?,
        })
    }

    /// What a line is about, in one sentence or two.
    pub(crate) fn said(&self, finding: &Finding) -> Result<String, Failure> {
        let first = finding.records.first();
        Ok(match &finding.what {
            What::HeldEggs {
                on_shelf,
                gone,
                certain,
            } => {
                let here: u32 = on_shelf.values().sum();
                let mut said = vec![match certain {
                    true => "Eggs on hold are in cartons or gone".to_string(),
                    false => "Eggs on hold may be in cartons or gone (pooled with others of \
                              their day)"
                        .to_string(),
                }];
                said.push(match here {
                    0 => "none on the shelf".into(),
                    n => format!("{} on the shelf", cartons(n)),
                });
                if !gone.is_empty() {
                    said.push(format!("{} out, to call back", times(gone.len())));
                }
                format!("{}.", said.join("; "))
            }
            What::Overdraw { place, lot, eggs } => format!(
                "{eggs} more eggs of {} left the {} than ever reached it.",
                self.words.lot(lot),
                shelf(*place)
            ),
            What::DoubleLog { counts: (one, two) } => format!(
                "Two rounds at {} within an hour, {one} and {two} eggs, each logged without \
                 knowing of the other: one round or two?",
                self.coop(finding)?
            ),
            What::BothVoided => format!(
                "Two rounds at {} that may have been one are both voided: which one stands?",
                self.coop(finding)?
            ),
            What::Disagreement { field, .. } => {
                let kind = self.row(first)?.map(|row| row.kind);
                format!(
                    "{} changed the {} of a {} apart from each other; the last word counts \
                     meanwhile.",
                    several(finding.people.len()),
                    label(field),
                    kind.unwrap_or_default()
                )
            }
            What::AmendedAndVoided => {
                "One mended a record while another voided it; it does not count meanwhile.".into()
            }
            What::DoesNotAddUp { problem } => {
                format!("Changes that each hold alone do not add up: {problem}.")
            }
            What::ClockOff { shift_s } => format!(
                "A device's clock was {} the server's: the times of {} are in doubt.",
                off(*shift_s),
                records(finding.records.len().saturating_sub(1))
            ),
            What::Misdated { how, .. } => match how {
                Misdating::Future => "A record is dated after it was written down.",
                Misdating::BeforePacking => "Cartons left before they were packed.",
                Misdating::BeforeGathering => {
                    "Eggs were handled before the day on which they were gathered."
                }
            }
            .into(),
            What::CountOvertaken { counted, then, now } => format!(
                "A recount found {counted} where {then} were expected; with what came later, \
                 {now} were. Were the late eggs counted?"
            ),
            What::Stocktake {
                by,
                place,
                species,
                lot,
                counted,
                booked,
                ..
            } => {
                let by = by.map_or("someone".into(), |by| self.words.name(by));
                let of = match lot {
                    Some(lot) => format!("of {}", self.words.lot(lot)),
                    None => format!("of all {} lots", species.code()),
                };
                let off = i64::from(*counted) - booked;
                let ask = match off < 0 {
                    true => format!(
                        "{} missing. Were some pulled, eaten, sold or moved on and not logged?",
                        off.unsigned_abs()
                    ),
                    false => format!("{off} too many. Was a round not logged, or something twice?"),
                };
                format!(
                    "A stocktake of the {} by {by} found {counted} eggs {of} where the book \
                     says {booked}: {ask}",
                    shelf(*place)
                )
            }
            What::FarmVoided { why } => format!(
                "Someone voided the farm's own record ({why}). That cannot be: its zone and \
                 rules hold on."
            ),
            What::Breach { rule, why } => {
                let rule = label(rule);
                format!("{}: {why}.", capital(&rule))
            }
            What::SameName { name } => {
                let kind = self.row(first)?.map(|row| row.kind);
                let kind = kind.unwrap_or_default();
                // As it is written; the line itself leaves letter case aside.
                let name = first.map_or(name.clone(), |id| self.words.name(*id));
                format!("More than one {kind} is called {name}: the same one, or two?")
            }
            What::RetiredUse { species } => format!(
                "A round of {} eggs at {} after its last day of use.",
                species.code(),
                self.coop(finding)?
            ),
            What::CannotRead { why } => {
                format!("A record cannot be read here and counts nowhere: {why}.")
            }
        })
    }

    /// What more there is to know, one line each: on the shelf, out and to whom; who said what.
    pub(crate) fn details(&self, finding: &Finding) -> Result<Vec<String>, Failure> {
        let mut all = Vec::new();
        match &finding.what {
            What::HeldEggs { on_shelf, gone, .. } => {
                for (run, n) in on_shelf {
                    let code = self.row(Some(run))?.and_then(|row| text(&row, "code"));
                    let code = code
                        .map(|code| format!(", code {code}"))
                        .unwrap_or_default();
                    all.push(format!(
                        "on the shelf: {} of run {}{code}",
                        cartons(*n),
                        run.short()
                    ));
                }
                for (out, to) in gone {
                    let row = self.row(Some(out))?;
                    let many = row.as_ref().and_then(|row| row.fields.get("cartons"));
                    let many = many
                        .and_then(Value::as_u64)
                        .map_or("loose eggs".into(), |n| {
                            cartons(u32::try_from(n).unwrap_or(u32::MAX))
                        });
                    let at = row.map(|row| self.words.calendar.shown(row.at));
                    let at = at.unwrap_or_default();
                    all.push(format!("out: {many} to {to}, {at} ({})", out.short()));
                }
            }
            What::Stocktake {
                lot: None, by_lot, ..
            } => {
                let lots = by_lot.iter();
                let lots = lots.map(|(lot, n)| format!("{n:+} {}", self.words.lot(lot)));
                all.push(format!("laid to {}", lots.collect::<Vec<_>>().join(", ")));
            }
            What::Disagreement { field, said } => {
                let kind = self.row(finding.records.first())?;
                let kind = kind.and_then(|row| Kind::from_code(&row.kind));
                for (amendment, value) in said {
                    let by = self.by(*amendment)?;
                    all.push(format!(
                        "{by} says {}",
                        self.words.field(kind, field, value)
                    ));
                }
            }
            _ => {}
        }
        Ok(all)
    }

    /// A choice in words.
    pub(crate) fn choice(&self, finding: &Finding, choice: &Choice) -> Result<String, Failure> {
        Ok(match choice {
            Choice::Keep {
                record,
                field,
                value,
            } => {
                let kind = self.row(Some(record))?;
                let kind = kind.and_then(|row| Kind::from_code(&row.kind));
                let value = self.words.field(kind, field, value);
                format!("keep {} {value}", label(field))
            }
            Choice::Void { record } => match self.row(Some(record))? {
                Some(row) if row.kind == "amend" => {
                    format!(
                        "take {} amendment {} back",
                        self.whose(&row),
                        row.id.short()
                    )
                }
                Some(row) if row.kind == "void" => {
                    format!("take {} void {} back", self.whose(&row), row.id.short())
                }
                Some(row) => format!(
                    "void {} {} {} {}: {}",
                    self.whose(&row),
                    row.kind,
                    row.id.short(),
                    self.words.calendar.shown(row.at),
                    self.words.summary(&row)
                ),
                None => format!("void {}", record.short()),
            },
            Choice::Restore { void } => {
                let said = self.row(Some(void))?;
                let target = said.as_ref().and_then(|row| text(row, "target"));
                let target = target.and_then(|id| id.parse::<Id>().ok());
                let row = self.row(target.as_ref())?;
                let what = row.map(|row| format!("{} {}", row.kind, row.id.short()));
                format!("let the {} count again", what.unwrap_or("record".into()))
            }
            Choice::BothRight => match finding.what {
                What::SameName { .. } => "they are not the same".into(),
                _ => "both are right".into(),
            },
            Choice::Recount { place, lot } => self.counting(*place, &self.whole(lot)),
            Choice::RecountAll { place, species } => {
                self.counting(*place, &format!("all {} eggs", species.code()))
            }
            Choice::PullHeld { .. } => "pull the cartons that are still here: a cull, reason \
                                        held, use discard"
                .into(),
            Choice::Shift { records: all, by_s } => {
                format!("move the times of {} {}", records(all.len()), later(*by_s))
            }
            Choice::Retire { record } => format!(
                "retire {} {}: not used after today",
                self.words.name(*record),
                record.short()
            ),
            Choice::Seen => "seen; leave it as it is".into(),
        })
    }

    /// A record behind a line, in one line.
    pub(crate) fn record(&self, id: Id) -> Result<String, Failure> {
        let Some(row) = self.row(Some(&id))? else {
            return Ok(id.short());
        };
        let by = match self.words.by(&row) {
            by if by.is_empty() => "nobody named".into(),
            by => by,
        };
        let void = if row.standing == "voided" {
            " [voided]"
        } else {
            ""
        };
        Ok(format!(
            "{} {} {}, {by}: {}{void}",
            row.kind,
            row.id.short(),
            self.words.calendar.shown(row.at),
            self.words.summary(&row)
        ))
    }

    pub(crate) fn people(&self, finding: &Finding) -> String {
        let all: Vec<String> = finding
            .people
            .iter()
            .map(|id| self.words.name(*id))
            .collect();
        if all.is_empty() {
            "nobody named".into()
        } else {
            all.join(", ")
        }
    }

    fn row(&self, id: Option<&Id>) -> Result<Option<Row>, Failure> {
        Ok(match id {
            Some(id) => self.farm.record(*id)?,
            None => None,
        })
    }

    fn by(&self, id: Id) -> Result<String, Failure> {
        Ok(self
            .row(Some(&id))?
            .map(|row| self.words.by(&row))
            .unwrap_or_default())
    }

    fn whose(&self, row: &Row) -> String {
        match self.words.by(row) {
            by if by.is_empty() => "the".into(),
            by => format!("{by}'s"),
        }
    }

    /// The coop of the first record.
    fn coop(&self, finding: &Finding) -> Result<String, Failure> {
        let row = self.row(finding.records.first())?;
        let coop = row.and_then(|row| text(&row, "coop")?.parse().ok());
        Ok(coop.map_or("a coop".into(), |id| self.words.name(id)))
    }

    fn whole(&self, lot: &Lot) -> String {
        format!("the eggs of {}", self.words.lot(lot))
    }

    fn counting(&self, place: Place, what: &str) -> String {
        let shelf = shelf(place);
        format!("count {what} in the {shelf} and log it (with --counted N)")
    }
}

fn text(row: &Row, field: &str) -> Option<String> {
    row.fields
        .get(field)
        .and_then(Value::as_str)
        .map(str::to_string)
}

fn shelf(place: Place) -> &'static str {
    match place {
        Place::Basket => "basket",
        Place::Clean => "clean eggs",
        Place::Cartoned => "cartons",
        other => other.code(),
    }
}

fn cartons(n: u32) -> String {
    format!("{n} {}", if n == 1 { "carton" } else { "cartons" })
}

fn records(n: usize) -> String {
    format!("{n} {}", if n == 1 { "record" } else { "records" })
}

fn several(people: usize) -> String {
    match people {
        0 | 1 => "One person, on two phones,".into(),
        2 => "Two people".into(),
        n => format!("{n} people"),
    }
}

fn times(n: usize) -> String {
    match n {
        1 => "once".into(),
        2 => "twice".into(),
        n => format!("{n} times"),
    }
}

/// A span of seconds as people say it.
fn span(seconds: u64) -> String {
    let (days, hours) = (seconds / 86_400, seconds / 3600 % 24);
    let (minutes, rest) = (seconds / 60 % 60, seconds % 60);
    let parts = [(days, "d"), (hours, "h"), (minutes, "min"), (rest, "s")];
    let said: Vec<String> = parts
        .into_iter()
        .filter(|(n, _)| *n > 0)
        .take(2)
        .map(|(n, unit)| format!("{n} {unit}"))
        .collect();
    said.join(" ")
}

/// How a clock stands, given what has to be added to it.
fn off(shift_s: i64) -> String {
    let way = if shift_s > 0 { "behind" } else { "ahead of" };
    format!("{} {way}", span(shift_s.unsigned_abs()))
}

fn later(by_s: i64) -> String {
    let way = if by_s > 0 { "later" } else { "earlier" };
    format!("{} {way}", span(by_s.unsigned_abs()))
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}
