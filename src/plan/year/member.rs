//! One day of one possible year, worked out by hand: what the year drew, the evening before, the day's flows one after the other,
//! and the evening, all by arithmetic that can be keyed. It must come to what the ensemble's own run of that year came to; what
//! is solved on such a day (lime, and what feed can take of little alkalinity) stands in it as a number.

use std::ops::{Add, Mul, Sub};
use std::rc::Rc;

use chrono::NaiveDate;
use uom::si::f64::{Frequency, MassRate, MolarMass};

use super::chance::{Prospect, left_open};
use super::model::Model;
use crate::chem::followed::Table;
use crate::plan::{Desk, Schedule, VolumePlan};
use crate::reference::{ATOMIC_WEIGHTS, COPPER_LOSS};
use crate::units::table::{
    CALCIUM_CACO3, CELSIUS, COPPER, CUBIC_METRE, DAYS, DEGREE_KH, GRAM, GRAMS_PER_DAY, GRAMS_PER_MOLE, LITRE,
    MILLIMETRE, ONE, PER_DAY, PERCENT, SQUARE_METRE, Unit, weight,
};
use crate::units::{
    AmountOfSubstance, Area, Calcium, CarbonateHardness, Length, Mass, MassConcentration, Ratio, Si,
    ThermodynamicTemperature, Time, Volume,
};
use crate::water::air::Core;
use crate::water::balance::{CHARGE_PER_COPPER, Care, Flow, Setting, Solutes, solute};
use crate::water::copper::loss_at;
use crate::water::ensemble::{self, Appetite, Draw, Given, Look, Normal, Quantity, Spread, Step};
use crate::workings::{Book, Figure};

/// The possible year of which a plan shows a day.
pub const SHOWN: u32 = 1;
/// Days of a raised spell that are looked through for one on which no lime comes down.
const LOOKED_THROUGH: usize = 12;
/// Where arithmetic and run lie further apart than this, as a share, the run's number stands.
const SAME: f64 = 1e-10;

/// The possible years of a plan, to look into one of them.
#[derive(Debug)]
pub struct Years {
    /// How many there are, from which seed.
    pub draw: Draw,
    /// Their days.
    pub dates: Vec<NaiveDate>,
    /// The panel's level on each day.
    levels: Vec<u32>,
    /// The level outside raised spells.
    holding: u32,
    setting: Setting,
    chemistry: Core,
    care: Vec<Care>,
    appetite: Appetite,
    water: Solutes,
    filled: f64,
    spread: Spread,
    normals: Vec<Normal>,
    table: Table,
    ranges: Ranges,
}

/// The ranges that a year is drawn from, as far as lines stand behind them.
#[derive(Debug)]
struct Ranges {
    volume: (Figure<Volume>, Figure<Volume>),
    /// Least and most that the pond's reading of carbonate hardness allows.
    start: Option<(Figure<CarbonateHardness>, Figure<CarbonateHardness>)>,
    loss: (Figure<Frequency>, Figure<Frequency>),
    releases: Vec<Option<Figure<MassRate>>>,
}

