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
    let by = |id: Id| fact.said.iter().find(|s| s.id == id).and_then(|s| s.by);
    let voids: Vec<&Said> = fact.said.iter().filter(|s| s.void).collect();

    if voids.is_empty() {
        for conflict in fact.conflicts {
            found.push(disagreement(fact, conflict, by));
        }
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
                        .iter()
                        .map(|void| Choice::Restore { void: void.id })
                        .chain([Choice::Seen]),
                ),
            );
        }
    }
    found
}

fn edit(record: &Record) -> Said {
    let (void, over) = match &record.body {
        Body::Void(void) => (true, void.over.clone()),
        Body::Amend(amend) => (false, amend.over.clone()),
        _ => (false, Vec::new()),
    };
    Said {
        id: record.id,
        by: record.by,
        at: record.at,
        void,
        over,
    }
}

fn disagreement(fact: &Fact<'_>, conflict: &Conflict, by: impl Fn(Id) -> Option<Id>) -> Finding {
    let record = fact.record;
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
