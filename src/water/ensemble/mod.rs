//! Many possible years of one pond: the same care under other weather, from readings as far as their kits leave them open.
//!
//! [`member`] runs one of them, [`run`] all, on as many threads as it is given. Each member draws from a random stream of its
//! own, keyed by seed and number, and what comes of it is counted in whole numbers: the answer is the same bit by bit for
//! any count of threads and any order. Nothing is kept of a member once it is counted, so memory does not grow with them.
//!
//! Bare numbers as in [`balance`](super::balance): m³, m, °C, mol, mol/m³, a day.

mod tally;
mod weather;

use std::sync::atomic::{AtomicU32, Ordering};

use self::tally::{Brackets, Tally};
pub use self::tally::{Counted, Place, Range, Standing, Tenth};
pub use self::weather::{Habits, Normal, Year};
use super::air::{Core, Followed};
use super::balance::{
    self, Care, Chemistry as _, Copper, Evening, Flow, Moved, Pond, Setting, Sky, Solutes, Witness, solute,
};
use crate::chem::followed::Table;

/// What is counted of every day, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Water at the day's end, m³.
    Volume,
    /// Water line below the brim, m.
    Level,
    /// Evaporation with falls, m³.
    Evaporation,
    /// Rain with catchments, m³.
    Rain,
    /// Top-up, m³.
    TopUp,
    /// Water let in for changes, m³.
    Change,
    /// Overflow, m³.
    Overflow,
    /// Alkalinity, mol of charge/m³.
    Hardness,
    /// Calcium and magnesium, mol/m³.
    General,
    /// µS/cm at 25 °C.
    Conductivity,
    /// At rest with the air.
    Ph,
    /// Of the water, °C.
    Temperature,
    /// Calcium, mol/m³.
    Calcium,
    /// Total copper, mol/m³.
    Copper,
}

/// How many quantities are counted.
pub const QUANTITIES: usize = Quantity::Copper as usize + 1;

/// A day's values in the order of [`Quantity`].
pub type Values = [f64; QUANTITIES];

/// Feed that follows warmth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Appetite {
    /// Nitrogen a day that ends as nitrate, fed in full, mol.
    pub full: f64,
    /// Not fed under this, °C.
    pub from: f64,
    /// Fed in full from this, °C.
    pub to: f64,
}

impl Appetite {
    /// Nitrogen on a day of this warmth, mol.
    #[must_use]
    pub fn at(&self, celsius: f64) -> f64 {
        self.full * ((celsius - self.from) / (self.to - self.from)).clamp(0.0, 1.0)
    }
}

/// What a reading leaves open, as a water: how it differs from the water as composed where the reading stands for the least
/// or the most it may. The differences are in electrical balance, as the waters are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubt {
    /// Where the value used stands between least (0) and most (1).
    pub place: f64,
    /// The water of the least, less the water used, mol/m³.
    pub least: Solutes,
    /// The water of the most, less the water used.
    pub most: Solutes,
}

impl Doubt {
    /// Adds to a water what a true value at `at`, 0 to 1, makes it differ.
    fn add(&self, water: &mut Solutes, at: f64) {
        let (share, towards) = if at < self.place {
            ((self.place - at) / self.place, &self.least)
        } else if self.place < 1.0 {
            ((at - self.place) / (1.0 - self.place), &self.most)
        } else {
            return;
        };
        for (c, by) in water.iter_mut().zip(towards) {
            *c += share * by;
        }
    }
}

/// All that differs between members. Every range is taken evenly: what a reading leaves open, it leaves open.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// How the weather varies about its normals; none: it does not.
    pub weather: Option<Habits>,
    /// Least and most volume at the brim, m³.
    pub volume: (f64, f64),
    /// Least and most evaporation, as shares of the middle.
    pub evaporation: (f64, f64),
    /// What the readings of the pond leave open.
    pub pond: Vec<Doubt>,
    /// What those of the supply do.
    pub supply: Vec<Doubt>,
    /// Least and most loss of copper a day at 20 °C, taken evenly in its logarithm: nobody knows its size.
    pub copper_loss: (f64, f64),
    /// Least and most release of copper, over what Faraday's law asks for.
    pub copper_efficiency: (f64, f64),
}

impl Spread {
    /// None at all, for a basin that holds so much and loses its copper so.
    #[must_use]
    pub fn none(full: f64, copper: Copper) -> Self {
        Self {
            weather: None,
            volume: (full, full),
            evaporation: (1.0, 1.0),
            pond: Vec::new(),
            supply: Vec::new(),
            copper_loss: (copper.loss, copper.loss),
            copper_efficiency: (copper.efficiency, copper.efficiency),
        }
    }
}

