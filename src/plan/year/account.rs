//! The books of a year turned into figures: each month's account, the reasons, and the line that proves they close.

use std::rc::Rc;

use chrono::{Datelike as _, NaiveDate};

use super::model::Model;
use super::sun::{Sun, short};
use super::{Daily, Month, Reason, ValveChlorine, WORTH_NAMING, month_name};
use crate::chem::{chlorine, figures};
use crate::plan::{Assumption, Desk, kinder};
use crate::reference::{
    CHLORAMINE_USED, CHLORINE_DECAY, CHLORINE_LASTING, CHLORINE_LIMIT, FREE_CHLORINE_USED, OPEN_WATER_PENMAN,
};
use crate::site::MONTH_DAYS;
use crate::units::table::{
    AMMONIA_N, COPPER, CUBIC_METRE, DAYS, DEGREE_GH, DEGREE_KH, LITRE, MICROSIEMENS, MILLIGRAMS, MILLIMETRE,
    MILLIMETRES_A_DAY, MILLIMOLES_PER_LITRE, MOLE, ONE, SQUARE_METRE, Unit,
};
use crate::units::{
    AmountOfSubstance, Area, CarbonateHardness, Conductivity, GeneralHardness, Length, MassConcentration,
    MolarConcentration, Ratio, Si, Time, Velocity, Volume,
};
use crate::water::air::CoreWarmth;
use crate::water::balance::{FLOWS, Flow, Ledger, Pond, SOLUTES, Sky, Solutes, solute};
use crate::workings::{Figure, Node, sum};

/// What the daily balance says: the place of numbers that it summed.
const BALANCE: &str = "daily balance (weirbook forecast)";

/// The books of a run, to be turned into figures.
pub(super) struct Account<'a> {
    pub(super) model: &'a Model,
    pub(super) days: &'a [Daily],
    pub(super) ledgers: &'a [Ledger],
}

/// A sum the daily balance made, as a leaf.
pub(super) fn booked<Q: Si>(value: f64, symbol: &str, title: &str, unit: &'static Unit) -> Figure<Q> {
    Figure::stated(Q::from_si(value), symbol, title, unit, BALANCE)
}

/// A flow's symbol and name in the workings.
#[must_use]
pub fn flow_words(flow: Flow) -> (&'static str, &'static str) {
    match flow {
        Flow::Rain => ("rain", "rain on the water"),
        Flow::Catchment => ("roof", "rain from catchments"),
        Flow::Evaporation => ("evap", "evaporation"),
        Flow::Falls => ("falls", "evaporation of falls and streams"),
        Flow::Splash => ("splash", "splash, or a leak that the log told"),
        Flow::Leak => ("leak", "leak"),
        Flow::DrainDown => ("winter", "winter drain-down"),
        Flow::ChangeOut => ("out", "water let out for changes"),
        Flow::ChangeIn => ("in", "new water of changes"),
        Flow::Dose => ("dose", "substances added"),
        Flow::Feed => ("feed", "feed that ends as nitrate"),
        Flow::TopUp => ("top", "top-up"),
        Flow::Overflow => ("over", "overflow"),
        Flow::Lime => ("lime", "lime that came down"),
        Flow::CopperRelease => ("bars", "copper from the bars"),
        Flow::CopperLoss => ("lost", "copper lost"),
        Flow::CopperSolid => ("fallen", "copper that fell out"),
    }
}

