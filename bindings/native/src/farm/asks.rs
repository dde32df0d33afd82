use std::collections::HashMap;

use pointdown_core::book::trace;

use super::{Farm, day, id};
use crate::mirror::Mirror;
use crate::{
    CallBack, Check, Finding, Now, OnHand, PointdownError, Question, Sheet, Span, Species, Station,
    Step, Suggestion, Trail, Trends,
};

impl TryFrom<Question> for trace::Question {
    type Error = PointdownError;

    fn try_from(question: Question) -> Result<trace::Question, PointdownError> {
        Ok(match question {
            Question::Coop {
                coop,
                species,
                first,
                last,
            } => trace::Question::Coop {
                coop: coop.map(|coop| id("coop", &coop)).transpose()?,
                species: species.map(Into::into),
                first: day("first", &first)?,
                last: day("last", &last)?,
            },
            Question::Record { record } => trace::Question::Record {
                record: id("record", &record)?,
            },
        })
    }
}

#[uniffi::export]
impl Farm {
    /// Today's farm day: the civil date in the farm's zone, whatever the device's zone says.
    pub fn today(&self) -> Result<String, PointdownError> {
        Ok(self.core()?.today()?.to_string())
    }

    /// The farm's zone; UTC while its set-up has not arrived.
    pub fn zone(&self) -> Result<String, PointdownError> {
        Ok(self.core()?.zone()?.to_string())
    }

    /// The farm's name; nothing while its set-up has not arrived.
    pub fn name(&self) -> Result<Option<String>, PointdownError> {
        Ok(self.core()?.name()?)
    }

    /// Names of coops, people, devices, coolers and outlets, by id.
    pub fn names(&self) -> Result<HashMap<String, String>, PointdownError> {
        Ok(self.core()?.names()?.mirror())
    }

    /// The combined totals of a span of farm days.
    pub fn sheet(&self, first: String, last: String) -> Result<Sheet, PointdownError> {
        let (first, last) = (day("first", &first)?, day("last", &last)?);
        Ok(self.core()?.sheet(first, last)?.mirror())
    }

    /// A fingerprint of the day sheet; devices with the same changes have the same.
    pub fn sheet_hash(&self, first: String, last: String) -> Result<String, PointdownError> {
        let (first, last) = (day("first", &first)?, day("last", &last)?);
        Ok(self.core()?.sheet_hash(first, last)?)
    }

    /// Where eggs are now, by station and species, with their lots.
    pub fn on_hand(&self) -> Result<Vec<OnHand>, PointdownError> {
        Ok(self.core()?.on_hand()?.mirror())
    }

    /// What stands where, how old, and what is due next and why, by this device's clock.
    pub fn now(&self) -> Result<Now, PointdownError> {
        Ok(self.core()?.now()?.mirror())
    }

    /// A suggestion: the oldest eggs of a station first, so many (all where no number is given), held
    /// ones left out and named. It is never applied by itself.
    pub fn suggest(
        &self,
        station: Station,
        species: Species,
        eggs: Option<u32>,
    ) -> Result<Suggestion, PointdownError> {
        let found = self.core()?.suggest(station.into(), species.into(), eggs)?;
        Ok(found.mirror())
    }

    /// The lines of the review list that nobody decided yet, the most pressing first.
    pub fn review(&self) -> Result<Vec<Finding>, PointdownError> {
        Ok(self.core()?.review()?.mirror())
    }

    /// Everything that may be behind the cartons with this printed code, lot code or record id, and
    /// where they went; the latest run first.
    pub fn trace(&self, code: String) -> Result<Vec<Trail>, PointdownError> {
        Ok(self.core()?.trace(&code)?.mirror())
    }

    /// Every carton, on the shelf and out, that may hold the eggs in question, and whom to call.
    pub fn call_back(&self, question: Question) -> Result<CallBack, PointdownError> {
        Ok(self.core()?.call_back(question.try_into()?)?.mirror())
    }

    /// A span of farm days, day by day and flock by flock, with the classes of single eggs by the
    /// scheme of this word, or by the farm's rules where none is given.
    pub fn span(
        &self,
        first: String,
        last: String,
        scheme: Option<String>,
    ) -> Result<Span, PointdownError> {
        let (first, last) = (day("first", &first)?, day("last", &last)?);
        let found = self.core()?.span(first, last, scheme.as_deref())?;
        Ok(found.mirror())
    }

    /// How flocks lay over a span of farm days, step by step; of one coop, by id, or of all.
    pub fn trends(
        &self,
        first: String,
        last: String,
        step: Step,
        coop: Option<String>,
    ) -> Result<Trends, PointdownError> {
        let (first, last) = (day("first", &first)?, day("last", &last)?);
        let coop = coop.map(|coop| id("coop", &coop)).transpose()?;
        let found = self.core()?.trends(first, last, step.into(), coop)?;
        Ok(found.mirror())
    }

    /// Looks the whole database over: the book against its records, eggs in against eggs out.
    pub fn check(&self) -> Result<Check, PointdownError> {
        Ok(self.core()?.check()?.mirror())
    }
}
