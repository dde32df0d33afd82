use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::read::flocks;
use super::take::Chosen;
use super::trace::printed;
use super::{ErrorKind, Farm, FarmError};
use crate::book::review::What;
use crate::book::trace::Question;
use crate::book::trends::Step;
use crate::paper::{
    CallBack, CartonLabel, DaySheet, GatherSheet, LabelOrder, LabelPage, Page, Paper, Stock,
    call_back_page, day_sheet_page, gather_sheet_page, label_page, trend_page,
};
use crate::record::{Body, Carton, Id, InvalidRecord, Kind, Lot, Parts, Record, run_code};
use crate::store::{Filter, Tx};
use crate::trade::Species;
use crate::trade::label::{LabelRequest, Producer, SizeWords, egg_name};
use crate::trade::units::Grams;

/// Which labels to print.
#[derive(Debug, Clone)]
pub struct LabelWish {
    /// The carton run.
    pub carton: Id,
    /// The labels in the printer.
    pub stock: Stock,
    /// The first free label of the first sheet, from 1.
    pub first: u32,
    /// How many cartons to label; those of the run unless said.
    pub cartons: Option<u32>,
    /// Whether the eggs were weighed; by the weights on record unless said.
    pub weighed: Option<bool>,
    /// Whether each egg was candled and graded; by the candlings on record unless said.
    pub graded: Option<bool>,
    /// The producer code given by an authority.
    pub producer_code: Option<String>,
    /// Further words.
    pub claims: Vec<String>,
}

impl LabelWish {
    /// Labels for every carton of a run, from the first label of a sheet on.
    pub fn new(carton: Id, stock: Stock) -> LabelWish {
        LabelWish {
            carton,
            stock,
            first: 1,
            cartons: None,
            weighed: None,
            graded: None,
            producer_code: None,
            claims: Vec::new(),
        }
    }
}

impl Farm {
    /// The paper that printers mostly hold where the farm's rules are in force.
    pub fn usual_paper(&self) -> Result<Paper, FarmError> {
        let pack = self.lock().store.read::<_, FarmError>(|tx| {
            let chosen: Option<Chosen> = tx.meta("setting")?;
            Ok(chosen.unwrap_or_default().setting().pack)
        })?;
        Ok(Paper::usual(pack.map(|pack| pack.code).as_deref()))
    }

    /// The carton run that bears this printed code, or has this id or an id that ends so.
    pub fn find_carton(&self, text: &str) -> Result<Id, FarmError> {
        let wanted = text.trim();
        let now = self.env.now();
        let coded = self.lock().store.read(|tx| printed(tx, wanted, now))?;
        match coded.as_slice() {
            [id] => return Ok(*id),
            [] => {}
            more => {
                let ids: Vec<String> = more.iter().map(|id| id.short()).collect();
                return Err(FarmError::new(
                    ErrorKind::Ambiguous,
                    format!(
                        "{} runs of cartons bear the code {wanted:?}; say which by the end of its id: {}",
                        more.len(),
                        ids.join(", ")
                    ),
                ));
            }
        }
        let id = self.find_record(wanted)?;
        match self.record(id)? {
            Some(row) if row.kind == Kind::Carton.code() && row.standing == "live" => Ok(id),
            _ => Err(FarmError::new(
                ErrorKind::NotFound,
                format!("{wanted:?} is no run of cartons that stands"),
            )),
        }
    }

    /// Labels for a run of cartons, by the rules in force. A run with held eggs is labelled, but the
    /// cautions begin with the hold.
    pub fn label_page(&self, wish: &LabelWish) -> Result<LabelPage, FarmError> {
        let (label, cartons) = self.label(wish)?;
        let order = LabelOrder {
            stock: wish.stock.clone(),
            first: wish.first,
            cartons: wish.cartons.unwrap_or(cartons),
        };
        Ok(label_page(&label, &order)?)
    }

    /// What stands on the labels of a run of cartons, and how many cartons the run has. The cautions
    /// begin with a hold, where there is one.
    pub fn label(&self, wish: &LabelWish) -> Result<(CartonLabel, u32), FarmError> {
        let (request, pack, house, cartons) = self.lock().store.read(|tx| request(tx, wish))?;
        let mut label = CartonLabel::new(&request, &pack, &house)?;
        let held = self.review()?.into_iter().any(
            |line| matches!(line.what, What::HeldEggs { on_shelf, .. } if on_shelf.contains_key(&wish.carton)),
        );
        if held {
            let hold = "These cartons hold eggs that are, or may be, on hold: do not sell or give them \
                        away; see the review list.";
            label.cautions.insert(0, hold.into());
        }
        Ok((label, cartons))
    }

