use std::path::PathBuf;

use clap::builder::PossibleValuesParser;
use clap::{Parser, Subcommand};

use crate::commands::{
    backup, export, import, print, range, record_book, records, review, setup, stocktake, suggest,
    trace, trends,
};
use crate::input::kinds;

const AFTER: &str = "\
A short day:
  pointdown begin --name 'Willow Farm' --zone America/Chicago \\
      --person Ada --device 'Ada phone'
  pointdown add coop North species=hen,duck
  pointdown log gather coop=North species=hen count=42
  pointdown log wash parts=oldest:40/hen means=dry
  pointdown today

Times (--at, at=) are in the farm's zone: 07:30 (today), 'yesterday 18:00',
'2026-11-24 07:30', or RFC 3339 such as 2026-11-24T13:30:00Z. Of a
time that comes twice, when clocks go back, the first is meant.
Days are today, yesterday, tomorrow or 2026-11-24.
Lots are a day and a species: today/hen, 2026-11-24/duck; parts are lots with
eggs: today/hen=12. parts=oldest:30/hen takes 30 hen eggs from the oldest lots
and prints which.

Exit codes:
  0  done
  1  not allowed: a field, a value, a file of another farm, or the server refused,
     such as an invite that was used already; nothing was changed
  2  the command line was not understood
  3  not found, more than one thing is meant, or no server joined
  4  storage: the database or file is in use, full, damaged, not writable, or of
     a newer version
  5  the server cannot be reached; try again later

