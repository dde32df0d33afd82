use pointdown_core::farm::{Beginning, Farm};
use pointdown_core::record::{Id, Kind};
use serde_json::json;

use crate::base::{Base, env};
use crate::fail::{Failure, missing};
use crate::input;
use crate::tables::Screen;

/// Who logs on a device that had no farm, and what it is called.
pub(crate) type Newcomer = (Option<String>, Option<String>);

/// Both names, or what is missing.
pub(crate) fn newcomer(names: &Newcomer) -> Result<(&str, &str), Failure> {
    let needed = |name: &str| {
        missing(
            name,
            "there is no farm here yet, so this needs --person NAME and --device NAME",
        )
    };
    let person = names.0.as_deref().ok_or_else(|| needed("person"))?;
    let device = names.1.as_deref().ok_or_else(|| needed("device"))?;
    Ok((person, device))
}

#[derive(Debug, clap::Args)]
pub(crate) struct Begin {
    /// The farm's name.
    #[arg(long)]
    pub(crate) name: String,
    /// Its time zone by IANA name, such as Europe/Dublin.
    #[arg(long)]
    pub(crate) zone: String,
    /// Who logs here.
    #[arg(long)]
    pub(crate) person: String,
    /// A name for this device.
    #[arg(long)]
    pub(crate) device: String,
    /// Other fields of the farm, such as temperature=F; see `pointdown fields farm`.
    #[arg(value_name = "FIELD=VALUE")]
    pub(crate) fields: Vec<String>,
}

pub(crate) fn begin(base: &Base, screen: &mut Screen<'_>, begin: &Begin) -> Result<(), Failure> {
    let mut fields = input::plain(&begin.fields)?;
    fields.insert("name".into(), begin.name.as_str().into());
    fields.insert("zone".into(), begin.zone.as_str().into());
    base.make_folder()?;
    let beginning = Beginning {
        farm: fields,
        person: begin.person.clone(),
        device: begin.device.clone(),
    };
    let farm = Farm::begin(&base.location(), env(), beginning)?;
    if screen.json {
        return Ok(screen.value(&who(base, &farm)?)?);
    }
    screen.line(format!(
        "{} begins, in the zone {}. {} writes here, on {}.",
        begin.name,
        farm.zone()?,
        begin.person,
        begin.device
    ))?;
    screen.line(format!("The book is {}.", base.path.display()))?;
    screen.line("Next: pointdown add coop NAME species=hen")?;
    Ok(())
}

/// Farm, person and device, for programs.
pub(crate) fn who(base: &Base, farm: &Farm) -> Result<serde_json::Value, Failure> {
    let names = farm.names()?;
    let named = |id: Option<Id>| id.map(|id| json!({"id": id, "name": names.get(&id)}));
    Ok(json!({
        "farm": {"id": farm.id(), "name": farm.name()?},
        "zone": farm.zone()?,
        "person": named(farm.person()),
        "device": named(farm.device()),
        "db": base.path.display().to_string(),
    }))
}

pub(crate) fn write_as(
    base: &Base,
    screen: &mut Screen<'_>,
    name: &str,
    device: Option<&str>,
) -> Result<(), Failure> {
    let farm = base.open()?;
    if let Some(device) = device {
        pointdown_core::record::FieldType::Text(60).read("device", &device.into())?;
    }
    let person = match farm.find(Kind::Person, name) {
        Ok(id) => id,
        // An id, or the end of one, does as well; if it is neither, the names are what helps.
        Err(e) => farm.find_record(name).map_err(|_| e)?,
    };
    farm.write_as(person)?;
    if let Some(device) = device {
        farm.name_device(device)?;
    }
    if screen.json {
        return Ok(screen.value(&who(base, &farm)?)?);
    }
    let names = farm.names()?;
    let name = names.get(&person).map_or(name, String::as_str);
    Ok(screen.line(format!("From now on, {name} writes here."))?)
}

/// Settles who writes on a device whose farm came from elsewhere.
pub(crate) fn settle(farm: &Farm, person: &str, device: &str) -> Result<(), Failure> {
    farm.write_as(input::person(farm, person)?)?;
    farm.name_device(device)?;
    Ok(())
}
