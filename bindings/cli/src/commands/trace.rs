use clap::builder::PossibleValuesParser;
use pointdown_core::book::trace::{CallBack, Question, Run, Share, Trail};
use pointdown_core::farm::{ErrorKind, Farm};
use pointdown_core::record::{Id, Kind};
use pointdown_core::trade::Species;

use crate::base::Base;
use crate::fail::{Failure, missing};
use crate::moments::Calendar;
use crate::tables::Screen;
use crate::words::Words;

/// `pointdown call-back`
#[derive(Debug, clap::Args)]
pub(crate) struct CallBackArgs {
    /// From a record: a gather, wash, carton run, hold or cooler reading; or from the code on a
    /// carton.
    #[arg(long, value_name = "ID", allow_hyphen_values = true, conflicts_with_all = ["coop", "from", "to", "species"])]
    record: Option<String>,
    /// From the eggs of this coop; of every coop unless given.
    #[arg(long)]
    coop: Option<String>,
    /// Only this species.
    #[arg(long, value_parser = PossibleValuesParser::new(Species::ALL.map(Species::code)))]
    species: Option<String>,
    /// Gathered from this farm day on.
    #[arg(long, value_name = "DAY")]
    from: Option<String>,
    /// Up to this farm day; the first one alone unless given.
    #[arg(long, value_name = "DAY")]
    to: Option<String>,
}

pub(crate) fn trace(base: &Base, screen: &mut Screen<'_>, code: &str) -> Result<(), Failure> {
    let farm = base.open()?;
    let trails = farm.trace(code)?;
    if screen.json {
        return Ok(screen.value(&trails)?);
    }
    let words = Words::of(&farm)?;
    for (n, trail) in trails.iter().enumerate() {
        if n > 0 {
            screen.line("")?;
        }
        print_trail(screen, &words, trail)?;
    }
    screen.line("")?;
    Ok(screen.words(
        "",
        "This shows what was logged; it does not say that an egg is safe. Local rules, labels and \
         vets decide.",
    )?)
}

fn print_trail(screen: &mut Screen<'_>, words: &Words, trail: &Trail) -> Result<(), Failure> {
    let run = &trail.run;
    screen.line(name(run))?;
    let by = run.by.as_deref().unwrap_or("nobody named");
    let best_by = run
        .best_by
        .map_or(String::new(), |day| format!(", best by {day}"));
    screen.line(format!(
        "  {} of {} {} eggs, packed {} by {by}{best_by}",
        cartons(run.cartons),
        run.eggs_per_carton,
        run.species.code(),
        words.calendar.shown(run.at)
    ))?;
    let lots: Vec<_> = run
        .lots
        .iter()
        .map(|(lot, n)| format!("{}={n}", words.lot(lot)))
        .collect();
    screen.words("  ", &format!("lots: {}", lots.join(", ")))?;
    screen.title("  Rounds")?;
    let rows = trail.rounds.iter().map(|r| {
        [
            words.calendar.shown(r.at),
            r.coop.clone().unwrap_or_default(),
            r.species.code().into(),
            r.count.to_string(),
            r.by.clone().unwrap_or_default(),
            share(r.share).into(),
        ]
    });
    screen.table(
        ["when", "coop", "species", "eggs", "by", "of these cartons"],
        &[3],
        rows,
    )?;
    if !trail.washes.is_empty() {
        screen.title("  Washes")?;
        for wash in &trail.washes {
            let by = wash.by.as_deref().unwrap_or("nobody named");
            screen.line(format!(
                "  {} #{} by {by}: {}, {}",
                words.calendar.shown(wash.at),
                wash.record.short(),
                wash.wash.means,
                share(wash.share)
            ))?;
            screen.words("    ", &water(words, &wash.wash))?;
        }
    }
    if !trail.candlings.is_empty() {
        screen.title("  Candlings of these lots")?;
        for candled in &trail.candlings {
            let found: Vec<_> = candled
                .found
                .iter()
                .map(|(q, n)| format!("{q} {n}"))
                .collect();
            let by = candled.by.as_deref().unwrap_or("nobody named");
            screen.line(format!(
                "  {} by {by}: {}",
                words.calendar.shown(candled.at),
                found.join(", ")
            ))?;
        }
    }
    if !trail.holds.is_empty() {
        screen.title("  Holds")?;
        for hold in &trail.holds {
            let until = hold.until.map_or("open".into(), |day| format!("to {day}"));
            screen.line(format!(
                "  {} from {} {until}, {}: {}",
                hold.cause,
                hold.from,
                hold.coop.as_deref().unwrap_or("the whole farm"),
                share(hold.share)
            ))?;
        }
    }
    if !trail.readings.is_empty() {
        screen.title("  Coolers meanwhile")?;
        let rows = trail.readings.iter().map(|r| {
            [
                words.calendar.shown(r.at),
                r.cooler.clone().unwrap_or_default(),
                words.temperature(r.air_c),
                if r.too_warm == Some(true) {
                    "too warm"
                } else {
                    ""
                }
                .into(),
            ]
        });
        screen.table(["when", "cooler", "air", ""], &[], rows)?;
    }
    screen.title("  Went to")?;
    if trail.outs.is_empty() {
        screen.line("  nobody yet")?;
    }
    for out in &trail.outs {
        screen.line(format!("  {}", went(words, out)))?;
    }
    let (least, most) = trail.left;
    screen.line(match least == most {
        true => format!("  left: {most} eggs"),
        false => format!("  left: {least} to {most} eggs"),
    })?;
    screen.line("")?;
    for said in &trail.said {
        screen.words("  ", said)?;
    }
    Ok(())
}

