//! Rain for a supply that is too hard: how much of it the blend takes, and whether the roofs yield it.

use chrono::Datelike as _;

use super::{Bench, Extra, TrialEvening, side};
use crate::chem::dosing;
use crate::plan::correction;
use crate::plan::year::account::booked;
use crate::plan::{Desk, kinder, rounding};
use crate::reference::{CREEP_GOAL_DKH, POND_TARGETS, Purpose};
use crate::units::table::{DEGREE_KH, GRAM, LITRE, MILLIMETRE, ONE, PERCENT, SQUARE_METRE};
use crate::units::{Area, CarbonateHardness, Length, Mass, Ratio, Si as _, Volume};
use crate::water::least::rain_share;
use crate::workings::{Figure, sum};

/// Share of the rain that runs off where nobody said (common practice).
const RUNOFF: f64 = 0.8;

/// A month of rain in the tank.
#[derive(Clone, Debug)]
pub struct BlendMonth {
    /// January as 0.
    pub month: usize,
    /// What the blend takes of rain, m³.
    pub need: f64,
    /// What the roofs yield, m³.
    pub yields: f64,
}

/// Supply and rain in one top-up.
#[derive(Clone, Debug)]
pub struct Blend {
    /// Carbonate hardness of the blend.
    pub target: Figure<CarbonateHardness>,
    /// Share of rain in it.
    pub share: Figure<Ratio>,
    /// Rain it takes in a year.
    pub need: Figure<Volume>,
    /// Rain that runs off the roofs of the site file in a year; `None` where it names none.
    pub yields: Option<Figure<Volume>>,
    /// The months, from the first of the forecast on.
    pub months: Vec<BlendMonth>,
    /// A tank that carries a month without rain, and from wet months into dry ones; `None` where the roofs yield too little in a
    /// year.
    pub tank: Option<Figure<Volume>>,
    /// Buffer for a thousand litres (or gallons) of rain alone.
    pub rain_buffer: Option<Figure<Mass>>,
    /// The evening from which the pond stays inside the window when it is topped up with the blend; `None` where it ends outside.
    pub inside: Option<chrono::NaiveDate>,
    /// Carbonate hardness of each evening with the blend, mol/m³.
    pub evenings: Vec<f64>,
}