impl Account<'_> {
    /// Water and matter of one flow over a run of days: m³, and mol of a solute.
    fn total(&self, flow: Flow, from: usize, until: usize, solute: usize) -> (f64, f64) {
        let mut water = 0.0;
        let mut matter = 0.0;
        for ledger in self.ledgers.iter().take(until + 1).skip(from) {
            let moved = ledger.of(flow);
            water += moved.water;
            matter += moved.amounts.get(solute).copied().unwrap_or(0.0);
        }
        (water, matter)
    }

    /// The pond before a day.
    fn before(&self, index: usize) -> Pond {
        match index.checked_sub(1).and_then(|i| self.days.get(i)) {
            Some(day) => Pond::of(day.evening.volume, &day.evening.water),
            None => self.model.begin,
        }
    }

    /// The line that proves the books: what is left over after a year.
    pub(super) fn closing(&self, desk: &mut Desk<'_>) {
        let last = self.days.len() - 1;
        let end = self.before(self.days.len());
        let mut worst = 0.0_f64;
        let moved: f64 = FLOWS.iter().map(|f| self.total(*f, 0, last, 0).0).sum();
        let passed: f64 =
            FLOWS.iter().map(|f| self.total(*f, 0, last, 0).0.abs()).sum::<f64>() + self.model.begin.volume;
        worst = worst.max((self.model.begin.volume + moved - end.volume).abs() / passed);
        for index in 0..SOLUTES {
            let begin = self.model.begin.amounts.get(index).copied().unwrap_or(0.0);
            let at_end = end.amounts.get(index).copied().unwrap_or(0.0);
            let moved: f64 = FLOWS.iter().map(|f| self.total(*f, 0, last, index).1).sum();
            let passed: f64 = FLOWS.iter().map(|f| self.total(*f, 0, last, index).1.abs()).sum::<f64>() + begin;
            if passed > 0.0 {
                worst = worst.max((begin + moved - at_end).abs() / passed);
            }
        }
        let inputs = vec![
            Rc::clone(booked::<Volume>(self.model.begin.volume, "V_0", "volume at the start", &CUBIC_METRE).node()),
            Rc::clone(
                booked::<crate::units::Area>(
                    self.model.setting.basin.surface(self.model.setting.basin.full),
                    "A",
                    "open surface at the brim",
                    &crate::units::table::SQUARE_METRE,
                )
                .node(),
            ),
            Rc::clone(self.model.start.node()),
        ];
        let volume: Figure<Volume> = Figure::solved(
            Volume::from_si(end.volume),
            "each day V = V + A·(rain − E·(1 + falls)) + roof + top-up + changes in − changes out − splash − leak − overflow; every solute with its water",
            inputs,
            worst,
            u32::try_from(self.days.len()).unwrap_or(0),
        );
        // All that came and went in the year, with its sign, makes the one volume of the other.
        let volume = volume.closing(|end| {
            let start = booked::<Volume>(self.model.begin.volume, "V_0", "volume at the start", &CUBIC_METRE);
            let moved = FLOWS.iter().filter_map(|flow| {
                let (water, _) = self.total(*flow, 0, last, 0);
                let (symbol, title) = flow_words(*flow);
                let title = format!("{title}: water of the year, below nothing where it leaves");
                (water != 0.0).then(|| booked(water, &format!("V_{symbol},year"), &title, &LITRE))
            });
            let terms: Vec<Figure<Volume>> = std::iter::once(start).chain(moved).collect();
            let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
            sum(&terms).meaning::<Ratio>() / end - one
        });
        desk.book.publish(volume.named(
            "year.balance",
            "Volume after a year by the daily balance",
            "V_365",
            &CUBIC_METRE,
        ));
    }

    /// The months with their accounts.
    pub(super) fn months(&self, desk: &mut Desk<'_>) -> Vec<Month> {
        let mut out: Vec<Month> = Vec::new();
        let mut from = 0;
        let mut opening = self.model.start.clone();
        while from < self.days.len() {
            let Some(first) = self.days.get(from).map(|d| d.date) else { break };
            let until = (from..self.days.len())
                .take_while(|i| {
                    self.days.get(*i).is_some_and(|d| d.date.month() == first.month() && d.date.year() == first.year())
                })
                .last()
                .unwrap_or(from);
            let month = self.month(desk, from, until, &opening);
            opening = month.hardness.clone();
            out.push(month);
            from = until + 1;
        }
        out
    }

    fn month(&self, desk: &mut Desk<'_>, from: usize, until: usize, opening: &Figure<CarbonateHardness>) -> Month {
        let (first, last) = match (self.days.get(from), self.days.get(until)) {
            (Some(a), Some(b)) => (a.date, b.date),
            _ => (self.model.first, self.model.first),
        };
        let name = month_name(first.month0() as usize);
        let tag = format!("{:04}-{:02}", first.year(), first.month());
        let at = format!("{}{:02}", short(first.month0() as usize), first.year().rem_euclid(100));
        let (before, after) = (self.before(from), self.before(until + 1));
        let volume = |v: f64, symbol: &str, title: &str| booked::<Volume>(v, &format!("{symbol},{at}"), title, &LITRE);
        // Water: what was topped up is what was lost and is there, less what came otherwise.
        let mut lost = vec![volume(after.volume, "V_end", "volume at the end")];
        let mut came = vec![volume(before.volume, "V_start", "volume at the start")];
        let mut brought: Vec<Figure<AmountOfSubstance>> = Vec::new();
        let mut taken: Vec<Figure<AmountOfSubstance>> = Vec::new();
        for flow in FLOWS {
            let (water, charge) = self.total(flow, from, until, solute::ALKALINITY);
            let (symbol, words) = flow_words(flow);
            if flow != Flow::TopUp {
                if water < 0.0 {
                    lost.push(volume(-water, &format!("V_{symbol}"), words));
                } else if water > 0.0 {
                    came.push(volume(water, &format!("V_{symbol}"), words));
                }
            }
            let words = format!("{words}: charge of alkalinity");
            if charge < 0.0 {
                taken.push(booked(-charge, &format!("n_{symbol},{at}"), &words, &MOLE));
            } else if charge > 0.0 {
                brought.push(booked(charge, &format!("n_{symbol},{at}"), &words, &MOLE));
            }
        }
        // Where nothing was topped up the account would only show the last bit of its own sums.
        let poured = self.total(Flow::TopUp, from, until, solute::ALKALINITY).0;
        let account = if poured > 0.0 {
            sum(&lost) - sum(&came)
        } else {
            Figure::stated(Volume::from_si(0.0), &format!("V_0,{at}"), "top-up, none", &LITRE, BALANCE)
        };
        let top_up = account.named(
            format!("year.top-up-{tag}"),
            &format!("Topped up in {name} {}", first.year()),
            &format!("V_top,{at}"),
            &LITRE,
        );
        let top_up = desk.book.publish(top_up);
        let opening_charge = opening * &volume(before.volume, "V_start", "volume at the start");
        let mut charge = opening_charge;
        if !brought.is_empty() {
            charge = charge + sum(&brought);
        }
        if !taken.is_empty() {
            charge = charge - sum(&taken);
        }
        let end_volume = volume(after.volume, "V_end", "volume at the end");
        // Used up to the last: the account would only show the last bit of its own sums.
        let account = if after.concentration(solute::ALKALINITY) > 1e-9 {
            (charge / end_volume).meaning::<CarbonateHardness>()
        } else {
            Figure::stated(
                CarbonateHardness::from_si(0.0),
                &format!("K_0,{at}"),
                "hardness, none left",
                &DEGREE_KH,
                BALANCE,
            )
        };
        let hardness = account.named(
            format!("year.hardness-{tag}"),
            &format!("Carbonate hardness at the end of {name} {}", first.year()),
            &format!("K_{at}"),
            &DEGREE_KH,
        );
        let hardness = desk.book.publish(hardness);
        let water = after.water();
        let month = format!("{name} {}", first.year());
        let dissolved = |solute: usize, symbol: &str, name: &str| {
            let amount = water.get(solute).copied().unwrap_or(0.0);
            booked::<GeneralHardness>(amount, &format!("{symbol},{at}"), name, &MILLIMOLES_PER_LITRE)
        };
        let general =
            (dissolved(solute::CALCIUM, "c_Ca", "calcium") + dissolved(solute::MAGNESIUM, "c_Mg", "magnesium")).named(
                format!("year.general-{tag}"),
                &format!("General hardness at the end of {month}"),
                &format!("G_{at}"),
                &DEGREE_GH,
            );
        let general = desk.book.publish(general);
        let names = (&*format!("year.conductivity-{tag}"), &*at, &*format!("at the end of {month}"));
        let conductivity = self.days.get(until).zip(self.model.sky.get(until));
        let conductivity = conductivity
            .map(|(day, sky)| conductivity_line(self.model, day, sky, names))
            .unwrap_or_else(|| booked(0.0, "κ", "conductivity", &MICROSIEMENS));
        let conductivity = desk.book.publish(conductivity);
        let (evaporation, rain) = self.depths(desk, from, until, (&tag, &at, &month));
        Month { first, last, evaporation, rain, top_up, hardness, general, conductivity, out: None }
    }

    /// What evaporated over a run of days, falls and streams with it, and what rained, as depths.
    fn depths(
        &self,
        desk: &mut Desk<'_>,
        from: usize,
        until: usize,
        (tag, at, month): (&str, &str, &str),
    ) -> (Figure<Length>, Figure<Length>) {
        let basin = &self.model.setting.basin;
        let gone: Vec<Figure<Volume>> = [Flow::Evaporation, Flow::Falls]
            .into_iter()
            .map(|flow| (flow, -self.total(flow, from, until, 0).0))
            .filter(|(flow, water)| *flow == Flow::Evaporation || *water > 0.0)
            .map(|(flow, water)| {
                let (symbol, words) = flow_words(flow);
                // No water less than none, where nothing evaporates.
                booked(water.max(0.0), &format!("V_{symbol},{at}"), words, &LITRE)
            })
            .collect();
        let surface: Figure<Area> = booked(basin.surface(basin.full), "A", "open surface at the brim", &SQUARE_METRE);
        let title = format!("Evaporated in {month}, as a depth at the brim");
        let evaporation = (sum(&gone) / surface).meaning::<Length>().named(
            format!("year.evaporation-{tag}"),
            &title,
            &format!("H_{at}"),
            &MILLIMETRE,
        );
        let days = self.days.iter().take(until + 1).skip(from);
        let month0 = days.clone().next().map_or(0, |d| d.date.month0() as usize);
        let count = days.count() as f64;
        let mean = self.model.sun.rain.get(month0).copied().unwrap_or(0.0);
        let fallen: Vec<f64> = self.model.sky.iter().take(until + 1).skip(from).map(|sky| sky.rain).collect();
        let rain_names = (format!("year.rain-{tag}"), format!("Rain in {month}"), format!("r_{at}"));
        // Days that have their own weather are summed as they were.
        if fallen.iter().any(|rain| (rain - mean).abs() > 1e-12) {
            let sum = booked::<Length>(fallen.iter().sum(), &format!("r_days,{at}"), "rain of these days", &MILLIMETRE);
            let rain = sum.named(rain_names.0, &rain_names.1, &rain_names.2, &MILLIMETRE);
            return (desk.book.publish(evaporation), desk.book.publish(rain));
        }
        let a_day: Figure<Velocity> = booked(
            mean / DAYS.size,
            &format!("r_{}", short(month0)),
            &format!("rain of a mean day in {}, the month's normal over its days", month_name(month0)),
            &MILLIMETRES_A_DAY,
        );
        let days: Figure<Time> =
            Figure::counted(count, &format!("d_{at}"), "days of the forecast in this month", &DAYS);
        let rain = (a_day * days).meaning::<Length>().named(rain_names.0, &rain_names.1, &rain_names.2, &MILLIMETRE);
        (desk.book.publish(evaporation), desk.book.publish(rain))
    }

    /// Carbonate hardness of one evening, with its line, and the day.
    pub(super) fn evening(
        &self,
        desk: &mut Desk<'_>,
        index: usize,
        id: &str,
        title: &str,
        symbol: &str,
    ) -> (Figure<CarbonateHardness>, NaiveDate) {
        let pond = self.before(index + 1);
        let date = self.days.get(index).map_or(self.model.first, |d| d.date);
        let at = symbol.trim_start_matches("K_");
        let charge = pond.amounts.get(solute::ALKALINITY).copied().unwrap_or(0.0);
        let charge: Figure<AmountOfSubstance> =
            booked(charge, &format!("n_{at}"), "charge of alkalinity that evening", &MOLE);
        let volume: Figure<Volume> = booked(pond.volume, &format!("V_{at}"), "volume that evening", &CUBIC_METRE);
        let title = format!("{title}, on {} {} {}", date.day(), month_name(date.month0() as usize), date.year());
        let found = (charge / volume).meaning::<CarbonateHardness>().named(id, &title, symbol, &DEGREE_KH);
        (desk.book.publish(found), date)
    }

    /// What each flow did to hardness between two evenings, and the change they add up to.
    pub(super) fn reasons(
        &self,
        desk: &mut Desk<'_>,
        from: usize,
        until: usize,
        opening: f64,
    ) -> (Vec<Reason>, Figure<CarbonateHardness>) {
        let mut parts: Vec<(Flow, f64)> = FLOWS
            .iter()
            .map(|flow| {
                let effect =
                    self.ledgers.iter().take(until + 1).skip(from).map(|l| l.effect(*flow, solute::ALKALINITY));
                (*flow, effect.sum::<f64>())
            })
            // What only moves mixed water, or copper, moves no concentration but by the last bit.
            .filter(|(_, effect)| effect.abs() > 1e-6)
            .collect();
        parts.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
        let figures: Vec<(Flow, Figure<CarbonateHardness>)> = parts
            .iter()
            .map(|(flow, effect)| {
                let (symbol, words) = flow_words(*flow);
                (*flow, booked(*effect, &format!("ΔK_{symbol}"), words, &DEGREE_KH))
            })
            .collect();
        let all: Vec<Figure<CarbonateHardness>> = figures.iter().map(|(_, f)| f.clone()).collect();
        let change = sum(&all)
            .named("year.change", "Change of carbonate hardness, flow by flow", "ΔK_year", &DEGREE_KH)
            .remark(format!(
                "From {}\u{a0}°dKH; each flow's part is what hardness was after it less what it was before, day by day",
                crate::units::plain(DEGREE_KH.of(opening), crate::units::Digits::Places(2))
            ));
        let change = desk.book.publish(change);
        let named = figures
            .into_iter()
            .filter(|(_, figure)| DEGREE_KH.of(figure.si()).abs() >= WORTH_NAMING)
            .map(|(flow, change)| Reason { flow, change })
            .collect();
        (named, change)
    }

    /// A float valve on chlorinated supply, without a carbon filter, is an unwatched water change: what it lets in.
    pub(super) fn valve(&self, desk: &mut Desk<'_>) -> Option<ValveChlorine> {
        let supply = &desk.site.supply;
        let reading = supply.readings.total_chlorine.as_ref().filter(|r| r.value.si() > 0.0 && !r.less_than)?;
        if !supply.float_valve || supply.carbon_filter {
            return None;
        }
        let mut sums = [(0.0, 0.0); 12];
        for day in self.days {
            if let Some(sum) = sums.get_mut(day.date.month0() as usize) {
                sum.0 += day.evening.top_up;
                sum.1 += 1.0;
            }
        }
        let mean = |s: &(f64, f64)| if s.1 > 0.0 { s.0 / s.1 } else { 0.0 };
        let (month, most) = sums.iter().enumerate().map(|(i, s)| (i, mean(s))).max_by(|a, b| a.1.total_cmp(&b.1))?;
        if most <= 0.0 {
            return None;
        }
        let title = format!("top-up of a day in {}", month_name(month));
        let poured: Figure<Volume> = booked(most, "V_day", &title, &LITRE);
        let volume: Figure<Volume> = booked(self.model.setting.basin.full, "V_brim", "volume at the brim", &LITRE);
        let chlorine = kinder::leaf(desk, reading, "c", "total chlorine of the supply", &MILLIGRAMS);
        let share: Figure<Ratio> = poured / volume;
        let share =
            share.named("year.valve-share", "Share of the water the float valve renews in a day", "x_day", &ONE);
        let a_day = (&chlorine * &share).named(
            "year.valve-chlorine",
            "Chlorine the float valve adds in a day",
            "c_day",
            &MILLIGRAMS,
        );
        let a_day = desk.book.publish(a_day);
        let free = supply.readings.free_chlorine.as_ref().filter(|r| !r.less_than);
        let free = free.map(|r| kinder::leaf(desk, r, "c_free", "free chlorine of the supply", &MILLIGRAMS));
        let rest = self.chlorine_at_rest(desk, &chlorine, free.as_ref(), &share);
        let ammonia = free.filter(|free| free.si() < chlorine.si()).map(|free| {
            let left = chlorine::ammonia_left("year.valve-ammonia-supply", &chlorine, &free).called("N_valve");
            let title = "Nitrogen of ammonia that its chloramine leaves in a day";
            desk.book.publish((left * &share).named("year.valve-ammonia", title, "N_day", &AMMONIA_N))
        });
        let copper = supply.readings.total_copper.as_ref().filter(|r| r.value.si() > 0.0 && !r.less_than);
        let copper = copper.map(|reading| {
            let brought: Figure<MassConcentration> =
                kinder::leaf(desk, reading, "c_Cu", "copper of the supply", &COPPER) * &share;
            desk.book.publish(brought.named(
                "year.valve-copper",
                "Copper the supply brings in a day",
                "c_Cu,day",
                &COPPER,
            ))
        });
        let limit: Figure<MassConcentration> =
            Figure::cited(CHLORINE_LASTING, "c_max", "chlorine over four days", &MILLIGRAMS, &CHLORINE_LIMIT);
        let limit = limit.named("year.valve-limit", "Total chlorine held to harm life in water", "c_max", &MILLIGRAMS);
        Some(ValveChlorine { a_day, rest, limit: desk.book.publish(limit), ammonia, copper, month })
    }

    /// What of a steady inflow of chlorine stays: what comes in a day over the share that is used up in a day, free and combined
    /// each at its own rate.
    fn chlorine_at_rest(
        &self,
        desk: &mut Desk<'_>,
        total: &Figure<MassConcentration>,
        free: Option<&Figure<MassConcentration>>,
        share: &Figure<Ratio>,
    ) -> Figure<MassConcentration> {
        let rate =
            |value: f64, symbol: &str, title: &str| Figure::<Ratio>::cited(value, symbol, title, &ONE, &CHLORINE_DECAY);
        let combined = rate(CHLORAMINE_USED, "k_comb", "share of combined chlorine used up a day");
        let used = |chlorine: &Figure<MassConcentration>, rate: &Figure<Ratio>| -> Figure<MassConcentration> {
            chlorine * share / rate
        };
        let rest = match free {
            Some(free) => {
                let bound = total - free;
                used(&bound, &combined)
                    + used(free, &rate(FREE_CHLORINE_USED, "k_free", "share of free chlorine used up a day"))
            }
            // Where free chlorine was not read, all counts as the kind that lasts.
            None => used(total, &combined),
        };
        desk.assume(Assumption::new(
            "Chlorine used up in the pond",
            &format!(
                "combined {} a day (0.2 to 2), free {} a day (3 to 12)",
                crate::units::plain(CHLORAMINE_USED, crate::units::Digits::Places(1)),
                crate::units::plain(FREE_CHLORINE_USED, crate::units::Digits::Places(0))
            ),
            "total chlorine in the pond at the inlet, by a test that shows hundredths",
            "common practice",
        ));
        let title = "Chlorine that stays while the float valve runs";
        desk.book.publish(rest.named("year.valve-rest", title, "c_rest", &MILLIGRAMS))
    }
}

