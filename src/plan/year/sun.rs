//! The weather of twelve mean days, and what evaporates on them.

use chrono::{Datelike as _, NaiveDate};

use super::{NoYear, month_name};
use crate::plan::{Assumption, Desk, kinder};
use crate::reference::{OPEN_WATER, OPEN_WATER_FACTOR, REFERENCE_EVAPORATION};
use crate::site::{DayWeather, MONTH_DAYS, Twelve, Visit};
use crate::units::table::{
    CELSIUS, DAYS, DEGREE, HOUR, MEGAJOULES, METRES_PER_SECOND, MILLIMETRE, MILLIMETRES_A_DAY, ONE, Unit,
};
use crate::units::{Ratio, Si, Velocity};
use crate::water::weather::{self, Known, Method, Place};
use crate::workings::Figure;

/// The weather of twelve mean days and what evaporates on them.
pub(super) struct Sun {
    pub(super) method: Method,
    /// m a day from still water, by month.
    pub(super) evaporation: [f64; 12],
    /// The same by Penman's open-water form, where the weather tells it.
    pub(super) penman: [Option<f64>; 12],
    /// m a day.
    pub(super) rain: [f64; 12],
}

fn month_value<Q: Si>(twelve: &Twelve<Q>, month: usize) -> Option<f64> {
    twelve.as_ref().and_then(|t| t.value.get(month)).map(|q| q.si())
}

/// A month in a symbol: `Jan`.
pub(super) fn short(month0: usize) -> &'static str {
    let name = month_name(month0);
    name.get(..3).unwrap_or(name)
}

/// The weather as it was given, and what it makes evaporate before any factor of open water.
pub(super) struct Weather<'a> {
    /// Days as they were, the oldest first; empty where only normals are given.
    days: &'a [DayWeather],
    place: Place,
    known: [Known; 12],
    found: [Option<weather::Thirst>; 12],
    drop: Option<(&'a Visit, Figure<Velocity>)>,
    pub(super) method: Method,
    /// Reference evapotranspiration of a mean day by month, or the measured drop carried there: m.
    thirst: [f64; 12],
    /// m a day.
    rain: [f64; 12],
    /// Mean air temperature, °C; `None` where it is not known.
    pub(super) air: Option<[f64; 12]>,
}

/// The weather of one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct OfDay {
    /// What evaporates at a factor of one, m.
    pub(super) thirst: f64,
    /// Rain, m.
    pub(super) rain: f64,
    /// Whether both were given for that very day.
    pub(super) as_it_was: bool,
}