    /// The sheet of a day, or of a span of days, for print.
    pub fn day_sheet_page(
        &self,
        from: NaiveDate,
        to: NaiveDate,
        paper: Paper,
    ) -> Result<Page, FarmError> {
        let sheet = self.sheet(from, to)?;
        let farm = self.shown_name()?;
        let mut kinds: BTreeMap<String, u32> = BTreeMap::new();
        let mut order = Vec::new();
        for line in self.review()? {
            let word = serde_json::to_value(&line.what)
                .ok()
                .and_then(|what| Some(what.get("kind")?.as_str()?.replace('_', " ")))
                .unwrap_or_default();
            if !kinds.contains_key(&word) {
                order.push(word.clone());
            }
            *kinds.entry(word).or_default() += 1;
        }
        let waiting = order.into_iter().map(|word| {
            let n = kinds.get(&word).copied().unwrap_or(0);
            format!("{word}: {n} on the review list")
        });
        let day = DaySheet {
            farm: &farm,
            zone: self.zone()?.to_string(),
            sheet: &sheet,
            printed: self.printed()?,
            waiting: waiting.collect(),
        };
        Ok(day_sheet_page(&day, paper))
    }

    /// Blank gather sheets for every coop in use, or for one.
    pub fn gather_sheet_page(
        &self,
        coop: Option<Id>,
        from: NaiveDate,
        (days, rounds): (u32, u32),
        paper: Paper,
    ) -> Result<Page, FarmError> {
        let farm = self.shown_name()?;
        let coops = self.lock().store.read::<_, FarmError>(|tx| {
            let names = tx.names()?;
            let mut all: BTreeMap<(String, Id), Vec<Species>> = BTreeMap::new();
            for flock in flocks(tx)? {
                let used = flock.last.is_none_or(|last| last >= from);
                if used && coop.is_none_or(|only| only == flock.coop) {
                    let name = names.get(&flock.coop).cloned().unwrap_or_default();
                    all.entry((name, flock.coop))
                        .or_default()
                        .push(flock.species);
                }
            }
            Ok(all
                .into_iter()
                .map(|((name, _), species)| (name, species))
                .collect())
        })?;
        let blank = GatherSheet {
            farm: &farm,
            coops,
            from,
            days,
            rounds,
        };
        Ok(gather_sheet_page(&blank, paper)?)
    }

    /// Trends with pictures and tables, for print and for a screen.
    pub fn trend_page(
        &self,
        (from, to): (NaiveDate, NaiveDate),
        step: Step,
        coop: Option<Id>,
        paper: Paper,
    ) -> Result<Page, FarmError> {
        let trends = self.trends(from, to, step, coop)?;
        Ok(trend_page(&self.shown_name()?, &trends, paper)?)
    }

    /// The call-back list for print: what is still here, and whom to phone.
    ///
    /// # Errors
    /// As for [`Farm::call_back`].
    pub fn call_back_page(&self, question: Question, paper: Paper) -> Result<Page, FarmError> {
        let asked = self.asked(&question)?;
        let list = self.call_back(question)?;
        let printed = self.printed()?;
        let list = CallBack::of(&list, self.zone()?, self.shown_name()?, asked, printed);
        Ok(call_back_page(&list, paper))
    }

    /// What a call-back goes out from, in words.
    fn asked(&self, question: &Question) -> Result<String, FarmError> {
        Ok(match question {
            Question::Coop {
                coop,
                species,
                first,
                last,
            } => {
                let names = self.names()?;
                let coop = coop.map(|id| names.get(&id).cloned().unwrap_or_else(|| id.short()));
                format!(
                    "{} of {}, gathered {first} to {last}",
                    species.map_or("Eggs", egg_name),
                    coop.map_or("every coop".into(), |name| format!("the coop {name}")),
                )
            }
            Question::Record { record } => {
                let row = self.record(*record)?;
                let (kind, day) = row.map(|row| (row.kind, row.day)).unwrap_or_default();
                format!(
                    "Eggs that the {kind} of {day} (#{}) is about",
                    record.short()
                )
            }
        })
    }

    fn shown_name(&self) -> Result<String, FarmError> {
        Ok(self.name()?.unwrap_or_else(|| "The farm".into()))
    }

    /// Now, in the farm's own time, to the minute.
    fn printed(&self) -> Result<String, FarmError> {
        let local = self.zone()?.local(self.env.now());
        Ok(local.get(..16).unwrap_or(&local).replace('T', " "))
    }
}

fn printed_code(run: Id, carton: &Carton) -> String {
    let lots = carton.parts.0.keys().copied();
    run_code(carton.code.as_deref(), lots, carton.packed, run)
}

type Asked = (
    LabelRequest,
    crate::trade::rules::RulePack,
    crate::trade::rules::HousePolicy,
    u32,
);

