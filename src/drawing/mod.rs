//! stub
#![allow(missing_docs)]
use chrono::NaiveDate;
use crate::page::Drawing;
pub struct Gauge { pub low: Option<f64>, pub high: Option<f64>, pub pond: Option<f64>, pub supply: Option<f64>, pub alternative: String }
pub struct Point { pub date: NaiveDate, pub value: f64, pub label: String, pub less_than: bool }
pub struct LogChart { pub width: f32, pub points: Vec<Point>, pub window: Option<(f64, f64)>, pub axis: Vec<(f64, String)>, pub above: Vec<String>, pub inside: Vec<String>, pub below: Vec<String>, pub alternative: String }
pub struct Stairs { pub width: f32, pub days: Vec<NaiveDate>, pub start: f64, pub start_index: usize, pub low: Vec<f64>, pub high: Vec<f64>, pub doses: Vec<(usize, String)>, pub window: Option<(f64, f64)>, pub axis: Vec<(f64, String)>, pub window_label: Vec<String>, pub start_label: Vec<String>, pub end_high: String, pub end_low: String, pub alternative: String }
pub struct LevelStrip { pub width: f32, pub first: NaiveDate, pub levels: Vec<u32>, pub steps: u32, pub axis: Vec<(u32, String)>, pub marks: Vec<(NaiveDate, Vec<String>)>, pub title: Vec<String>, pub alternative: String }
pub struct CopperChart { pub width: f32, pub first: NaiveDate, pub low: Vec<f64>, pub middle: Vec<f64>, pub high: Vec<f64>, pub stop: (f64, String), pub watch: (f64, String), pub axis: Vec<(f64, String)>, pub note: String, pub title: Vec<String>, pub alternative: String }
pub struct YearStrip { pub width: f32, pub first: NaiveDate, pub levels: Vec<u32>, pub steps: u32, pub alternative: String }
fn blank(w: f32, h: f32, a: &str) -> Drawing { Drawing { width: w, height: h, items: vec![], alternative: a.into() } }
pub fn gauge(g: &Gauge) -> Drawing { blank(102.0, 26.0, &g.alternative) }
pub fn log_chart(g: &LogChart) -> Drawing { blank(g.width, 175.0, &g.alternative) }
pub fn staircase(g: &Stairs) -> Drawing { blank(g.width, 164.0, &g.alternative) }
pub fn level_strip(g: &LevelStrip) -> Drawing { blank(g.width, 96.0, &g.alternative) }
pub fn copper_chart(g: &CopperChart) -> Drawing { blank(g.width, 198.0, &g.alternative) }
pub fn year_strip(g: &YearStrip) -> Drawing { blank(g.width, 40.0, &g.alternative) }
