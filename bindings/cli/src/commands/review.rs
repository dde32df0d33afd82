use pointdown_core::book::review::{Choice, Finding, Weight};
use pointdown_core::farm::{Answer, ErrorKind, Farm, FarmError, Logged};
use serde_json::{Value, json};

use crate::base::Base;
use crate::fail::{Failure, invalid};
use crate::findings::Findings;
use crate::tables::Screen;

/// Records behind a line that are printed.
const MOST: usize = 12;

/// Answer one line of the review list.
#[derive(Debug, clap::Args)]
pub(crate) struct Decide {
    /// The line, as `pointdown review` names it, such as 7hk2-9d.
    pub(crate) line: String,
    /// One of its choices: the number, or its word where only one has it (keep, void, restore,
    /// both_right, recount, pull_held, shift, retire, seen).
    pub(crate) choice: String,
    /// The eggs that were really found, for a choice to count.
    #[arg(long, value_name = "EGGS")]
    pub(crate) counted: Option<u32>,
}

/// Lines that wait for a decision, and how many of them are urgent.
pub(crate) fn waiting(farm: &Farm) -> Result<(usize, usize), Failure> {
    Ok(counted(&farm.review()?))
}

fn counted(all: &[Finding]) -> (usize, usize) {
    let urgent = all.iter().filter(|f| f.weight == Weight::Urgent).count();
    (all.len(), urgent)
}

/// The same in words; nothing where no line waits.
pub(crate) fn waits((all, urgent): (usize, usize)) -> Option<String> {
    let lines = match all {
        0 => return None,
        1 => "1 line waits".to_string(),
        n => format!("{n} lines wait"),
    };
    Some(match urgent {
        0 => format!("Review: {lines}, none urgent."),
        n => format!("Review: {lines}, {n} URGENT."),
    })
}

pub(crate) fn list(base: &Base, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let farm = base.open()?;
    let all = farm.review()?;
    let findings = Findings::of(&farm)?;
    if screen.json {
        let lines = all.iter().map(|f| told(&findings, f));
        let lines = lines.collect::<Result<Vec<_>, _>>()?;
        let (waiting, urgent) = counted(&all);
        let all = json!({"waiting": waiting, "urgent": urgent, "lines": lines});
        return Ok(screen.value(&all)?);
    }
    let Some(waits) = waits(counted(&all)) else {
        return Ok(screen.line("Review: nothing waits for a decision.")?);
    };
    screen.line(waits)?;
    for finding in &all {
        print(screen, &findings, finding)?;
    }
    screen.title("To decide: pointdown decide LINE CHOICE. A choice can be undone.")?;
    let caution =
        "Local rules, labels and vets decide what may be eaten or sold; this only reminds.";
    Ok(screen.words("", caution)?)
}

fn print(
    screen: &mut Screen<'_>,
    findings: &Findings<'_>,
    finding: &Finding,
) -> Result<(), Failure> {
    let weight = match finding.weight {
        Weight::Urgent => "URGENT",
        Weight::Soon => "soon",
        Weight::Note => "note",
    };
    let said = findings.said(finding)?;
    screen.entry(&format!("{}  {weight}:", finding.tag()), &said)?;
    for detail in findings.details(finding)? {
        screen.words("  ", &detail)?;
    }
    let since = findings.words.calendar.shown(finding.since);
    let people = findings.people(finding);
    screen.words("  ", &format!("since {since}; {people}"))?;
    for id in finding.records.iter().take(MOST) {
        screen.item("  - ", &findings.record(*id)?)?;
    }
    if finding.records.len() > MOST {
        screen.line(format!("  - and {} more", finding.records.len() - MOST))?;
    }
    for (n, choice) in finding.choices.iter().enumerate() {
        screen.item(
            &format!("  {}) ", n + 1),
            &findings.choice(finding, choice)?,
        )?;
    }
    Ok(())
}

/// A line for programs.
fn told(findings: &Findings<'_>, finding: &Finding) -> Result<Value, Failure> {
    let mut all = json!(finding);
    all["tag"] = finding.tag().into();
    all["text"] = findings.said(finding)?.into();
    all["names"] = finding
        .people
        .iter()
        .map(|id| findings.words.name(*id))
        .collect();
    Ok(all)
}

pub(crate) fn decide(base: &Base, screen: &mut Screen<'_>, args: &Decide) -> Result<(), Failure> {
    let farm = base.open()?;
    let finding = farm.find_line(&args.line)?;
    let choice = chosen(&finding, &args.choice)?;
    // Said before, since the list is another one afterwards.
    let words = Findings::of(&farm)?.choice(&finding, choice)?;
    let mut answer = Answer::new(choice.clone()).as_shown(&finding);
    if let Some(counted) = args.counted {
        answer = answer.counted(counted);
    }
    let logged = farm.decide(&finding.line, answer)?;
    let left = waiting(&farm)?;
    if screen.json {
        return Ok(screen.value(&json!({
            "line": finding.line,
            "choice": choice,
            "logged": logged,
            "undo": logged.iter().map(|l| l.id).collect::<Vec<_>>(),
            "waiting": left.0,
            "urgent": left.1,
        }))?);
    }
    let words = words.trim_end_matches(" (with --counted N)");
    screen.line(format!("Decided: {words}."))?;
    let findings = Findings::of(&farm)?;
    for Logged { id, .. } in &logged {
        screen.line(format!("Logged {}", findings.record(*id)?))?;
    }
    let mut undo = "To undo it:";
    for Logged { id, .. } in &logged {
        screen.line(format!("{undo} pointdown void {} --why '...'", id.short()))?;
        undo = "       and:";
    }
    let left = waits(left).unwrap_or("Review: nothing else waits.".into());
    Ok(screen.line(left)?)
}

/// The choice that a number or a word means.
fn chosen<'a>(finding: &'a Finding, text: &str) -> Result<&'a Choice, Failure> {
    let all = &finding.choices;
    if let Ok(n) = text.parse::<usize>() {
        let choice = n.checked_sub(1).and_then(|n| all.get(n));
        return choice.ok_or_else(|| {
            let allowed = format!("allowed are 1 to {}; see `pointdown review`", all.len());
            invalid("choice", text, allowed)
        });
    }
    let called: Vec<&Choice> = all.iter().filter(|c| answers(c, text)).collect();
    match called.as_slice() {
        [one] => Ok(one),
        [] => {
            let mut words: Vec<String> = all.iter().map(word).collect();
            words.dedup();
            let allowed = format!("allowed are 1 to {}, or {}", all.len(), words.join(", "));
            Err(invalid("choice", text, allowed))
        }
        more => {
            let message = format!(
                "{} choices are called {text:?}; give the number",
                more.len()
            );
            Err(FarmError::new(ErrorKind::Ambiguous, message).into())
        }
    }
}

fn answers(choice: &Choice, text: &str) -> bool {
    let word = word(choice);
    word == text || (word == "recount_all" && text == "recount")
}

/// The word of a choice in JSON.
fn word(choice: &Choice) -> String {
    let value = json!(choice);
    value["choice"].as_str().unwrap_or_default().to_string()
}
