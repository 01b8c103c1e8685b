//! Drawings: no label meets another, nothing leaves its box, the target stands where it must.
#![expect(clippy::unwrap_used, reason = "helpers of tests")]

use std::fmt::Write as _;
use std::io::Write as _;

use chrono::{Duration, NaiveDate};
use proptest::prelude::*;
use weirbook::drawing::{
    CopperChart, Gauge, LevelStrip, LogChart, Point, Stairs, YearStrip, copper_chart, day_centres, gauge, level_strip,
    log_chart, staircase, text_width, year_strip,
};
use weirbook::page::style::{Paper, Sheet, Style};
use weirbook::page::{Anchor, Drawing, Face, Ink, Item, Segment};

const WIDTH: f32 = 354.33;

/// Left, top, right and bottom of every label.
fn label_boxes(drawing: &Drawing) -> Vec<(f32, f32, f32, f32, &str)> {
    let label = |item| match item {
        &Item::Label { x, y, anchor, face, size, ref text, .. } => {
            let width = text_width(face, size, text);
            let left = match anchor {
                Anchor::Start => x,
                Anchor::Middle => x - width / 2.0,
                Anchor::End => x - width,
            };
            Some((left, y - size * 0.7, left + width, y + size * 0.2, text.as_str()))
        }
        Item::Path { .. } => None,
    };
    drawing.items.iter().filter_map(label).collect()
}

fn points(drawing: &Drawing) -> Vec<(f32, f32)> {
    let mut points = Vec::new();
    for item in &drawing.items {
        if let Item::Path { segments, .. } = item {
            for segment in segments {
                match *segment {
                    Segment::Move(x, y) | Segment::Line(x, y) => points.push((x, y)),
                    Segment::Curve(a, b, c, d, e, f) => points.extend([(a, b), (c, d), (e, f)]),
                    Segment::Close => {}
                }
            }
        }
    }
    points
}

/// What must hold of every drawing. `left` and `right` are how far it may reach beyond its box.
fn sound(drawing: &Drawing, left: f32, right: f32) -> Result<(), TestCaseError> {
    prop_assert!(drawing.width.is_finite() && drawing.height.is_finite());
    let (from, to) = (-left - 0.05, drawing.width + right + 0.05);
    for (x, y) in points(drawing) {
        prop_assert!(x >= from && x <= to && y >= -0.05 && y <= drawing.height + 0.05, "({x}, {y}) is outside");
    }
    let boxes = label_boxes(drawing);
    for (index, a) in boxes.iter().enumerate() {
        let inside = a.0 >= from && a.2 <= to && a.1 >= -0.05 && a.3 <= drawing.height + 0.05;
        prop_assert!(inside, "{:?} is outside", a);
        for b in boxes.iter().skip(index + 1) {
            let apart = a.2 <= b.0 || b.2 <= a.0 || a.3 <= b.1 || b.3 <= a.1;
            prop_assert!(apart, "{:?} meets {:?}", a, b);
        }
    }
    Ok(())
}

fn value() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => 0.0..20.0_f64,
        2 => 0.0..0.1_f64,
        1 => any::<f64>(),
        1 => prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(0.0), Just(-3.0), Just(1.0e300)],
    ]
}

fn day() -> impl Strategy<Value = NaiveDate> {
    prop_oneof![
        9 => (0..3000_i64).prop_map(|days| date(2024, 1, 1) + Duration::days(days)),
        1 => prop_oneof![Just(NaiveDate::MIN), Just(NaiveDate::MAX), Just(date(1, 1, 1)), Just(date(9999, 12, 31))],
    ]
}

fn words() -> impl Strategy<Value = String> {
    prop_oneof![6 => "[a-z0-9 .]{0,12}", 2 => "[A-Za-z ]{10,60}", 1 => "\\PC{0,30}"]
}

fn lines() -> impl Strategy<Value = Vec<String>> {
    prop::collection::vec(words(), 0..4)
}

fn axis() -> impl Strategy<Value = Vec<(f64, String)>> {
    prop::collection::vec((value(), words()), 0..6)
}

