//! One possible year of weather about the normals of a place.
//!
//! Rain: wet and dry days follow each other as a first-order Markov chain, and a wet day's rain is exponential; warmth and
//! evaporation carry on from day to day as first-order autoregressions (Richardson 1981, Water Resources Research
//! 17:182-190, from memory). Over all members the mean of each day is exactly its normal. The numbers in [`Habits`] are
//! common practice for open ponds of the temperate belt, and the plan lists them as assumed.

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng as _, SeedableRng as _};

/// A day's mean weather: m of evaporation, m of rain, °C of the water.
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(missing_docs, reason = "the names are the quantities, their units stand above")]
pub struct Normal {
    pub evaporation: f64,
    pub rain: f64,
    pub celsius: f64,
}

/// How weather varies about its normals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habits {
    /// Rain of a mean wet day, m: with the month's rain it says how many days are wet.
    pub wet_day: f64,
    /// Share of wet days that no month passes.
    pub most_wet: f64,
    /// How much likelier rain is after a wet day than after a dry one.
    pub carried_on: f64,
    /// Standard deviation of a year's rain beside what its days make, as a share.
    pub rain_year: f64,
    /// Standard deviation of a day's evaporation (its logarithm), and how much of it the next day keeps.
    pub evaporation_day: (f64, f64),
    /// Standard deviation of a year's evaporation beside that, as a share.
    pub evaporation_year: f64,
    /// Correlation of a year's evaporation with its rain: dry years are sunny.
    pub sunny_when_dry: f64,
    /// Standard deviation of the water's warmth on a day, °C, and how much of it the next day keeps.
    pub warmth_day: (f64, f64),
    /// Standard deviation of a year's mean warmth, °C.
    pub warmth_year: f64,
}

impl Habits {
    /// Common practice.
    pub const USUAL: Self = Self {
        wet_day: 0.005,
        most_wet: 0.75,
        carried_on: 0.25,
        rain_year: 0.10,
        evaporation_day: (0.35, 0.5),
        evaporation_year: 0.08,
        sunny_when_dry: -0.5,
        warmth_day: (1.5, 0.9),
        warmth_year: 0.7,
    };
}

/// The coldest a pond's water gets, °C.
const COLDEST: f64 = 0.5;

/// The weather of one member.
#[derive(Clone, Debug)]
pub struct Year {
    random: Pcg64Mcg,
    /// A second normal number that came with the first.
    spare: Option<f64>,
    habits: Option<Habits>,
    rain: f64,
    evaporation: f64,
    warmth: f64,
    /// What is new of a day's evaporation and warmth, so that their deviation stays.
    fresh: (f64, f64),
    /// Standing of the day's evaporation and warmth, in standard deviations; none before the first day.
    standing: Option<(f64, f64)>,
    wet: bool,
    /// The chance with which the present day was wet, over all members.
    chance: f64,
}

impl Year {
    /// The year of a member.
    #[must_use]
    pub fn new(habits: Option<Habits>, seed: u64, number: u32) -> Self {
        // Odd multipliers keep every pair of seed and number apart; the generator spreads them over its whole state.
        let key = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(32) ^ u64::from(number);
        let mut year = Self {
            random: Pcg64Mcg::seed_from_u64(key),
            spare: None,
            habits,
            rain: 1.0,
            evaporation: 1.0,
            warmth: 0.0,
            fresh: (1.0, 1.0),
            standing: None,
            wet: false,
            chance: 0.0,
        };
        if let Some(habits) = &habits {
            let (wet, own, warm) = (year.normal(), year.normal(), year.normal());
            let together = habits.sunny_when_dry;
            let thirsty = together * wet + libm::sqrt((1.0 - together * together).max(0.0)) * own;
            year.rain = (1.0 + habits.rain_year * wet).max(0.0);
            year.evaporation = (1.0 + habits.evaporation_year * thirsty).max(0.0);
            year.warmth = habits.warmth_year * warm;
            let fresh = |kept: f64| libm::sqrt((1.0 - kept * kept).max(0.0));
            year.fresh = (fresh(habits.evaporation_day.1), fresh(habits.warmth_day.1));
        }
        year
    }

    /// A number from 0 to under 1, all alike likely.
    pub fn even(&mut self) -> f64 {
        (self.random.next_u64() >> 11) as f64 * (1.0 / (1_u64 << 53) as f64)
    }

    /// A normal number, mean 0, deviation 1: by Marsaglia's polar method, which makes two at once.
    fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (x, y) = (2.0 * self.even() - 1.0, 2.0 * self.even() - 1.0);
            let square = x * x + y * y;
            if square > 0.0 && square < 1.0 {
                let by = libm::sqrt(-2.0 * libm::log(square) / square);
                self.spare = Some(y * by);
                return x * by;
            }
        }
    }

    /// The next day about its normals.
    pub fn day(&mut self, normal: &Normal) -> Normal {
        let Some(habits) = self.habits else { return *normal };
        let (dry, warm) = (self.normal(), self.normal());
        let (evaporation, warmth) = match self.standing {
            None => {
                self.chance = wet_share(&habits, normal.rain);
                self.wet = self.even() < self.chance;
                (dry, warm)
            }
            Some((evaporation, warmth)) => {
                let rise = habits.carried_on;
                let after_dry = (1.0 - rise) * wet_share(&habits, normal.rain);
                let wet = self.even() < if self.wet { after_dry + rise } else { after_dry };
                self.chance = after_dry + rise * self.chance;
                self.wet = wet;
                let (keeps, fresh) = ((habits.evaporation_day.1, habits.warmth_day.1), self.fresh);
                (keeps.0 * evaporation + fresh.0 * dry, keeps.1 * warmth + fresh.1 * warm)
            }
        };
        self.standing = Some((evaporation, warmth));
        // What a wet day brings makes up for how seldom one comes: the mean over all members is the normal on every day.
        let rain = if self.wet && self.chance > 0.0 && normal.rain > 0.0 {
            -libm::log(1.0 - self.even()) * normal.rain / self.chance * self.rain
        } else {
            0.0
        };
        let deviation = habits.evaporation_day.0;
        let thirst = libm::exp(deviation * (evaporation - 0.5 * deviation)) * self.evaporation;
        Normal {
            evaporation: normal.evaporation * thirst,
            rain,
            celsius: (normal.celsius + self.warmth + habits.warmth_day.0 * warmth).max(COLDEST),
        }
    }
}

/// Share of wet days in a month with so much rain a day.
fn wet_share(habits: &Habits, rain: f64) -> f64 {
    (rain / habits.wet_day).clamp(0.0, habits.most_wet)
}
