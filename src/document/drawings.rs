//! Which drawing stands behind which name of a template.

use chrono::NaiveDate;

use super::Source;
use super::aloud::aloud;
use super::lines::Lines;
use super::view::{reading_name, target_words};
use super::words::{Reader, count_word, cut, weekday};
use crate::drawing::{
    self, CopperChart, Floor, Gauge, LevelStrip, Limit, Log, Panel, Point, Said, SectionSketch, SketchPart, Stairs,
    Ticks, YearStrip,
};
use crate::page::style::{MM, Paper};
use crate::page::{Captioned, Drawing, Inline};
use crate::plan::{Chance, ChangePlan, ChangeReason, CopperLimits, Judged, Quantity, Range, Schedule};
use crate::reference::{WINDOW_HIGH_DKH, WINDOW_LOW_DKH};
use crate::site::{Depth, PhotoPart, Reading, Readings, Section, Shape};
use crate::units::Si;
use crate::units::table::{CELSIUS, DEGREE_KH, weight};
use crate::workings::{Figure, Way};

/// Every drawing that a template can name, in order, with what it shows. `KEY` stands for a reading's key.
#[rustfmt::skip]
pub const DRAWINGS: &[(&str, &str)] = &[
    ("changes-copper",   "copper, water change by water change"),
    ("changes-hardness", "carbonate hardness, water change by water change"),
    ("conductivity-year", "conductivity forecast over twelve months"),
    ("copper-log",       "copper tests over the visits, with watch and stop"),
    ("copper-year",      "copper to expect over the year, with watch and stop"),
    ("full-output",      "bars and copper under this schedule and at full output, side by side"),
    ("gauge/KEY",        "one reading on its scale, for a table's cell, such as gauge/calcium"),
    ("hardness-log",     "carbonate hardness over the visits, and conductivity where it was read"),
    ("hardness-year",    "carbonate hardness forecast over twelve months, with the window"),
    ("level-strip",      "output level over the year"),
    ("past",             "the visits of the log, and what the model of the forecast makes of them"),
    ("section",          "the water in section, with its measures"),
    ("staircase",        "carbonate hardness, dose by dose"),
    ("top-up-year",      "water topped up, month by month"),
    ("year-strip",       "output level over the year, for the sheet in the shed"),
];

/// Finds drawings by name.
#[derive(Debug)]
pub struct Drawings<'a> {
    pub(super) source: &'a Source<'a>,
    pub(super) reader: &'a Reader,
    pub(super) lines: &'a Lines,
}

/// The days a correction's day table shows: from the plan's date to two days after the last dose, one week at most.
pub fn correction_days(source: &Source<'_>) -> Vec<NaiveDate> {
    let Some(buffer) = &source.plan.correction.buffer else { return Vec::new() };
    let last = buffer.days.last().copied().unwrap_or(source.plan.date);
    let count = ((last - source.plan.date).num_days() + 2).clamp(3, 8) as u64;
    (0..count).filter_map(|i| source.plan.date.checked_add_days(chrono::Days::new(i))).collect()
}

/// How many visits of the log have a reading.
pub fn readings_in_log<T>(source: &Source<'_>, pick: impl Fn(&Readings) -> Option<&Reading<T>>) -> usize {
    source.site.visits.iter().filter(|visit| pick(&visit.pond).is_some()).count()
}

/// At most so many parts of the water are sketched, the largest.
const MOST_PARTS: usize = 3;
/// A part with less than this share of the water is left to the table.
const LEAST_SHARE: f64 = 0.05;