fn width() -> impl Strategy<Value = f32> {
    prop_oneof![6 => Just(WIDTH), 2 => 60.0..520.0_f32, 1 => prop_oneof![Just(f32::NAN), Just(0.0), Just(-5.0)]]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn gauges_are_sound(
        low in prop::option::of(value()), high in prop::option::of(value()),
        pond in prop::option::of(value()), supply in prop::option::of(value()),
    ) {
        let drawing = gauge(&Gauge { low, high, pond, supply, asked: true, alternative: String::new() });
        sound(&drawing, 0.0, 0.0)?;
        prop_assert_eq!(drawing.height, 26.0);
        if low.is_some() || high.is_some() {
            let shade = drawing.items.iter().find_map(|item| match item {
                Item::Path { segments, fill: Some(Ink::Window), .. } => Some(segments.clone()),
                _ => None,
            });
            let shade = shade.unwrap();
            let (left, right) = (drawing.width * 2.0 / 9.0, drawing.width * 7.0 / 9.0);
            prop_assert!(matches!(shade[0], Segment::Move(x, y) if (x - left).abs() < 0.01 && y == 0.0));
            prop_assert!(matches!(shade[2], Segment::Line(x, y) if (x - right).abs() < 0.01 && y == 26.0));
        }
    }

    #[test]
    fn logs_are_sound(
        width in width(),
        points in prop::collection::vec((day(), value(), words(), any::<bool>()), 0..30),
        window in prop::option::of((value(), value())), axis in axis(),
        above in lines(), inside in lines(), below in lines(),
    ) {
        let points = points
            .into_iter()
            .map(|(date, value, label, less_than)| Point { date, value, label, less_than })
            .collect();
        let chart = LogChart { width, points, window, axis, above, inside, below, alternative: String::new() };
        sound(&log_chart(&chart), 110.6, 34.0)?;
    }

    #[test]
    fn staircases_are_sound(
        width in width(), days in 0..40_i64, start in value(), start_index in 0..45_usize,
        low in prop::collection::vec(value(), 0..40), high in prop::collection::vec(value(), 0..40),
        doses in prop::collection::vec((0..45_usize, words()), 0..10),
        window in prop::option::of((value(), value())), axis in axis(),
        window_label in lines(), start_label in lines(), end_high in words(), end_low in words(),
    ) {
        let days = (0..days).map(|day| date(2027, 3, 16) + Duration::days(day)).collect();
        sound(&staircase(&Stairs {
            width, days, start, start_index, low, high, doses, window, axis, window_label, start_label, end_high, end_low,
            alternative: String::new(),
        }), 110.6, 34.0)?;
    }

    #[test]
    fn years_are_sound(
        width in width(), first in day(), runs in prop::collection::vec((0..90_usize, 0..8_u32), 0..12), steps in 0..12_u32,
        levels_axis in prop::collection::vec((0..12_u32, words()), 0..5),
        marks in prop::collection::vec((0..500_i64, lines()), 0..9),
        low in prop::collection::vec(value(), 0..400), high in prop::collection::vec(value(), 0..400),
        stop in (value(), words()), watch in (value(), words()), axis in axis(), note in words(), title in lines(),
    ) {
        let levels: Vec<u32> = runs.iter().flat_map(|(days, level)| vec![*level; *days]).collect();
        let marks = marks
            .into_iter()
            .map(|(day, lines)| (first.checked_add_signed(Duration::days(day)).unwrap_or(first), lines))
            .collect();
        let strip = LevelStrip {
            width, first, levels: levels.clone(), steps, axis: levels_axis, marks, title: title.clone(),
            alternative: String::new(),
        };
        sound(&level_strip(&strip), 110.6, 34.0)?;
        sound(&year_strip(&YearStrip { width, first, levels, steps, alternative: String::new() }), 0.0, 0.0)?;
        let middle = low.iter().zip(&high).map(|(low, high)| (low + high) / 2.0).collect();
        let chart = CopperChart {
            width, first, low, middle, high, stop, watch, axis, note, title, alternative: String::new(),
        };
        sound(&copper_chart(&chart), 110.6, 34.0)?;
    }
}

#[test]
fn day_columns_are_even() {
    let centres = day_centres(70.0, 7);
    assert_eq!(centres, [5.0, 15.0, 25.0, 35.0, 45.0, 55.0, 65.0]);
    assert!(day_centres(70.0, 0).is_empty());
}

#[test]
fn strip_and_forecast_share_their_months() {
    let ticks = |drawing: &Drawing| -> Vec<(f32, String)> {
        let months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
        let label = |item: &Item| match item {
            Item::Label { x, text, .. } if months.contains(&text.as_str()) => Some((*x, text.clone())),
            _ => None,
        };
        drawing.items.iter().filter_map(label).collect()
    };
    let (strip, chart) = (ticks(&level_strip(&sample_strip())), ticks(&copper_chart(&sample_copper())));
    assert!(strip.len() >= 12);
    assert_eq!(strip, chart);
}