impl Years {
    /// Keeps what the possible years were run with.
    pub(super) fn keep(
        desk: &Desk<'_>,
        model: &Model,
        volume: &VolumePlan,
        prospect: Prospect,
        schedule: Option<&Schedule>,
    ) -> Self {
        let (spread, normals, table) = prospect.parts();
        let end = |end: &Figure<Volume>, outward: bool| if outward { end.clone() } else { volume.total.clone() };
        let bound = |value: f64, id: &str, symbol: &str, title: &str| {
            let written = desk.book.figure::<Frequency>(id).filter(|_| schedule.is_some());
            written
                .filter(|line| PER_DAY.of(line.si()) == value)
                .unwrap_or_else(|| Figure::cited(value, symbol, title, &PER_DAY, &COPPER_LOSS))
        };
        let (slow, fast) = spread.copper_loss;
        let top = model.dates.iter().filter_map(|date| schedule?.level_on(*date)).max().unwrap_or(0);
        let release = |level: u32| {
            let freed = desk.book.figure::<MassRate>(&format!("copper.freed-{level}"));
            freed.or_else(|| desk.book.figure(&format!("copper.release-{level}")))
        };
        Self {
            draw: desk.draw,
            dates: model.dates.clone(),
            levels: model.dates.iter().map(|date| schedule.and_then(|s| s.level_on(*date)).unwrap_or(0)).collect(),
            holding: schedule.map_or(0, |s| s.holding),
            setting: model.setting.clone(),
            chemistry: model.chemistry,
            care: model.care.clone(),
            appetite: model.appetite,
            water: model.begin.water(),
            filled: model.begin.volume / model.setting.basin.full,
            ranges: Ranges {
                volume: (
                    end(&volume.low, volume.low.si() <= volume.total.si()),
                    end(&volume.high, volume.high.si() >= volume.total.si()),
                ),
                start: reading(desk),
                loss: (
                    bound(slow, "copper.loss-least", "k_range,least", "least loss of copper at 20 °C"),
                    bound(fast, "copper.loss-most", "k_range,most", "most loss of copper at 20 °C"),
                ),
                releases: (0..=top).map(release).collect(),
            },
            spread,
            normals,
            table,
        }
    }

    fn given(&self) -> Given<'_> {
        Given {
            setting: &self.setting,
            chemistry: self.chemistry,
            table: &self.table,
            normals: &self.normals,
            care: &self.care,
            appetite: Some(self.appetite),
            water: self.water,
            filled: self.filled,
            window: super::edges(),
            spread: &self.spread,
        }
    }

    /// One day of one year, counted from 0; `None` beyond the last.
    #[must_use]
    pub fn look(&self, number: u32, day: usize) -> Option<Look> {
        ensemble::look(&self.given(), self.draw.seed, number, day)
    }

    /// What the ensemble's own run of a year has for the evening of a day.
    #[must_use]
    pub fn evening(&self, number: u32, day: usize) -> Option<ensemble::Values> {
        let mut found = None;
        ensemble::member(&self.given(), self.draw.seed, number, |index, values| {
            if index == day {
                found = Some(*values);
            }
        });
        found
    }

    /// The day that a plan shows of a year: in the middle of a raised spell, without lime coming down if there is such a one;
    /// else one with the panel on; else one with water topped up.
    #[must_use]
    pub fn shown(&self, number: u32) -> usize {
        let on = |wanted: &dyn Fn(u32) -> bool| -> Vec<usize> {
            self.levels.iter().enumerate().filter(|(_, level)| wanted(**level)).map(|(day, _)| day).collect()
        };
        let mut days = on(&|level| level > self.holding);
        if days.is_empty() {
            days = on(&|level| level > 0);
        }
        let still = |day: &usize| {
            let look = self.look(number, *day);
            look.is_some_and(|look| look.steps.iter().all(|step| step.flow != Flow::Lime))
        };
        if days.is_empty() {
            ensemble::member(&self.given(), self.draw.seed, number, |day, values| {
                if values[Quantity::TopUp as usize] > 0.0 && values[Quantity::Change as usize] == 0.0 {
                    days.push(day);
                }
            });
            let apart = days.len().div_ceil(LOOKED_THROUGH).max(1);
            let found = days.iter().step_by(apart).copied().find(still);
            return found.or(days.first().copied()).unwrap_or(0);
        }
        // The first run of days on end, from its middle outward.
        let end =
            days.windows(2).position(|pair| matches!(pair, [a, b] if *b != a + 1)).map_or(days.len(), |at| at + 1);
        days.truncate(end);
        let middle = days.get(days.len() / 2).copied().unwrap_or(0);
        days.sort_by_key(|day| (day.abs_diff(middle), *day));
        days.iter().take(LOOKED_THROUGH).copied().find(still).unwrap_or(middle)
    }

    /// The lines of one day of one year, put into a book, with the day as it was run; `None` beyond the last day.
    pub fn lines(&self, book: &mut Book, number: u32, day: usize) -> Option<Look> {
        let look = self.look(number, day)?;
        let date = *self.dates.get(day)?;
        let place = format!("possible year {number} under seed {} (weirbook forecast)", self.draw.seed);
        let level = self.levels.get(day).copied().unwrap_or(0);
        let release = self.ranges.releases.get(level as usize).cloned().flatten();
        let mut page =
            Page { years: self, look: &look, date, place, release, book, title: format!("Possible year {number}") };
        page.write();
        Some(look)
    }
}

