//! Works in a loop until it is killed, and prints what was acknowledged. With a database alone it logs
//! and prints the id of each record; with a folder too it takes each exported file in it and prints
//! its number, then makes the book anew again and again.
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
    if let Some(folder) = std::env::args().nth(2) {
        return take(&farm, Path::new(&folder));
    }
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

fn take(farm: &Farm, folder: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let mut say = std::io::stdout().lock();
    writeln!(say, "up")?;
    say.flush()?;
    for n in 0.. {
        let Ok(file) = std::fs::read(folder.join(n.to_string())) else {
            break;
        };
        farm.import(&file)?;
        writeln!(say, "{n}")?;
        say.flush()?;
    }
    loop {
        farm.rebuild()?;
        farm.tidy()?;
    }
}
