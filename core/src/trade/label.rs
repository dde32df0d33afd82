//! What a carton has to say and may say under a rule pack. Words that the eggs or the seller have no
//! right to are refused with the reason.

mod claims;
mod request;

pub use request::{LabelLine, LabelRequest, Part, Producer, SizeWords};

use self::claims::claim_line;
use super::dates::{LastDay, day_of_year, last_day};
use super::error::{TradeError, within};
use super::finding::{Finding, Mark, Reason};
use super::rules::{HousePolicy, Rule, RulePack};
use super::species::Species;

/// The lines of a carton label in the order of printing.
///
/// # Errors
/// When a grade, class or claim is not open to these eggs, a required part is missing, a date is
/// past its limit, or the count is not 1 to 360.
pub fn label(
    request: &LabelRequest,
    pack: &RulePack,
    house: &HousePolicy,
) -> Result<Finding<Vec<LabelLine>>, TradeError> {
    within(
        "eggs in the carton",
        f64::from(request.eggs),
        1.0,
        360.0,
        "eggs",
    )?;
    let mut lines = vec![identity(request, pack), count(request, pack)?];
    lines.extend(grade(request, pack, house)?);
    lines.extend(dates(request, pack, house)?);
    let rules = &pack.label;
    if let Some(rule) = &rules.keep_cold {
        lines.push(line(
            Part::KeepCold,
            rule.value.clone(),
            true,
            rule.reason("Printed so"),
        ));
    }
    if let Some(rule) = &rules.safe_handling {
        let why = rule.reason("Printed letter for letter, prominent and in its form");
        lines.push(LabelLine {
            bold: rules.safe_handling_bold.as_ref().map_or(0, String::len),
            boxed: rules.safe_handling_boxed,
            ..line(Part::SafeHandling, rule.value.clone(), true, why)
        });
    }
    lines.extend(producer(request, pack)?);
    if let Some(lot) = &request.lot {
        let why = Reason::common_practice("A lot code lets a carton be traced and called back.");
        lines.push(line(Part::Lot, format!("Lot {lot}"), false, why));
    }
    for claim in &request.claims {
        lines.push(claim_line(claim, pack)?);
    }
    let why = lines.iter().map(|l| l.why.clone()).collect();
    Ok(Finding::because(lines, why, pack.caution.clone()))
}

fn line(part: Part, text: String, required: bool, why: Reason) -> LabelLine {
    LabelLine {
        part,
        text,
        bold: 0,
        boxed: false,
        required,
        why,
    }
}

/// The name of the eggs, for example `Duck eggs`.
pub fn egg_name(species: Species) -> &'static str {
    match species {
        Species::Hen => "Hen eggs",
        Species::Duck => "Duck eggs",
        Species::Goose => "Goose eggs",
        Species::Turkey => "Turkey eggs",
        Species::Guinea => "Guinea fowl eggs",
        Species::Quail => "Quail eggs",
    }
}

/// The species stands on every carton, in bold where the eggs are not hens'.
fn identity(request: &LabelRequest, pack: &RulePack) -> LabelLine {
    let name = egg_name(request.species);
    let hen = request.species == Species::Hen;
    let why = Reason::new(
        format!("Eggs are named by species ({})", pack.name),
        "trading-standards guide; 21 CFR 101.3 from memory",
        Mark::Memory,
    );
    LabelLine {
        bold: if hen { 0 } else { name.len() },
        ..line(Part::Identity, name.to_owned(), true, why)
    }
}

fn count(request: &LabelRequest, pack: &RulePack) -> Result<LabelLine, TradeError> {
    let eggs = request.eggs;
    let noun = if eggs == 1 { "egg" } else { "eggs" };
    let (text, why) = match &request.size {
        SizeWords::Unsized => (
            format!("{eggs} {noun}"),
            Reason::new("Net quantity by count", "21 CFR 101.105(a)", Mark::Seen),
        ),
        SizeWords::Mixed(net) => {
            within("net weight", net.0, 1.0, 180_000.0, "g")?;
            (
                format!(
                    "{eggs} {noun} of different sizes, net weight at least {:.0} g",
                    net.0.floor()
                ),
                Reason::new(
                    "Mixed sizes say so, with the least net weight",
                    "consumer guide to the EU marketing standards",
                    Mark::Seen,
                ),
            )
        }
        SizeWords::Class(code) => {
            let scheme = match &pack.sizes {
                Some(s) if s.species.contains(&request.species) => s,
                _ => {
                    return Err(TradeError::not_allowed(
                        "size on the label",
                        code,
                        format!(
                            "none: {} has no weight classes for {} eggs",
                            pack.name,
                            request.species.code()
                        ),
                    ));
                }
            };
            if !request.weighed {
                return Err(TradeError::not_allowed(
                    "size on the label",
                    code,
                    "none until the eggs were weighed",
                ));
            }
            let class = scheme.class(code).ok_or_else(|| {
                let words: Vec<&str> = scheme
                    .classes
                    .value
                    .iter()
                    .map(|c| c.code.as_str())
                    .collect();
                TradeError::not_allowed("size on the label", code, words.join(", "))
            })?;
            let why = scheme
                .classes
                .reason("Count with the size of the units (21 CFR 101.105(c))");
            (format!("{eggs} {} {noun}", class.name), why)
        }
    };
    Ok(line(Part::Count, text, true, why))
}

