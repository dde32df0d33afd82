use super::{Choice, Finding, Weight, What};
use crate::record::edits::Conflict;
use crate::record::{Id, Instant, Record};

/// An amendment or void of a record, and who wrote it.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// The edit.
    pub id: Id,
    /// Who.
    pub by: Option<Id>,
    /// When.
    pub at: Instant,
    /// Whether it is a void; an amendment otherwise.
    pub void: bool,
    /// The amendments that its writer had seen.
    pub over: Vec<Id>,
}

/// A record with what people said about it.
#[derive(Debug, Clone)]
pub struct Fact<'a> {
    /// The record as it stands.
    pub record: &'a Record,
    /// Edits of it that nobody voided.
    pub said: &'a [Said],
    /// Fields on which they disagree.
    pub conflicts: &'a [Conflict],
    /// Values that do not hold together.
    pub problem: Option<&'a str>,
}

/// What people said about one record that does not fit together.
pub fn said(fact: &Fact<'_>) -> Vec<Finding> {
    let record = fact.record;
    let mut found = Vec::new();
    let by = |id: Id| fact.said.iter().find(|s| s.id == id).and_then(|s| s.by);
    let voids: Vec<&Said> = fact.said.iter().filter(|s| s.void).collect();

    if voids.is_empty() {
        for conflict in fact.conflicts {
            found.push(disagreement(fact, conflict, by));
        }
        if let Some(problem) = fact.problem {
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
