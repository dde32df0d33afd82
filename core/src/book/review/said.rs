use super::{Choice, Finding, Weight, What};
use crate::record::edits::{Conflict, Effective};
use crate::record::{Body, Id, Instant, InvalidRecord, Record};

/// An amendment or void of a record, and who wrote it.
struct Said {
    id: Id,
    by: Option<Id>,
    at: Instant,
    /// Whether it is a void; an amendment otherwise.
    void: bool,
    /// Why, in its writer's words.
    why: String,
    /// The amendments that its writer had seen.
    over: Vec<Id>,
}

/// A record with what people said about it.
struct Fact<'a> {
    record: &'a Record,
    said: Vec<Said>,
    conflicts: &'a [Conflict],
    problem: Option<String>,
}

/// What people said about one record that does not fit together.
pub fn said(now: &Effective) -> Vec<Finding> {
    let Some(record) = &now.record else {
        return Vec::new();
    };
    let fact = &Fact {
        record,
        said: now.said.iter().map(edit).collect(),
        conflicts: &now.conflicts,
        problem: now.problem.as_ref().map(InvalidRecord::to_string),
    };
    let mut found = Vec::new();
    if let Body::Farm(_) = record.body {
        return farm_said(fact);
    }
    let voids: Vec<&Said> = fact.said.iter().filter(|s| s.void).collect();

    if voids.is_empty() {
        found.extend(disagreements(fact));
        if let Some(problem) = &fact.problem {
            let amends: Vec<Id> = fact.said.iter().map(|s| s.id).collect();
            let since = fact.said.iter().map(|s| s.at).max().unwrap_or(record.at);
            found.push(
                Finding::new(
                    format!("sum/{}", record.id),
                    What::DoesNotAddUp {
                        problem: problem.to_string(),
                    },
                    Weight::Soon,
                    since,
                )
                .state(problem.chars().take(100).collect::<String>())
                .about(
                    std::iter::once(record.id).chain(amends.iter().copied()),
                    std::iter::once(record.by).chain(fact.said.iter().map(|s| s.by)),
                )
                .choices(
                    amends
                        .iter()
                        .map(|amend| Choice::Void { record: *amend })
                        .chain([Choice::Void { record: record.id }, Choice::Seen]),
                ),
            );
        }
    } else {
        // An amendment that no void's writer had seen: one person mended what another took away.
        let unseen: Vec<&Said> = fact
            .said
            .iter()
            .filter(|s| !s.void && voids.iter().all(|void| !void.over.contains(&s.id)))
            .collect();
        if let Some(last) = unseen.iter().map(|s| s.at).max() {
            let ids: Vec<String> = unseen.iter().chain(&voids).map(|s| s.id.short()).collect();
            found.push(
                Finding::new(
                    format!("void/{}", record.id),
                    What::AmendedAndVoided,
                    Weight::Soon,
                    last,
                )
                .state(ids.join(" ").chars().take(120).collect::<String>())
                .about(
                    std::iter::once(record.id).chain(unseen.iter().chain(&voids).map(|s| s.id)),
                    std::iter::once(record.by).chain(unseen.iter().chain(&voids).map(|s| s.by)),
                )
                .choices(
                    voids
                        .first()
                        .map(|void| Choice::Restore { void: void.id })
                        .into_iter()
                        .chain([Choice::Seen]),
                ),
            );
        }
    }
    found
}

fn edit(record: &Record) -> Said {
    let (void, over, why) = match &record.body {
        Body::Void(void) => (true, void.over.clone(), void.why.clone()),
        Body::Amend(amend) => {
            let why = amend.why.clone().unwrap_or_default();
            (false, amend.over.clone(), why)
        }
        _ => (false, Vec::new(), String::new()),
    };
    Said {
        id: record.id,
        by: record.by,
        at: record.at,
        void,
        why,
        over,
    }
}

/// What was said about the farm's own record: it cannot be voided, so a void of it (by a foreign
/// program, or an earlier version) is a question of its own.
fn farm_said(fact: &Fact<'_>) -> Vec<Finding> {
    let record = fact.record;
    let mut found = disagreements(fact);
    found.extend(fact.said.iter().filter(|s| s.void).map(|void| {
        Finding::new(
            format!("farm/{}", void.id),
            What::FarmVoided {
                why: void.why.clone(),
            },
            Weight::Note,
            void.at,
        )
        .state("-")
        .about([void.id, record.id], [void.by, record.by])
        .choices([Choice::Void { record: void.id }, Choice::Seen])
    }));
    found
}

fn disagreements(fact: &Fact<'_>) -> Vec<Finding> {
    let all = fact.conflicts.iter();
    all.map(|conflict| disagreement(fact, conflict)).collect()
}

fn disagreement(fact: &Fact<'_>, conflict: &Conflict) -> Finding {
    let record = fact.record;
    let by = |id: Id| fact.said.iter().find(|s| s.id == id).and_then(|s| s.by);
    let amends: Vec<Id> = conflict.said.iter().map(|(id, _)| *id).collect();
    let since = fact
        .said
        .iter()
        .filter(|s| amends.contains(&s.id))
        .map(|s| s.at)
        .max()
        .unwrap_or(record.at);
    let state: Vec<String> = amends.iter().map(|id| id.short()).collect();
    let mut values: Vec<_> = Vec::new();
    for (_, value) in &conflict.said {
        if !values.contains(value) {
            values.push(value.clone());
        }
    }
    Finding::new(
        format!("field/{}/{}", record.id, conflict.field),
        What::Disagreement {
            field: conflict.field.clone(),
            said: conflict.said.iter().cloned().collect(),
        },
        Weight::Soon,
        since,
    )
    .state(state.join(" ").chars().take(120).collect::<String>())
    .about(
        std::iter::once(record.id).chain(amends.iter().copied()),
        amends.iter().map(|id| by(*id)),
    )
    .choices(values.into_iter().map(|value| Choice::Keep {
        record: record.id,
        field: conflict.field.clone(),
        value,
    }))
}
