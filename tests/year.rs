//! The water year: its keys in the site file, the balance, the forecast.

#![expect(clippy::unwrap_used, reason = "a test that cannot read its own case has failed")]

use weirbook::cli::complaints::render;
use weirbook::diag::Text;
use weirbook::plan::{Course, NoYear, Side, YearPlan};
use weirbook::site;
use weirbook::water::balance::SOLUTES;
use weirbook::water::weather::{Known, Place, middle_day, thirst};

use crate::demos::{DEMOS, job, made};

fn text(name: &str, words: &str) -> Text {
    Text { name: name.to_owned(), words: words.to_owned() }
}

/// A demo site whose climate stands in a file of this text.
fn with_weather(weather: &str) -> (site::Parsed, String) {
    let (_, words, log) = DEMOS[0];
    let (head, rest) = words.split_once("[climate]").unwrap();
    let (_, tail) = rest.split_once("[top_up]").unwrap();
    let site = text(
        "site.toml",
        &format!("{head}[climate]\norigin = \"a file of a test\"\nfile = \"weather.csv\"\n\n[top_up]{tail}"),
    );
    assert_eq!(site::weather_file(&site).as_deref(), Some("weather.csv"));
    let (log, weather) = (text("log.csv", log), text("weather.csv", weather));
    let parsed = site::parse_with_weather(&site, Some(&log), Some(&weather), None);
    let shown = render(&[site, log, weather], &parsed.complaints, false, 100);
    (parsed, shown)
}

#[test]
fn complaints_about_a_weather_file_read_well() {
    let cases = [
        "day,rain [mm]\n2026-01-01,3\n",
        "date,rain,wnd [m/s],humidity [m],min temperature [°C]\n2026-01-01,3,2,80,1\n",
        "date,rain [mm],max temperature [°C],min temperature [°C]\n2026-01-02,3,9,12\n2026-01-01,4,9,1\n2026-01-03,4,9\n",
        "month,rain [mm]\nMarch,70\n3,80\nMai,70\n",
        "date,rain [mm]\n2026-01-01,3\n",
        "",
    ];
    let shown: Vec<String> = cases
        .iter()
        .map(|case| {
            let (_, shown) = with_weather(case);
            // What the demo is told anyway stands in its own snapshot.
            shown.split("\n\n").filter(|block| !block.contains("softened-water")).collect::<Vec<_>>().join("\n\n")
        })
        .collect();
    insta::assert_snapshot!(shown.join("\n=====\n\n"));
}

#[test]
fn a_file_of_days_becomes_normals_and_days() {
    let mut words = "date,max temperature [°C],min temperature [°C],rain [mm]\n".to_owned();
    let first = chrono::NaiveDate::from_ymd_opt(2025, 1, 1).unwrap();
    for i in 0..365 {
        let day = first + chrono::Days::new(i);
        words.push_str(&format!("{day},10,2,1.5\n"));
    }
    let (parsed, shown) = with_weather(&words);
    let site = parsed.site.unwrap_or_else(|| panic!("{shown}"));
    let climate = site.year.climate.unwrap();
    assert_eq!(climate.days.len(), 365);
    let rain = climate.normals.rain.unwrap().value;
    // 31 days of 1.5 mm; February by its mean length of 28.25 days.
    for (month, mm) in [(0, 46.5), (1, 42.375), (3, 45.0)] {
        let ours = 1000.0 * rain[month].value;
        assert!((ours - mm).abs() < 1e-9, "month {month}: {ours} mm, by hand {mm}");
    }
    assert!(climate.normals.wind.is_none());
}

#[test]
fn a_file_of_months_is_taken_as_it_stands() {
    let mut words = "month,rain [in],max temperature [°F],min temperature [°F]\n".to_owned();
    for month in (1..=12).rev() {
        words.push_str(&format!("{month},{month},60,40\n"));
    }
    let (parsed, shown) = with_weather(&words);
    let climate = parsed.site.unwrap_or_else(|| panic!("{shown}")).year.climate.unwrap();
    let rain = climate.normals.rain.unwrap().value;
    assert!((rain[2].value - 3.0 * 0.0254).abs() < 1e-12);
    assert!(climate.days.is_empty());
}

fn year(id: &str) -> YearPlan {
    job(id).plan.year.unwrap_or_else(|why| panic!("{id}: {why:?}"))
}

