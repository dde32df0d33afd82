use super::facade::Inner;
use super::log::Logged;
use super::review::{changed, gone, left_of};
use super::{ErrorKind, Farm, FarmError};
use crate::book::Place;
use crate::book::review::{Choice, Finding, OFF_S};
use crate::record::edits::effective;
use crate::record::{
    Body, DocName, Draft, Fields, Id, Instant, InvalidRecord, Kind, Parts, Record,
};

/// How the reason or note of a record begins that answers a line of the review list.
pub(super) const ANSWERS: &str = "review: ";

/// What a person answers to a line of the review list.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    choice: Choice,
    counted: Option<u32>,
    state: Option<String>,
}

impl Answer {
    /// One of the choices that the line offers.
    pub fn new(choice: Choice) -> Answer {
        Answer {
            choice,
            counted: None,
            state: None,
        }
    }

    /// The eggs that were really found, for a choice to count.
    #[must_use]
    pub fn counted(mut self, eggs: u32) -> Answer {
        self.counted = Some(eggs);
        self
    }

    /// Holds only while the line stands as it did when it was shown.
    #[must_use]
    pub fn as_shown(mut self, finding: &Finding) -> Answer {
        self.state = Some(finding.state.clone());
        self
    }
}

impl From<&Choice> for Answer {
    fn from(choice: &Choice) -> Answer {
        Answer::new(choice.clone())
    }
}

impl Farm {
    /// Carries out one choice of a line: as records, which merge like any other, all in one change
    /// or none. Gives what was logged; voiding each of it undoes the choice, and the line comes
    /// back.
    ///
    /// # Errors
    /// When the list has no such line now, when it stands otherwise than the answer says, when it
    /// does not offer the choice, or when a choice to count comes without the number; then nothing
    /// was changed.
    pub fn decide(&self, line: &str, answer: impl Into<Answer>) -> Result<Vec<Logged>, FarmError> {
        let answer = answer.into();
        let mut inner = self.lock();
        let findings = inner.review()?;
        let finding = findings
            .iter()
            .find(|f| f.line == line)
            .ok_or_else(|| gone(line))?;
        if answer.state.is_some_and(|state| state != finding.state) {
            return Err(changed(line));
        }
        if !finding.choices.contains(&answer.choice) {
            return Err(FarmError::new(
                ErrorKind::Invalid,
                "this line does not offer that choice",
            ));
        }
        let counted = match (answer.choice.wants_count(), answer.counted) {
            (false, Some(counted)) => {
                let allowed = "allowed only with a choice to count";
                return Err(InvalidRecord::new("counted", counted, allowed).into());
            }
            (true, None) => {
                let allowed = "count the eggs and give the number, from 0 to 10000";
                return Err(InvalidRecord::missing("counted", allowed).into());
            }
            (_, counted) => counted.unwrap_or(0),
        };
        let now = self.env.now();
        let why = format!("{ANSWERS}{}", line.split('/').next().unwrap_or(line));
        inner.carry_out(self, finding, &answer.choice, counted, &why, now)
    }
}

impl Inner {
    fn carry_out(
        &mut self,
        farm: &Farm,
        finding: &Finding,
        choice: &Choice,
        counted: u32,
        why: &str,
        now: Instant,
    ) -> Result<Vec<Logged>, FarmError> {
        let drafts = match choice {
            Choice::Keep {
                record,
                field,
                value,
            } => {
                let mut set = Fields::new();
                set.insert(field.clone(), value.clone());
                vec![self.amendment(farm, *record, set, Some(why), now)?]
            }
            Choice::Retire { record } => {
                let today = self.store.read::<_, FarmError>(|tx| Ok(tx.zone()?))?;
                let mut set = Fields::new();
                set.insert("retired".into(), today.day(now).to_string().into());
                vec![self.amendment(farm, *record, set, Some(why), now)?]
            }
            Choice::Void { record } => vec![self.voiding(*record, why)?],
            Choice::Restore { void } => self.restoring(*void, why)?,
            Choice::BothRight => vec![(decision(finding, "both_right"), None)],
            Choice::Seen => vec![(decision(finding, "seen"), None)],
            Choice::Recount { place, lot } => {
                let draft = recount(*place, counted, why, finding, now)?;
                vec![(draft.with("lot", lot.to_string()), None)]
            }
            Choice::RecountAll { place, species } => {
                let draft = recount(*place, counted, why, finding, now)?;
                vec![(draft.with("species", species.code()), None)]
            }
            Choice::PullHeld { cartons } => cartons
                .iter()
                .map(|run| Ok((self.pulling(*run, why)?, None)))
                .collect::<Result<_, FarmError>>()?,
            Choice::Shift { records, by_s } => records
                .iter()
                .map(|id| self.shifting(farm, *id, *by_s, why, now))
                .collect::<Result<_, _>>()?,
        };
        // No choice speaks of records of two documents.
        let doc = drafts.first().and_then(|(_, doc)| doc.clone());
        let drafts = drafts.into_iter().map(|(draft, _)| draft).collect();
        self.append_all(farm, drafts, doc, now)
    }

