//! What people do about the review list, and think better of.

use pointdown_core::book::review::{Choice, Finding};
use pointdown_core::farm::{Answer, ErrorKind, FarmError};

use super::world::told;
use super::{Dice, World};

impl World {
    /// Someone answers a line of the list in one of the ways it offers.
    pub(super) fn decide(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let list = self.phones[n].farm().review()?;
        if list.is_empty() {
            return Ok(());
        }
        self.answer(n, dice.pick(&list), dice)
    }

    /// Two people answer one line apart from each other, perhaps in different ways.
    pub(super) fn decide_apart(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let other = (n + 1) % self.phones.len();
        let list = self.phones[n].farm().review()?;
        let theirs = self.phones[other].farm().review()?;
        let both: Vec<(&Finding, &Finding)> = list
            .iter()
            .filter_map(|ours| Some((ours, theirs.iter().find(|t| t.line == ours.line)?)))
            .collect();
        if both.is_empty() {
            return Ok(());
        }
        let (ours, theirs) = *dice.pick(&both);
        self.answer(n, ours, dice)?;
        // A look that fails with the database is made up for at the end of the step.
        let _ = self.note(n);
        self.pass(dice.from_to(0, 600) * 60_000);
        self.say(format!("and on phone {other}"));
        self.answer(other, theirs, dice)
    }

    /// Someone takes back what was decided: a decision, or what a choice amended or voided.
    pub(super) fn undo(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let mut rows = self.rows(n)?;
        rows.retain(|row| {
            let chosen = row.fields.get("why").and_then(|why| why.as_str());
            let chosen = chosen.is_some_and(|why| why.starts_with("review: "));
            row.standing == "live" && (row.kind == "decision" || chosen)
        });
        let near = rows.len().min(4);
        let Some(row) = rows.get(dice.below(near)) else {
            return Ok(());
        };
        let id = row.id;
        self.say(format!("{} {}", row.kind, id.short()));
        told(self.phones[n].farm().void(id, "thought better of it"))?;
        Ok(())
    }

    fn answer(&mut self, n: usize, finding: &Finding, dice: &mut Dice) -> Result<(), FarmError> {
        if finding.choices.is_empty() {
            return Ok(());
        }
        let choice = dice.pick(&finding.choices).clone();
        self.say(format!(
            "{} {}",
            finding.line,
            serde_json::to_string(&choice).unwrap_or_default()
        ));
        let mut answer = Answer::from(&choice).as_shown(finding);
        if choice.wants_count() {
            answer = answer.counted(dice.below(20) as u32);
        }
        match self.phones[n].farm().decide(&finding.line, answer) {
            Ok(_) => Ok(()),
            // What a count would settle may be dated ahead of this phone's clock; a value that was
            // right alone may not be now.
            Err(e) if e.kind == ErrorKind::Invalid => {
                let allowed = choice.wants_count()
                    || matches!(choice, Choice::Keep { .. } | Choice::Shift { .. });
                if allowed { Ok(()) } else { Err(e) }
            }
            Err(e) => Err(e),
        }
    }
}
