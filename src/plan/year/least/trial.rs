//! A year run once more, with what a schedule adds to the care.

use chrono::NaiveDate;

use crate::plan::year::model::Model;
use crate::water::air::{Core, CoreWarmth};
use crate::water::balance::{self, Care, Copper, Flow, Ledger, Moved, Pond, Setting, Sky, Solutes, Witness, solute};

/// All that a run of the balance needs, to try a schedule on it: by the planning, and once more by the safety check.
#[derive(Clone, Debug)]
pub struct Trial {
    /// Every day.
    pub dates: Vec<NaiveDate>,
    /// The place.
    pub setting: Setting,
    /// Air and lime.
    pub chemistry: Core,
    /// The weather.
    pub sky: Vec<Sky<CoreWarmth>>,
    /// What is done without the schedule.
    pub care: Vec<Care>,
    /// The pond at the start.
    pub begin: Pond,
}

/// What a schedule adds on a day.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Extra {
    /// Water changed, m³.
    pub change: f64,
    /// Substances added, mol.
    pub dose: Solutes,
}

/// An evening of a trial.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TrialEvening {
    /// mol/m³.
    pub water: Solutes,
    /// Topped up, m³.
    pub top_up: f64,
    /// Calcium that came down as lime, mol.
    pub lime: f64,
}

impl TrialEvening {
    /// Carbonate hardness, mol/m³.
    #[must_use]
    pub fn hardness(&self) -> f64 {
        self.water[solute::ALKALINITY]
    }
}

/// Sees the lime that comes down.
#[derive(Default)]
struct Fallen(f64);

impl Witness for Fallen {
    fn saw(&mut self, flow: Flow, moved: &Moved, _: &Pond, _: &Pond) {
        if flow == Flow::Lime {
            self.0 -= moved.amounts[solute::CALCIUM];
        }
    }
}

/// What is done on a day, and what a schedule adds to it.
fn with(care: &Care, extra: &Extra) -> Care {
    let mut care = Care { change_volume: care.change_volume + extra.change, ..*care };
    for (sum, more) in care.dose.iter_mut().zip(&extra.dose) {
        *sum += more;
    }
    care
}

impl Trial {
    /// `charges`: alkalinity that copper brought on each day of the forecast less what it took, mol. Copper itself is left
    /// out here: how much there is hangs on the water, and the days of the search are straight.
    pub(super) fn new(model: &Model, charges: &[f64]) -> Self {
        let mut trial = Self {
            dates: model.dates.clone(),
            setting: model.setting.clone(),
            chemistry: model.chemistry,
            sky: model.sky.clone(),
            care: model.care.clone(),
            begin: model.begin,
        };
        trial.setting.copper = Copper::KEPT;
        for (care, charge) in trial.care.iter_mut().zip(charges) {
            care.copper = 0.0;
            care.charge = *charge;
        }
        trial
    }

    /// One day of the pond, with what is added on it; `None` beyond the last.
    #[must_use]
    pub fn day(&self, index: usize, pond: &mut Pond, extra: &Extra) -> Option<TrialEvening> {
        Some(self.day_in(&self.setting, self.sky.get(index)?, self.care.get(index)?, pond, extra))
    }

    fn day_in(
        &self,
        setting: &Setting,
        sky: &Sky<CoreWarmth>,
        care: &Care,
        pond: &mut Pond,
        extra: &Extra,
    ) -> TrialEvening {
        let mut fallen = Fallen::default();
        let evening = balance::day(setting, &self.chemistry, sky, &with(care, extra), pond, &mut fallen);
        TrialEvening { water: evening.water, top_up: evening.top_up, lime: fallen.0 }
    }

    /// The evenings when `extra` is done as well (a day without an entry adds nothing), in a pond that holds `full` m³ at the
    /// brim.
    #[must_use]
    pub fn run(&self, extra: &[Extra], full: f64) -> Vec<TrialEvening> {
        let size = full / self.setting.basin.full;
        let setting = Setting { basin: self.setting.basin.holding(full), ..self.setting.clone() };
        let mut pond = Pond::of(self.begin.volume * size, &self.begin.water());
        let more = extra.iter().copied().chain(std::iter::repeat(Extra::default()));
        let days = self.sky.iter().zip(&self.care).zip(more);
        days.map(|((sky, care), extra)| self.day_in(&setting, sky, care, &mut pond, &extra)).collect()
    }

    /// The books of one day at the volume the forecast takes: the pond before it, what was moved, the pond after it. `None` beyond the
    /// last day.
    #[must_use]
    pub fn books(&self, extra: &[Extra], index: usize) -> Option<(Pond, Ledger, Pond)> {
        let more = |day: usize| extra.get(day).copied().unwrap_or_default();
        let mut pond = Pond::of(self.begin.volume, &self.begin.water());
        for day in 0..index {
            self.day(day, &mut pond, &more(day))?;
        }
        let (before, mut ledger) = (pond, Ledger::default());
        let care = with(self.care.get(index)?, &more(index));
        balance::day(&self.setting, &self.chemistry, self.sky.get(index)?, &care, &mut pond, &mut ledger);
        Some((before, ledger, pond))
    }

    /// At the volume the forecast takes.
    #[must_use]
    pub fn at_middle(&self, extra: &[Extra]) -> Vec<TrialEvening> {
        self.run(extra, self.setting.basin.full)
    }
}
