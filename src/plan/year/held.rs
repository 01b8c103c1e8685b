//! How much dissolved copper the water of the year can hold before it falls out.
//!
//! The balance counts what falls out as gone. Here the day that can hold the least is written out, so that a reader sees how far
//! from it the limits lie.

use std::rc::Rc;

use super::account::booked;
use super::model::Model;
use super::{Daily, month_name};
use crate::chem::figures;
use crate::plan::{Desk, Schedule};
use crate::reference::chemistry::COPPER;
use crate::units::table::{CELSIUS, MILLIMOLES_PER_LITRE};
use crate::units::{MassConcentration, ThermodynamicTemperature};
use crate::water::balance::solute;
use crate::workings::{Figure, Node};
use chrono::Datelike as _;
use uom::si::f64::MolarConcentration;

/// The least that any day with the panel on can hold, in the middle course; none where the panel stands still.
pub(super) fn held(
    desk: &mut Desk<'_>,
    model: &Model,
    days: &[Daily],
    schedule: Option<&Schedule>,
) -> Option<Figure<MassConcentration>> {
    let schedule = schedule?;
    let running = days.iter().zip(&model.sky).filter(|(day, _)| schedule.level_on(day.date).is_some_and(|l| l > 0));
    let (day, state, density) = running
        .filter_map(|(day, sky)| {
            let (state, density) = model.chemistry.beside_hydroxide(&sky.warmth, &day.evening.water)?;
            Some((day, state, density))
        })
        .min_by(|a, b| (a.1.total(COPPER) * a.2).total_cmp(&(b.1.total(COPPER) * b.2)))?;
    let dissolved = |at: usize, symbol: &str, name: &str| -> Rc<Node> {
        let amount = day.evening.water.get(at).copied().unwrap_or(0.0);
        let leaf: Figure<MolarConcentration> = booked(amount, symbol, name, &MILLIMOLES_PER_LITRE);
        Rc::clone(leaf.node())
    };
    let warmth: Figure<ThermodynamicTemperature> =
        booked(CELSIUS.si(day.celsius), "θ_held", "water temperature", &CELSIUS);
    let inputs = vec![
        Rc::clone(warmth.node()),
        dissolved(solute::ALKALINITY, "c_alk,held", "alkalinity"),
        dissolved(solute::CALCIUM, "c_Ca,held", "calcium"),
        dissolved(solute::SODIUM, "c_Na,held", "sodium"),
        dissolved(solute::SULFATE, "c_SO4,held", "sulfate"),
    ];
    let date = day.date;
    let title = format!(
        "Copper that the water can hold dissolved on {} {} {}, the least of the days with the panel on",
        date.day(),
        month_name(date.month0() as usize),
        date.year()
    );
    let names = ["copper.held", title.as_str(), "C_held"];
    let figure = figures::copper_held(names, density, &state, inputs);
    let figure = figure.remark("Beside copper hydroxide that has just formed, at rest with the air. What is over it falls out in the daily balance; no limit, level or spell counts on that");
    Some(desk.book.publish(figure))
}
