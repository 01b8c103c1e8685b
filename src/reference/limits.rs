//! Limits and targets as data.

use super::*;

/// Lower edge of the window, °dKH (included).
pub const WINDOW_LOW_DKH: f64 = 5.6;
/// Upper edge of the window, °dKH (not included).
pub const WINDOW_HIGH_DKH: f64 = 14.0;
/// Carbonate hardness the plan corrects to when the site file names none, °dKH [`POND_TARGETS`].
pub const GOAL_DKH: f64 = 7.0;
/// Where a pond that crept up is brought back to, °dKH [`POND_TARGETS`].
pub const CREEP_GOAL_DKH: f64 = 10.0;
/// Carbonate hardness above which a pond is brought back, °dKH [`POND_TARGETS`].
pub const CREEP_TRIGGER_DKH: f64 = 12.0;
/// Below this alkalinity copper is never used, mg/L CaCO3 [`COPPER_FLOOR`].
pub const COPPER_FLOOR_ALKALINITY: f64 = 50.0;
/// Below this calcium hardness there is no curve to stand on, mg/L CaCO3: the lowest point of [`COPPER_SHORT`].
pub const COPPER_FLOOR_CALCIUM: f64 = 16.0;
/// Calcium wanted for protection, mg/L Ca [`POND_TARGETS`], from [`FISH_CALCIUM`].
pub const CALCIUM_GOAL: f64 = 40.0;
/// Calcium below which action is asked for, mg/L Ca [`POND_TARGETS`].
pub const CALCIUM_CARE: f64 = 20.0;
/// Measured 96-h LC50 by alkalinity: (mg/L CaCO3, mg/L total copper) [`COPPER_SHORT`].
pub const LC50_BY_ALKALINITY: [(f64, f64); 3] = [(16.0, 0.05), (76.0, 0.73), (127.0, 0.95)];
/// Lasting limit by hardness: (mg/L CaCO3, mg/L dissolved copper) [`COPPER_LASTING`].
pub const LASTING_BY_HARDNESS: [(f64, f64); 4] = [(10.0, 0.005), (50.0, 0.022), (100.0, 0.040), (300.0, 0.112)];
/// On the straight line between the points of a curve that enclose `x`: flat past the last, nothing below the first.
#[must_use]
pub fn on_curve(x: f64, points: &[(f64, f64)]) -> Option<f64> {
    let (first, last) = (points.first()?, points.last()?);
    if x < first.0 {
        return None;
    }
    if x >= last.0 {
        return Some(last.1);
    }
    points.windows(2).find_map(|pair| match pair {
        [a, b] if x >= a.0 && x < b.0 => Some(a.1 + (x - a.0) * (b.1 - a.1) / (b.0 - a.0)),
        _ => None,
    })
}