fn request(tx: &Tx<'_>, wish: &LabelWish) -> Result<Asked, FarmError> {
    let none = || {
        let message = format!("there is no run of cartons {} that stands", wish.carton);
        FarmError::new(ErrorKind::NotFound, message)
    };
    let row = tx
        .record(wish.carton)?
        .filter(|row| row.standing == "live")
        .ok_or_else(none)?;
    let record = Record::read(row.id, &row.fields).map_err(|_| none())?;
    let Body::Carton(carton) = record.body else {
        return Err(none());
    };
    let chosen: Chosen = tx.meta("setting")?.unwrap_or_default();
    let setting = chosen.setting();
    let pack = setting.pack.ok_or_else(|| {
        let allowed = "allowed are us_federal, eu and custom: labels need rules; choose them on the farm \
                       record";
        InvalidRecord::missing("rule_pack", allowed)
    })?;
    let weights = weights(tx, &carton.parts)?;
    let weighed = wish.weighed.unwrap_or_else(|| {
        covers(&carton.parts, |lot| {
            weights.get(lot).map_or(0, Vec::len) as u64
        })
    });
    let candled = candled(tx, &carton.parts)?;
    let oldest = carton.parts.0.keys().map(|lot| lot.day).min();
    let request = LabelRequest {
        species: carton.species,
        eggs: carton.eggs_per_carton,
        size: size(&carton, weighed, weights)?,
        weighed,
        grade: carton.grade.clone(),
        graded: wish
            .graded
            .unwrap_or_else(|| covers(&carton.parts, |lot| candled.get(lot).copied().unwrap_or(0))),
        pack_day: carton.packed,
        oldest_lay: oldest.unwrap_or(carton.packed),
        best_by: carton.best_by,
        producer: producer(tx, wish)?,
        lot: Some(printed_code(wish.carton, &carton)),
        claims: wish.claims.clone(),
    };
    Ok((request, pack, setting.house, carton.cartons))
}

/// What the label says about size. Of mixed sizes the least weight that a carton can have is that of
/// the lightest eggs of its lots.
fn size(
    carton: &Carton,
    weighed: bool,
    weights: BTreeMap<Lot, Vec<f64>>,
) -> Result<SizeWords, InvalidRecord> {
    match carton.size.as_deref() {
        None => Ok(SizeWords::Unsized),
        Some("mixed") => {
            let mut grams: Vec<f64> = weights.into_values().flatten().collect();
            grams.sort_by(f64::total_cmp);
            let eggs = carton.eggs_per_carton as usize;
            if !weighed || grams.len() < eggs {
                let allowed = "allowed once the eggs were weighed: mixed sizes are sold by their least \
                               net weight";
                return Err(InvalidRecord::new("size", "mixed", allowed));
            }
            Ok(SizeWords::Mixed(Grams(grams.iter().take(eggs).sum())))
        }
        Some(class) => Ok(SizeWords::Class(class.to_lowercase())),
    }
}

fn producer(tx: &Tx<'_>, wish: &LabelWish) -> Result<Option<Producer>, FarmError> {
    let farms = tx.records(&Filter {
        kind: Some(Kind::Farm),
        ..Filter::default()
    })?;
    let block = farms
        .iter()
        .find_map(|row| row.fields.get("producer")?.as_str());
    let Some(block) = block else {
        return Ok(None);
    };
    // One line with commas is as good as several lines.
    let parts: Vec<&str> = if block.contains('\n') {
        block.lines().collect()
    } else {
        block.split(',').collect()
    };
    let mut parts = parts
        .into_iter()
        .map(str::trim)
        .filter(|part| !part.is_empty());
    Ok(Some(Producer {
        name: parts.next().unwrap_or_default().into(),
        address: parts.map(Into::into).collect(),
        code: wish.producer_code.clone(),
    }))
}

/// Whether of every part at least its eggs were counted.
fn covers(parts: &Parts, counted: impl Fn(&Lot) -> u64) -> bool {
    !parts.0.is_empty() && parts.0.iter().all(|(lot, n)| counted(lot) >= u64::from(*n))
}

/// The single weights on record of these lots.
fn weights(tx: &Tx<'_>, parts: &Parts) -> Result<BTreeMap<Lot, Vec<f64>>, FarmError> {
    let mut all: BTreeMap<Lot, Vec<f64>> = BTreeMap::new();
    for body in since(tx, Kind::Weigh, parts)? {
        if let Body::Weigh(weigh) = body
            && parts.0.contains_key(&weigh.lot)
        {
            all.entry(weigh.lot).or_default().extend(weigh.grams);
        }
    }
    Ok(all)
}

/// The eggs of these lots that were looked through, by the candlings on record.
fn candled(tx: &Tx<'_>, parts: &Parts) -> Result<BTreeMap<Lot, u64>, FarmError> {
    let mut all: BTreeMap<Lot, u64> = BTreeMap::new();
    for body in since(tx, Kind::Candle, parts)? {
        if let Body::Candle(candle) = body {
            for (lot, n) in candle.parts.0 {
                *all.entry(lot).or_default() += u64::from(n);
            }
        }
    }
    Ok(all)
}

/// Records of a kind from the day of the oldest lot on.
fn since(tx: &Tx<'_>, kind: Kind, parts: &Parts) -> Result<Vec<Body>, FarmError> {
    let rows = tx.records(&Filter {
        kind: Some(kind),
        from: parts.0.keys().map(|lot| lot.day).min(),
        ..Filter::default()
    })?;
    let bodies = rows
        .iter()
        .filter_map(|row| Record::read(row.id, &row.fields).ok());
    Ok(bodies.map(|record| record.body).collect())
}