/// Conductivity of the first evening on which it passes its target.
pub(super) fn salty(model: &Model, days: &[Daily], most: f64) -> Option<(NaiveDate, Figure<Conductivity>)> {
    let (day, sky) = days.iter().zip(&model.sky).find(|(day, _)| MICROSIEMENS.si(day.conductivity) > most)?;
    let on = format!("on {} {} {}", day.date.day(), month_name(day.date.month0() as usize), day.date.year());
    Some((day.date, conductivity_line(model, day, sky, ("year.conductivity-over", "over", &on))))
}

/// What is dissolved in a water, as inputs of what is found from it.
pub(super) fn dissolved(water: &Solutes, at: &str) -> Vec<Rc<Node>> {
    let names = ["alkalinity", "calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate"];
    let symbols = ["c_alk", "c_Ca", "c_Mg", "c_Na", "c_K", "c_Cl", "c_SO4", "c_NO3"];
    names
        .iter()
        .zip(symbols)
        .zip(water)
        .map(|((name, symbol), c)| {
            let leaf: Figure<MolarConcentration> = booked(*c, &format!("{symbol},{at}"), name, &MILLIMOLES_PER_LITRE);
            Rc::clone(leaf.node())
        })
        .collect()
}

/// Conductivity of an evening with what went in.
fn conductivity_line(
    model: &Model,
    day: &Daily,
    sky: &Sky<CoreWarmth>,
    (id, at, when): (&str, &str, &str),
) -> Figure<Conductivity> {
    let water = &day.evening.water;
    let inputs = dissolved(water, at);
    let value = Conductivity::from_si(MICROSIEMENS.si(day.conductivity));
    let (title, symbol) = (format!("Conductivity {when}"), format!("κ_{at}"));
    match model.chemistry.conducting(&sky.warmth, water) {
        Some(state) => figures::conductivity([id, &title, &symbol], value, &state, inputs),
        // Outside the core's range the closed form stands.
        None => Figure::solved(value, "κ = γ² Σ λ° c, γ of a single charge", inputs, 0.0, 1)
            .named(id, &title, &symbol, &MICROSIEMENS)
            .from_source(&crate::reference::IONIC_CONDUCTIVITY),
    }
}

