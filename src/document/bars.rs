//! The bars as templates and drawings see them.

use minijinja::Value;

use super::Source;
use super::drawings::Drawings;
use super::lines::Lines;
use super::view::{figure, map};
use super::words::Reader;
use crate::drawing::{self, Beside, Said};
use crate::page::Drawing;
use crate::units::table::{self, DAYS, YEARS};
use crate::units::{Digits, System, plain};
use crate::workings::Figure;

/// How long bars last, in words: never more than it is.
fn years(years: f64) -> String {
    if years >= 20.0 {
        "more than 20\u{a0}years".to_owned()
    } else if years >= 2.0 {
        format!("about {}\u{a0}years", plain(libm::floor(years), Digits::Places(0)))
    } else if years >= 2.0 / 12.0 {
        format!("about {}\u{a0}months", plain(libm::floor(years * 12.0), Digits::Places(0)))
    } else {
        format!("about {}\u{a0}days", plain(libm::floor(years * 365.0), Digits::Places(0)))
    }
}

/// The view of the bars; `None` where nothing is known of them.
pub(super) fn view(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let bars = &source.plan.bars;
    if bars.wear.is_none() && bars.witness.is_none() {
        return None;
    }
    let wear = bars.wear.as_ref();
    let life = wear.and_then(|wear| wear.life.as_ref());
    // A bar loses little: more decimals than a dose has.
    let (unit, places, yearly) = match source.plan.system {
        System::Us => (&table::OUNCE, 2, &table::OUNCES_PER_YEAR),
        _ => (&table::GRAM, 1, &table::GRAMS_PER_YEAR),
    };
    let number = |f: &Figure<crate::units::Mass>| plain(f.in_unit(unit), Digits::Places(places));
    let mass = |f: &Figure<crate::units::Mass>| figure(lines, f, format!("{}\u{a0}{}", number(f), unit.symbol));
    Some(map! {
        "use" => wear.map(|wear| {
            let words = format!("{}\u{a0}{}", plain(wear.rate.in_unit(yearly), Digits::Significant(2)), unit.symbol);
            figure(lines, &wear.rate, words)
        }),
        "life" => life.map(|life| figure(lines, &life.least, years(life.least.in_unit(&YEARS)))),
        "life_most" => life
            .and_then(|life| {
                let most = life.most.as_ref()?;
                (years(most.in_unit(&YEARS)) != years(life.least.in_unit(&YEARS))).then_some(most)
            })
            .map(|most| figure(lines, most, years(most.in_unit(&YEARS)))),
        "inspect" => life.map(|life| figure(lines, &life.inspect.1, reader.day_year(life.inspect.0))),
        // A date decades away is no help.
        "order" => life.filter(|life| life.least.in_unit(&YEARS) < 20.0).map(|life| figure(lines, &life.order.1, reader.day_year(life.order.0))),
        "order_now" => life.is_some_and(|life| life.order.0 <= source.plan.date),
        "full" => wear.is_some_and(|wear| wear.full.is_some()),
        "witness" => bars.witness.as_ref().map(|w| map! {
            "from" => reader.day_year(w.days.0), "to" => reader.day_year(w.days.1),
            "lost" => mass(&w.lost),
            "least" => figure(lines, &w.explained_least, number(&w.explained_least)),
            "most" => mass(&w.explained_most),
            "one" => w.explained_least.si() >= w.explained_most.si() * 0.95,
            "more" => w.lost.si() > w.explained_most.si() * 1.2 + 2e-3,
            "less" => w.lost.si() < w.explained_least.si() * 0.8 - 2e-3,
            "gap" => w.gap.as_ref().map(|g| map! {
                "from" => reader.day(g.days.0), "to" => reader.day_year(g.days.1), "left" => g.left,
                "lost" => mass(&g.lost), "explained" => mass(&g.explained),
                "found" => g.found.as_ref().map(|(level, _)| *level),
                "days" => g.found.as_ref().map(|(_, days)| {
                    let count = plain(days.in_unit(&DAYS), Digits::Places(0));
                    figure(lines, days, format!("about {count}\u{a0}days"))
                }),
            }),
        }),
    })
}

/// What full output all year would do, beside this schedule: to the bars, and to copper.
pub(super) fn full_output(drawings: &Drawings<'_>) -> Option<Drawing> {
    let plan = &drawings.source.plan;
    let (schedule, limits) = (plan.schedule.as_ref()?, plan.limits.as_ref()?);
    let wear = plan.bars.wear.as_ref()?;
    let full = wear.full.as_ref()?;
    let rest = schedule.rest_most.as_ref()?;
    let reader = drawings.reader;
    let key = "total-copper";
    let unit = reader.shown(key).unit;
    let said = |words: String, id: Option<&str>| Said::new(words, drawings.numbers([id]));
    let mut charts = [drawing::Bars::default(), drawing::Bars::default()];
    let names = ["this schedule", "full output all year"].map(str::to_owned);
    let lasts = match (&wear.life, &full.life) {
        (Some(life), Some(short)) => Some([&life.least, short]),
        _ => None,
    };
    if let Some(lasts) = lasts {
        charts[0].title = "The bars last".into();
        for (name, time) in names.iter().zip(lasts) {
            let time_said = said(years(time.in_unit(&YEARS)), time.id());
            charts[0].rows.push((name.clone(), time.in_unit(&YEARS), time_said));
        }
    } else {
        charts[0].title = "Bar used in a year".into();
        for (name, rate) in names.iter().zip([&wear.rate, &full.rate]) {
            let grams = rate.in_unit(&table::GRAMS_PER_YEAR);
            let words = format!("{}\u{a0}g", plain(grams, Digits::Significant(2)));
            charts[0].rows.push((name.clone(), grams, said(words, rate.id())));
        }
    }
    charts[1].title = "Copper comes to, at most".into();
    for (name, copper) in names.iter().zip([rest, &full.copper]) {
        let words = reader.quantity(key, copper.si());
        charts[1].rows.push((name.clone(), unit.of(copper.si()), said(words, copper.id())));
    }
    let stop = format!("thick line: stop {}", reader.quantity(key, limits.stop.si()));
    charts[1].limit = Some((unit.of(limits.stop.si()), said(stop, limits.stop.id())));
    let words = |chart: &drawing::Bars| match chart.rows.as_slice() {
        [a, b] => format!("{}: {} with this schedule, {} at full output", chart.title, a.2.words, b.2.words),
        _ => chart.title.clone(),
    };
    let alternative =
        format!("{}. {}; stop is {}.", words(&charts[0]), words(&charts[1]), reader.quantity(key, limits.stop.si()));
    let chart = Beside { width: drawings.width(), charts, title: vec!["Full output".into()], alternative };
    Some(drawing::beside(&chart, drawings.source.fonts))
}