fn water(words: &Words, wash: &pointdown_core::record::Wash) -> String {
    let readings = [
        ("egg", wash.egg_c),
        ("water at the start", wash.water_start_c),
        ("at the end", wash.water_end_c),
        ("rinse", wash.rinse_c),
    ];
    let mut said: Vec<String> = readings
        .into_iter()
        .filter_map(|(what, c)| Some(format!("{what} {}", words.temperature(c?))))
        .collect();
    said.extend(wash.sanitiser_ppm.map(|ppm| format!("sanitiser {ppm} ppm")));
    said.extend(wash.minutes.map(|n| format!("{n} minutes in the water")));
    if said.is_empty() {
        return "nothing measured".into();
    }
    said.join(", ")
}

fn name(run: &Run) -> String {
    format!("Cartons {} (#{})", run.printed, run.record.short())
}

fn cartons(n: u32) -> String {
    match n {
        1 => "1 carton".into(),
        n => format!("{n} cartons"),
    }
}

fn share(share: Share) -> &'static str {
    match share {
        Share::All => "all",
        Share::May => "some may be",
    }
}

fn went(words: &Words, out: &pointdown_core::book::trace::OutReached) -> String {
    let boxes = match (out.cartons, out.code.as_deref(), out.run) {
        (Some(n), Some(code), _) => format!("{} {code}, ", cartons(n)),
        (Some(n), None, Some(run)) => format!("{} #{}, ", cartons(n), run.short()),
        _ => String::new(),
    };
    format!(
        "{} {}: {boxes}{} eggs, {}",
        words.calendar.shown(out.at),
        match (&out.who, out.way.as_str()) {
            (Some(who), "returned") => format!("came back from {who}"),
            (None, "returned") => "came back (nobody named)".into(),
            (Some(who), way) => format!("{way} to {who}"),
            (None, way) => format!("{way} (nobody named)"),
        },
        out.eggs,
        share(out.share)
    )
}

pub(crate) fn call_back(
    base: &Base,
    screen: &mut Screen<'_>,
    ask: &CallBackArgs,
) -> Result<(), Failure> {
    let farm = base.open()?;
    let calendar = Calendar::of(&farm)?;
    let question = match (&ask.record, &ask.from) {
        (Some(record), _) => Question::Record {
            record: record_or_code(&farm, record)?,
        },
        (None, Some(from)) => Question::Coop {
            coop: match &ask.coop {
                Some(name) => Some(farm.find(Kind::Coop, name)?),
                None => None,
            },
            species: ask.species.as_deref().and_then(Species::from_code),
            first: calendar.day("from", from)?,
            last: calendar.day("to", ask.to.as_deref().unwrap_or(from))?,
        },
        (None, None) => {
            return Err(missing(
                "from",
                "allowed are --record ID, or --from DAY with --to, --coop and --species",
            ));
        }
    };
    let list = farm.call_back(question)?;
    if screen.json {
        return Ok(screen.value(&list)?);
    }
    print_list(screen, &Words::of(&farm)?, &list)
}

/// A record by its id, or the run of cartons that bears a code.
fn record_or_code(farm: &Farm, text: &str) -> Result<Id, Failure> {
    let unknown = match farm.find_record(text) {
        Err(e) if e.kind == ErrorKind::NotFound => e,
        found => return Ok(found?),
    };
    match farm.find_carton(text) {
        Err(e) if e.kind == ErrorKind::NotFound => Err(unknown.into()),
        found => Ok(found?),
    }
}

fn print_list(screen: &mut Screen<'_>, words: &Words, list: &CallBack) -> Result<(), Failure> {
    screen.line(format!("Call-back list of {}", words.calendar.today))?;
    for said in &list.said {
        screen.words("", said)?;
    }
    screen.title(format!("To call: {}", list.people.len()))?;
    for person in &list.people {
        let who = person.who.as_deref().unwrap_or("nobody named");
        let contact = person.contact.as_deref().unwrap_or("no contact logged");
        let back = match (person.returned, person.still_out) {
            (0, _) => String::new(),
            (_, 0) => ", all of it came back by the records".into(),
            (back, out) => format!(", {back} eggs came back, up to {out} are still out"),
        };
        let share = share(person.share);
        screen.line(format!("[ ] {who} ({contact}): {share}{back}"))?;
        for out in &person.outs {
            screen.words("      ", &went(words, out))?;
        }
    }
    screen.title("To set aside here")?;
    let shelf: Vec<_> = list.runs.iter().filter(|r| r.left.1 > 0).collect();
    if shelf.is_empty() && list.standing.is_empty() {
        screen.line("  nothing")?;
    }
    for reached in shelf {
        screen.line(format!(
            "[ ] {}: up to {}, {} eggs, {}",
            name(&reached.run),
            cartons(reached.cartons_left),
            reached.left.1,
            share(reached.share)
        ))?;
    }
    for stands in &list.standing {
        screen.line(format!(
            "[ ] {} eggs of {} at station {}, {}",
            stands.eggs,
            words.lot(&stands.lot),
            stands.place.code(),
            share(stands.share)
        ))?;
    }
    let pulled: u32 = list.pulled.iter().map(|p| p.eggs).sum();
    if pulled > 0 {
        screen.line(format!(
            "Pulled already or not found by a count: up to {pulled} eggs"
        ))?;
    }
    if !list.contradicting.is_empty() {
        let lots: Vec<_> = list
            .contradicting
            .iter()
            .map(|lot| words.lot(lot))
            .collect();
        screen.words(
            "",
            &format!("Records that contradict one another: {}", lots.join(", ")),
        )?;
    }
    screen.title("Cautions")?;
    for caution in &list.cautions {
        screen.words("  ", caution)?;
    }
    Ok(())
}