impl Drawings<'_> {
    /// The drawing of this name; `None` for an unknown name or one with nothing to show.
    pub fn find(&self, name: &str) -> Option<Drawing> {
        let mut drawing = self.drawn(name)?;
        drawing.alternative = aloud(&drawing.alternative, self.reader.american());
        Some(drawing)
    }

    fn drawn(&self, name: &str) -> Option<Drawing> {
        if let Some(key) = name.strip_prefix("gauge/") {
            return self.gauge(key);
        }
        let correction = &self.source.plan.correction;
        match name {
            "hardness-log" => self.hardness_log(),
            "copper-log" => self.copper_log(),
            "section" => self.section(),
            "staircase" => self.staircase(),
            "changes-hardness" => self.changes(correction.changes.as_ref()?),
            "changes-copper" => self.changes(correction.copper.as_ref()?),
            "level-strip" => self.level_strip(),
            "copper-year" => self.copper_year(),
            "full-output" => super::bars::full_output(self),
            "year-strip" => self.year_strip(),
            "hardness-year" => super::year::hardness(self),
            "conductivity-year" => super::year::conductivity(self),
            "past" => super::past::drawn(self),
            "top-up-year" => super::year::top_up(self),
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

    pub(super) fn width(&self) -> f32 {
        self.source.style.grid().main_width
    }

    /// The height of a chart that is so many millimetres high on A4; on Letter charts are 4 mm lower.
    pub(super) fn chart(&self, millimetres: f32) -> f32 {
        let lower = if self.source.style.paper == Paper::Letter { 4.0 } else { 0.0 };
        (millimetres - lower) * MM
    }

    /// The numbers of these lines of the workings.
    pub(super) fn numbers<'s>(&self, ids: impl IntoIterator<Item = Option<&'s str>>) -> Vec<u32> {
        ids.into_iter().flatten().filter_map(|id| self.lines.number(id)).collect()
    }

    /// Words that say a figure.
    fn said<Q: Si>(&self, words: String, figure: &Figure<Q>) -> Said {
        Said::new(words, self.numbers([figure.id()]))
    }

    fn gauge(&self, key: &str) -> Option<Drawing> {
        let row = self.source.plan.readings.iter().find(|r| r.key == key)?;
        let shown = self.reader.shown(key);
        let unit = shown.unit;
        // Nobody asks for chlorine in the pond itself.
        let asked = key != "chlorine";
        let name = match key {
            "ph-morning" => "Morning pH",
            "ph-afternoon" => "Afternoon pH",
            "chlorine" => "Total chlorine",
            "total-copper" => "Total copper",
            key => reading_name(key),
        };
        let pond = row.pond.map(|pond| {
            let under = if row.less_than { "under " } else { "" };
            format!("{under}{}", self.reader.quantity(key, pond))
        });
        let reads = pond.as_ref().map_or_else(|| "was not measured".to_owned(), |pond| format!("reads {pond}"));
        let at = pond.map_or_else(String::new, |pond| format!(" at {pond}"));
        let verdict = match row.judged {
            Judged::Good => format!("is good{at}"),
            Judged::TooLow => format!("is too low{at}"),
            Judged::TooHigh => format!("is too high{at}"),
            Judged::TreatSupply => "has to be treated in the supply".to_owned(),
            Judged::TestIt => format!("{reads} and has to be tested"),
            Judged::NoTarget => reads,
        };
        let supply = row.supply.map(|s| format!(" The supply has {}.", self.reader.quantity(key, s)));
        let alternative = format!(
            "{name} {verdict}; the target is {}.{}",
            target_words(row, self.reader),
            supply.unwrap_or_default(),
        );
        // A one-sided target starts at zero; chlorine's target is zero itself, so its scale is the supply's.
        let high = row.high.map(|h| unit.of(h)).map(|h| if h <= 0.0 { 0.1 } else { h });
        let gauge = Gauge {
            low: row.low.map(|l| unit.of(l)),
            high,
            pond: row.pond.map(|p| unit.of(p)),
            supply: row.supply.map(|s| unit.of(s)),
            asked,
            alternative,
        };
        Some(drawing::gauge(&gauge, self.source.fonts))
    }

    /// The log's readings of one kind.
    pub(super) fn points<T: Si + Copy>(
        &self,
        key: &str,
        pick: impl Fn(&Readings) -> Option<&Reading<T>>,
    ) -> Vec<Point> {
        let unit = self.reader.shown(key).unit;
        let point = |date: NaiveDate, reading: &Reading<T>| {
            let less = if reading.less_than { "<" } else { "" };
            Point {
                date,
                value: unit.of(reading.value.si()),
                label: format!("{less}{}", self.reader.number(key, reading.value.si())),
                less_than: reading.less_than,
            }
        };
        let visits = self.source.site.visits.iter();
        visits.filter_map(|visit| pick(&visit.pond).map(|reading| point(visit.date, reading))).collect()
    }

    /// First and last day of the log: all its charts share them.
    fn log_days(&self) -> Option<(NaiveDate, NaiveDate)> {
        let visits = &self.source.site.visits;
        Some((visits.iter().map(|v| v.date).min()?, visits.iter().map(|v| v.date).max()?))
    }

    /// Carbonate hardness with its window, and under it conductivity; general hardness where that was not measured.
    fn hardness_log(&self) -> Option<Drawing> {
        let key = "carbonate-hardness";
        let unit = self.reader.shown(key).unit;
        let points = self.points(key, |r| r.carbonate_hardness.as_ref());
        let (first, last) = (points.first()?.clone(), points.last()?.clone());
        let (low, high) = (DEGREE_KH.si(WINDOW_LOW_DKH), DEGREE_KH.si(WINDOW_HIGH_DKH));
        let symbol = self.reader.shown(key).symbol;
        let stands = if last.value < unit.of(low) {
            "below"
        } else if last.value > unit.of(high) * (1.0 + 1e-9) {
            "above"
        } else if last.value >= unit.of(high) * (1.0 - 1e-9) {
            "at the upper end of"
        } else {
            "inside"
        };
        let mut alternative = format!(
            "Carbonate hardness was {} on {} and {}\u{a0}{symbol} on {}, {stands} the window of {} to {}.",
            first.label,
            self.reader.day_year(first.date),
            last.label,
            self.reader.day_year(last.date),
            self.reader.target(key, low),
            self.reader.target(key, high),
        );
        let mut panels = vec![Panel {
            height: self.chart(46.0),
            points,
            joined: true,
            low: Some(unit.of(low)),
            high: Some(unit.of(high)),
            window_lines: self.numbers([Some("target.carbonate-hardness.low"), Some("target.carbonate-hardness.high")]),
            axis: vec![
                (unit.of(high), format!("{}\u{a0}{symbol}", self.reader.target(key, high))),
                (unit.of(low), self.reader.target(key, low)),
                (0.0, "0".into()),
            ],
            above: vec!["Copper is bound".into(), "and of little use".into()],
            inside: vec!["The window:".into(), "safe and useful".into()],
            below: vec!["Copper can".into(), "kill fish".into()],
            ..Panel::default()
        }];
        let second =
            self.creep("conductivity", self.points("conductivity", |r| r.conductivity.as_ref())).or_else(|| {
                self.creep("general-hardness", self.points("general-hardness", |r| r.general_hardness.as_ref()))
            });
        if let Some((panel, words)) = second {
            alternative.push_str(&words);
            panels.push(panel);
        }
        let (from, to) = self.log_days()?;
        let log = Log { width: self.width(), first: from, last: to, panels, alternative };
        Some(drawing::log(&log, self.source.fonts))
    }

    /// The panel of a reading that climbs as water evaporates, and a sentence on it; `None` under two readings.
    fn creep(&self, key: &str, points: Vec<Point>) -> Option<(Panel, String)> {
        let (first, last) = (points.first()?, points.last()?);
        if points.len() < 2 {
            return None;
        }
        let shown = self.reader.shown(key);
        let words = format!(
            " {} went from {} to {}.",
            reading_name(key),
            first.label,
            crate::plan::with_unit(&last.label, shown.symbol)
        );
        let row = self.source.plan.readings.iter().find(|r| r.key == key);
        let (low, high) = row.map_or((None, None), |row| (row.low, row.high));
        let target = row.map_or_else(|| "not set".into(), |row| target_words(row, self.reader));
        // The target is shaded where it lies near the readings; far off it would press them flat.
        let values = || points.iter().map(|point| point.value);
        let most = values().fold(0.0, f64::max);
        let high = high.filter(|edge| shown.unit.of(*edge) <= most * 1.5);
        let edges = [low, high].into_iter().flatten().map(|edge| shown.unit.of(edge));
        let (least, most) =
            values().chain(edges).fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)));
        // The axis says where it starts; over the highest value it needs no number.
        let mut axis = Ticks::around(least, most, 4).numbers();
        axis.retain(|(value, _)| *value <= most);
        axis.extend([low, high].into_iter().flatten().map(|si| (shown.unit.of(si), self.reader.target(key, si))));
        let lines = row.map_or(&[][..], |row| row.lines.as_slice());
        let panel = Panel {
            height: 20.0 * MM,
            title: vec![reading_name(key).into(), shown.symbol.into(), format!("target {target}")],
            joined: true,
            low: low.map(|edge| shown.unit.of(edge)),
            high: high.map(|edge| shown.unit.of(edge)),
            window_lines: self.numbers(lines.iter().map(|id| Some(id.as_str()))),
            axis,
            points,
            ..Panel::default()
        };
        Some((panel, words))
    }

    /// Stop and watch as a drawing shows them.
    fn stop_and_watch(&self, limits: &CopperLimits) -> (Limit, Limit) {
        let key = "total-copper";
        let unit = self.reader.shown(key).unit;
        let limit = |figure: &Figure<crate::units::MassConcentration>, name: &str, act: &str| Limit {
            value: unit.of(figure.si()),
            said: self.said(format!("{name} {}: {act}", self.reader.number(key, figure.si())), figure),
        };
        (
            limit(&limits.stop, "Stop", "level zero, change water"),
            limit(&limits.watch, "Watch", "test every second day"),
        )
    }

    /// The copper tests of the log.
    fn copper_log(&self) -> Option<Drawing> {
        let key = "total-copper";
        let symbol = self.reader.shown(key).symbol;
        let points = self.points(key, |r| r.total_copper.as_ref());
        let last = points.last()?.clone();
        let seen = points.iter().filter(|point| !point.less_than);
        let highest = seen.max_by(|a, b| a.value.total_cmp(&b.value)).cloned();
        let limits = self.source.plan.limits.as_ref().map(|limits| self.stop_and_watch(limits));
        let ceiling = limits.as_ref().map_or(0.0, |(stop, _)| stop.value);
        let most = points.iter().map(|point| point.value).fold(ceiling, f64::max);
        let top = if ceiling > 0.0 { most.min(ceiling * 4.0) } else { most };
        let under = |point: &Point| point.label.replace('<', "under ");
        let mut alternative = format!(
            "The last of {} tests of total copper, on {}, read {}.",
            count_word(points.len() as u64),
            self.reader.day_year(last.date),
            crate::plan::with_unit(&under(&last), symbol),
        );
        if let Some(highest) = highest {
            let day = self.reader.day_year(highest.date);
            let stands = limits.as_ref().zip(self.source.plan.limits.as_ref()).map(|((stop, watch), limits)| {
                let stands = if highest.value >= stop.value {
                    "at stop or over"
                } else if highest.value >= watch.value {
                    "over watch"
                } else {
                    "under watch"
                };
                format!(
                    "{stands}; by this plan watch is {} and stop {}",
                    self.reader.number(key, limits.watch.si()),
                    self.reader.number(key, limits.stop.si()),
                )
            });
            let which = if highest.date == last.date {
                "That is the highest".to_owned()
            } else {
                format!("The highest was {} on {day}", highest.label)
            };
            let stands = stands.map_or_else(String::new, |stands| format!(", {stands}"));
            alternative.push_str(&format!(" {which}{stands}."));
        }
        let (from, to) = self.log_days()?;
        let (stop, watch) = limits.unzip();
        let panel = Panel {
            height: self.chart(51.0),
            title: vec!["Copper in the pond".into(), format!("tests of total copper, {symbol}")],
            axis: Ticks::within(0.0, top, 6).numbers(),
            points,
            stop,
            watch,
            ..Panel::default()
        };
        let log = Log { width: self.width(), first: from, last: to, panels: vec![panel], alternative };
        Some(drawing::log(&log, self.source.fonts))
    }

    /// The largest parts of the water in section.
    fn section(&self) -> Option<Drawing> {
        let volume = &self.source.plan.volume;
        let mut parts: Vec<(usize, &Section, f64)> = self
            .source
            .site
            .volume
            .sections
            .iter()
            .zip(&volume.parts)
            .enumerate()
            .filter(|(_, (section, _))| !matches!(section.shape, Shape::Known { .. }))
            .map(|(index, (section, part))| (index, section, part.volume.si()))
            .collect();
        parts.sort_by(|a, b| b.2.total_cmp(&a.2));
        parts.truncate(MOST_PARTS);
        let all: f64 = volume.parts.iter().map(|part| part.volume.si()).sum();
        let largest = parts.first().map_or(0.0, |part| part.2);
        parts.retain(|part| part.2 >= largest || part.2 >= all * LEAST_SHARE);
        let (drawn, words): (Vec<SketchPart>, Vec<String>) =
            parts.iter().filter_map(|(index, section, _)| self.sketch(*index, section)).unzip();
        if drawn.is_empty() {
            return None;
        }
        let low = self.reader.volume(volume.low.si(), Way::Down);
        let low = low.split('\u{a0}').next().unwrap_or_default();
        let range = format!("{low} to {}", self.reader.volume(volume.high.si(), Way::Up));
        let alone = volume.parts.len() == 1 && volume.methods.is_empty() && volume.displaced.is_empty();
        let head = if alone { "It holds" } else { "All together" };
        let all = if alone { "The water holds" } else { "All the water together holds" };
        let sketch = SectionSketch {
            width: self.width(),
            parts: drawn,
            total: vec![head.into(), range.clone()],
            total_lines: self.numbers([volume.low.id(), volume.high.id()]),
            alternative: format!("{all} {range}. {}.", capitalised(&words.join("; "))),
        };
        Some(drawing::section_sketch(&sketch, self.source.fonts))
    }

    /// One part of the water, and its dimensions in words.
    fn sketch(&self, index: usize, section: &Section) -> Option<(SketchPart, String)> {
        let length = |si: f64| self.reader.length(si);
        let part = self.source.plan.volume.parts.get(index)?;
        let name = cut(&section.name, 40);
        let (across, across_label, width, depth) = match &section.shape {
            Shape::Rectangle { length: l, width: w, depth } => {
                (Some(l.value.si()), format!("{} long", length(l.value.si())), Some(w.value.si()), Some(depth))
            }
            Shape::Ellipse { length: l, width: w, depth } => {
                (Some(l.value.si()), format!("{} long", length(l.value.si())), Some(w.value.si()), Some(depth))
            }
            Shape::Circle { diameter, depth } => {
                (Some(diameter.value.si()), format!("{} across", length(diameter.value.si())), None, Some(depth))
            }
            Shape::MeasuredArea { area, depth } => {
                (None, format!("{} of water", self.reader.area(area.value.si())), None, Some(depth))
            }
            Shape::Prismoid { top, .. } => {
                (None, format!("{} at the water line", self.reader.area(top.value.si())), None, None)
            }
            Shape::Stream { length: l, width: w, .. } => {
                (Some(l.value.si()), format!("{} long", length(l.value.si())), Some(w.value.si()), None)
            }
            Shape::Known { .. } => return None,
        };
        // The mean depth is a line of the workings where it was computed.
        let id = format!("volume.section-{}.depth", index + 1);
        let computed = self.lines.all().iter().find(|line| line.id == id).map(|line| line.node.si);
        let mean = |si: f64| (si, Said::new(format!("mean depth {}", length(si)), self.numbers([Some(id.as_str())])));
        let none = || Said::from("");
        let (floor, deepest, shallowest, mean, depth_words) = match (&section.shape, depth) {
            (_, Some(Depth::Mean(stated))) => {
                let si = stated.value.si();
                let words = format!("{} deep on average", length(si));
                (Floor::Mean(si), Said::from(format!("mean depth {}", length(si))), none(), None, words)
            }
            (_, Some(Depth::Soundings { depths, vertical_walls, .. })) => {
                let depths: Vec<f64> = depths.iter().map(|depth| depth.si()).collect();
                let wet = depths.iter().copied().filter(|depth| *depth > 0.0);
                let (least, most) = wet.fold((f64::MAX, 0.0), |(low, high), d| (d.min(low), d.max(high)));
                let deepest = Said::from(format!("deepest {}", length(most)));
                let average = computed.map_or_else(String::new, |si| format!(" ({} on average)", length(si)));
                let mean = computed.map(mean);
                if *vertical_walls && least < most {
                    let shallowest = Said::from(format!("shallowest {}", length(least)));
                    let least = length(least);
                    let bare = least.split('\u{a0}').next().unwrap_or_default();
                    let words = format!("{bare} to {} deep{average}", length(most));
                    (Floor::Walled(depths), deepest, shallowest, mean, words)
                } else if *vertical_walls {
                    let words = format!("{} deep", length(most));
                    (Floor::Level(most), Said::from(words.clone()), none(), None, words)
                } else {
                    let words = format!("{} deep at the deepest{average}", length(most));
                    (Floor::Banked(depths), deepest, none(), mean, words)
                }
            }
            (_, Some(Depth::Greatest(stated))) => {
                let si = stated.value.si();
                let words = format!("{} deep at the deepest", length(si));
                (Floor::Bowl(si), Said::from(format!("deepest {}", length(si))), none(), computed.map(mean), words)
            }
            (Shape::Prismoid { top, middle, bottom, depth }, _) => {
                // The width of a square of each area.
                let widths = [top, middle, bottom].map(|area| libm::sqrt(area.value.si().max(0.0)));
                let words = format!("{} deep", length(depth.value.si()));
                (Floor::Taper(widths, depth.value.si()), Said::from(words.clone()), none(), None, words)
            }
            (Shape::Stream { depth, .. }, _) => {
                let words = format!("{} deep", length(depth.value.si()));
                (Floor::Level(depth.value.si()), Said::from(words.clone()), none(), None, words)
            }
            _ => return None,
        };
        let shape = match &section.shape {
            Shape::Rectangle { .. } => "rectangle",
            Shape::Ellipse { .. } => "ellipse",
            Shape::Circle { .. } => "round",
            Shape::MeasuredArea { .. } => "measured by area",
            Shape::Prismoid { .. } => "three areas",
            Shape::Stream { .. } => "running water",
            Shape::Known { .. } => "",
        };
        let wide = width.map(|si| format!("{} wide", length(si)));
        let mut title = vec![name.clone(), shape.to_owned()];
        title.extend(wide.clone());
        if let Shape::Prismoid { middle, bottom, .. } = &section.shape {
            title.push(format!("{} half way down", self.reader.area(middle.value.si())));
            title.push(format!("{} at the bottom", self.reader.area(bottom.value.si())));
        }
        if section.count > 1 {
            title.push(format!("one of {}", section.count));
        }
        let held = crate::plan::volume_unit(self.source.plan.system).of(part.volume.si());
        let held = crate::units::group(held, crate::units::Digits::Significant(4));
        let held = format!("{held}\u{a0}{}", self.reader.volume_word());
        let held = if section.count > 1 { format!("{held} in all {}", section.count) } else { held };
        // "The pond is 5.40 m long, 3.20 m wide and 1.22 to 1.54 m deep": the name is the firm's own, with or without an article.
        let article = if name.to_lowercase().starts_with("the ") { "" } else { "the " };
        let verb = if across.is_some() { "is" } else { "has" };
        let joined = if across.is_some() { "" } else { "is " };
        let words: Vec<String> =
            [Some(across_label.clone()), wide, Some(format!("{joined}{depth_words}"))].into_iter().flatten().collect();
        let words = format!("{article}{name} {verb} {}", and(&words));
        let sketch = SketchPart {
            title,
            across,
            across_label,
            floor,
            deepest,
            shallowest,
            mean,
            volume: self.said(held, &part.volume),
        };
        Some((sketch, words))
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
        let dose = self.said(self.reader.mass(buffer.dose.si()), &buffer.dose);
        let doses =
            buffer.days.iter().filter_map(|d| Some((days.iter().position(|x| x == d)?, dose.clone()))).collect();
        let window = (unit.of(DEGREE_KH.si(WINDOW_LOW_DKH)), unit.of(DEGREE_KH.si(WINDOW_HIGH_DKH)));
        let start = unit.of(buffer.start.si());
        let top = high.last().copied().unwrap_or(start);
        let axis = self.with_symbol(key, Ticks::around(start.min(window.0), top.max(window.0), 7).numbers());
        let end = |si: f64| self.reader.number(key, si);
        let volume = &self.source.plan.volume;
        let (least, most) = (end(buffer.after_least.si()), end(buffer.after_most.si()));
        let to = if least == most { format!("about {most}") } else { format!("{least} to {most}") };
        let reaches = if unit.of(buffer.after_least.si()) < window.0 { "short of" } else { "inside" };
        let alternative = format!(
            "Carbonate hardness rises in {} dose{} of {} from {} to {to}\u{a0}{}, {reaches} the window that starts at {}.",
            count_word(buffer.days.len() as u64),
            if buffer.days.len() == 1 { "" } else { "s" },
            dose.words,
            end(buffer.start.si()),
            self.reader.shown(key).symbol,
            self.reader.target(key, DEGREE_KH.si(WINDOW_LOW_DKH)),
        );
        let both = |end: &Figure<crate::units::CarbonateHardness>, volume: &Figure<crate::units::Volume>| {
            self.numbers([end.id(), volume.id()])
        };
        let stairs = Stairs {
            width: self.width(),
            height: self.chart(58.0),
            day_names: Vec::new(),
            start,
            start_index: 0,
            low,
            high,
            doses,
            window: Some(window),
            stop: None,
            watch: None,
            axis,
            window_label: vec![
                "The window".into(),
                format!("starts at {}", self.reader.quantity(key, DEGREE_KH.si(WINDOW_LOW_DKH))),
            ],
            window_lines: self.numbers([Some("target.carbonate-hardness.low")]),
            start_label: vec!["Reading before".into(), format!("the doses: {}", end(buffer.start.si()))],
            end_high: Said::new(
                format!("{most} if the pond holds {}", self.reader.volume(volume.low.si(), Way::Down)),
                both(&buffer.after_most, &volume.low),
            ),
            end_low: Said::new(
                format!("{least} if it holds {}", self.reader.volume(volume.high.si(), Way::Up)),
                both(&buffer.after_least, &volume.high),
            ),
            days,
            alternative,
        };
        Some(drawing::staircase(&stairs, self.source.fonts))
    }

    /// Axis numbers with the unit's symbol at the top one.
    fn with_symbol(&self, key: &str, mut axis: Vec<(f64, String)>) -> Vec<(f64, String)> {
        if let Some(top) = axis.last_mut() {
            top.1 = crate::plan::with_unit(&top.1, self.reader.shown(key).symbol);
        }
        axis
    }

    /// What each of several water changes does to carbonate hardness, or to copper.
    fn changes(&self, plan: &ChangePlan) -> Option<Drawing> {
        let (key, name) = match plan.reason {
            ChangeReason::Hardness => ("carbonate-hardness", "Carbonate hardness"),
            ChangeReason::Copper => ("total-copper", "Total copper"),
        };
        let unit = self.reader.shown(key).unit;
        let row = self.source.plan.readings.iter().find(|r| r.key == key)?;
        let supply = &self.source.site.supply.readings;
        let (start, tap, after) = match plan.reason {
            ChangeReason::Hardness => (
                row.pond?,
                supply.carbonate_hardness.as_ref()?.value.si(),
                plan.hardness_after.as_ref().map(|f| (f.si(), f.id()))?,
            ),
            ChangeReason::Copper => (
                row.pond?,
                supply.total_copper.as_ref()?.value.si(),
                plan.copper_after.as_ref().map(|f| (f.si(), f.id()))?,
            ),
        };
        let count = plan.days.len();
        if count < 2 {
            return None;
        }
        let mut days = vec![self.source.plan.date];
        days.extend(&plan.days);
        let volume = &self.source.plan.volume;
        // Only the shape of the steps comes from here; what is printed at their end is a figure of the plan.
        let path = |holds: f64| -> Vec<f64> {
            let left = 1.0 - (plan.volume.si() / holds).clamp(0.0, 1.0);
            days.iter()
                .map(|day| {
                    let made = plan.days.iter().filter(|d| *d <= day).count();
                    unit.of(tap + (start - tap) * libm::pow(left, made as f64))
                })
                .collect()
        };
        let (low, high) = (path(volume.high.si()), path(volume.low.si()));
        let one = self.said(self.reader.volume(plan.volume.si(), Way::Down), &plan.volume);
        let doses = (1..days.len()).map(|day| (day, one.clone())).collect();
        let (from, to) = (self.reader.number(key, start), self.reader.number(key, after.0));
        let symbol = self.reader.shown(key).symbol;
        let mut stairs = Stairs {
            width: self.width(),
            height: self.chart(58.0),
            day_names: days.iter().map(|day| column_head(*day)).collect(),
            start: unit.of(start),
            start_index: 0,
            doses,
            window: None,
            stop: None,
            watch: None,
            axis: Vec::new(),
            window_label: Vec::new(),
            window_lines: Vec::new(),
            start_label: vec!["Reading before".into(), format!("the changes: {from}")],
            end_high: Said::from(""),
            end_low: Said::new(
                format!("about {to} if the pond holds {}", self.reader.volume(volume.high.si(), Way::Up)),
                self.numbers([after.1, volume.high.id()]),
            ),
            alternative: format!(
                "{name} falls in {} water changes of {} from {from} to about {to}\u{a0}{symbol}",
                count_word(count as u64),
                one.words,
            ),
            low,
            high,
            days,
        };
        let ends = stairs.low.iter().chain(&stairs.high).copied();
        let (least, most) = ends.fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)));
        match (plan.reason, &self.source.plan.limits) {
            (ChangeReason::Hardness, _) => {
                let edge = DEGREE_KH.si(WINDOW_HIGH_DKH);
                let window = (unit.of(DEGREE_KH.si(WINDOW_LOW_DKH)), unit.of(edge));
                let (from, to) = if most > window.1 { (least, most) } else { (least.min(window.1), window.1) };
                stairs.axis = self.with_symbol(key, Ticks::around(from, to.max(most), 7).numbers());
                stairs.window = Some(window);
                stairs.window_label =
                    vec!["The window".into(), format!("ends at {}", self.reader.quantity_short(key, edge))];
                stairs.window_lines = self.numbers([Some("target.carbonate-hardness.high")]);
                let end = self.reader.target(key, edge);
                stairs.alternative.push_str(&format!("; the window ends at {end}."));
            }
            (ChangeReason::Copper, limits) => {
                if let Some(limits) = limits {
                    let (stop, watch) = self.stop_and_watch(limits);
                    (stairs.stop, stairs.watch) = (Some(stop), Some(watch));
                    stairs.alternative.push_str(&format!(
                        "; watch is {} and stop {}",
                        self.reader.number(key, limits.watch.si()),
                        self.reader.number(key, limits.stop.si()),
                    ));
                }
                stairs.alternative.push('.');
                stairs.axis = self.with_symbol(key, Ticks::around(0.0, most, 7).numbers());
            }
        }
        Some(drawing::staircase(&stairs, self.source.fonts))
    }

    fn level_strip(&self) -> Option<Drawing> {
        let schedule = self.source.plan.schedule.as_ref()?;
        let first = self.source.plan.date;
        let mut axis = vec![(schedule.holding, format!("step {}", schedule.holding))];
        let mut raised: Vec<u32> = schedule.spells.iter().map(|spell| spell.level).collect();
        raised.sort_unstable();
        raised.dedup();
        axis.extend(raised.iter().map(|raised| (*raised, format!("step {raised}"))));
        if schedule.raised() != Some(schedule.steps) {
            axis.push((schedule.steps, format!("step {}", schedule.steps)));
        }
        let mut marks: Vec<(NaiveDate, Vec<String>)> = Vec::new();
        for spell in &schedule.spells {
            marks.push((spell.not_before, vec![self.reader.day(spell.not_before)]));
            marks.push((spell.back, vec!["back down".into(), self.reader.day(spell.back)]));
        }
        let spells: Vec<String> = schedule
            .spells
            .iter()
            .map(|spell| {
                let (from, back) = (self.reader.day(spell.not_before), self.reader.day(spell.back));
                format!("to step {} from {from} to {back}", spell.level)
            })
            .collect();
        let raised =
            if spells.is_empty() { " No raised spell.".into() } else { format!(" It may go {}.", and(&spells)) };
        let strip = LevelStrip {
            width: self.width(),
            height: self.chart(34.0),
            first,
            levels: schedule.levels.clone(),
            steps: schedule.steps,
            axis,
            marks,
            title: vec!["Output level".into(), "steps of the panel".into()],
            alternative: format!(
                "The panel stands at step {} while the water is warm enough, else at zero.{raised}",
                schedule.holding
            ),
        };
        Some(drawing::level_strip(&strip, self.source.fonts))
    }

    fn copper_year(&self) -> Option<Drawing> {
        let schedule = self.source.plan.schedule.as_ref()?;
        let limits = self.source.plan.limits.as_ref()?;
        let key = "total-copper";
        let unit = self.reader.shown(key).unit;
        let range = self.copper_range(schedule);
        let told = |pick: fn(&Range) -> f64| range.iter().map(|r| unit.of(pick(r))).collect::<Vec<f64>>();
        let high = told(|r| r.high);
        let most = high.iter().copied().fold(0.0, f64::max);
        let (stop, watch) = self.stop_and_watch(limits);
        let symbol = self.reader.shown(key).symbol;
        let peak = schedule.hardest_spell().map(|spell| {
            format!("come to {} at most on the last day of a spell", self.reader.quantity(key, spell.end.si()))
        });
        let rest = schedule.rest_most.as_ref().map(|rest| {
            format!("rest at {} at most at step {}", self.reader.quantity(key, rest.si()), schedule.holding)
        });
        let expected: Vec<String> = [peak, rest].into_iter().flatten().collect();
        let stays = if most < stop.value { "does not pass" } else { "may pass" };
        let alternative = format!(
            "In the next twelve months total copper {stays} stop at {}.{}",
            self.reader.quantity(key, limits.stop.si()),
            if expected.is_empty() { String::new() } else { format!(" It is forecast to {}.", and(&expected)) },
        );
        let chart = CopperChart {
            width: self.width(),
            height: self.chart(70.0),
            first: schedule.first,
            low: told(|r| r.low),
            middle: told(|r| r.middle),
            stops: schedule.days.iter().take(schedule.levels.len()).map(|d| Some(unit.of(d.limits?.stop))).collect(),
            axis: Ticks::within(0.0, most.min(stop.value * 2.5).max(stop.value), 6).numbers(),
            high,
            stop,
            watch,
            note: if self.counted().is_some() {
                "middle, and eight possible years in ten".into()
            } else {
                "middle, and the range of losses and volume".into()
            },
            title: vec!["Copper in the pond".into(), format!("forecast of total copper, {symbol}")],
            alternative,
        };
        Some(drawing::copper_chart(&chart, self.source.fonts))
    }

    /// The possible years, where they were counted.
    fn counted(&self) -> Option<&Chance> {
        self.source.plan.year.as_ref().ok()?.chance.as_ref()
    }

    /// Copper on the days of the schedule, kg/m³: by the possible years as far as the water year goes, else by the corners of
    /// volume and loss.
    fn copper_range(&self, schedule: &Schedule) -> Vec<Range> {
        let path = &schedule.path;
        let corners = path.low.iter().zip(&path.middle).zip(&path.high);
        let corners = corners.map(|((low, middle), high)| Range { low: *low, middle: *middle, high: *high }).collect();
        let (Ok(year), Some(chance)) = (&self.source.plan.year, self.counted()) else { return corners };
        let Some(first) = year.days.first() else { return corners };
        let mass = |moles: f64| moles * weight::CU / 1000.0;
        let days: Vec<Range> = chance
            .counted
            .ranges(Quantity::Copper)
            .map(|r| Range { low: mass(r.low), middle: mass(r.middle), high: mass(r.high) })
            .collect();
        let ahead = (schedule.first - first.date).num_days();
        let before = usize::try_from(-ahead).unwrap_or(0);
        let opening = days.first().copied().into_iter().cycle().take(before);
        opening
            .chain(days.iter().copied().skip(usize::try_from(ahead).unwrap_or(0)))
            .take(schedule.levels.len())
            .collect()
    }

    fn year_strip(&self) -> Option<Drawing> {
        if self.source.squeeze >= 1 {
            return None;
        }
        let schedule = self.source.plan.schedule.as_ref()?;
        let grid = self.source.style.grid();
        let strip = YearStrip {
            width: grid.main_x + grid.main_width - grid.label_x,
            first: self.source.plan.date,
            levels: schedule.levels.clone(),
            steps: schedule.steps,
            alternative: format!("Step {} while the water is warm, raised only in spells.", schedule.holding),
        };
        Some(drawing::year_strip(&strip, self.source.fonts))
    }
}

/// With a capital at its head.
fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `a`, `a and b`, `a, b and c`.
fn and(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [head @ .., last] => format!("{} and {last}", head.join(", ")),
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