With --json, results go to standard output as one JSON object or array, and an
error to standard error as {\"error\", \"message\"}, with \"field\", \"value\" and
\"allowed\" where a field is to blame.";

/// Egg records that a family keeps apart and combines.
#[derive(Debug, Parser)]
#[command(name = "pointdown", version, after_help = AFTER, arg_required_else_help = true)]
pub(crate) struct Cli {
    /// The database file; one in your own data folder unless given.
    #[arg(
        long,
        global = true,
        env = "POINTDOWN_DB",
        hide_env_values = true,
        value_name = "FILE"
    )]
    pub(crate) db: Option<PathBuf>,

    /// Print JSON for programs.
    #[arg(long, global = true)]
    pub(crate) json: bool,

    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Begin a new farm in a new database.
    Begin(setup::Begin),
    /// Add a coop, person, cooler or outlet.
    Add {
        /// What to add.
        #[arg(value_parser = PossibleValuesParser::new(["coop", "person", "cooler", "outlet"]))]
        kind: String,
        /// Its name.
        name: String,
        /// Other fields, such as species=hen,duck for a coop.
        #[arg(value_name = "FIELD=VALUE")]
        fields: Vec<String>,
    },
    /// Log a record of any kind; `pointdown fields KIND` says what it holds.
    Log {
        /// The kind of record.
        #[arg(value_parser = kinds())]
        kind: String,
        /// Its fields, such as coop=North species=hen count=42.
        #[arg(value_name = "FIELD=VALUE")]
        fields: Vec<String>,
        /// When it happened; now unless given.
        #[arg(long, value_name = "TIME")]
        at: Option<String>,
        /// Print the fields of the kind instead.
        #[arg(long = "fields")]
        table: bool,
    },
    /// What each kind of record holds, and what is allowed.
    Fields {
        /// Only this kind.
        #[arg(value_parser = kinds())]
        kind: Option<String>,
    },
    /// Correct fields of a record; the first values are kept too.
    Amend {
        /// The record: its id, or the last characters of it (four at least).
        #[arg(allow_hyphen_values = true)]
        id: String,
        /// New values; FIELD= alone takes an optional field away, at=TIME moves it in time.
        #[arg(value_name = "FIELD=VALUE", required = true)]
        fields: Vec<String>,
        /// Why.
        #[arg(long)]
        why: Option<String>,
    },
    /// Say that a record should not stand. Voiding the void brings it back.
    Void {
        /// The record: its id, or the last characters of it (four at least).
        #[arg(allow_hyphen_values = true)]
        id: String,
        /// Why.
        #[arg(long)]
        why: String,
    },
    /// Records, the newest first.
    List(records::List),
    /// Everything about one record.
    Show {
        /// The record: its id, or the last characters of it (four at least).
        #[arg(allow_hyphen_values = true)]
        id: String,
    },
    /// Today's combined totals.
    Today,
    /// The combined totals of one farm day.
    Sheet {
        /// The day.
        #[arg(long, value_name = "DAY")]
        day: String,
    },
    /// The combined totals of a span of farm days, with hen-days, rates and weights.
    Range(range::Range),
    /// Where eggs are now, by station and lot.
    OnHand,
    /// What people have to decide, the most pressing first.
    Review,
    /// Answer one line of the review list; it can be undone.
    Decide(review::Decide),
    /// What stands where, how old, and what is due next and why.
    Now,
    /// A suggestion: the oldest eggs first, held ones left out and named.
    Oldest(suggest::Oldest),
    /// A suggestion: even cartons from the weights of single eggs.
    Even(suggest::Even),
    /// From a carton back to coops, rounds, people and washes, and on to whom it went.
    Trace {
        /// The code printed on the carton, its lot code, or the record of the carton run.
        #[arg(allow_hyphen_values = true)]
        code: String,
    },
    /// Everyone to call, and what to set aside: from a coop and days, or from a record.
    CallBack(trace::CallBackArgs),
    /// What was sold, given and eaten, what came in for it, what feed and supplies cost.
    Takings {
        /// The first day.
        #[arg(long, value_name = "DAY")]
        from: String,
        /// The last day; today unless given.
        #[arg(long, value_name = "DAY")]
        to: Option<String>,
    },
    /// The standing orders of outlets against what the birds will lay.
    Orders {
        /// How many days ahead, today the first.
        #[arg(long, default_value_t = 7)]
        days: u32,
    },
    /// Log what was counted at a station, and see what differs from the book.
    Stocktake(stocktake::StocktakeArgs),
    /// How flocks lay by day, week, month or year, what is lost, and what changed.
    Trends(trends::Args),
    /// Pages for a printer: labels, the day sheet, gather sheets, trends.
    #[command(subcommand)]
    Print(print::Page),
    /// Join a server with an invite code.
    Join {
        /// The server's address, such as http://192.0.2.7:4680, or the whole link of an invite (in
        /// quotes, for the shell's sake).
        url: String,
        /// The code of the invite; a link has it already.
        #[arg(allow_hyphen_values = true)]
        code: Option<String>,
        /// Who logs here; needed where no farm is here yet.
        #[arg(long)]
        person: Option<String>,
        /// A name for this device; needed where no farm is here yet.
        #[arg(long)]
        device: Option<String>,
    },
    /// Exchange with the server.
    Sync,
    /// Ask the server for an invite code for another device.
    Invite,
    /// List servers that announce themselves on the local network, and find the joined one again
    /// where it has a new address.
    Nearby,
    /// What waits to be sent, and when the server was last heard.
    Status,
    /// Write everything into one file, to be passed by hand or opened elsewhere.
    Export(export::Export),
    /// The columns of a CSV file of records.
    Columns(export::Columns),
    /// Take what was exported, also into a new database, or with --map a log of your own.
    Import(import::Import),
    /// The records of a span of days for an inspector, with what is missing.
    RecordBook(record_book::Book),
    /// Look the whole database over.
    Check,
    /// Make the book anew from the changes.
    Rebuild,
    /// Write a copy of the database to a new file, and read it back.
    BackUp {
        /// A new file.
        file: PathBuf,
    },
    /// Look a backup over, and put it where no database is yet.
    Restore(backup::Restore),
    /// From now on, log as this person.
    WriteAs {
        /// The person's name or id.
        #[arg(allow_hyphen_values = true)]
        person: String,
        /// Give this device a new name too.
        #[arg(long)]
        device: Option<String>,
    },
}