#[test]
fn the_sheet_of_samples_is_sound() {
    let samples = samples();
    for (name, drawing) in &samples {
        let (left, right) = if name.starts_with("gauge") || *name == "shed" { (0.0, 0.0) } else { (110.6, 34.0) };
        sound(drawing, left, right).unwrap();
    }
    // All of them on one sheet, to look at: `rsvg-convert drawings.svg`.
    let mut body = String::new();
    let mut y = 12.0;
    for (name, drawing) in &samples {
        let x = if *name == "shed" { 10.0 } else { 120.0 };
        write_svg(&mut body, drawing, x, y);
        y += drawing.height + if name.starts_with("gauge") { 0.0 } else { 18.0 };
    }
    let svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='530' height='{y}'><rect width='530' height='{y}' fill='#fff'/>{body}</svg>"
    );
    let path = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("drawings.svg");
    std::fs::File::create(path).unwrap().write_all(svg.as_bytes()).unwrap();
}

fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

fn strings(texts: &[&str]) -> Vec<String> {
    texts.iter().map(|text| (*text).to_owned()).collect()
}

fn numbers(axis: &[(f64, &str)]) -> Vec<(f64, String)> {
    axis.iter().map(|(value, text)| (*value, (*text).to_owned())).collect()
}

fn sample_log(count: usize, gap: i64) -> LogChart {
    let values = [6.2, 6.9, 7.7, 8.1, 6.6, 5.3, 4.4, 4.0];
    let points = (0..count)
        .map(|at| {
            let value = values[at % values.len()];
            let days = i64::try_from(at).unwrap() * gap;
            Point {
                date: date(2026, 4, 8) + Duration::days(days),
                value,
                label: format!("{value:.1}"),
                less_than: at == 6,
            }
        })
        .collect();
    LogChart {
        width: WIDTH,
        points,
        window: Some((5.6, 14.0)),
        axis: numbers(&[(0.0, "0"), (5.6, "5.6"), (14.0, "14 °dKH")]),
        above: strings(&["Copper is bound", "and of little use"]),
        inside: strings(&["The window:", "safe and useful"]),
        below: strings(&["Copper can", "kill fish"]),
        alternative: String::new(),
    }
}

fn sample_stairs() -> Stairs {
    Stairs {
        width: WIDTH,
        days: (0..7).map(|day| date(2027, 3, 16) + Duration::days(day)).collect(),
        start: 4.0,
        start_index: 0,
        low: vec![4.0, 4.9, 5.8, 6.7, 6.7, 6.7, 6.7],
        high: vec![4.0, 5.0, 6.0, 7.0, 7.0, 7.0, 7.0],
        doses: vec![(1, "1.25 kg".into()), (2, "1.25 kg".into()), (3, "1.25 kg".into())],
        window: Some((5.6, 14.0)),
        axis: numbers(&[(4.0, "4"), (5.0, "5"), (6.0, "6"), (7.0, "7"), (8.0, "8 °dKH")]),
        window_label: strings(&["The window", "starts at 5.6 °dKH"]),
        start_label: strings(&["Reading on", "16 March: 4.0"]),
        end_high: "7.0 if the pond holds 42,000 L".into(),
        end_low: "6.7 if it holds 46,900 L".into(),
        alternative: String::new(),
    }
}

fn sample_levels() -> Vec<u32> {
    let spell = |day: usize| [41..51, 97..108, 160..170].iter().any(|days| days.contains(&day));
    (0..366)
        .map(|day| match day {
            0..6 => 0,
            _ if spell(day) => 7,
            _ => 1,
        })
        .collect()
}

fn sample_strip() -> LevelStrip {
    let mark = |month, day, lines: &[&str]| (date(2027, month, day), strings(lines));
    LevelStrip {
        width: WIDTH,
        first: date(2027, 3, 16),
        levels: sample_levels(),
        steps: 10,
        axis: vec![(1, "1/10".into()), (7, "7/10".into()), (10, "10/10".into())],
        marks: vec![
            mark(3, 22, &["on", "22 Mar"]),
            mark(4, 26, &["26 April"]),
            mark(5, 6, &["back down", "6 May"]),
            mark(6, 21, &["21 June"]),
            mark(7, 2, &["back down", "2 July"]),
            mark(8, 23, &["23 Aug"]),
            mark(9, 2, &["back down", "2 Sept"]),
        ],
        title: strings(&["Output level", "tenths of the panel’s", "full output"]),
        alternative: String::new(),
    }
}