#[test]
fn the_demo_years_leave_the_window_where_their_waters_drive_them() {
    // TRADE.md section 9: koi in a soft supply use the hardness up; the small pond in dry air creeps up; the third supply is
    // over the window itself.
    for (id, side, supply) in [
        ("quoyle-end", Side::Soft, Some(Side::Soft)),
        ("pinch-gap", Side::Hard, None),
        ("wendlow-bottom", Side::Hard, Some(Side::Hard)),
    ] {
        let year = year(id);
        assert!(matches!(year.course, Course::Leaves(_, to) if to == side), "{id}: {:?}", year.course);
        assert_eq!(year.supply, supply, "{id}");
        assert_eq!(year.days.len(), 365, "{id}");
        assert_eq!(year.months.len(), 13, "{id}: the first and the last month are cut");
    }
}

#[test]
fn the_account_of_each_month_is_that_of_its_days() {
    for (id, ..) in DEMOS {
        let year = year(id);
        let mut topped = 0.0;
        for month in &year.months {
            let days: Vec<_> = year.days.iter().filter(|d| d.date >= month.first && d.date <= month.last).collect();
            let by_day: f64 = days.iter().map(|d| d.evening.top_up).sum();
            // The account takes it as what is lacking between all else: 1e-9 of the water that is there.
            let allowed = 1e-9 * days[0].evening.volume;
            let top_up = month.top_up.si();
            assert!((top_up - by_day).abs() <= allowed, "{id}, {}: {top_up} against {by_day}", month.first);
            let last = days.last().unwrap().hardness();
            let hardness = month.hardness.si();
            assert!(
                (hardness - last).abs() <= 1e-9 * last.max(1.0),
                "{id}, {}: {hardness} against {last}",
                month.first
            );
            topped += by_day;
        }
        assert!((year.top_up.si() - topped).abs() <= 1e-8, "{id}");
        for day in &year.days {
            assert!(day.evening.water[..SOLUTES].iter().all(|c| *c > -1e-9 && c.is_finite()), "{id}, {}", day.date);
            assert!(day.ph > 4.0 && day.ph < 10.5 && day.conductivity > 0.0, "{id}, {}: pH {}", day.date, day.ph);
        }
    }
}

#[test]
fn the_reasons_add_up_to_the_change() {
    for (id, ..) in DEMOS {
        let year = year(id);
        let (from, until) = year.reasons_over;
        let hardness = |date| year.days.iter().find(|d| d.date == date).map(|d| d.hardness());
        let before = hardness(from.pred_opt().unwrap()).unwrap_or(year.start.si());
        let after = hardness(until).unwrap();
        let change = year.change.si();
        assert!((change - (after - before)).abs() <= 1e-5, "{id}: {change} against {}", after - before);
    }
}

#[test]
fn without_weather_there_is_no_forecast_and_the_plan_says_what_is_missing() {
    for (id, site, log) in DEMOS {
        let (head, rest) = site.split_once("[climate]").unwrap();
        let tail = rest.find("\n[").map_or("", |at| &rest[at..]);
        let job = made(&format!("{head}{tail}"), Some(log));
        assert_eq!(job.plan.year.as_ref().err(), Some(&NoYear::NoClimate), "{id}");
        assert!(job.plan.missing.iter().any(|m| m.what == "weather of the place"), "{id}");
        assert!(
            job.plan.book.lines().iter().all(|l| !l.id.starts_with("year.") && !l.id.starts_with("climate.")),
            "{id}"
        );
    }
}

#[test]
fn seasons_turn_round_south_of_the_line() {
    // The same mean day half a year on, on the other side of the line. The earth is nearest to the sun in January, which gives
    // southern summers 6.9 % more sunlight (1.0334 ... FAO-56 eq. 23: d_r 1.033 against 0.967); evaporation follows most of it.
    let known = Known {
        range: Some((24.0, 13.0)),
        humidity: Some(0.65),
        wind: Some(2.0),
        sunshine: Some(7.0),
        ..Known::default()
    };
    let at = |degrees: f64, month: usize| {
        let place = Place { latitude: degrees.to_radians(), altitude: 50.0, wind_height: 2.0 };
        thirst(&place, &known, middle_day(month)).unwrap().reference
    };
    for month in 0..12 {
        let (north, south) = (at(35.0, month), at(-35.0, (month + 6) % 12));
        assert!((south / north - 1.0).abs() < 0.09, "month {month}: {north} north, {south} south");
    }
    assert!(at(-35.0, 0) > 1.5 * at(-35.0, 6), "January is summer there");
}
