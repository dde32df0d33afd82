//! A span of days, day by day and flock by flock: counts, hen-days, weights and their classes.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use super::{Days, Flock, Line, Measure, Names};
use crate::record::Id;
use crate::trade::size::SizeScheme;
use crate::trade::units::Grams;
use crate::trade::{FLOCK_CAUTION, Species};

/// What the days of a span are made from.
#[derive(Debug, Clone)]
pub struct SpanInput {
    /// First farm day.
    pub from: NaiveDate,
    /// Last farm day.
    pub to: NaiveDate,
    /// The lines of these days.
    pub lines: Vec<Line>,
    /// Each flock that should be gathered from.
    pub flocks: Vec<Flock>,
    /// Headcounts up to the last day, in the order in which they were taken.
    pub headcounts: Vec<FlockSize>,
    /// Weights of single eggs that were taken on these days.
    pub weights: Vec<EggWeights>,
    /// The weight classes to sort by.
    pub schemes: Vec<SizeScheme>,
    /// Names to show.
    pub names: Names,
}

/// Laying birds of a flock from a day on, until they are counted again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FlockSize {
    /// The farm day of the headcount.
    pub day: NaiveDate,
    /// Where.
    pub coop: Id,
    /// Which birds.
    pub species: Species,
    /// How many.
    pub birds: u32,
}

/// Single eggs on a scale.
#[derive(Debug, Clone, PartialEq)]
pub struct EggWeights {
    /// The farm day of weighing.
    pub day: NaiveDate,
    /// The coop that the lot names, if it does.
    pub coop: Option<Id>,
    /// Whose eggs.
    pub species: Species,
    /// Each weight, g.
    pub grams: Vec<f64>,
}

/// A span of days.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Span {
    /// Each day from the first on that anything is known of a flock, in order.
    pub by_day: Vec<SpanDay>,
    /// Each flock over the whole span.
    pub laying: Vec<Laying>,
    /// All flocks of a species over the whole span; nobody's coop.
    pub laying_by_species: Vec<Laying>,
    /// The eggs that were weighed, by species, and by coop where the coop is known.
    pub weights: Vec<Weighed>,
    /// What a careful person would add.
    pub caution: &'static str,
}

/// One farm day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpanDay {
    /// The day.
    pub day: NaiveDate,
    /// Eggs of all flocks with a gather; nothing where no flock had one.
    pub eggs: Option<i64>,
    /// Each flock that was there.
    pub flocks: Vec<FlockDay>,
    /// Mean weight by species of the eggs that were weighed on the day, g.
    pub mean_grams: BTreeMap<Species, f64>,
}

/// One flock on one farm day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FlockDay {
    /// The coop.
    pub coop: Id,
    /// Its name.
    pub name: String,
    /// Whose eggs.
    pub species: Species,
    /// Eggs gathered; nothing where no round was logged: unknown, not zero.
    pub eggs: Option<i64>,
    /// Gather records.
    pub rounds: i64,
    /// Birds by the last headcount up to the day; nothing before the first.
    pub birds: Option<u32>,
    /// Eggs per hundred birds; nothing where either is unknown or there is no bird.
    pub hen_day_percent: Option<f64>,
}

/// How a flock laid over the span.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Laying {
    /// The coop; nothing for all flocks of a species.
    pub coop: Option<Id>,
    /// Its name, or `all coops`.
    pub name: String,
    /// Whose eggs.
    pub species: Species,
    /// Eggs of the known days; nothing where no day is known.
    pub eggs: Option<i64>,
    /// Days known and unknown; of several flocks, the days of each.
    pub days: Days,
    /// Birds alive, summed over the days that have a gather and a headcount.
    pub hen_days: u64,
    /// Eggs of these days.
    pub eggs_of_hen_days: i64,
    /// Known days that are left out of the rate, since no headcount came before them.
    pub days_without_birds: u32,
    /// Eggs per hundred birds alive and day = 100 × eggs ÷ hen-days. Source: an international
    /// livestock glossary (hen-day production). Nothing without a hen-day.
    pub hen_day_percent: Option<f64>,
}

/// Eggs that were weighed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Weighed {
    /// The coop, where every lot counted here names it.
    pub coop: Option<Id>,
    /// Its name, or `all coops`.
    pub name: String,
    /// Whose eggs.
    pub species: Species,
    /// How many.
    pub eggs: usize,
    /// Their mean weight, g, to the hundredth.
    pub mean_grams: f64,
    /// The lightest, g.
    pub least_grams: f64,
    /// The heaviest, g.
    pub most_grams: f64,
    /// Each egg by itself in the classes of each scheme; empty where no scheme knows the species.
    pub classes: Vec<Classes>,
}