/// What the pond's last reading of carbonate hardness leaves open.
fn reading(desk: &Desk<'_>) -> Option<(Figure<CarbonateHardness>, Figure<CarbonateHardness>)> {
    let (_, reading) = desk.last(|v| v.pond.carbonate_hardness.as_ref().filter(|r| !r.less_than))?;
    let (least, most) = left_open(desk, reading, "carbonate hardness", DEGREE_KH.size);
    let place = desk.place(reading.span);
    let end = |value: f64, symbol: &str, title: &str| {
        Figure::stated(CarbonateHardness::from_si(value), symbol, title, &DEGREE_KH, &place)
    };
    Some((
        end(least, "K_read,least", "least the reading of the pond allows"),
        end(most, "K_read,most", "most the reading of the pond allows"),
    ))
}

/// A day that is being written out.
struct Page<'p> {
    years: &'p Years,
    look: &'p Look,
    date: NaiveDate,
    place: String,
    release: Option<Figure<MassRate>>,
    book: &'p mut Book,
    title: String,
}

/// The pond in figures: volume, and amounts of charge, calcium and copper.
struct Water {
    volume: Figure<Volume>,
    charge: Figure<AmountOfSubstance>,
    calcium: Figure<AmountOfSubstance>,
    copper: Figure<Mass>,
    /// Freed by the bars on the day, and not yet counted.
    released: Option<Figure<Mass>>,
}

/// What water brings along.
struct Bringing {
    hardness: Figure<CarbonateHardness>,
    calcium: Figure<Calcium>,
    copper: Figure<MassConcentration>,
}

/// kg/m³ of mol/m³.
fn mass(moles: f64) -> f64 {
    moles * weight::CU / 1000.0
}

fn one() -> Figure<Ratio> {
    Figure::counted(1.0, "1", "one", &ONE)
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= SAME * a.abs().max(b.abs())
}

