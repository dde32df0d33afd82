use pointdown_core::farm::{Farm, Filter, Row};
use pointdown_core::record::{Id, Kind};
use serde_json::Value;

use crate::base::Base;
use crate::fail::Failure;
use crate::input::kinds;
use crate::moments::Calendar;
use crate::tables::Screen;
use crate::words::Words;

/// Rows that a person sees unless more are asked for.
const MOST: u32 = 30;

#[derive(Debug, clap::Args)]
pub(crate) struct List {
    /// Only this kind.
    #[arg(value_parser = kinds())]
    pub(crate) kind: Option<String>,
    /// Only from this farm day on.
    #[arg(long, value_name = "DAY")]
    pub(crate) from: Option<String>,
    /// Only up to this farm day.
    #[arg(long, value_name = "DAY")]
    pub(crate) to: Option<String>,
    /// Voided and refused records too.
    #[arg(long)]
    pub(crate) all: bool,
    /// At most so many, the newest; 30 unless given, with --json all.
    #[arg(long, value_name = "N")]
    pub(crate) most: Option<u32>,
}

pub(crate) fn list(base: &Base, screen: &mut Screen<'_>, args: &List) -> Result<(), Failure> {
    let farm = base.open()?;
    let calendar = Calendar::of(&farm)?;
    let day = |field: &str, text: &Option<String>| {
        text.as_deref()
            .map(|text| calendar.day(field, text))
            .transpose()
    };
    let mut filter = Filter {
        kind: args.kind.as_deref().and_then(Kind::from_code),
        from: day("from", &args.from)?,
        to: day("to", &args.to)?,
        all: args.all,
        most: args.most,
    };
    if screen.json {
        return Ok(screen.value(&farm.list(&filter)?)?);
    }
    // One more than is shown, to know whether there are more.
    let most = args.most.unwrap_or(MOST);
    filter.most = Some(most.saturating_add(1));
    let mut rows = farm.list(&filter)?;
    let more = rows.len() > most as usize;
    rows.truncate(most as usize);
    if rows.is_empty() {
        return Ok(screen.line("No records.")?);
    }
    let words = Words::of(&farm)?;
    let shown = rows.iter().map(|row| {
        [
            row.id.short(),
            words.calendar.shown(row.at),
            row.kind.clone(),
            words.by(row),
            format!("{}{}", words.summary(row), marks(row)),
        ]
    });
    screen.table(["id", "when", "kind", "by", "what"], &[], shown)?;
    if more {
        screen.line("There are older ones; --most N shows more.")?;
    }
    Ok(())
}

/// What is to be known about a record at a glance.
fn marks(row: &Row) -> String {
    let mut said = String::new();
    if row.standing != "live" {
        said = format!(" [{}{}]", row.standing, because(row));
    }
    if !row.conflicts.is_empty() {
        said.push_str(" [disagreement]");
    }
    if row.problem.is_some() {
        said.push_str(" [does not add up]");
    }
    if !row.unknown.is_empty() {
        said.push_str(" [has unknown fields]");
    }
    said
}

fn because(row: &Row) -> String {
    row.why
        .as_ref()
        .map(|why| format!(": {why}"))
        .unwrap_or_default()
}

pub(crate) fn show(base: &Base, screen: &mut Screen<'_>, id: &str) -> Result<(), Failure> {
    let farm = base.open()?;
    let id = farm.find_record(id)?;
    let Some(row) = farm.record(id)? else {
        return Ok(());
    };
    if screen.json {
        return Ok(screen.value(&row)?);
    }
    let words = Words::of(&farm)?;
    let kind = Kind::from_code(&row.kind);
    screen.line(format!("{} {}", row.kind, row.id))?;
    let mut rows = vec![
        ["when".to_string(), words.calendar.shown(row.at)],
        ["farm day".into(), row.day.clone()],
        [
            "standing".into(),
            format!("{}{}", row.standing, because(&row)),
        ],
    ];
    for (name, value) in row
        .fields
        .iter()
        .filter(|(name, _)| *name != "kind" && *name != "at")
    {
        let unknown = if row.unknown.contains(name) {
            " (this version does not know the field)"
        } else {
            ""
        };
        let shown = words.field(kind, name, value);
        rows.push([name.clone(), format!("{shown}{unknown}")]);
    }
    screen.table(["field", "value"], &[], rows)?;
    if let Some(problem) = &row.problem {
        screen.line(format!("Does not add up: {problem}"))?;
    }
    for conflict in &row.conflicts {
        screen.line(format!(
            "Disagreement about {}; amend the record with the right value:",
            conflict.field
        ))?;
        for (amendment, value) in &conflict.said {
            let said = farm.record(*amendment)?;
            let by = said.map(|said| words.by(&said)).unwrap_or_default();
            screen.line(format!(
                "  {} says {} ({})",
                by,
                words.field(kind, &conflict.field, value),
                amendment.short()
            ))?;
        }
    }
    let about = said_about(&farm, id)?;
    if !about.is_empty() {
        screen.line("Said about it:")?;
        for edit in about {
            let why = edit.fields.get("why").and_then(Value::as_str);
            screen.line(format!(
                "  {} {} {} by {}{}{}",
                words.calendar.shown(edit.at),
                edit.kind,
                edit.id.short(),
                words.by(&edit),
                why.map(|why| format!(": {why}")).unwrap_or_default(),
                marks(&edit)
            ))?;
        }
    }
    Ok(())
}

/// Amendments and voids of a record, the oldest first.
fn said_about(farm: &Farm, id: Id) -> Result<Vec<Row>, Failure> {
    let id = id.to_string();
    let mut about = Vec::new();
    for kind in [Kind::Amend, Kind::Void] {
        let edits = farm.list(&Filter {
            kind: Some(kind),
            all: true,
            ..Filter::default()
        })?;
        about.extend(
            edits
                .into_iter()
                .filter(|edit| edit.fields.get("target").and_then(Value::as_str) == Some(&id)),
        );
    }
    about.sort_by_key(|edit| (edit.at, edit.id));
    Ok(about)
}
