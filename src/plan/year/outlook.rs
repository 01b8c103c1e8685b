//! What the forecast says of the water before a level is set: how warm, how hard, how much protected from copper, day by day.

use chrono::NaiveDate;

use super::model::Model;
use crate::water::ensemble::{Counted, Quantity, Range};

/// The days of the forecast as the schedule looks at them.
#[derive(Clone, Debug)]
pub struct Outlook {
    /// Its first day.
    pub first: NaiveDate,
    /// Every day.
    pub days: Vec<Ahead>,
}

/// One day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ahead {
    /// Water in the middle, °C.
    pub celsius: f64,
    /// Water in the coldest of ten possible years.
    pub coldest: f64,
    /// Carbonate hardness, mol of charge/m³.
    pub hardness: Range,
    /// The 10th percentile of calcium, mol/m³.
    pub calcium: f64,
    /// Water is changed or something is added on this day.
    pub busy: bool,
}

impl Outlook {
    pub(super) fn of(model: &Model, counted: &Counted) -> Self {
        let ranges = |quantity| counted.ranges(quantity);
        let days = model
            .sky
            .iter()
            .zip(&model.care)
            .zip(ranges(Quantity::Temperature).zip(ranges(Quantity::Hardness)))
            .zip(ranges(Quantity::Calcium))
            .map(|(((sky, care), (warmth, hardness)), calcium)| Ahead {
                celsius: sky.celsius,
                coldest: warmth.low,
                hardness,
                calcium: calcium.low,
                busy: care.change_share > 0.0
                    || care.change_volume > 0.0
                    || care.dose.iter().any(|amount| *amount != 0.0),
            })
            .collect();
        Self { first: model.dates.first().copied().unwrap_or(model.first), days }
    }

    /// The day of a date. A date before the forecast has its first day; one after it has the water of its last day, in the
    /// warmth of a year before: what is not looked at any more is not taken to get better.
    #[must_use]
    pub fn near(&self, date: NaiveDate) -> Option<Ahead> {
        let last = self.days.len().checked_sub(1)?;
        let index = usize::try_from((date - self.first).num_days()).unwrap_or(0);
        if let Some(day) = self.days.get(index) {
            return Some(*day);
        }
        let (year_before, last) = (self.days.get(index % self.days.len())?, self.days.get(last)?);
        Some(Ahead { celsius: year_before.celsius, coldest: year_before.coldest, busy: false, ..*last })
    }
}