impl<'a> Weather<'a> {
    /// The weather of a site, with what had to be assumed of it.
    pub(super) fn gather(desk: &mut Desk<'a>) -> Result<Self, NoYear> {
        let site = desk.site;
        let Some(climate) = &site.year.climate else { return Err(NoYear::NoClimate) };
        let (Some(latitude), Some(rain)) = (&site.latitude, &climate.normals.rain) else {
            return Err(NoYear::NoClimate);
        };
        let altitude = match &site.elevation {
            Some(elevation) => elevation.value.si(),
            None => {
                desk.assume(Assumption::new(
                    "Height above the sea",
                    "sea level",
                    "`elevation` in `[site]`, from a map",
                    "common practice",
                ));
                0.0
            }
        };
        let wind_height = match (&climate.wind_height, &climate.normals.wind) {
            (Some(height), _) => height.value.si(),
            (None, Some(_)) => {
                desk.assume(Assumption::new(
                    "Height of the wind gauge",
                    "2\u{a0}m",
                    "`wind_height` in `[climate]`, from the station",
                    "common practice",
                ));
                2.0
            }
            (None, None) => 2.0,
        };
        let place = Place { latitude: latitude.value.si(), altitude, wind_height };
        let n = &climate.normals;
        let mean = |month: usize| {
            let (high, low) = (month_value(&n.warmest, month)?, month_value(&n.coldest, month)?);
            Some(CELSIUS.of(0.5 * (high + low)))
        };
        let mut air = [0.0; 12];
        let mut whole = true;
        for (month, value) in air.iter_mut().enumerate() {
            match mean(month) {
                Some(celsius) => *value = celsius,
                None => whole = false,
            }
        }
        let air = whole.then_some(air);
        let mut rain_a_day = [0.0; 12];
        for ((day, month), days) in rain_a_day.iter_mut().zip(&rain.value).zip(MONTH_DAYS) {
            *day = month.si() / days;
        }
        let known: [Known; 12] = std::array::from_fn(|month| known(n, air.as_ref(), month));
        let mut found = [None; 12];
        let mut thirst = [0.0; 12];
        let mut method = Method::PenmanMonteith;
        let drop = measured_drop(desk);
        for (month, ((known, found), thirst)) in known.iter().zip(&mut found).zip(&mut thirst).enumerate() {
            let middle = weather::middle_day(month);
            *found = weather::thirst(&place, known, middle);
            match (*found, &drop) {
                (Some(found), _) => {
                    method = method.max(found.method);
                    *thirst = found.reference / 1000.0;
                }
                (None, Some((visit, drop))) => {
                    method = Method::Drop;
                    let carried = weather::drop_with_the_sun(&place, 1.0, visit.date.ordinal(), middle);
                    *thirst = drop.si() * DAYS.size * carried;
                }
                (None, None) => return Err(NoYear::NoEvaporation),
            }
        }
        estimated(desk, method);
        Ok(Self { days: &climate.days, place, known, found, drop, method, thirst, rain: rain_a_day, air })
    }

    /// The weather of a day: as it was, where the site's file of days has it, else that of the month's mean day.
    pub(super) fn on(&self, date: NaiveDate) -> OfDay {
        let month = date.month0() as usize;
        let of = |twelve: &[f64; 12]| twelve.get(month).copied().unwrap_or(0.0);
        let mean = OfDay { thirst: of(&self.thirst), rain: of(&self.rain), as_it_was: false };
        let Ok(at) = self.days.binary_search_by(|day| day.date.cmp(&date)) else { return mean };
        let (Some(day), Some(usual)) = (self.days.get(at), self.known.get(month)) else { return mean };
        let celsius = |kelvin: crate::units::ThermodynamicTemperature| CELSIUS.of(kelvin.si());
        let sun = day.sunshine.is_some() || day.sunlight.is_some();
        let known = Known {
            range: day.warmest.map(celsius).zip(day.coldest.map(celsius)),
            humidity: day.humidity.map(|h| h.si()).or(usual.humidity),
            wind: day.wind.map(|w| w.si()).or(usual.wind),
            sunshine: if sun { day.sunshine.map(|s| HOUR.of(s.si())) } else { usual.sunshine },
            sunlight: if sun { day.sunlight.map(|s| MEGAJOULES.of(s.si())) } else { usual.sunlight },
            // Over a day the ground keeps nothing (FAO-56 eq. 42).
            ground_heat: 0.0,
        };
        let found = weather::thirst(&self.place, &known, date.ordinal());
        OfDay {
            thirst: found.map_or(mean.thirst, |found| found.reference / 1000.0),
            rain: day.rain.map_or(mean.rain, |rain| rain.si()),
            as_it_was: found.is_some() && day.rain.is_some(),
        }
    }

    /// Evaporation of still water over the thirst, where the log tells no other: the site's own, or EV-20. A measured drop is
    /// open water's own.
    pub(super) fn factor(&self, desk: &Desk<'_>) -> Figure<Ratio> {
        const WORDS: &str = "open water over reference evapotranspiration";
        match &desk.site.year.losses.evaporation_factor {
            _ if self.method == Method::Drop => Figure::counted(1.0, "f", "open water over the drop", &ONE),
            Some(own) => Figure::stated(own.value, "f", WORDS, &ONE, &desk.place(own.span)),
            None => Figure::cited(OPEN_WATER_FACTOR, "f", WORDS, &ONE, &OPEN_WATER),
        }
    }

