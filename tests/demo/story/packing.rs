//! The evening's cartons: weighed, packed, eaten at home, sold.

use chrono::Days;
use pointdown_core::farm::{Filter, Row};
use pointdown_core::record::{Draft, Kind, Station};
use pointdown_core::trade::Species;
use serde_json::json;

use super::{Result, Story};

impl Story {
    /// Weighs hen eggs, and packs what fills cartons.
    pub(super) fn pack(&self, day: u64, species: Species) -> Result<()> {
        let farm = self.phone("Marit");
        let clean = self.here(farm, Station::Clean, species)?;
        let each = if species == Species::Hen { 12 } else { 6 };
        let cartons = clean / each;
        if cartons == 0 {
            return Ok(());
        }
        let parts = farm.oldest_first(Station::Clean, species, cartons * each)?;
        let code = parts
            .0
            .keys()
            .next()
            .map(|lot| lot.code())
            .unwrap_or_default();
        if species == Species::Hen {
            // Each egg on the scale: what says a size has to have been weighed.
            for (n, (lot, eggs)) in (0u32..).zip(&parts.0) {
                let grams = (0..*eggs).map(|egg| 57.0 + f64::from((egg * 7 + n * 3) % 25) / 5.0);
                farm.log(
                    Draft::new(Kind::Weigh)
                        .with("lot", lot.to_string())
                        .with("grams", json!(grams.collect::<Vec<f64>>())),
                )?;
            }
        }
        let mut draft = Draft::new(Kind::Carton)
            .with("parts", json!(parts))
            .with("from", "clean")
            .with("species", species.code())
            .with("eggs_per_carton", each)
            .with("cartons", cartons)
            .with("packed", self.day(day).to_string())
            .with("best_by", (self.day(day) + Days::new(27)).to_string())
            .with("code", code);
        if species == Species::Hen {
            draft = draft.with("size", "Large");
        }
        farm.log(draft)?;
        Ok(())
    }

    /// What fills no carton is for the kitchen.
    pub(super) fn eat(&self, species: Species) -> Result<()> {
        let farm = self.phone("Marit");
        let left = self.here(farm, Station::Clean, species)?;
        if left > 0 {
            farm.log(
                Draft::new(Kind::Out)
                    .with("way", "eaten")
                    .with("station", "clean")
                    .with(
                        "parts",
                        json!(farm.oldest_first(Station::Clean, species, left)?),
                    ),
            )?;
        }
        Ok(())
    }

    /// The code on the cartons of hen eggs that were packed last.
    pub(crate) fn newest_code(&self) -> Result<String> {
        let runs = self.phone("Marit").list(&Filter {
            kind: Some(Kind::Carton),
            ..Filter::default()
        })?;
        let hens = runs
            .iter()
            .find(|run| run.fields.get("species") == Some(&json!("hen")));
        let code = hens.and_then(|run| run.fields.get("code")?.as_str());
        Ok(code.ok_or("no hen eggs were packed")?.to_owned())
    }

    /// Six runs go to the Saturday stall.
    pub(super) fn sell(&self, day: u64) -> Result<()> {
        let farm = self.phone("Marit");
        self.set(day, "19:00")?;
        let runs = farm.list(&Filter {
            kind: Some(Kind::Carton),
            ..Filter::default()
        })?;
        let outs = farm.list(&Filter {
            kind: Some(Kind::Out),
            ..Filter::default()
        })?;
        let gone = |run: &Row| {
            outs.iter()
                .any(|out| out.fields.get("carton") == Some(&json!(run.id.to_string())))
        };
        for run in runs.iter().rev().filter(|run| !gone(run)).take(6) {
            let cartons = run.fields["cartons"].as_u64().unwrap_or(0);
            farm.log(
                Draft::new(Kind::Out)
                    .with("way", "sold")
                    .with("carton", run.id.to_string())
                    .with("cartons", cartons)
                    .with("parts", run.fields["parts"].clone())
                    .with("outlet", "Saturday stall")
                    .with("price", format!("{}.50", cartons * 4)),
            )?;
        }
        Ok(())
    }
}
