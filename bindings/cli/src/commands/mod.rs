//! What each command does: ask the facade, then print for people or for programs.

mod backup;
mod disk;
mod exchange;
mod export;
mod fields;
mod holds;
mod import;
mod log;
mod nearby;
mod now;
pub(crate) mod print;
mod range;
mod record_book;
mod records;
mod review;
mod setup;
mod sheet;
mod stocktake;
mod suggest;
mod takings;
mod trace;
pub(crate) mod trends;
mod upkeep;

pub(crate) use backup::Restore;
pub(crate) use export::{Columns, Export};
pub(crate) use import::Import;
pub(crate) use range::Range;
pub(crate) use record_book::Book;

use std::path::PathBuf;
use std::sync::Arc;

use pointdown_core::farm::{Env, ErrorKind, Farm, FarmError, Location, System};

pub(crate) use review::Decide;
pub(crate) use stocktake::StocktakeArgs;
pub(crate) use suggest::{Even, Oldest};
pub(crate) use trace::CallBackArgs;

use crate::args::{Cli, Command};
use crate::fail::Failure;
use crate::tables::Screen;

/// The database that a command works on.
pub(crate) struct Base {
    path: PathBuf,
    /// Nobody named it: it is the one in the user's own data folder.
    is_default: bool,
}

impl Base {
    fn open(&self) -> Result<Farm, Failure> {
        Ok(Farm::open(&self.location(), env())?)
    }

    /// The farm that is here, or nothing where there is no file yet.
    fn open_if_there(&self) -> Result<Option<Farm>, Failure> {
        match Farm::open(&self.location(), env()) {
            Ok(farm) => Ok(Some(farm)),
            Err(e) if e.kind == ErrorKind::NotFound => Ok(None),
            Err(e) => Err(e.into()),
        }
    }

    fn location(&self) -> Location {
        Location::File(self.path.clone())
    }

    /// Makes the user's own data folder; a folder that someone named must be there already, or a
    /// slip of the pen would begin a second book somewhere.
    fn make_folder(&self) -> Result<(), Failure> {
        let Some(folder) = self.path.parent().filter(|f| !f.as_os_str().is_empty()) else {
            return Ok(());
        };
        if self.is_default {
            std::fs::create_dir_all(folder).map_err(|e| {
                storage(format!(
                    "the folder {} cannot be made: {e}",
                    folder.display()
                ))
            })
        } else if folder.is_dir() {
            Ok(())
        } else {
            let message = format!("there is no folder {}; make it first", folder.display());
            Err(FarmError::new(ErrorKind::NotFound, message).into())
        }
    }
}

fn env() -> Arc<dyn Env> {
    Arc::new(System)
}

fn storage(message: String) -> Failure {
    FarmError::new(ErrorKind::Storage, message).into()
}

/// A database in the place that the operating system gives to a user's data.
fn default_path() -> Result<PathBuf, Failure> {
    let variable = |name: &str| {
        std::env::var_os(name)
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
    };
    let home = || std::env::home_dir().filter(|path| path.is_absolute());
    let folder = if cfg!(windows) {
        variable("APPDATA")
    } else if cfg!(target_os = "macos") {
        home().map(|home| home.join("Library/Application Support"))
    } else {
        // XDG Base Directory Specification 0.8.
        variable("XDG_DATA_HOME").or_else(|| home().map(|home| home.join(".local/share")))
    };
    folder
        .map(|folder| folder.join("pointdown").join("pointdown.db"))
        .ok_or_else(|| storage("there is no data folder for you here; give --db FILE".into()))
}

/// Does what the command line says.
pub(crate) fn run(cli: Cli, screen: &mut Screen<'_>) -> Result<(), Failure> {
    let command = match cli.command {
        Command::Fields { kind } => return fields::print(screen, kind.as_deref()),
        Command::Columns(args) => return export::print_columns(screen, &args),
        Command::Log {
            kind, table: true, ..
        } => return fields::print(screen, Some(&kind)),
        other => other,
    };
    let base = match cli.db {
        Some(path) => Base {
            path,
            is_default: false,
        },
        None => Base {
            path: default_path()?,
            is_default: true,
        },
    };
    match command {
        Command::Fields { .. } => Ok(()),
        Command::Begin(begin) => setup::begin(&base, screen, &begin),
        Command::Add { kind, name, fields } => {
            let mut words = vec![format!("name={name}")];
            words.extend(fields);
            log::log(&base, screen, &kind, &words, None)
        }
        Command::Log {
            kind, fields, at, ..
        } => log::log(&base, screen, &kind, &fields, at.as_deref()),
        Command::Amend { id, fields, why } => {
            log::amend(&base, screen, &id, &fields, why.as_deref())
        }
        Command::Void { id, why } => log::void(&base, screen, &id, &why),
        Command::List(list) => records::list(&base, screen, &list),
        Command::Show { id } => records::show(&base, screen, &id),
        Command::Today => sheet::day(&base, screen, "today"),
        Command::Sheet { day } => sheet::day(&base, screen, &day),
        Command::Range(args) => range::range(&base, screen, &args),
        Command::OnHand => sheet::on_hand(&base, screen),
        Command::Review => review::list(&base, screen),
        Command::Decide(decide) => review::decide(&base, screen, &decide),
        Command::Now => now::now(&base, screen),
        Command::Oldest(ask) => suggest::oldest(&base, screen, &ask),
        Command::Even(ask) => suggest::even(&base, screen, &ask),
        Command::Trace { code } => trace::trace(&base, screen, &code),
        Command::CallBack(ask) => trace::call_back(&base, screen, &ask),
        Command::Takings { from, to } => {
            takings::takings(&base, screen, &from, to.as_deref().unwrap_or("today"))
        }
        Command::Orders { days } => takings::orders(&base, screen, days),
        Command::Stocktake(ask) => stocktake::stocktake(&base, screen, &ask),
        Command::Trends(args) => trends::show(&base, screen, &args),
        Command::Print(page) => print::page(&base, screen, &page),
        Command::Join {
            url,
            code,
            person,
            device,
        } => {
            let code = code.unwrap_or_default();
            exchange::join(&base, screen, &url, &code, (person, device))
        }
        Command::Sync => exchange::sync(&base, screen),
        Command::Invite => exchange::invite(&base, screen),
        Command::Nearby => nearby::list(&base, screen),
        Command::Status => exchange::status(&base, screen),
        Command::Export(args) => export::export(&base, screen, &args),
        Command::Columns(_) => Ok(()),
        Command::Import(args) => import::import(&base, screen, &args),
        Command::RecordBook(args) => record_book::print(&base, screen, &args),
        Command::Check => upkeep::check(&base, screen),
        Command::Rebuild => upkeep::rebuild(&base, screen),
        Command::BackUp { file } => backup::back_up(&base, screen, &file),
        Command::Restore(args) => backup::restore(&base, screen, &args),
        Command::WriteAs { person, device } => {
            setup::write_as(&base, screen, &person, device.as_deref())
        }
    }
}
