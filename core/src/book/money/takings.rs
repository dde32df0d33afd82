use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use super::Amount;
use crate::book::Names;
use crate::record::{Body, Carton, Id, Record};
use crate::trade::Species;

/// What takings are made from.
#[derive(Debug, Clone)]
pub struct TakingsInput {
    /// First farm day.
    pub from: NaiveDate,
    /// Last farm day.
    pub to: NaiveDate,
    /// The outs of these days.
    pub outs: Vec<Record>,
    /// The carton runs that they name.
    pub runs: BTreeMap<Id, Carton>,
    /// Names of outlets.
    pub names: Names,
    /// The farm's currency.
    pub currency: Option<String>,
}

/// What came in over a span of days, and from whom.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Takings {
    /// First farm day.
    pub from: NaiveDate,
    /// Last farm day.
    pub to: NaiveDate,
    /// The farm's currency.
    pub currency: Option<String>,
    /// All of it.
    pub all: Taken,
    /// By outlet or person; a sale to nobody in particular has no name.
    pub by_outlet: Vec<(Option<String>, Taken)>,
    /// What a carton went for, by species, eggs in it and size.
    pub cartons: Vec<CartonPrice>,
}

/// What left, and what came in for it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Taken {
    /// What was paid for what was sold, as far as prices were logged.
    pub taken: Amount,
    /// What was paid back for what was returned.
    pub paid_back: Amount,
    /// Sales.
    pub sales: u32,
    /// Of these, sales without a price: unknown, not zero.
    pub sales_without_price: u32,
    /// Eggs sold.
    pub sold: i64,
    /// Of these, eggs without a price.
    pub sold_without_price: i64,
    /// Cartons sold.
    pub cartons: i64,
    /// Eggs given away.
    pub given: i64,
    /// Eggs eaten at home.
    pub eaten: i64,
    /// Eggs that came back.
    pub returned: i64,
    /// The mean price of a dozen over the eggs with a price, rounded.
    pub per_dozen: Option<Amount>,
}

/// What cartons of one kind went for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CartonPrice {
    /// Whose eggs.
    pub species: Species,
    /// Eggs in each; nothing where the carton run is not here.
    pub eggs_per_carton: Option<u32>,
    /// Weight class.
    pub size: Option<String>,
    /// Cartons sold with a price.
    pub cartons: u64,
    /// What they brought.
    pub taken: Amount,
    /// Cartons sold without a price: not in the figures here.
    pub without_price: u64,
    /// The mean price of a carton, rounded.
    pub mean: Option<Amount>,
    /// The lowest price of a carton in any sale, rounded.
    pub lowest: Option<Amount>,
    /// The highest.
    pub highest: Option<Amount>,
}

impl Taken {
    fn count(&mut self, way: &str, eggs: i64, cartons: i64, price: Option<Amount>) {
        match way {
            "sold" => {
                self.sales += 1;
                self.sold += eggs;
                self.cartons += cartons;
                match price {
                    Some(price) => self.taken += price,
                    None => {
                        self.sales_without_price += 1;
                        self.sold_without_price += eggs;
                    }
                }
            }
            "given" => self.given += eggs,
            "eaten" => self.eaten += eggs,
            "returned" => {
                self.returned += eggs;
                self.paid_back += price.unwrap_or_default();
            }
            _ => {}
        }
    }

    fn finish(mut self) -> Taken {
        let priced = u64::try_from(self.sold - self.sold_without_price).unwrap_or(0);
        self.per_dozen = self.taken.share(12, priced);
        self
    }
}

/// Adds up the outs of a span. One pass.
pub fn takings(input: &TakingsInput) -> Takings {
    let mut all = Taken::default();
    type Key = (Option<Id>, Option<String>);
    let mut by_outlet: BTreeMap<Key, (Option<String>, Taken)> = BTreeMap::new();
    let mut cartons: BTreeMap<(Species, Option<u32>, Option<String>), CartonPrice> =
        BTreeMap::new();
    for record in &input.outs {
        let Body::Out(out) = &record.body else {
            continue;
        };
        let eggs = i64::from(out.parts.eggs());
        let n = i64::from(out.cartons.unwrap_or(0));
        let price: Option<Amount> = out.price.as_deref().and_then(|p| p.parse().ok());
        let name = out.outlet.map(|id| {
            let known = input.names.get(&id).cloned();
            known.unwrap_or_else(|| format!("#{}", id.short()))
        });
        let name = name.or_else(|| out.to.clone());
        let key = match out.outlet {
            Some(id) => (Some(id), None),
            None => (None, out.to.as_ref().map(|to| to.trim().to_lowercase())),
        };
        all.count(&out.way, eggs, n, price);
        let outlet = by_outlet.entry(key).or_insert((name, Taken::default()));
        outlet.1.count(&out.way, eggs, n, price);
        let (Some(species), Some(n)) = (out.parts.species(), out.cartons) else {
            continue;
        };
        if out.way != "sold" {
            continue;
        }
        let run = out.carton.and_then(|run| input.runs.get(&run));
        let per = run.map(|run| run.eggs_per_carton);
        let size = run.and_then(|run| run.size.clone());
        let kind = cartons
            .entry((species, per, size.clone()))
            .or_insert(CartonPrice {
                species,
                eggs_per_carton: per,
                size,
                cartons: 0,
                taken: Amount::ZERO,
                without_price: 0,
                mean: None,
                lowest: None,
                highest: None,
            });
        let Some(price) = price else {
            kind.without_price += u64::from(n);
            continue;
        };
        kind.cartons += u64::from(n);
        kind.taken += price;
        let each = price.share(1, u64::from(n));
        kind.lowest = [kind.lowest, each].into_iter().flatten().min();
        kind.highest = [kind.highest, each].into_iter().flatten().max();
    }
    let mut by_outlet: Vec<_> = by_outlet
        .into_values()
        .map(|(name, taken)| (name, taken.finish()))
        .collect();
    by_outlet.sort_by(|a, b| (b.1.taken, &a.0).cmp(&(a.1.taken, &b.0)));
    Takings {
        from: input.from,
        to: input.to,
        currency: input.currency.clone(),
        all: all.finish(),
        by_outlet,
        cartons: cartons
            .into_values()
            .map(|mut kind| {
                kind.mean = kind.taken.share(1, kind.cartons);
                kind
            })
            .collect(),
    }
}