    /// Voids of every void of a record, given one of them.
    fn restoring(
        &mut self,
        void: Id,
        why: &str,
    ) -> Result<Vec<(Draft, Option<DocName>)>, FarmError> {
        let voids = self.store.read::<_, FarmError>(|tx| {
            let said = tx.said_about(void)?;
            let target = said.and_then(|(base, _)| base.get("target")?.as_str()?.parse().ok());
            let Some(target) = target else {
                return Ok(vec![void]);
            };
            let (base, edits) = tx.said_about(target)?.unwrap_or_default();
            let said = effective(target, &base, &edits).said.into_iter();
            Ok(said
                .filter(|s| matches!(s.body, Body::Void(_)))
                .map(|s| s.id)
                .collect())
        })?;
        voids.iter().map(|id| self.voiding(*id, why)).collect()
    }

    /// Pulls what is left of a carton run out of the flow.
    fn pulling(&mut self, run: Id, why: &str) -> Result<Draft, FarmError> {
        let left = self.store.read::<_, FarmError>(|tx| {
            let Some((base, edits)) = tx.said_about(run)? else {
                return Ok(Parts::default());
            };
            match effective(run, &base, &edits).record {
                Some(Record {
                    body: Body::Carton(carton),
                    ..
                }) => left_of(tx, run, &carton.parts),
                _ => Ok(Parts::default()),
            }
        })?;
        let parts = serde_json::to_value(&left)
            .map_err(|e| FarmError::new(ErrorKind::Damaged, e.to_string()))?;
        Ok(Draft::new(Kind::Cull)
            .with("station", "cartoned")
            .with("parts", parts)
            .with("reason", "held")
            .with("use", "discard")
            .with("carton", run.to_string())
            .with("note", why))
    }

    fn shifting(
        &mut self,
        farm: &Farm,
        id: Id,
        by_s: i64,
        why: &str,
        now: Instant,
    ) -> Result<(Draft, Option<DocName>), FarmError> {
        let row = self
            .store
            .read::<_, FarmError>(|tx| Ok(tx.record(id)?))?
            .ok_or_else(|| {
                FarmError::new(ErrorKind::NotFound, format!("there is no record {id} here"))
            })?;
        let at = row.at.plus_ms(by_s.saturating_mul(1000));
        let mut set = Fields::new();
        set.insert("at".into(), at.to_string().into());
        // On the device whose clock runs behind, the right time may lie far ahead of its own.
        let now = now.plus_ms(by_s.max(0).saturating_mul(1000));
        self.amendment(farm, id, set, Some(why), now)
    }
}

fn decision(finding: &Finding, choice: &str) -> Draft {
    Draft::new(Kind::Decision)
        .with("line", finding.line.clone())
        .with("state", finding.state.clone())
        .with("choice", choice)
}

/// Eggs that were counted now, after everything that the line speaks of.
fn recount(
    place: Place,
    counted: u32,
    why: &str,
    finding: &Finding,
    now: Instant,
) -> Result<Draft, FarmError> {
    // Two clocks that agree but for a minute must not put the count before what it settles. One
    // that is far ahead of this one has to be mended first, or the count would settle nothing.
    let after = finding.since.plus_ms(1);
    if after.ms() - now.ms() > OFF_S * 1000 {
        let message = format!(
            "this line is about what is dated {}, later than this device's clock: mend that time \
             first, or count later",
            finding.since
        );
        return Err(FarmError::new(ErrorKind::Invalid, message));
    }
    Ok(Draft::new(Kind::Recount)
        .at(now.max(after))
        .with("station", place.code())
        .with("counted", counted)
        .with("note", why))
}