/// Eggs in the classes of one scheme.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Classes {
    /// The scheme's word, for example `us`.
    pub scheme: String,
    /// Eggs by the class whose least weight they reach, heaviest first; in JSON an object.
    #[serde(serialize_with = "as_map")]
    pub counts: Vec<(String, usize)>,
    /// Eggs under the lightest class.
    pub under: usize,
    /// Where the classes come from.
    pub source: String,
}

fn as_map<S: serde::Serializer>(pairs: &[(String, usize)], s: S) -> Result<S::Ok, S::Error> {
    s.collect_map(pairs.iter().map(|(class, n)| (class, n)))
}

/// Makes the days of a span.
pub fn span(input: &SpanInput) -> Span {
    let days = by_day(input);
    let mut laying: BTreeMap<(Option<Id>, Species), Laying> = BTreeMap::new();
    for day in &days {
        for flock in &day.flocks {
            for coop in [Some(flock.coop), None] {
                let all = laying
                    .entry((coop, flock.species))
                    .or_insert_with(|| Laying {
                        coop,
                        name: coop.map_or("all coops".into(), |_| flock.name.clone()),
                        species: flock.species,
                        eggs: None,
                        days: Days::default(),
                        hen_days: 0,
                        eggs_of_hen_days: 0,
                        days_without_birds: 0,
                        hen_day_percent: None,
                    });
                add(all, flock);
            }
        }
    }
    let (mut each, mut species) = (Vec::new(), Vec::new());
    for (_, mut one) in laying {
        one.hen_day_percent = percent(one.eggs_of_hen_days, one.hen_days);
        match one.coop {
            Some(_) => each.push(one),
            None => species.push(one),
        }
    }
    each.sort_by(|a, b| (&a.name, a.species, a.coop).cmp(&(&b.name, b.species, b.coop)));
    Span {
        by_day: days,
        laying: each,
        laying_by_species: species,
        weights: weights(input),
        caution: FLOCK_CAUTION,
    }
}

fn add(all: &mut Laying, flock: &FlockDay) {
    let Some(eggs) = flock.eggs else {
        all.days.unknown += 1;
        return;
    };
    all.days.known += 1;
    all.days.zero += u32::from(eggs == 0);
    *all.eggs.get_or_insert(0) += eggs;
    match flock.birds {
        Some(birds) => {
            all.hen_days += u64::from(birds);
            all.eggs_of_hen_days += eggs;
        }
        None => all.days_without_birds += 1,
    }
}

fn percent(eggs: i64, hen_days: u64) -> Option<f64> {
    (hen_days > 0).then(|| 100.0 * eggs as f64 / hen_days as f64)
}

