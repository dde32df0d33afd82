use pointdown_core::book::money::{Amount, Costs, Orders, Taken, Takings};

use crate::base::Base;
use crate::fail::Failure;
use crate::moments::Calendar;
use crate::tables::Screen;

pub(crate) fn takings(
    base: &Base,
    screen: &mut Screen<'_>,
    from: &str,
    to: &str,
) -> Result<(), Failure> {
    let farm = base.open()?;
    let calendar = Calendar::of(&farm)?;
    let (from, to) = (calendar.day("from", from)?, calendar.day("to", to)?);
    let (takings, costs) = (farm.takings(from, to)?, farm.costs(from, to)?);
    if screen.json {
        let all = serde_json::json!({"takings": takings, "costs": costs});
        return Ok(screen.value(&all)?);
    }
    print(screen, &takings)?;
    spent(screen, &takings, &costs)?;
    screen.line("")?;
    Ok(screen.words(
        "",
        "What was logged, in the farm's currency: no accounting, no taxes. A price that is missing is \
         unknown, not zero.",
    )?)
}

fn print(screen: &mut Screen<'_>, t: &Takings) -> Result<(), Failure> {
    let money = |amount: Amount| of_currency(t, amount);
    screen.line(format!("Takings, {} to {}", t.from, t.to))?;
    let all = &t.all;
    let missing = match all.sales_without_price {
        0 => String::new(),
        n => format!(" at least; {n} of {} sales have no price", all.sales),
    };
    screen.line(format!("  {}{missing}", money(all.taken)))?;
    if all.paid_back != Amount::ZERO {
        screen.line(format!("  paid back: {}", money(all.paid_back)))?;
    }
    if let Some(dozen) = all.per_dozen {
        screen.line(format!("  a dozen went for {} on average", money(dozen)))?;
    }
    screen.title("By outlet")?;
    let row = |name: &str, taken: &Taken| {
        [
            name.to_string(),
            taken.taken.to_string(),
            taken.sales_without_price.to_string(),
            taken.cartons.to_string(),
            taken.sold.to_string(),
            taken.given.to_string(),
            taken.eaten.to_string(),
            taken.returned.to_string(),
        ]
    };
    let mut rows: Vec<_> = t
        .by_outlet
        .iter()
        .map(|(name, taken)| row(name.as_deref().unwrap_or("nobody named"), taken))
        .collect();
    rows.push(row("all", all));
    let heading = [
        "to", "taken", "no price", "cartons", "sold", "given", "eaten", "returned",
    ];
    screen.table(heading, &[1, 2, 3, 4, 5, 6, 7], rows)?;
    if t.cartons.is_empty() {
        return Ok(());
    }
    screen.title("Price of a carton")?;
    let shown = |amount: Option<Amount>| amount.map_or("unknown".into(), |a| a.to_string());
    let rows = t.cartons.iter().map(|kind| {
        let per = kind.eggs_per_carton.map_or("?".into(), |n| n.to_string());
        [
            format!(
                "{per} {} {}",
                kind.species.code(),
                kind.size.as_deref().unwrap_or("")
            ),
            kind.cartons.to_string(),
            shown(kind.mean),
            shown(kind.lowest),
            shown(kind.highest),
            kind.without_price.to_string(),
        ]
    });
    let heading = ["carton of", "sold", "mean", "lowest", "highest", "no price"];
    screen.table(heading, &[1, 2, 3, 4, 5], rows)?;
    Ok(())
}

fn of_currency(t: &Takings, amount: Amount) -> String {
    let currency = t.currency.as_deref().unwrap_or("");
    format!("{amount} {currency}").trim().into()
}

fn spent(screen: &mut Screen<'_>, t: &Takings, costs: &Costs) -> Result<(), Failure> {
    screen.title("Feed and supplies")?;
    let rows = std::iter::once(("feed", &costs.feed))
        .chain(
            costs
                .supplies
                .iter()
                .map(|(item, spent)| (item.as_str(), spent)),
        )
        .map(|(what, spent)| {
            let cost = match spent.records == spent.without_cost {
                true => "unknown".into(),
                false => spent.cost.to_string(),
            };
            [what.replace('_', " "), cost, spent.without_cost.to_string()]
        });
    screen.table(["what", "cost", "no cost"], &[1, 2], rows)?;
    let least = |missing: bool| if missing { " at least" } else { "" };
    let of_supplies = costs.supplies.values().any(|s| s.without_cost > 0);
    if let Some(kg) = costs.feed_kg_per_dozen {
        screen.line(format!("  feed for a dozen: {kg:.2} kg"))?;
    }
    let of_feed = costs.feed.without_cost > 0;
    for (what, per, least) in [
        ("feed", costs.feed_per_dozen, least(of_feed)),
        ("supplies", costs.supplies_per_dozen, least(of_supplies)),
    ] {
        if let Some(per) = per {
            screen.line(format!(
                "  {what} for a dozen:{least} {}",
                of_currency(t, per)
            ))?;
        }
    }
    screen.line(format!("  over {} eggs gathered", costs.gathered))?;
    if costs.unknown_flock_days > 0 {
        screen.words(
            "  ",
            &format!(
                "Days of a flock without a gather: {}. Their eggs are unknown, so a dozen looks dearer \
                 than it was.",
                costs.unknown_flock_days
            ),
        )?;
    }
    Ok(())
}

pub(crate) fn orders(base: &Base, screen: &mut Screen<'_>, days: u32) -> Result<(), Failure> {
    let farm = base.open()?;
    let all = farm.orders(days)?;
    if screen.json {
        return Ok(screen.value(&all)?);
    }
    if all.is_empty() {
        return Ok(screen.words(
            "",
            "No outlet has a standing order for these days. Give one with `pointdown amend OUTLET \
             standing_order=fri=3`.",
        )?);
    }
    for of in &all {
        species(screen, of)?;
    }
    Ok(())
}

fn species(screen: &mut Screen<'_>, of: &Orders) -> Result<(), Failure> {
    screen.line(format!("Standing orders, {} eggs", of.species.code()))?;
    let rows = of.standing.iter().map(|order| {
        [
            order.day.format("%a %Y-%m-%d").to_string(),
            order.name.clone(),
            order.cartons.to_string(),
            order.eggs_per_carton.to_string(),
        ]
    });
    screen.table(["day", "outlet", "cartons", "of"], &[2, 3], rows)?;
    screen.line(format!("  in hand, free to be sold: {} eggs", of.on_hand))?;
    if !of.enough_now {
        screen.line("  not enough for what is due before more are laid")?;
    }
    match (&of.forecast, &of.why_not) {
        (Some(forecast), _) => {
            screen.line(format!("  day 1 is {}", of.first))?;
            for order in &forecast.orders {
                screen.words("  ", &order.why)?;
            }
            if let Some(order) = forecast.orders.first() {
                screen.words("  ", &order.finding().caution)?;
            }
        }
        (None, Some(why)) => screen.words("  ", &format!("No forecast: {why}"))?,
        (None, None) => {}
    }
    Ok(())
}