/// The blend that comes to the goal; `None` where no blend does.
pub(super) fn blend(desk: &mut Desk<'_>, bench: &Bench<'_>) -> Option<Blend> {
    let reading = desk.site.supply.readings.carbonate_hardness.clone()?;
    let tap = kinder::leaf(desk, &reading, "K_supply", "carbonate hardness of the supply", &DEGREE_KH);
    let target: Figure<CarbonateHardness> = match &desk.site.goals.carbonate_hardness {
        Some(own) => {
            Figure::stated(own.value, "K_goal", "goal for carbonate hardness", &DEGREE_KH, &desk.place(own.span))
        }
        None => Figure::cited(CREEP_GOAL_DKH, "K_blend", "carbonate hardness of the blend", &DEGREE_KH, &POND_TARGETS),
    };
    let part = rain_share(tap.si(), 0.0, target.si())?;
    if part <= 0.0 {
        return None;
    }
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let share = (&one - &(&target / &tap)).named("year.blend-share", "Share of rain in the blend", "q_blend", &PERCENT);
    // The blend in place of the supply in what is topped up. Changes of this plan and of the site file are made with the supply
    // as it is: what it holds beyond the blend comes in beside them.
    let mut trial = bench.trial.clone();
    let beyond = trial.setting.supply.map(|c| c * part);
    trial.setting.supply = trial.setting.supply.map(|c| c * (1.0 - part));
    let extra: Vec<Extra> = bench
        .days
        .iter()
        .map(|day| Extra { dose: beyond.map(|c| c * day.evening.change), ..Extra::default() })
        .collect();
    let evenings = trial.at_middle(&extra);
    let rain: Vec<f64> = trial.sky.iter().map(|sky| sky.rain).collect();
    let mut months: Vec<BlendMonth> = Vec::new();
    let roofs: Vec<(f64, f64)> = desk
        .site
        .year
        .catchments
        .iter()
        .filter(|roof| roof.stored)
        .map(|roof| (roof.area.value.si(), roof.runoff.as_ref().map_or(RUNOFF, |r| r.value.si())))
        .collect();
    let collecting: f64 = roofs.iter().map(|(area, runoff)| area * runoff).sum();
    for ((date, evening), rain) in trial.dates.iter().zip(&evenings).zip(&rain) {
        let month = date.month0() as usize;
        if months.last().is_none_or(|m| m.month != month) {
            months.push(BlendMonth { month, need: 0.0, yields: 0.0 });
        }
        if let Some(last) = months.last_mut() {
            last.need += evening.top_up * part;
            last.yields += collecting * rain;
        }
    }
    let topped: Figure<Volume> = booked(
        evenings.iter().map(|e| e.top_up).sum(),
        "V_top",
        "water topped up in the year, by the forecast",
        &LITRE,
    );
    let need = (&topped * &share).named("year.blend-need", "Rain the blend takes in a year", "V_rain", &LITRE);
    let depth: Figure<Length> = booked(rain.iter().sum(), "P_year", "rain of the year, by the forecast", &MILLIMETRE);
    let parts: Vec<Figure<Area>> = desk
        .site
        .year
        .catchments
        .iter()
        .filter(|roof| roof.stored)
        .map(|roof| {
            let title = format!("area of the {}", roof.name);
            let area = Figure::stated(roof.area.value, "A_roof", &title, &SQUARE_METRE, &desk.place(roof.area.span));
            let runoff = match &roof.runoff {
                Some(own) => Figure::stated(
                    own.value,
                    "q_run",
                    "share of its rain that arrives",
                    &PERCENT,
                    &desk.place(own.span),
                ),
                None => {
                    Figure::cited(RUNOFF * 100.0, "q_run", "share of its rain that arrives", &PERCENT, &POND_TARGETS)
                }
            };
            area * runoff
        })
        .collect();
    let yields: Option<Figure<Volume>> = (!parts.is_empty()).then(|| {
        (sum(&parts) * depth).named("year.blend-yield", "Rain that the roofs yield in a year", "V_roof", &LITRE)
    });
    let tank = yields.as_ref().filter(|yields| yields.si() >= need.si()).map(|_| {
        // The largest fall of what has come in less what went out, twice round the year: the second year begins with a tank
        // that the first has left. The forecast spreads rain evenly; a month without any is carried as well.
        let net = evenings.iter().zip(&rain).map(|(evening, rain)| collecting * rain - part * evening.top_up);
        let net: Vec<f64> = net.collect();
        let (mut level, mut peak, mut deepest) = (0.0_f64, 0.0_f64, 0.0_f64);
        for change in net.iter().chain(&net) {
            level += change;
            peak = peak.max(level);
            deepest = deepest.max(peak - level);
        }
        let fall: Figure<Volume> = booked(
            deepest,
            "V_fall",
            "largest fall of the sum of what the roofs yield less what the blend takes, over two years of days",
            &LITRE,
        );
        let most = months.iter().map(|m| m.need).fold(0.0, f64::max);
        let thirst: Figure<Volume> = booked(most, "V_month", "rain the blend takes in the thirstiest month", &LITRE);
        let size = crate::workings::maximum(&[fall.clone(), thirst]).unwrap_or(fall);
        desk.book.publish(size.named("year.blend-tank", "Tank that carries a month without rain", "V_tank", &LITRE))
    });
    let rain_buffer = (|| {
        let (Some(row), own) = correction::chosen(desk, Purpose::Buffer, "sodium-bicarbonate") else { return None };
        let purity = correction::purity(row, own);
        let unit = rounding::volume_unit(desk.system);
        let title = format!("a thousand {} of rain", rounding::volume_words(desk.system));
        let thousand: Figure<Volume> = Figure::counted(1000.0, "1000", &title, unit);
        let exact = dosing::buffer(&target, &thousand, row, &purity);
        let printed = rounding::dose(&exact, desk.system, correction::scale(desk)).named(
            "year.blend-buffer",
            "Buffer for a thousand of rain alone",
            "m_rain",
            &GRAM,
        );
        Some(desk.book.publish(printed))
    })();
    let last_outside = evenings.iter().rposition(|e| side(e.hardness()).is_some());
    let inside = trial.dates.get(last_outside.map_or(0, |i| i + 1)).copied();
    Some(Blend {
        target: desk.book.publish(target.named(
            "year.blend-target",
            "Carbonate hardness of the blend",
            "K_blend",
            &DEGREE_KH,
        )),
        share: desk.book.publish(share),
        need: desk.book.publish(need),
        yields: yields.map(|y| desk.book.publish(y)),
        months,
        tank,
        rain_buffer,
        inside,
        evenings: evenings.iter().map(TrialEvening::hardness).collect(),
    })
}