    /// What evaporates on the mean days, published with its lines. `told` is a factor that the log told.
    pub(super) fn sun(&self, desk: &mut Desk<'_>, told: Option<&Figure<Ratio>>) -> Sun {
        let factor = told.cloned().unwrap_or_else(|| self.factor(desk));
        let mut evaporation = [0.0; 12];
        let mut penman = [None; 12];
        for (month, (found, known)) in self.found.iter().zip(&self.known).enumerate() {
            let id = format!("climate.evaporation-{:02}", month + 1);
            let title = format!("Evaporation of a day in {}", month_name(month));
            let symbol = format!("E_{}", short(month));
            let figure = match (found, &self.drop) {
                (Some(thirst), _) => {
                    if let Some(slot) = penman.get_mut(month) {
                        *slot = thirst.open_water.map(|mm| mm / 1000.0);
                    }
                    &factor * &reference_line(desk, thirst, known, &self.place, month)
                }
                (None, Some((visit, drop))) => {
                    let here = weather::middle_day(month);
                    let share = weather::drop_with_the_sun(&self.place, 1.0, visit.date.ordinal(), here);
                    let leaf: Figure<Ratio> = Figure::leaf(
                        Ratio::from_si(share),
                        &format!("q_{}", short(month)),
                        "sunlight above the air, that month over that day",
                        &ONE,
                        crate::workings::Source::Cited(&REFERENCE_EVAPORATION),
                    );
                    let carried = (drop * &leaf).meaning::<Velocity>();
                    if told.is_some() { (carried * &factor).meaning::<Velocity>() } else { carried }
                }
                (None, None) => continue,
            };
            let figure = desk.book.publish(figure.named(&id, &title, &symbol, &MILLIMETRES_A_DAY));
            if let Some(slot) = evaporation.get_mut(month) {
                *slot = figure.si() * DAYS.size;
            }
        }
        Sun { method: self.method, evaporation, penman, rain: self.rain }
    }
}

/// Says aloud what evaporation had to do without.
fn estimated(desk: &mut Desk<'_>, method: Method) {
    let site = desk.site;
    let Some(climate) = &site.year.climate else { return };
    let n = &climate.normals;
    if method == Method::PenmanMonteith {
        let mut lacking = Vec::new();
        for (known, name) in [
            (n.humidity.is_some(), "humidity from the coldest hour"),
            (n.wind.is_some(), "wind of 2\u{a0}m/s"),
            (n.sunshine.is_some() || n.sunlight.is_some(), "sun from the range of temperature"),
        ] {
            if !known {
                lacking.push(name);
            }
        }
        if !lacking.is_empty() {
            desk.assume(Assumption::new(
                "Weather that was not given",
                &lacking.join("; "),
                "the normals of the nearest station, in `[climate]`",
                "FAO-56",
            ));
        }
    }
}

fn known(n: &crate::site::Normals, air: Option<&[f64; 12]>, month: usize) -> Known {
    let celsius =
        |twelve: &Twelve<crate::units::ThermodynamicTemperature>| month_value(twelve, month).map(|k| CELSIUS.of(k));
    let around = |step: usize| air.and_then(|a| a.get((month + step) % 12)).copied().unwrap_or(0.0);
    Known {
        range: celsius(&n.warmest).zip(celsius(&n.coldest)),
        humidity: month_value(&n.humidity, month),
        wind: month_value(&n.wind, month),
        sunshine: month_value(&n.sunshine, month).map(|s| HOUR.of(s)),
        sunlight: month_value(&n.sunlight, month).map(|w| MEGAJOULES.of(w)),
        ground_heat: if air.is_some() {
            crate::water::evaporation::monthly_ground_heat(around(11), around(1))
        } else {
            0.0
        },
    }
}

