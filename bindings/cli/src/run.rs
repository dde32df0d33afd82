//! From the command line to the command.

use crate::args::{Cli, Command};
use crate::base::Base;
use crate::commands::{
    backup, exchange, export, fields, import, log, nearby, now, print, range, record_book, records,
    review, setup, sheet, stocktake, suggest, takings, trace, trends, upkeep,
};
use crate::fail::Failure;
use crate::tables::Screen;

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
    let base = Base::of(cli.db)?;
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