/// Un-ionised ammonia, mg/L NH3 [`AMMONIA_LIMIT`].
pub const UNIONISED_LIMIT: f64 = 0.025;
/// Wanted un-ionised ammonia, mg/L NH3 [`AMMONIA_LIMIT`].
pub const UNIONISED_TARGET: f64 = 0.005;
/// Largest change of pH made by a dose [`PH_STEP`].
pub const PH_STEP_LIMIT: f64 = 0.5;
/// pH a dose may lead to at most [`PH_RANGE`].
pub const PH_HIGHEST: f64 = 9.0;
/// Largest rise of carbonate hardness in a day, °dKH [`HARDNESS_STEP`].
pub const HARDNESS_STEP_DKH: f64 = 1.0;
/// Largest rise of general hardness in a day, °dGH [`HARDNESS_STEP`].
pub const GENERAL_STEP_DGH: f64 = 2.0;
/// General hardness at most, °dGH: the high end of its target [`POND_TARGETS`].
pub const GENERAL_HIGH_DGH: f64 = 15.0;
/// Saturation index that water bears before lime comes down, where nothing shows a higher (common practice).
pub const LIME_BORNE: f64 = 1.0;
/// Largest share of the water changed in a day [`CHANGE_SHARE`].
pub const CHANGE_SHARE_DAY: f64 = 0.25;
/// Range of the loss of copper at 20 °C, a day [`COPPER_LOSS`].
pub const LOSS_RANGE: (f64, f64) = (0.1, 1.0);
/// Factor of the loss for each degree [`COPPER_LOSS_WARMTH`].
pub const LOSS_PER_DEGREE: f64 = 1.05;
/// Water temperature at which the season starts and ends, °C (Decisions: three mornings, common practice).
pub const SEASON_CELSIUS: f64 = 8.0;
/// Days a raised spell lasts at least and at most [`SPELLS`].
pub const SPELL_DAYS: (u32, u32) = (7, 14);
/// Days between two raised spells at least [`SPELLS`].
pub const SPELL_GAP_DAYS: f64 = 42.0;
/// Total chlorine over four days, mg/L [`CHLORINE_LIMIT`].
pub const CHLORINE_LASTING: f64 = 0.011;
/// Share of combined chlorine (chloramine) that a pond uses up in a day [`CHLORINE_DECAY`].
pub const CHLORAMINE_USED: f64 = 0.5;
/// The same of free chlorine [`CHLORINE_DECAY`].
pub const FREE_CHLORINE_USED: f64 = 6.0;
/// Alkalinity under which fish are in danger whatever the copper, mg/L CaCO3 [`ALKALINITY_FLOOR`].
pub const FISH_FLOOR_ALKALINITY: f64 = 20.0;
/// Open water over reference evapotranspiration [`OPEN_WATER`].
pub const OPEN_WATER_FACTOR: f64 = 1.05;
/// Averaging time of the lasting limit, days.
pub const LASTING_DAYS: f64 = 28.0;
/// Usable share of a bar [`USABLE_BAR`].
pub const USABLE_SHARE: f64 = 0.6;
/// Salt at most, g/L, as routine: plants suffer above 1 (SA-09), the trade keeps to half.
pub const SALT_ROUTINE: f64 = 0.5;

/// A target for a reading: the row of the table on the water page.
#[derive(Debug)]
pub struct Target {
    /// The reading's name in the program.
    pub reading: &'static str,
    /// Low end in the row's own unit; `None` when one-sided.
    pub low: Option<f64>,
    /// High end.
    pub high: Option<f64>,
    /// Where the target comes from.
    pub citation: &'static Citation,
}

/// Targets that hold for every pond; those that depend on the water (copper, conductivity) are computed.
/// Units: °dKH, °dGH, mg/L Ca, pH, mg/L NH3, mg/L NO2, mg/L NO3, mg/L O2, mg/L Cl2.
pub static TARGETS: &[Target] = &[
    Target { reading: "calcium", low: Some(CALCIUM_GOAL), high: None, citation: &POND_TARGETS },
    Target { reading: "carbonate hardness", low: Some(WINDOW_LOW_DKH), high: Some(WINDOW_HIGH_DKH), citation: &WINDOW },
    Target { reading: "general hardness", low: Some(4.0), high: Some(GENERAL_HIGH_DGH), citation: &POND_TARGETS },
    Target { reading: "nitrate", low: None, high: Some(50.0), citation: &POND_TARGETS },
    Target { reading: "nitrite", low: None, high: Some(0.1), citation: &POND_TARGETS },
    Target { reading: "oxygen at dawn", low: Some(5.0), high: None, citation: &OXYGEN },
    Target { reading: "ph", low: Some(6.5), high: Some(9.0), citation: &PH_RANGE },
    Target { reading: "total chlorine", low: None, high: Some(0.0), citation: &CHLORINE_LIMIT },
    Target { reading: "un-ionised ammonia", low: None, high: Some(UNIONISED_LIMIT), citation: &AMMONIA_LIMIT },
];
