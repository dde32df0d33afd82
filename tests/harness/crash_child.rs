//! Logs in a loop until it is killed; each id is printed once its record is acknowledged.
#![allow(clippy::print_stdout)]

use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use pointdown_core::farm::{Farm, Location, System};
use pointdown_core::record::{Draft, Fields, Kind};
use pointdown_tests::phone::gather;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("the database file, please")?;
    let farm = Farm::open(&Location::from(Path::new(&path)), Arc::new(System))?;
    let day = farm.today()?;
    let mut say = std::io::stdout().lock();
    // A line by itself: the child is up, and from now on every line is an acknowledged record.
    writeln!(say, "up")?;
    say.flush()?;
    for n in 0u32.. {
        let logged = match n % 5 {
            0 | 1 => farm.log(gather("Orchard", "hen", n % 40))?,
            2 => farm.log(
                Draft::new(Kind::Wash)
                    .with("parts", format!("{day}/hen=1"))
                    .with("means", "spray"),
            )?,
            3 => farm.log(
                Draft::new(Kind::Recount)
                    .with("station", "basket")
                    .with("species", "hen")
                    .with("counted", 7),
            )?,
            _ => {
                let last = farm.log(gather("Pond", "duck", 3))?.id;
                writeln!(say, "{last}")?;
                say.flush()?;
                let mut set = Fields::new();
                set.insert("count".into(), (n % 9).into());
                farm.amend(last, set, Some("counted again"))?
            }
        };
        writeln!(say, "{}", logged.id)?;
        say.flush()?;
        // Folding in between, so that a kill can fall into it as well.
        if n % 60 == 59 {
            farm.tidy()?;
        }
    }
    Ok(())
}