fn grade(
    request: &LabelRequest,
    pack: &RulePack,
    house: &HousePolicy,
) -> Result<Option<LabelLine>, TradeError> {
    let Some(code) = &request.grade else {
        return Ok(None);
    };
    let refuse =
        |allowed: String| Err(TradeError::not_allowed("grade on the label", code, allowed));
    let scheme = match &pack.quality {
        Some(s) if s.species.contains(&request.species) && pack.grades_species(request.species) => {
            s
        }
        _ => {
            return refuse(format!(
                "none: {} has no grades for {} eggs",
                pack.name,
                request.species.code()
            ));
        }
    };
    let open: Vec<_> = scheme.grades.value.iter().filter(|g| g.retail).collect();
    let Some(grade) = open.iter().find(|g| &g.code == code) else {
        let words: Vec<&str> = open.iter().map(|g| g.code.as_str()).collect();
        return refuse(words.join(", "));
    };
    if !request.graded {
        return refuse("none until each egg was candled and graded".to_owned());
    }
    let by = last_day(
        LastDay::PackBy,
        request.pack_day,
        request.oldest_lay,
        pack,
        house,
    )?;
    if let Some(by) = by.value
        && request.pack_day > by
    {
        return refuse(format!("none: eggs this old had to be packed by {by}"));
    }
    let why = scheme.grades.reason("A grade only for eggs that meet it");
    Ok(Some(line(Part::Grade, grade.name.clone(), false, why)))
}

fn is_required(rule: &Option<Rule<bool>>) -> bool {
    rule.as_ref().is_some_and(|r| r.value)
}

fn dates(
    request: &LabelRequest,
    pack: &RulePack,
    house: &HousePolicy,
) -> Result<Vec<LabelLine>, TradeError> {
    let day = request.pack_day;
    let rules = &pack.label;
    let pack_day = format!("Packed {day} (day {})", day_of_year(day));
    let why = match &rules.pack_day {
        Some(rule) => rule.reason("The pack day is printed"),
        None => Reason::new(
            "The pack day as the day of the year, with the date since a day number alone is \
             ambiguous",
            "7 CFR 56.37",
            Mark::Seen,
        ),
    };
    let mut lines = vec![line(
        Part::PackDay,
        pack_day,
        is_required(&rules.pack_day),
        why,
    )];
    let limit = last_day(LastDay::BestBy, day, request.oldest_lay, pack, house)?;
    let best_by = request.best_by.or(limit.value);
    if let (Some(wanted), Some(last)) = (request.best_by, limit.value)
        && wanted > last
    {
        let words = limit
            .why
            .iter()
            .map(|r| r.rule.as_str())
            .collect::<Vec<_>>()
            .join("; ");
        return Err(TradeError::not_allowed(
            "best-by on the label",
            wanted,
            format!("{last} or earlier ({words})"),
        ));
    }
    match best_by {
        Some(date) if date < day => {
            return Err(TradeError::not_allowed(
                "best-by on the label",
                date,
                format!("the pack day {day} or later"),
            ));
        }
        Some(date) => {
            let why = limit.why[0].clone();
            let required = is_required(&rules.best_by);
            lines.push(line(Part::BestBy, format!("Best by {date}"), required, why));
        }
        None if is_required(&rules.best_by) => {
            return Err(TradeError::not_allowed(
                "best-by on the label",
                "missing",
                "a date",
            ));
        }
        None => {}
    }
    Ok(lines)
}

fn producer(request: &LabelRequest, pack: &RulePack) -> Result<Vec<LabelLine>, TradeError> {
    let rules = &pack.label;
    let missing = |field, allowed: &str, rule: &Rule<bool>| {
        let allowed = format!("{allowed} ({})", rule.source);
        Err(TradeError::not_allowed(field, "missing", allowed))
    };
    let why = |rule: &Option<Rule<bool>>| match rule {
        Some(rule) => rule.reason("Who packed, and where"),
        None => Reason::common_practice("Who packed, and where"),
    };
    let Some(producer) = &request.producer else {
        return match &rules.producer {
            Some(rule) if rule.value => missing("producer", "name and address", rule),
            _ => Ok(Vec::new()),
        };
    };
    let address: Vec<&str> = producer.address.iter().map(|l| l.trim()).collect();
    if let Some(rule) = &rules.producer
        && rule.value
        && (producer.name.trim().is_empty() || address.iter().all(|l| l.is_empty()))
    {
        return missing("producer", "name and address", rule);
    }
    let text = format!("{}\n{}", producer.name.trim(), address.join("\n"));
    let required = is_required(&rules.producer);
    let mut lines = vec![line(Part::Producer, text, required, why(&rules.producer))];
    match (&producer.code, &rules.producer_code) {
        (Some(code), rule) => {
            let required = is_required(rule);
            lines.push(line(Part::ProducerCode, code.clone(), required, why(rule)));
        }
        (None, Some(rule)) if rule.value => {
            return missing("producer code", "the code given by the authority", rule);
        }
        (None, _) => {}
    }
    Ok(lines)
}

/// The least height of type in inches for the net quantity, by the area of the principal display
/// panel in square inches.
///
/// # Errors
/// When the area is not above 0 and at most 2000 square inches.
///
/// Source: 21 CFR 101.105(i), 2015 edition.
pub fn type_height(panel: f64) -> Result<f64, TradeError> {
    within("area of the panel", panel, 0.1, 2000.0, "in²")?;
    Ok(match panel {
        a if a <= 5.0 => 1.0 / 16.0,
        a if a <= 25.0 => 1.0 / 8.0,
        a if a <= 100.0 => 3.0 / 16.0,
        a if a <= 400.0 => 1.0 / 4.0,
        _ => 1.0 / 2.0,
    })
}

#[cfg(test)]
mod tests;