/// What is the same for all members.
#[derive(Clone, Debug)]
pub struct Given<'a> {
    /// The place.
    pub setting: &'a Setting,
    /// Its chemistry.
    pub chemistry: Core,
    /// Constants over temperature.
    pub table: &'a Table,
    /// The normals of every day.
    pub normals: &'a [Normal],
    /// What is done on every day.
    pub care: &'a [Care],
    /// Feed by warmth, in the place of the care's.
    pub appetite: Option<Appetite>,
    /// The water it starts with.
    pub water: Solutes,
    /// How full it starts, as a share.
    pub filled: f64,
    /// Alkalinity in the window: this or more, and under that.
    pub window: (f64, f64),
    /// What differs.
    pub spread: &'a Spread,
}

/// How many members, and from which seed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Draw {
    /// Members.
    pub members: u32,
    /// Seed.
    pub seed: u64,
}

/// As the program does it where nobody asks otherwise.
pub const USUAL: Draw = Draw { members: 1000, seed: 1 };

/// Members that show how far the values of each day reach, before any is counted.
const PILOTS: u32 = 48;

/// What a member drew, beside its weather: where each doubtful number stands between its least (0) and its most (1), and what
/// that makes of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// Where its volume stands, and what it is, m³.
    pub volume: (f64, f64),
    /// Its evaporation over the middle.
    pub evaporation: (f64, f64),
    /// Where the readings of the pond stand, in the order of [`Spread::pond`].
    pub pond: Vec<f64>,
    /// Where those of the supply do.
    pub supply: Vec<f64>,
    /// Its loss of copper at 20 °C, a day: where its logarithm stands.
    pub loss: (f64, f64),
    /// Its release over what Faraday's law asks for.
    pub efficiency: (f64, f64),
}

/// One member, followed day by day.
struct Life<'g> {
    given: &'g Given<'g>,
    drawn: Drawn,
    weather: Year,
    setting: Setting,
    chemistry: Followed<'g>,
    pond: Pond,
    /// Days that are over.
    index: usize,
}

/// A day of a member as it was lived.
struct Lived {
    values: Values,
    weather: Normal,
    care: Care,
    evening: Evening,
}

impl<'g> Life<'g> {
    fn begin(given: &'g Given<'g>, seed: u64, number: u32) -> Self {
        let spread = given.spread;
        let mut year = Year::new(spread.weather, seed, number);
        let between = |(low, high): (f64, f64), at: f64| low + (high - low) * at;
        let mut draw = |range: (f64, f64)| {
            let at = year.even();
            (at, between(range, at))
        };
        let (volume, evaporation) = (draw(spread.volume), draw(spread.evaporation));
        let mut setting = Setting { basin: given.setting.basin.holding(volume.1), ..given.setting.clone() };
        let mut water = given.water;
        let mut stand = |doubt: &Doubt, water: &mut Solutes| {
            let at = year.even();
            doubt.add(water, at);
            at
        };
        let pond = spread.pond.iter().map(|doubt| stand(doubt, &mut water)).collect();
        let supply = spread.supply.iter().map(|doubt| stand(doubt, &mut setting.supply)).collect();
        possible(&mut water);
        possible(&mut setting.supply);
        let (slow, fast) = spread.copper_loss;
        let loss = if slow < fast && slow > 0.0 {
            let at = year.even();
            (at, libm::exp(between((libm::log(slow), libm::log(fast)), at)))
        } else {
            (0.0, slow)
        };
        let at = year.even();
        let efficiency = (at, between(spread.copper_efficiency, at));
        setting.copper = Copper { efficiency: efficiency.1, loss: loss.1 };
        let chemistry = Followed::new(given.chemistry, given.table);
        let begin = Pond::of(volume.1 * given.filled, &water);
        let drawn = Drawn { volume, evaporation, pond, supply, loss, efficiency };
        Self { given, drawn, weather: year, setting, chemistry, pond: begin, index: 0 }
    }

    /// The next day; `None` after the last.
    fn day<W: Witness>(&mut self, witness: &mut W) -> Option<Lived> {
        let given = self.given;
        let (normal, care) = (given.normals.get(self.index)?, given.care.get(self.index)?);
        self.index += 1;
        let today = self.weather.day(normal);
        let celsius = today.celsius;
        let warmth = self.chemistry.at(celsius);
        let sky = Sky { evaporation: today.evaporation * self.drawn.evaporation.1, rain: today.rain, celsius, warmth };
        let mut care = *care;
        if let Some(appetite) = &given.appetite {
            care.feed = appetite.at(celsius);
        }
        let evening = balance::day(&self.setting, &self.chemistry, &sky, &care, &mut self.pond, witness);
        let water = &evening.water;
        let (ph, conductivity) = self.chemistry.read(&sky.warmth, water);
        let values = [
            evening.volume,
            evening.below_brim,
            evening.evaporation,
            evening.rain,
            evening.top_up,
            evening.change,
            evening.overflow,
            water[solute::ALKALINITY],
            water[solute::CALCIUM] + water[solute::MAGNESIUM],
            conductivity,
            ph,
            celsius,
            water[solute::CALCIUM],
            water[solute::COPPER],
        ];
        let weather = Normal { evaporation: sky.evaporation, rain: sky.rain, celsius };
        Some(Lived { values, weather, care, evening })
    }
}