impl Page<'_> {
    fn number<Q: Si>(&self, si: f64, symbol: &str, title: &str, unit: &'static Unit) -> Figure<Q> {
        Figure::stated(Q::from_si(si), symbol, title, unit, &self.place)
    }

    fn line<Q: Si>(
        &mut self,
        figure: &Figure<Q>,
        id: &str,
        title: &str,
        symbol: &str,
        unit: &'static Unit,
    ) -> Figure<Q> {
        let title = format!("{}: {title}", self.title);
        self.book.publish(figure.named(format!("year.member.{id}"), &title, symbol, unit))
    }

    /// Least and most, and where between them the year stands.
    fn between<Q>(&self, least: &Figure<Q>, most: &Figure<Q>, at: f64, symbol: &str) -> Figure<Q>
    where
        Q: Si + Add<Q, Output = Q> + Sub<Q, Output = Q> + Mul<Ratio, Output = Q>,
    {
        if least.si() == most.si() {
            return least.clone();
        }
        least + &((most - least) * self.drawn(at, symbol))
    }

    fn drawn(&self, at: f64, symbol: &str) -> Figure<Ratio> {
        self.number(at, symbol, "where it stands between least (0) and most (1), as drawn", &ONE)
    }

    fn write(&mut self) {
        let (years, look) = (self.years, self.look);
        let drawn = &look.drawn;
        let (least, most) = &years.ranges.volume;
        let full = self.between(least, most, drawn.volume.0, "u_V");
        let full = self.line(&full, "volume", "volume at the brim, as drawn from its range", "V_own", &CUBIC_METRE);
        let (least, most) = years.spread.evaporation;
        let share = |value: f64, symbol: &str, title: &str| -> Figure<Ratio> {
            Figure::stated(Ratio::from_si(value), symbol, title, &PERCENT, "common practice")
        };
        let (least, most) = (
            share(least, "f_least", "least evaporation over the middle"),
            share(most, "f_most", "most evaporation over the middle"),
        );
        let thirst = self.between(&least, &most, drawn.evaporation.0, "u_f");
        let thirst = self.line(
            &thirst,
            "evaporation",
            "evaporation over the middle, as drawn from its range",
            "f_own",
            &PERCENT,
        );
        let (least, most) = &years.ranges.loss;
        let loss = if least.si() < most.si() {
            let wide: Figure<Ratio> = (most / least).meaning();
            least * wide.power(&self.drawn(drawn.loss.0, "u_k"))
        } else {
            least.clone()
        };
        let title = "loss of copper at 20 °C, drawn evenly in its logarithm";
        let loss = self.line(&loss, "loss", title, "k_own", &PER_DAY);
        let begin = look.start[solute::ALKALINITY];
        let by_reading = years.ranges.start.as_ref().zip(drawn.pond.first());
        let start = by_reading.map(|((least, most), at)| self.between(least, most, *at, "u_K"));
        let start = start
            .filter(|start| near(start.si(), begin))
            .unwrap_or_else(|| self.number(begin, "K_drawn", "carbonate hardness at the start, as drawn", &DEGREE_KH));
        let title = "carbonate hardness the year starts from, anywhere in the kit's step";
        self.line(&start, "start", title, "K_begin", &DEGREE_KH);
        self.day(&full, &thirst, &loss);
    }

    /// The evening before and the flows of the day, one after the other.
    fn day(&mut self, full: &Figure<Volume>, thirst: &Figure<Ratio>, loss: &Figure<Frequency>) {
        let look = self.look;
        let before = look.before.water();
        let eve = format!("on the evening before {}", self.date);
        let volume: Figure<Volume> = self.number(look.before.volume, "V_eve", &format!("volume {eve}"), &CUBIC_METRE);
        let hardness: Figure<CarbonateHardness> =
            self.number(before[solute::ALKALINITY], "K_eve", &format!("carbonate hardness {eve}"), &DEGREE_KH);
        let calcium: Figure<Calcium> =
            self.number(before[solute::CALCIUM], "Ca_eve", &format!("calcium hardness {eve}"), &CALCIUM_CACO3);
        let copper: Figure<MassConcentration> =
            self.number(mass(before[solute::COPPER]), "C_eve", &format!("total copper {eve}"), &COPPER);
        let mut water = Water {
            charge: &hardness * &volume,
            calcium: &calcium * &volume,
            copper: (copper * &volume).meaning(),
            released: None,
            volume,
        };
        let mut solved = false;
        for step in &look.steps {
            solved |= matches!(step.flow, Flow::Lime);
            self.step(step, &mut water, (full, thirst, loss));
        }
        let date = self.date;
        let volume = self.line(
            &water.volume,
            "evening-volume",
            &format!("volume on the evening of {date}"),
            "V_evening",
            &CUBIC_METRE,
        );
        let hardness: Figure<CarbonateHardness> = (&water.charge / &volume).meaning();
        let hardness = if solved {
            hardness.remark("Lime came down on that day: how much is solved, and stands here as a number")
        } else {
            hardness.remark("No lime came down on that day")
        };
        self.line(
            &hardness,
            "evening-hardness",
            &format!("carbonate hardness on the evening of {date}"),
            "K_evening",
            &DEGREE_KH,
        );
        let calcium: Figure<Calcium> = (&water.calcium / &volume).meaning();
        self.line(
            &calcium,
            "evening-calcium",
            &format!("calcium hardness on the evening of {date}"),
            "Ca_evening",
            &CALCIUM_CACO3,
        );
        let copper: Figure<MassConcentration> = (&water.copper / &volume).meaning();
        self.line(&copper, "evening-copper", &format!("total copper on the evening of {date}"), "C_evening", &COPPER);
    }

    /// A volume that moved, as a line: by arithmetic where that gives it, else as the run has it.
    fn moved(
        &mut self,
        step: &Step,
        found: Option<Figure<Volume>>,
        (id, title, symbol): (&str, &str, &str),
    ) -> Figure<Volume> {
        let run = step.moved.water.abs();
        let figure = found.filter(|figure| near(figure.si(), run)).unwrap_or_else(|| {
            self.number(run, &format!("{symbol},run"), &format!("{title}, as the run has it"), &LITRE)
        });
        let title = format!("{title} on {}", self.date);
        self.line(&figure, id, &title, symbol, &LITRE)
    }

    /// What the supply or rain brings.
    fn bringing(&self, of: &Solutes, whose: &str, tag: &str) -> Bringing {
        Bringing {
            hardness: self.number(
                of[solute::ALKALINITY],
                &format!("K_{tag}"),
                &format!("carbonate hardness of {whose}"),
                &DEGREE_KH,
            ),
            calcium: self.number(
                of[solute::CALCIUM],
                &format!("Ca_{tag}"),
                &format!("calcium hardness of {whose}"),
                &CALCIUM_CACO3,
            ),
            copper: self.number(mass(of[solute::COPPER]), &format!("C_{tag}"), &format!("copper of {whose}"), &COPPER),
        }
    }

    /// One flow.
    fn step(
        &mut self,
        step: &Step,
        water: &mut Water,
        (full, thirst, loss): (&Figure<Volume>, &Figure<Ratio>, &Figure<Frequency>),
    ) {
        let (look, care) = (self.look, &self.look.care);
        let depth = |page: &Self, si: f64, symbol: &str, title: &str| -> Figure<Length> {
            page.number(si, symbol, &format!("{title} on {}", page.date), &MILLIMETRE)
        };
        let surface: Figure<Area> = self.number(look.surface, "A_day", "open surface in the morning", &SQUARE_METRE);
        let setting = &look.setting;
        let brim = match care.lowered {
            Some(share) => {
                full * &self.number::<Ratio>(share, "q_low", "share to which the water is let down", &PERCENT)
            }
            None => full.clone(),
        };
        match step.flow {
            Flow::Rain | Flow::Catchment => {
                let fell = depth(self, look.weather.rain, "d_rain", "rain");
                let (area, names) = if step.flow == Flow::Rain {
                    (surface, ("rain", "rain on the open surface", "V_fallen"))
                } else {
                    let area = self.number(setting.catchment, "A_roof", "catchments times their runoff", &SQUARE_METRE);
                    (area, ("catchment", "rain from catchments", "V_roof"))
                };
                let moved = self.moved(step, Some(area * fell), names);
                let brings =
                    setting.rain.iter().any(|c| *c != 0.0).then(|| self.bringing(&setting.rain, "rain", "rain"));
                water.pour(&moved, brings.as_ref());
            }
            Flow::Evaporation | Flow::Falls => {
                let middle = look.weather.evaporation / look.drawn.evaporation.1;
                let drunk = depth(self, middle, "d_evap", "evaporation of the year's own weather, before its factor");
                let volume: Figure<Volume> = surface * (drunk * thirst);
                let moved = if step.flow == Flow::Evaporation {
                    self.moved(step, Some(volume), ("evaporated", "evaporation of still water", "V_evap"))
                } else {
                    let more: Figure<Ratio> =
                        self.number(setting.falls, "q_more", "evaporated by falls and streams beyond that", &PERCENT);
                    self.moved(step, Some(volume * more), ("falls", "evaporation of falls and streams", "V_falls"))
                };
                water.volume = &water.volume - &moved;
            }
            Flow::Splash => {
                let moved = self.moved(step, None, ("splash", "splash and leak with its salts", "V_splash"));
                self.draw(water, &moved, ("splash", "water splashes out"));
            }
            Flow::Leak => {
                let moved = self.moved(step, None, ("leak", "the leak that is named", "V_leak"));
                self.draw(water, &moved, ("leak", "the leak takes its water"));
            }
            Flow::DrainDown => {
                let moved =
                    self.moved(step, Some(&water.volume - &brim), ("drained", "water let down for winter", "V_down"));
                self.draw(water, &moved, ("drained", "it is let down"));
            }
            Flow::ChangeOut | Flow::ChangeIn => {
                let out = step.flow == Flow::ChangeOut;
                let names = if out {
                    ("change-out", "water let out", "V_letout")
                } else {
                    ("change-in", "water let in", "V_letin")
                };
                let share = (out && care.change_volume == 0.0).then(|| {
                    let share: Figure<Ratio> =
                        self.number(care.change_share, "q_change", "share of the water changed", &PERCENT);
                    &water.volume * &share
                });
                let moved = self.moved(step, share, names);
                if out {
                    self.draw(water, &moved, ("letout", "water is let out"));
                } else {
                    let brings = self.bringing(&setting.supply, "the supply, as drawn", "tap");
                    water.pour(&moved, Some(&brings));
                }
            }
            Flow::TopUp => {
                let moved = self.moved(step, Some(&brim - &water.volume), ("top-up", "water topped up", "V_topped"));
                let brings = self.bringing(&setting.supply, "the supply, as drawn", "tap");
                water.pour(&moved, Some(&brings));
            }
            Flow::Overflow => {
                let moved =
                    self.moved(step, Some(&water.volume - &brim), ("overflow", "water over the brim", "V_over"));
                self.draw(water, &moved, ("over", "it runs over"));
            }
            Flow::CopperRelease => {
                let released = self.released(step.moved.amounts[solute::COPPER]);
                let title = format!("copper from the bars on {}", self.date);
                water.released = Some(self.line(&released, "released", &title, "m_bars", &GRAM));
            }
            Flow::CopperLoss => self.lose(step, water, loss),
            // What is solved, or given: doses, feed, lime, and whatever else moves without water.
            _ => self.given(step, water),
        }
    }

    /// Water leaves with what is in it. `of`: for symbols and ids, and in words.
    fn draw(&mut self, water: &mut Water, moved: &Figure<Volume>, (tag, words): (&str, &str)) {
        let date = self.date;
        let title = format!("volume before {words} on {date}");
        let before =
            self.line(&water.volume, &format!("before-{tag}"), &title, &format!("V_before,{tag}"), &CUBIC_METRE);
        let stays: Figure<Ratio> = one() - (moved / &before).meaning::<Ratio>();
        let title = format!("share of all that is dissolved that stays when {words} on {date}");
        let stays = self.line(&stays, &format!("stays-{tag}"), &title, &format!("q_stays,{tag}"), &ONE);
        water.volume = before - moved;
        water.charge = (&water.charge * &stays).meaning();
        water.calcium = (&water.calcium * &stays).meaning();
        water.copper = (&water.copper * &stays).meaning();
    }

    /// Released on the day: by the line of its level where that is what the run had.
    fn released(&self, run: f64) -> Figure<Mass> {
        let run = mass(run);
        let day: Figure<Time> = Figure::counted(1.0, "1 day", "one day", &DAYS);
        let (_, efficiency) = self.look.drawn.efficiency;
        let by_line = self.release.as_ref().map(|release| -> Figure<Mass> {
            let law = (release * &day).meaning();
            if efficiency == 1.0 {
                return law;
            }
            let more: Figure<Ratio> =
                self.number(efficiency, "η_own", "released over what the law asks for, as drawn", &ONE);
            (law * more).meaning()
        });
        by_line.filter(|mass| near(mass.si(), run)).unwrap_or_else(|| {
            let rate: Figure<MassRate> = self.number(
                GRAMS_PER_DAY.si(run * 1000.0),
                "w_run",
                "copper from the bars, as the run has it",
                &GRAMS_PER_DAY,
            );
            (rate * day).meaning()
        })
    }

    /// The alkalinity that copper carries.
    fn charge(&self, copper: &Figure<Mass>) -> Figure<AmountOfSubstance> {
        let two: Figure<Ratio> = Figure::counted(CHARGE_PER_COPPER, "2", "two", &ONE);
        let molar: Figure<MolarMass> =
            Figure::cited(weight::CU, "M(Cu)", "molar mass of copper", &GRAMS_PER_MOLE, &ATOMIC_WEIGHTS);
        (copper / &molar * two).meaning()
    }

    /// Copper lost on the day: all that stood in the water in the morning, and what came little by little as long as it was there.
    fn lose(&mut self, step: &Step, water: &mut Water, loss: &Figure<Frequency>) {
        let warmth: Figure<ThermodynamicTemperature> = self.number(
            CELSIUS.si(self.look.weather.celsius),
            "θ_day",
            &format!("warmth of the water on {}", self.date),
            &CELSIUS,
        );
        let title = format!("{}: loss of copper on {}, at the day's warmth", self.title, self.date);
        let rate = self.book.publish(loss_at("year.member.loss-day", &title, loss, &warmth).called("k_day,own"));
        let day: Figure<Time> = Figure::counted(1.0, "1 day", "one day", &DAYS);
        let zero: Figure<Ratio> = Figure::counted(0.0, "0", "zero", &ONE);
        let spent: Figure<Ratio> = (&rate * &day).meaning();
        let left = (zero - &spent).exp();
        let title = format!("copper in the pond on {} before its bars and its loss", self.date);
        let before = self.line(&water.copper, "copper-before", &title, "m_before", &GRAM);
        let stays: Figure<Mass> = (&before * &left).meaning();
        let after = match water.released.take() {
            Some(released) => stays + (released * ((one() - left) / spent)).meaning::<Mass>(),
            None => stays,
        };
        let run = mass(step.after.amounts[solute::COPPER]);
        let after = if near(after.si(), run) {
            after
        } else {
            self.number(run, "m_run", "copper in the pond, as the run has it", &GRAM)
        };
        let title = format!("copper in the pond on the evening of {}", self.date);
        water.copper = self.line(&after, "copper-after", &title, "m_after", &GRAM);
        // Whatever copper came or went took its alkalinity along.
        water.charge = &water.charge + &self.charge(&(&water.copper - &before));
    }

    /// What moved without water, as the run has it: as so much of the concentration.
    fn given(&self, step: &Step, water: &mut Water) {
        let (tag, words) = match step.flow {
            Flow::Dose => ("dose", "what is dosed"),
            Flow::Feed => ("feed", "what feed takes, as nitrate is made of it"),
            Flow::Lime => ("lime", "what lime takes, as it was solved"),
            _ => ("moved", "what moved beside that"),
        };
        let volume = step.after.volume;
        let [charge, calcium, copper] = [solute::ALKALINITY, solute::CALCIUM, solute::COPPER]
            .map(|at| step.moved.amounts.get(at).copied().unwrap_or(0.0) / volume);
        let title = |of: &str| format!("{of}: {words} on {}", self.date);
        if charge != 0.0 {
            let by: Figure<CarbonateHardness> =
                self.number(charge, &format!("K_{tag}"), &title("carbonate hardness"), &DEGREE_KH);
            water.charge = &water.charge + &(by * &water.volume);
        }
        if calcium != 0.0 {
            let by: Figure<Calcium> =
                self.number(calcium, &format!("Ca_{tag}"), &title("calcium hardness"), &CALCIUM_CACO3);
            water.calcium = &water.calcium + &(by * &water.volume);
        }
        if copper != 0.0 {
            let by: Figure<MassConcentration> =
                self.number(mass(copper), &format!("C_{tag}"), &title("copper"), &COPPER);
            water.copper = &water.copper + &(by * &water.volume).meaning();
        }
    }
}

impl Water {
    /// Water comes in with what it brings; rain brings nothing.
    fn pour(&mut self, moved: &Figure<Volume>, brings: Option<&Bringing>) {
        self.volume = &self.volume + moved;
        let Some(brings) = brings else { return };
        self.charge = &self.charge + &(&brings.hardness * moved);
        self.calcium = &self.calcium + &(&brings.calcium * moved);
        if brings.copper.si() != 0.0 {
            self.copper = &self.copper + &(&brings.copper * moved).meaning();
        }
    }
}

/// Puts the day that a plan shows into its workings.
pub(super) fn show(book: &mut Book, years: &Rc<Years>) {
    if years.draw.members > SHOWN {
        years.lines(book, SHOWN, years.shown(SHOWN));
    }
}