/// What evaporates from still water in twelve mean months, as a depth, by both forms.
pub(super) fn depths(desk: &mut Desk<'_>, sun: &Sun) -> (Figure<Length>, Option<Figure<Length>>) {
    let months = |letter: &str, a_day: &dyn Fn(usize) -> Option<f64>| -> Option<Figure<Length>> {
        let parts: Option<Vec<Figure<Length>>> = (0..12)
            .zip(MONTH_DAYS)
            .map(|(month, days)| {
                let symbol = format!("{letter}_{}", short(month));
                let title = format!("depth of {}", month_name(month));
                Some(booked(a_day(month)? * days, &symbol, &title, &MILLIMETRE))
            })
            .collect();
        Some(sum(&parts?))
    };
    let used = months("H", &|m| sun.evaporation.get(m).copied());
    let used = used.unwrap_or_else(|| booked(0.0, "E", "evaporation", &MILLIMETRE));
    let used = used.named("year.evaporation", "Evaporation from still water in a year", "H_evap", &MILLIMETRE);
    let penman = months("W", &|m| sun.penman.get(m).copied().flatten()).map(|all| {
        let title = "The same by Penman's open-water form, for comparison";
        all.named("year.penman", title, "W_evap", &MILLIMETRE).from_source(&OPEN_WATER_PENMAN)
    });
    (desk.book.publish(used), penman.map(|p| desk.book.publish(p)))
}
