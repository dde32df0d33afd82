//! Files that people hand over: a log of their own, records as CSV or JSON Lines.

use pointdown_core::farm::{Farm, Location};
use pointdown_core::files::{DateOrder, Format, LogMap, LogPlan};

use super::Outcome;
use super::bench::{Bench, NOW};
use crate::phone::{TestEnv, at};

/// Columns of a log by their headings, and one by its number.
const MAP: &str =
    "date=Date,time=Time,coop=Coop,species=Species,eggs=Eggs,weights=Weights,birds=Birds,note=#8";

/// A household's log. The first byte says how it is read: its lowest bit whether coops may be added,
/// the next two the order of dates. A dry run says what a run then does, and a second run does nothing.
pub(super) fn log(input: &[u8]) -> Outcome {
    let Some((how, file)) = input.split_first() else {
        return Outcome::Refused;
    };
    let mut plan = LogPlan::new(MAP.parse::<LogMap>().expect("a map"));
    plan.new_coops = how & 1 == 1;
    plan.dates = DateOrder::ALL[usize::from(how >> 1 & 3)].1;
    Bench::with(|bench| {
        let farm = &bench.farm;
        let dry = farm.import_log(file, &plan, true)?;
        assert_eq!(farm.view().expect("a view"), bench.view, "a dry run");
        let report = farm.import_log(file, &plan, false)?;
        assert_eq!(report, dry);
        let all = report.added + report.skipped + report.errors.len();
        assert_eq!(report.read, all, "{report:?}");
        let view = farm.view().expect("a view");
        let again = farm.import_log(file, &plan, false)?;
        assert_eq!(again.added, 0, "a second run");
        assert_eq!(farm.view().expect("a view"), view);
        Ok(report.added > 0)
    })
}

/// Records of the phone's farm as CSV or JSON Lines. `$f`, `$c`, `$0` and so on stand for ids. What is
/// taken goes out and into an empty place as the same book.
pub(super) fn records(input: &[u8]) -> Outcome {
    Bench::with(|bench| {
        let farm = &bench.farm;
        let file = bench.named_bytes(input);
        let dry = farm.import_records(&file, true)?;
        assert_eq!(farm.view().expect("a view"), bench.view, "a dry run");
        let report = farm.import_records(&file, false)?;
        assert_eq!(report, dry);
        let again = farm.import_records(&file, false)?;
        assert_eq!(again.added, 0, "a second run");
        if report.added == 0 {
            return Ok(false);
        }
        let form = [Format::Csv, Format::JsonLines][input.len() % 2];
        let out = farm.export_records(form, None)?;
        let env = TestEnv::new(at(NOW), 43);
        let (other, taken) = Farm::from_records(&Location::Memory, env, &out)?;
        assert_eq!((taken.added, taken.errors.len()), (taken.read, 0));
        assert_eq!(other.export_records(form, None)?, out);
        Ok(true)
    })
}
