use super::Now;
use crate::trade::Reason;

/// Why lines are due, each reason told once.
#[derive(Debug, Clone, PartialEq)]
pub struct Reasons<'a> {
    /// Every reason, in the order in which it first comes.
    pub all: Vec<&'a Reason>,
    /// For each line of [`Now::due`] the places of its reasons in `all`, from 1.
    pub of: Vec<Vec<usize>>,
}

impl Now {
    /// The reasons of all lines, each once: many lots are due by one rule.
    pub fn reasons(&self) -> Reasons<'_> {
        let mut all: Vec<&Reason> = Vec::new();
        let mut of = Vec::new();
        for line in &self.due {
            let mut places = Vec::new();
            for reason in &line.why {
                let known = all.iter().position(|one| *one == reason);
                places.push(known.unwrap_or(all.len()) + 1);
                if known.is_none() {
                    all.push(reason);
                }
            }
            of.push(places);
        }
        Reasons { all, of }
    }

    /// What a careful person would add to these lines and to all of it, each once.
    pub fn cautions(&self) -> Vec<&str> {
        let mut all: Vec<&str> = Vec::new();
        let lines = self.due.iter().map(|line| line.caution.as_str());
        for caution in lines.chain([self.caution.as_str()]) {
            if !caution.is_empty() && !all.contains(&caution) {
                all.push(caution);
            }
        }
        all
    }
}
