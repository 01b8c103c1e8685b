//! The water year: its keys in the site file, the balance, the forecast.

#![expect(clippy::unwrap_used, reason = "a test that cannot read its own case has failed")]

use weirbook::cli::complaints::render;
use weirbook::diag::Text;
use weirbook::site;

use crate::demos::DEMOS;

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
