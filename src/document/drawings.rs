//! Which drawing stands behind which name of a template.

use chrono::NaiveDate;

use super::Source;
use super::words::{Reader, weekday};
use crate::drawing::{self, CopperChart, Gauge, LevelStrip, LogChart, Point, Stairs, YearStrip};
use crate::page::{Captioned, Drawing, Inline};
use crate::plan::Judged;
use crate::reference::{WINDOW_HIGH_DKH, WINDOW_LOW_DKH};
use crate::site::PhotoPart;
use crate::units::Si;
use crate::units::table::{CELSIUS, DEGREE_KH};

/// Every drawing that a template can name, in order, with what it shows. `KEY` stands for a reading's key.
#[rustfmt::skip]
pub const DRAWINGS: &[(&str, &str)] = &[
    ("copper-year",  "copper to expect over the year, with watch and stop"),
    ("gauge/KEY",    "one reading on its scale, for a table's cell, such as gauge/calcium"),
    ("hardness-log", "carbonate hardness over the visits"),
    ("level-strip",  "output level over the year"),
    ("staircase",    "carbonate hardness, dose by dose"),
    ("year-strip",   "output level over the year, for the sheet in the shed"),
];

/// Finds drawings by name.
#[derive(Debug)]
pub struct Drawings<'a> {
    pub(super) source: &'a Source<'a>,
    pub(super) reader: &'a Reader,
}

/// The days a correction's day table shows: from the plan's date to two days after the last dose, one week at most.
pub fn correction_days(source: &Source<'_>) -> Vec<NaiveDate> {
    let Some(buffer) = &source.plan.correction.buffer else { return Vec::new() };
    let last = buffer.days.last().copied().unwrap_or(source.plan.date);
    let count = ((last - source.plan.date).num_days() + 2).clamp(3, 8) as u64;
    (0..count).filter_map(|i| source.plan.date.checked_add_days(chrono::Days::new(i))).collect()
}