fn sample_copper() -> CopperChart {
    let mut copper = 0.005;
    let middle: Vec<f64> = sample_levels()
        .iter()
        .map(|level| {
            copper += (f64::from(*level) * 0.0102 - copper) * 0.3;
            copper
        })
        .collect();
    CopperChart {
        width: WIDTH,
        first: date(2027, 3, 16),
        low: middle.iter().map(|value| value * 0.8).collect(),
        high: middle.iter().map(|value| value * 1.2).collect(),
        middle,
        stop: (0.09, "Stop 0.090: panel off, change water".into()),
        watch: (0.045, "Watch 0.045: test every second day".into()),
        axis: numbers(&[(0.0, "0"), (0.02, "0.02"), (0.04, "0.04"), (0.06, "0.06"), (0.08, "0.08")]),
        note: "middle forecast, and the range for 8 years in 10".into(),
        title: strings(&["Copper in the pond", "forecast of total copper,", "milligrams per litre,", "mg/L"]),
        alternative: String::new(),
    }
}

fn samples() -> Vec<(&'static str, Drawing)> {
    let one =
        |low, high, pond, supply| gauge(&Gauge { low, high, pond, supply, asked: true, alternative: String::new() });
    vec![
        ("gauge", one(Some(5.6), Some(14.0), Some(4.0), Some(6.1))),
        ("gauge", one(Some(250.0), Some(1000.0), Some(208.0), Some(262.0))),
        ("gauge", one(None, Some(0.045), Some(0.006), Some(0.012))),
        ("gauge", one(None, Some(0.0), Some(0.0), Some(0.3))),
        ("gauge", one(Some(6.0), None, Some(9.0), None)),
        ("gauge", one(Some(5.0), Some(14.0), Some(-9.0), Some(40.0))),
        ("gauge", one(Some(5.0), Some(14.0), None, Some(9.0))),
        ("gauge", one(Some(5.0), Some(14.0), None, None)),
        ("gauge-last", one(None, None, Some(3.0), None)),
        ("log", log_chart(&sample_log(8, 48))),
        ("log-long", log_chart(&sample_log(26, 60))),
        ("stairs", staircase(&sample_stairs())),
        ("strip", level_strip(&sample_strip())),
        ("copper", copper_chart(&sample_copper())),
        (
            "shed",
            year_strip(&YearStrip {
                width: 510.0,
                first: date(2027, 3, 16),
                levels: sample_levels(),
                steps: 10,
                alternative: String::new(),
            }),
        ),
        ("empty", log_chart(&sample_log(0, 1))),
    ]
}

fn write_svg(out: &mut String, drawing: &Drawing, left: f32, top: f32) {
    let style = Style { paper: Paper::A4, sheet: Sheet::Report, accent: [0x8a, 0x4a, 0x1e] };
    let colour = |ink: Ink| {
        let [red, green, blue] = style.colour(ink);
        format!("#{red:02x}{green:02x}{blue:02x}")
    };
    write!(out, "<g transform='translate({left} {top})'>").unwrap();
    for item in &drawing.items {
        match item {
            Item::Path { segments, fill, stroke } => {
                let mut outline = String::new();
                for segment in segments {
                    match segment {
                        Segment::Move(x, y) => write!(outline, "M{x} {y}").unwrap(),
                        Segment::Line(x, y) => write!(outline, "L{x} {y}").unwrap(),
                        Segment::Curve(a, b, c, d, e, f) => write!(outline, "C{a} {b} {c} {d} {e} {f}").unwrap(),
                        Segment::Close => outline.push('Z'),
                    }
                }
                let fill = fill.map_or("none".to_owned(), colour);
                write!(out, "<path d='{outline}' fill='{fill}'").unwrap();
                if let Some(stroke) = stroke {
                    write!(out, " stroke='{}' stroke-width='{}'", colour(stroke.ink), stroke.width).unwrap();
                    if let Some((on, off)) = stroke.dash {
                        write!(out, " stroke-dasharray='{on} {off}'").unwrap();
                    }
                }
                out.push_str("/>");
            }
            Item::Label { x, y, anchor, face, size, ink, text } => {
                let anchor = match anchor {
                    Anchor::Start => "start",
                    Anchor::Middle => "middle",
                    Anchor::End => "end",
                };
                let weight = if matches!(face, Face::SansSemibold) { 600 } else { 400 };
                let ink = colour(*ink);
                write!(
                    out,
                    "<text x='{x}' y='{y}' text-anchor='{anchor}' font-family='&quot;Source Sans 3&quot;' font-weight='{weight}' font-size='{size}' fill='{ink}'>{text}</text>"
                )
                .unwrap();
            }
        }
    }
    out.push_str("</g>");
}