fn by_day(input: &SpanInput) -> Vec<SpanDay> {
    let mut counted: BTreeMap<(NaiveDate, Id, Species), (i64, i64)> = BTreeMap::new();
    let mut scale: BTreeMap<NaiveDate, BTreeMap<Species, (i64, i64)>> = BTreeMap::new();
    for line in &input.lines {
        match (line.measure, line.coop) {
            (Measure::Rounds | Measure::Gathered, Some(coop)) => {
                let flock = counted.entry((line.day, coop, line.species)).or_default();
                match line.measure {
                    Measure::Rounds => flock.0 += line.n,
                    _ => flock.1 += line.n,
                }
            }
            (Measure::Weighed | Measure::Centigrams, _) => {
                let sum = scale
                    .entry(line.day)
                    .or_default()
                    .entry(line.species)
                    .or_default();
                match line.measure {
                    Measure::Weighed => sum.0 += line.n,
                    _ => sum.1 += line.n,
                }
            }
            _ => {}
        }
    }
    let first_round = counted.keys().next().map(|(day, _, _)| *day);
    let first_weighed = scale.keys().next().copied();
    let first = input.flocks.iter().map(|f| f.first);
    let first = first.chain(first_round).chain(first_weighed).min();
    let Some(first) = first.map(|first| first.max(input.from)) else {
        return Vec::new();
    };
    let days = first.iter_days().take_while(|day| *day <= input.to);
    days.map(|day| {
        let mut flocks: Vec<(Id, Species)> = input
            .flocks
            .iter()
            .filter(|f| f.first <= day && f.last.is_none_or(|last| day <= last))
            .map(|f| (f.coop, f.species))
            .collect();
        let here = counted.range((day, Id::from_bytes([0; 16]), Species::Hen)..);
        let here = here.take_while(|((d, _, _), _)| *d == day);
        flocks.extend(here.map(|((_, coop, species), _)| (*coop, *species)));
        flocks.sort();
        flocks.dedup();
        let mut flocks: Vec<FlockDay> = flocks
            .into_iter()
            .map(|(coop, species)| {
                let (rounds, eggs) = counted
                    .get(&(day, coop, species))
                    .copied()
                    .unwrap_or_default();
                let eggs = (rounds > 0).then_some(eggs);
                let birds = birds(input, day, coop, species);
                FlockDay {
                    coop,
                    name: name(input, coop),
                    species,
                    eggs,
                    rounds,
                    birds,
                    hen_day_percent: eggs
                        .zip(birds)
                        .and_then(|(eggs, birds)| percent(eggs, u64::from(birds))),
                }
            })
            .collect();
        flocks.sort_by(|a, b| (&a.name, a.species, a.coop).cmp(&(&b.name, b.species, b.coop)));
        let known = flocks.iter().filter_map(|f| f.eggs);
        SpanDay {
            day,
            eggs: known.fold(None, |sum, eggs| Some(sum.unwrap_or(0) + eggs)),
            flocks,
            mean_grams: scale
                .remove(&day)
                .unwrap_or_default()
                .into_iter()
                .filter(|(_, (eggs, _))| *eggs > 0)
                .map(|(species, (eggs, cg))| (species, mean(cg as f64 / 100.0, eggs as usize)))
                .collect(),
        }
    })
    .collect()
}

/// Birds by the last headcount up to a day.
fn birds(input: &SpanInput, day: NaiveDate, coop: Id, species: Species) -> Option<u32> {
    let taken = input.headcounts.partition_point(|count| count.day <= day);
    let before = input.headcounts[..taken].iter().rev();
    before
        .clone()
        .find(|count| (count.coop, count.species) == (coop, species))
        .map(|count| count.birds)
}

fn name(input: &SpanInput, id: Id) -> String {
    let name = input.names.get(&id).cloned();
    name.unwrap_or_else(|| format!("#{}", id.short()))
}

fn mean(grams: f64, eggs: usize) -> f64 {
    (grams / eggs as f64 * 100.0).round() / 100.0
}

fn weights(input: &SpanInput) -> Vec<Weighed> {
    let mut all: BTreeMap<(Species, Option<Id>), Vec<f64>> = BTreeMap::new();
    for weights in &input.weights {
        all.entry((weights.species, None))
            .or_default()
            .extend(&weights.grams);
        if let Some(coop) = weights.coop {
            all.entry((weights.species, Some(coop)))
                .or_default()
                .extend(&weights.grams);
        }
    }
    all.retain(|_, grams| !grams.is_empty());
    all.into_iter()
        .map(|((species, coop), grams)| Weighed {
            coop,
            name: coop.map_or("all coops".into(), |coop| name(input, coop)),
            species,
            eggs: grams.len(),
            mean_grams: mean(grams.iter().sum(), grams.len()),
            least_grams: grams.iter().copied().fold(f64::INFINITY, f64::min),
            most_grams: grams.iter().copied().fold(0.0, f64::max),
            classes: input
                .schemes
                .iter()
                .filter(|scheme| scheme.species.contains(&species))
                .map(|scheme| classes(scheme, species, &grams))
                .collect(),
        })
        .collect()
}

fn classes(scheme: &SizeScheme, species: Species, grams: &[f64]) -> Classes {
    let rule = &scheme.classes;
    let mut counts: Vec<(String, usize)> = rule.value.iter().map(|c| (c.code.clone(), 0)).collect();
    let mut under = 0;
    for egg in grams {
        // A record holds no weight that a bird could not lay.
        let class = scheme
            .class_of_egg(species, Grams(*egg))
            .ok()
            .and_then(|f| f.value);
        match class.and_then(|c| counts.iter_mut().find(|(code, _)| *code == c.code)) {
            Some((_, n)) => *n += 1,
            None => under += 1,
        }
    }
    Classes {
        scheme: scheme.code.clone(),
        counts,
        under,
        source: rule.source.clone(),
    }
}