impl Drawings<'_> {
    /// The drawing of this name; `None` for an unknown name or one with nothing to show.
    pub fn find(&self, name: &str) -> Option<Drawing> {
        if let Some(key) = name.strip_prefix("gauge/") {
            return self.gauge(key);
        }
        match name {
            "hardness-log" => self.hardness_log(),
            "staircase" => self.staircase(),
            "level-strip" => self.level_strip(),
            "copper-year" => self.copper_year(),
            "year-strip" => self.year_strip(),
            _ => None,
        }
    }

    /// The photographs of a part of the plan.
    pub fn photos(&self, part: &str) -> Vec<Captioned> {
        let part = PhotoPart::ALL.iter().find(|(word, _)| *word == part).map(|(_, part)| *part);
        let here = self.source.photos.iter().filter(|pictured| Some(pictured.part) == part);
        here.map(|pictured| Captioned {
            photo: pictured.photo.clone(),
            alternative: pictured.alternative.clone(),
            caption: if pictured.caption.is_empty() {
                Vec::new()
            } else {
                vec![Inline::Text(pictured.caption.clone())]
            },
        })
        .collect()
    }

    fn width(&self) -> f32 {
        self.source.style.grid().main_width
    }

    fn gauge(&self, key: &str) -> Option<Drawing> {
        let row = self.source.plan.readings.iter().find(|r| r.key == key)?;
        let unit = self.reader.shown(key).unit;
        let verdict = match row.judged {
            Judged::Good => "inside the target",
            Judged::TooLow => "below the target",
            Judged::TooHigh => "above the target",
            Judged::TreatSupply => "the supply must be treated",
            Judged::TestIt => "not measured",
            Judged::NoTarget => "no target is set",
        };
        // A one-sided target starts at zero; chlorine's target is zero itself, so its scale is the supply's.
        let high = row.high.map(|h| unit.of(h)).map(|h| if h <= 0.0 { 0.1 } else { h });
        Some(drawing::gauge(&Gauge {
            low: row.low.map(|l| unit.of(l)),
            high,
            pond: row.pond.map(|p| unit.of(p)),
            supply: row.supply.map(|s| unit.of(s)),
            asked: key != "chlorine",
            alternative: format!("{}: {verdict}", key.replace('-', " ")),
        }))
    }

    fn hardness_log(&self) -> Option<Drawing> {
        let key = "carbonate-hardness";
        let unit = self.reader.shown(key).unit;
        let points: Vec<Point> = self
            .source
            .site
            .visits
            .iter()
            .filter_map(|v| {
                let reading = v.pond.carbonate_hardness.as_ref()?;
                Some(Point {
                    date: v.date,
                    value: unit.of(reading.value.si()),
                    label: self.reader.number(key, reading.value.si()),
                    less_than: reading.less_than,
                })
            })
            .collect();
        let (first, last) = (points.first()?, points.last()?);
        let (low, high) = (DEGREE_KH.si(WINDOW_LOW_DKH), DEGREE_KH.si(WINDOW_HIGH_DKH));
        let alternative = format!(
            "Carbonate hardness was {} on {} and {} on {}. The window is {} to {}.",
            first.label,
            self.reader.day_year(first.date),
            last.label,
            self.reader.day_year(last.date),
            self.reader.target(key, low),
            self.reader.target(key, high),
        );
        let symbol = self.reader.shown(key).symbol;
        Some(drawing::log_chart(&LogChart {
            width: self.width(),
            window: Some((unit.of(low), unit.of(high))),
            axis: vec![
                (unit.of(high), format!("{}\u{a0}{symbol}", self.reader.target(key, high))),
                (unit.of(low), self.reader.target(key, low)),
                (0.0, "0".into()),
            ],
            above: vec!["Copper is bound".into(), "and of little use".into()],
            inside: vec!["The window:".into(), "safe and useful".into()],
            below: vec!["Copper can".into(), "kill fish".into()],
            points,
            alternative,
        }))
    }

    fn staircase(&self) -> Option<Drawing> {
        let buffer = self.source.plan.correction.buffer.as_ref()?;
        let key = "carbonate-hardness";
        let unit = self.reader.shown(key).unit;
        let days = correction_days(self.source);
        let at = |rise: f64| -> Vec<f64> {
            days.iter()
                .map(|day| {
                    let doses = buffer.days.iter().filter(|d| *d <= day).count() as f64;
                    unit.of(buffer.start.si() + doses * rise)
                })
                .collect()
        };
        let (low, high) = (at(buffer.rise_least.si()), at(buffer.rise_most.si()));
        let doses = buffer
            .days
            .iter()
            .filter_map(|d| Some((days.iter().position(|x| x == d)?, self.reader.mass(buffer.dose.si()))))
            .collect();
        let window = (unit.of(DEGREE_KH.si(WINDOW_LOW_DKH)), unit.of(DEGREE_KH.si(WINDOW_HIGH_DKH)));
        let start = unit.of(buffer.start.si());
        let top = high.last().copied().unwrap_or(start);
        let step = if unit.size > DEGREE_KH.size * 0.5 { 1.0 } else { 20.0 };
        let mut axis: Vec<(f64, String)> = Vec::new();
        let mut value = libm::floor(start.min(window.0) / step) * step;
        while value <= top.max(window.0) + step && axis.len() < 12 {
            axis.push((value, crate::units::plain(value, crate::units::Digits::Places(0))));
            value += step;
        }
        let symbol = self.reader.shown(key).symbol;
        if let Some(last) = axis.last_mut() {
            last.1 = format!("{}\u{a0}{symbol}", last.1);
        }
        let end = |si: f64| self.reader.number(key, si);
        let volume = &self.source.plan.volume;
        let alternative = format!(
            "Carbonate hardness rises in {} doses from {} to between {} and {}.",
            buffer.days.len(),
            end(buffer.start.si()),
            end(buffer.after_least.si()),
            end(buffer.after_most.si()),
        );
        Some(drawing::staircase(&Stairs {
            width: self.width(),
            start,
            start_index: 0,
            low,
            high,
            doses,
            window: Some(window),
            axis,
            window_label: vec![
                "The window".into(),
                format!("starts at {}", self.reader.quantity(key, DEGREE_KH.si(WINDOW_LOW_DKH))),
            ],
            start_label: vec!["Reading before".into(), format!("the doses: {}", end(buffer.start.si()))],
            end_high: format!(
                "{} if the pond holds {}",
                end(buffer.after_most.si()),
                self.reader.volume(volume.low.si(), crate::workings::Way::Down)
            ),
            end_low: format!(
                "{} if it holds {}",
                end(buffer.after_least.si()),
                self.reader.volume(volume.high.si(), crate::workings::Way::Up)
            ),
            days,
            alternative,
        }))
    }

    fn level_strip(&self) -> Option<Drawing> {
        let schedule = self.source.plan.schedule.as_ref()?;
        let first = self.source.plan.date;
        let mut axis = vec![(schedule.holding, format!("step {}", schedule.holding))];
        if let Some(raised) = schedule.raised {
            axis.push((raised, format!("step {raised}")));
        }
        if schedule.raised != Some(schedule.steps) {
            axis.push((schedule.steps, format!("step {}", schedule.steps)));
        }
        let mut marks: Vec<(NaiveDate, Vec<String>)> = Vec::new();
        for spell in &schedule.spells {
            marks.push((spell.not_before, vec![self.reader.day(spell.not_before)]));
            marks.push((spell.back, vec!["back down".into(), self.reader.day(spell.back)]));
        }
        let raised = schedule.raised.map_or_else(String::new, |r| {
            format!(" and at step {r} in {} raised spells", super::words::count_word(schedule.spells.len() as u64))
        });
        Some(drawing::level_strip(&LevelStrip {
            width: self.width(),
            first,
            levels: schedule.levels.clone(),
            steps: schedule.steps,
            axis,
            marks,
            title: vec!["Output level".into(), "steps of the panel".into()],
            alternative: format!(
                "The panel stands at step {} while the water is warm enough{raised}, else at zero.",
                schedule.holding
            ),
        }))
    }

    fn copper_year(&self) -> Option<Drawing> {
        let schedule = self.source.plan.schedule.as_ref()?;
        let limits = self.source.plan.limits.as_ref()?;
        let path = &schedule.path;
        let first = path.first?;
        let key = "total-copper";
        let unit = self.reader.shown(key).unit;
        let number = |v: &Vec<f64>| v.iter().map(|c| unit.of(*c)).collect::<Vec<f64>>();
        let high = number(&path.high);
        let most = high.iter().copied().fold(0.0, f64::max);
        let top = unit.of(limits.stop.si()).max(most);
        // A round step that gives four to six numbers.
        let decade = libm::pow(10.0, libm::floor(libm::log10(top.max(1e-9))));
        let step = [0.1, 0.2, 0.5, 1.0].into_iter().map(|s| s * decade).find(|s| top / s <= 6.0).unwrap_or(decade);
        let places = if step >= 1.0 { 0 } else { libm::ceil(-libm::log10(step)) as usize };
        let mut axis = Vec::new();
        let mut count = 0.0;
        while count * step < top && axis.len() < 12 {
            axis.push((
                count * step,
                crate::units::plain(count * step, crate::units::Digits::Places(if count == 0.0 { 0 } else { places })),
            ));
            count += 1.0;
        }
        let stop = self.reader.number(key, limits.stop.si());
        let watch = self.reader.number(key, limits.watch.si());
        Some(drawing::copper_chart(&CopperChart {
            width: self.width(),
            first,
            low: number(&path.low),
            middle: number(&path.middle),
            high,
            stop: (unit.of(limits.stop.si()), format!("Stop {stop}: level zero, change water")),
            watch: (unit.of(limits.watch.si()), format!("Watch {watch}: test every second day")),
            axis,
            note: "middle, and the range of losses and volume".into(),
            title: vec![
                "Copper in the pond".into(),
                "forecast of total".into(),
                format!("copper, {}", self.reader.shown(key).symbol),
            ],
            alternative: format!(
                "Total copper is forecast to stay at {} or less, under stop at {stop}, in the next twelve months.",
                crate::units::plain(most, crate::units::Digits::Significant(2)),
            ),
        }))
    }

    fn year_strip(&self) -> Option<Drawing> {
        if self.source.squeeze >= 1 {
            return None;
        }
        let schedule = self.source.plan.schedule.as_ref()?;
        let grid = self.source.style.grid();
        Some(drawing::year_strip(&YearStrip {
            width: grid.main_x + grid.main_width - grid.label_x,
            first: self.source.plan.date,
            levels: schedule.levels.clone(),
            steps: schedule.steps,
            alternative: format!("Step {} while the water is warm, raised only in spells.", schedule.holding),
        }))
    }
}

/// Head of a day's column.
pub fn column_head(date: NaiveDate) -> String {
    use chrono::Datelike;
    format!("{}\u{a0}{}", weekday(date), date.day())
}

/// Water temperature of the plan in °C, for sentences that depend on the season.
pub fn celsius(source: &Source<'_>) -> Option<f64> {
    source.plan.temperature.as_ref().map(|t| CELSIUS.of(t.si()))
}