/// A drop of the water line that evaporation alone made: in a floating bucket, or with the pump off. The latest.
fn measured_drop<'a>(desk: &Desk<'a>) -> Option<(&'a Visit, Figure<Velocity>)> {
    let (visit, reading) = desk
        .last(|v| v.drop_bucket.as_ref().filter(|r| !r.less_than))
        .or_else(|| desk.last(|v| v.drop_still.as_ref().filter(|r| !r.less_than)))?;
    let length = kinder::leaf(desk, reading, "d", "drop of the water line in a day", &MILLIMETRE);
    let one: Figure<crate::units::Time> = Figure::counted(1.0, "1 d", "one day", &DAYS);
    Some((visit, length / one))
}

/// Reference evapotranspiration of a month's mean day, with what went in.
fn reference_line(
    desk: &Desk<'_>,
    thirst: &weather::Thirst,
    known: &Known,
    place: &Place,
    month: usize,
) -> Figure<Velocity> {
    let span = desk.site.year.climate.as_ref().map(|c| &c.normals);
    let at = |twelve: Option<crate::diag::Span>| twelve.map_or_else(|| "estimated".to_owned(), |s| desk.place(s));
    let number = |value: f64, symbol: &str, title: &str, unit: &'static Unit, origin: String| {
        let leaf: Figure<Ratio> = Figure::stated(Ratio::from_si(unit.si(value)), symbol, title, unit, &origin);
        std::rc::Rc::clone(leaf.node())
    };
    let of = |symbol: &str| format!("{symbol}{}{}", if symbol.contains('_') { "," } else { "_" }, short(month));
    let mut inputs = Vec::new();
    if let Some((warmest, coldest)) = known.range {
        let place = at(span.and_then(|n| n.warmest.as_ref()).map(|t| t.span));
        inputs.push(number(warmest, &of("T_max"), "highest of the day, °C", &ONE, place.clone()));
        inputs.push(number(coldest, &of("T_min"), "lowest, °C", &ONE, place));
    }
    let name = month_name(month);
    let reference = Velocity::from_si(MILLIMETRES_A_DAY.si(thirst.reference));
    let id = format!("climate.reference-{:02}", month + 1);
    let title = format!("Reference evapotranspiration of a day in {name}");
    let equation = match thirst.day {
        Some(day) => {
            let n = span;
            inputs.push(number(
                day.vapour_pressure,
                &of("e_a"),
                "vapour pressure, kPa",
                &ONE,
                at(n.and_then(|n| n.humidity.as_ref()).map(|t| t.span)),
            ));
            inputs.push(number(
                day.wind,
                &of("u"),
                "wind at 2 m",
                &METRES_PER_SECOND,
                at(n.and_then(|n| n.wind.as_ref()).map(|t| t.span)),
            ));
            let sun = n.and_then(|n| n.sunlight.as_ref().map(|t| t.span).or(n.sunshine.as_ref().map(|t| t.span)));
            inputs.push(number(day.sunlight, &of("R_s"), "sunlight at the ground", &MEGAJOULES, at(sun)));
            inputs.push(number(day.ground_heat, &of("G"), "heat into the ground", &MEGAJOULES, "FAO-56 eq. 43".into()));
            inputs.push(number(day.pressure, "P", "pressure, kPa", &ONE, "FAO-56 eq. 7".into()));
            "ET = (0.408 Δ (R_n − G) + γ 900 u (e_s − e_a) / (T + 273)) / (Δ + γ (1 + 0.34 u)), FAO-56 eq. 6"
        }
        None => "ET = 0.0023 (T + 17.8) √(T_max − T_min) R_a / λ, FAO-56 eq. 52",
    };
    let origin = format!("FAO-56 eq. 21, day {}", weather::middle_day(month));
    inputs.push(number(thirst.above, &of("R_a"), "sunlight above the air", &MEGAJOULES, origin));
    let latitude = desk.site.latitude.as_ref().map_or_else(String::new, |l| desk.place(l.span));
    inputs.push(number(DEGREE.of(place.latitude), "φ", "latitude, degrees", &ONE, latitude));
    Figure::solved(reference, equation, inputs, 0.0, 1)
        .named(&id, &title, &of("ET"), &MILLIMETRES_A_DAY)
        .from_source(&REFERENCE_EVAPORATION)
}