/// One member's year, day by day. The same for the same seed and number, whatever else runs.
pub fn member(given: &Given<'_>, seed: u64, number: u32, mut each: impl FnMut(usize, &Values)) {
    let mut life = Life::begin(given, seed, number);
    let mut index = 0;
    while let Some(lived) = life.day(&mut ()) {
        each(index, &lived.values);
        index += 1;
    }
}

/// A flow of a day: what moved, and the pond after it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Which.
    pub flow: Flow,
    /// What it moved.
    pub moved: Moved,
    /// The pond after it.
    pub after: Pond,
}

/// One day of one member, flow by flow.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// What the member drew.
    pub drawn: Drawn,
    /// Its water when its year began, mol/m³.
    pub start: Solutes,
    /// The place as the member has it.
    pub setting: Setting,
    /// What was done on that day.
    pub care: Care,
    /// Evaporation of still water, m; rain, m; the water's warmth, °C.
    pub weather: Normal,
    /// The evening before.
    pub before: Pond,
    /// Surface of the water in the morning, m².
    pub surface: f64,
    /// All that moved, in order.
    pub steps: Vec<Step>,
    /// The evening.
    pub evening: Evening,
}

/// Notes the flows of a day.
#[derive(Default)]
struct Notes(Vec<Step>);

impl Witness for Notes {
    fn saw(&mut self, flow: Flow, moved: &Moved, _: &Pond, after: &Pond) {
        self.0.push(Step { flow, moved: *moved, after: *after });
    }
}

/// One member's day, counted from 0, flow by flow; `None` beyond the last.
#[must_use]
pub fn look(given: &Given<'_>, seed: u64, number: u32, day: usize) -> Option<Look> {
    let mut life = Life::begin(given, seed, number);
    let start = life.pond.water();
    for _ in 0..day {
        life.day(&mut ())?;
    }
    let before = life.pond;
    let mut notes = Notes::default();
    let Lived { weather, care, evening, .. } = life.day(&mut notes)?;
    Some(Look {
        start,
        care,
        weather,
        before,
        surface: life.setting.basin.surface(before.volume),
        steps: notes.0,
        evening,
        drawn: life.drawn,
        setting: life.setting,
    })
}

/// No ion can be less than absent. What a doubt took too much of is within its own roughness.
fn possible(water: &mut Solutes) {
    for c in water.iter_mut().skip(solute::ALKALINITY + 1) {
        *c = c.max(0.0);
    }
}

/// Every member, counted. `threads`: how many work at it; the answer does not hang on that.
#[must_use]
pub fn run(given: &Given<'_>, draw: Draw, threads: usize) -> Counted {
    let days = given.normals.len().min(given.care.len());
    let members = draw.members.max(1);
    let threads = threads.clamp(1, 64);
    let year = |number: u32, values: &mut Vec<Values>| {
        values.clear();
        member(given, draw.seed, number, |_, today| values.push(*today));
    };
    let first = PILOTS.min(members);
    let pilots: Vec<Vec<Values>> = spread_over(threads, 0, first, |numbers| {
        let mut out = Vec::new();
        while let Some(number) = numbers.next() {
            let mut values = Vec::with_capacity(days);
            year(number, &mut values);
            out.push(values);
        }
        out
    })
    .into_iter()
    .flatten()
    .collect();
    let brackets = Brackets::around(days, &pilots);
    let mut all = Tally::new(days);
    for pilot in &pilots {
        all.count(&brackets, pilot, given.window);
    }
    drop(pilots);
    let tallies = spread_over(threads, first, members, |numbers| {
        let mut tally = Tally::new(days);
        let mut values = Vec::with_capacity(days);
        while let Some(number) = numbers.next() {
            year(number, &mut values);
            tally.count(&brackets, &values, given.window);
        }
        tally
    });
    for tally in tallies {
        all.add(tally);
    }
    all.finish(&brackets, members)
}

/// Numbers handed out one by one, to whoever asks.
struct Numbers<'a> {
    next: &'a AtomicU32,
    end: u32,
}

impl Numbers<'_> {
    fn next(&self) -> Option<u32> {
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        (number < self.end).then_some(number)
    }
}

/// What every thread makes of the numbers it gets hold of. A thread that cannot be started is done without.
fn spread_over<R: Send>(threads: usize, from: u32, end: u32, work: impl Fn(&Numbers<'_>) -> R + Sync) -> Vec<R> {
    let next = AtomicU32::new(from);
    let numbers = || Numbers { next: &next, end };
    std::thread::scope(|scope| {
        let work = &work;
        let started: Vec<_> = (1..threads)
            .filter_map(|_| {
                let numbers = numbers();
                std::thread::Builder::new().spawn_scoped(scope, move || work(&numbers)).ok()
            })
            .collect();
        let mut out = vec![work(&numbers())];
        for thread in started {
            match thread.join() {
                Ok(made) => out.push(made),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        out
    })
}
