//! The pages by the millimetre, from the display list, against the house style: what its pages say is written in the numbers here,
//! not taken from the code that sets them.
#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use weirbook::document::Edition;
use weirbook::layout::Typeset;
use weirbook::page::display::{Bounds, Draw, Page, Paint, PathStroke, Role, Run, TagId};
use weirbook::page::{Face, Ink, Segment};
use weirbook::{Shipped, set};

use crate::demos::{DEMOS, made};
use crate::layout::fonts;

/// Points in a millimetre.
const MM: f32 = 72.0 / 25.4;
/// Coordinates are written with two decimals of a point.
const NEAR: f32 = 0.02;

fn near(a: f32, b: f32) -> bool {
    (a - b).abs() <= NEAR
}

struct Sheet {
    name: String,
    /// In millimetres.
    size: (f32, f32),
    set: Typeset,
}

impl Sheet {
    fn pages(&self) -> &[Page] {
        &self.set.pages.pages
    }

    fn runs(page: &Page) -> impl Iterator<Item = (Option<TagId>, &Run)> {
        page.items.iter().filter_map(|item| match &item.draw {
            Draw::Text(run) => Some((item.tag, run)),
            _ => None,
        })
    }

    fn all_runs(&self) -> impl Iterator<Item = (Option<TagId>, &Run)> {
        self.pages().iter().flat_map(Sheet::runs)
    }

    fn role(&self, tag: Option<TagId>) -> Option<&Role> {
        self.set.pages.tags.get(tag?.0 as usize).map(|tag| &tag.role)
    }

    /// Whether a tag, or one that encloses it, has this role.
    fn within(&self, mut tag: Option<TagId>, role: &Role) -> bool {
        while let Some(at) = tag {
            let node = &self.set.pages.tags[at.0 as usize];
            if node.role == *role {
                return true;
            }
            tag = node.parent;
        }
        false
    }
}

fn sheet(id: &str, paper: &str, small: Option<&str>, edition: Edition) -> Sheet {
    let (_, site, log) = DEMOS.iter().find(|demo| demo.0 == id).unwrap();
    let mut site = site.replace("paper = \"A4\"", &format!("paper = \"{paper}\""));
    site = site.replace("paper = \"Letter\"", &format!("paper = \"{paper}\""));
    if let Some(small) = small {
        site = site.replace("\nunits", &format!("\nshed_paper = \"{small}\"\nunits"));
    }
    let (_, set) = set(&made(&site, Some(log)), edition, &Shipped, fonts()).unwrap();
    let size = match small.unwrap_or(paper) {
        "A4" => (210.0, 297.0),
        "Letter" => (215.9, 279.4),
        "A5" => (148.0, 210.0),
        _ => (139.7, 215.9),
    };
    Sheet { name: format!("{id} {} on {}", edition.name(), small.unwrap_or(paper)), size, set }
}

fn plans() -> Vec<Sheet> {
    let papers = ["A4", "Letter"].into_iter();
    papers.flat_map(|paper| DEMOS.map(|(id, ..)| sheet(id, paper, None, Edition::CarePlan))).collect()
}

/// The box of a path.
fn extent(segments: &[Segment]) -> Bounds {
    let (mut left, mut top, mut right, mut bottom) = (f32::MAX, f32::MAX, f32::MIN, f32::MIN);
    for segment in segments {
        let (Segment::Move(x, y) | Segment::Line(x, y) | Segment::Curve(.., x, y)) = *segment else { continue };
        (left, top, right, bottom) = (left.min(x), top.min(y), right.max(x), bottom.max(y));
    }
    Bounds { x: left, y: top, width: right - left, height: bottom - top }
}

/// A path: box, fill, stroke, segments.
type Drawn<'a> = (Bounds, Option<Paint>, Option<&'a PathStroke>, &'a [Segment]);

/// Paths of a page that are not part of a drawing.
fn decoration(page: &Page) -> Vec<Drawn<'_>> {
    let paths = page.items.iter().filter(|item| item.tag.is_none());
    paths
        .filter_map(|item| match &item.draw {
            Draw::Path { segments, fill, stroke, .. } => {
                Some((extent(segments), *fill, stroke.as_ref(), &segments[..]))
            }
            _ => None,
        })
        .collect()
}

/// Level lines of a page: box, weight, ink.
fn rules(page: &Page) -> Vec<(Bounds, f32, Paint)> {
    let lines = decoration(page).into_iter().filter(|(bounds, fill, ..)| bounds.height == 0.0 && fill.is_none());
    lines.filter_map(|(bounds, _, stroke, _)| stroke.map(|stroke| (bounds, stroke.width, stroke.paint))).collect()
}

#[test]
fn columns_stand_where_the_grid_says() {
    // Section 2: label 18 + 34, main 57 + 125, number 185 + 9, margin 16. Section 13: Letter 34 / 130.9 / 9.
    for plan in plans() {
        let (width, main) = if plan.name.ends_with("A4") { (210.0, 125.0) } else { (215.9, 130.9) };
        let number = 57.0 + main + 3.0;
        assert!(
            near(plan.set.pages.page_width, width * MM) && (number + 9.0 + 16.0 - width).abs() < 0.01,
            "{}",
            plan.name
        );
        let columns = [(18.0, 34.0), (57.0, main), (number, 9.0)].map(|(x, width)| (x * MM, width * MM));
        for (x, width) in columns {
            // Text that fills a column has its frame; the number column's reaches into the margin for a third number.
            let has = plan
                .all_runs()
                .any(|(_, run)| near(run.frame.x, x) && (near(run.frame.width, width) || x > 180.0 * MM));
            assert!(has, "{}: no text in the column at {:.1} mm", plan.name, x / MM);
        }
        for (tag, run) in plan.all_runs().filter(|(tag, _)| tag.is_some()) {
            assert!(run.x >= 18.0 * MM - NEAR, "{}: `{}` left of the label column", plan.name, run.text());
            let link = plan.within(tag, &Role::Link) && run.size == 7.5 && run.face == Face::SansSemibold;
            if link && run.x > 150.0 * MM && !near(run.x, number * MM) {
                // A second number on the line stands after the first.
                let first = plan.all_runs().any(|(_, other)| near(other.y, run.y) && near(other.x, number * MM));
                assert!(first, "{}: `{}` is not at the number column", plan.name, run.text());
            }
        }
        // Serif 10 on 13 in the main column is the body.
        let body = plan.all_runs().filter(|(_, run)| run.face == Face::Serif && run.size == 10.0);
        let body: Vec<&Run> = body.map(|(_, run)| run).filter(|run| near(run.frame.x, 57.0 * MM)).collect();
        assert!(body.len() > 40, "{}", plan.name);
        assert!(body.iter().all(|run| run.x + run.width <= (57.0 + main) * MM + 0.1), "{}", plan.name);
    }
}

#[test]
fn text_keeps_to_its_top_and_bottom_and_the_footer_to_its_baseline() {
    // Section 2: top 26, bottom 22; section 13: 24 and 20 on Letter. Section 5: the footer's baseline 14 mm from the edge.
    for plan in plans() {
        let (top, bottom) = if plan.name.ends_with("A4") { (26.0, 22.0) } else { (24.0, 20.0) };
        let height = plan.size.1 * MM;
        let mut highest = f32::MAX;
        for (index, page) in plan.pages().iter().enumerate() {
            for (_, run) in Sheet::runs(page).filter(|(tag, _)| tag.is_some()) {
                // Capitals and figures are two thirds of the size high.
                let cap = run.y - 0.66 * run.size;
                let least = if index == 0 { 15.0 } else { top } * MM;
                assert!(cap >= least - NEAR, "{} p{}: `{}` above the text", plan.name, index + 1, run.text());
                assert!(
                    run.y <= height - bottom * MM + NEAR,
                    "{} p{}: `{}` below the text",
                    plan.name,
                    index + 1,
                    run.text()
                );
                if index > 0 {
                    highest = highest.min(cap - least);
                }
            }
            let foot: Vec<&Run> = Sheet::runs(page)
                .filter(|(tag, run)| tag.is_none() && run.y > height - 20.0 * MM)
                .map(|(_, run)| run)
                .collect();
            assert!(!foot.is_empty(), "{} p{}: no footer", plan.name, index + 1);
            assert!(foot.iter().all(|run| near(run.y, height - 14.0 * MM) && run.size == 8.0 && run.ink == Ink::Quiet));
        }
        assert!(highest < 6.5, "{}: text begins {highest} pt under the top of the text", plan.name);
    }
}

#[test]
fn the_header_rule_steps_down_half_a_line_where_the_label_column_ends() {
    // Section 5: 0.9 pt, a drop of 6.5 pt at x = 52 mm, from margin to margin.
    for plan in plans() {
        for (index, page) in plan.pages().iter().enumerate() {
            let steps = decoration(page).into_iter().filter(|(bounds, _, stroke, segments)| {
                segments.len() == 4 && stroke.is_some_and(|s| near(s.width, 0.9)) && near(bounds.height, 6.5)
            });
            let steps: Vec<_> = steps.collect();
            assert_eq!(steps.len(), 1, "{} p{}", plan.name, index + 1);
            let (bounds, fill, stroke, segments) = steps[0];
            assert!(fill.is_none() && stroke.unwrap().dash.is_none());
            assert!(near(bounds.x, 18.0 * MM) && near(bounds.right(), (plan.size.0 - 16.0) * MM), "{}", plan.name);
            let [Segment::Move(_, high), Segment::Line(a, b), Segment::Line(c, d), Segment::Line(_, low)] = segments
            else {
                panic!("{}: not a step", plan.name)
            };
            assert!(near(*a, 52.0 * MM) && near(*c, 52.0 * MM) && b == high && d == low && low > high, "{}", plan.name);
        }
    }
}

#[test]
fn callouts_have_the_frame_of_their_weight() {
    // Section 7: a hairline of 0.4 pt over both columns; a bar of 3 pt at the left of main; a frame of 1.5 pt about label and
    // main with an ink block that fills the label column, label Sans Bold 15 in white.
    for plan in plans() {
        let main = plan.size.0 - 85.0;
        let (mut notes, mut cares, mut dangers) = (0, 0, 0);
        for (page_number, page) in plan.pages().iter().enumerate() {
            let place = format!("{} p{}", plan.name, page_number + 1);
            let paths = decoration(page);
            for (_, run) in Sheet::runs(page).filter(|(tag, _)| tag.is_some()) {
                let starts =
                    |bounds: &Bounds, x: f32, width: f32| near(bounds.x, x * MM) && near(bounds.width, width * MM);
                let label = near(run.x, 18.0 * MM);
                match (run.face, run.size) {
                    (Face::SerifItalic, 10.0) if label => {
                        // A label of two lines has its hairlines over the first.
                        let over = |x, width| {
                            rules(page).iter().any(|(bounds, weight, _)| {
                                starts(bounds, x, width)
                                    && near(*weight, 0.4)
                                    && (0.0..28.0).contains(&(run.y - bounds.y))
                            })
                        };
                        assert!(
                            over(18.0, 34.0) && over(57.0, main),
                            "{place}: `{}` has no hairline above",
                            run.text()
                        );
                        notes += 1;
                    }
                    (Face::SansBold, 11.0) if label => {
                        let bar = paths.iter().any(|(bounds, fill, ..)| {
                            near(bounds.x, 57.0 * MM)
                                && near(bounds.width, 3.0)
                                && *fill == Some(Paint::Ink(Ink::Ink))
                                && (bounds.y - 14.0..bounds.bottom() + 14.0).contains(&run.y)
                        });
                        assert!(bar, "{place}: `{}` has no bar", run.text());
                        cares += 1;
                    }
                    (Face::SansBold, 15.0) if run.ink == Ink::Paper => {
                        let holds = |bounds: &Bounds| bounds.y < run.y && run.y < bounds.bottom();
                        let block = paths.iter().any(|(bounds, fill, ..)| {
                            starts(bounds, 18.0, 34.0) && *fill == Some(Paint::Ink(Ink::Ink)) && holds(bounds)
                        });
                        // The stroke lies wholly inside.
                        let frame = paths.iter().any(|(bounds, fill, stroke, _)| {
                            let outer = Bounds {
                                x: bounds.x - 0.75,
                                y: bounds.y - 0.75,
                                width: bounds.width + 1.5,
                                height: bounds.height + 1.5,
                            };
                            let inked = stroke.is_some_and(|s| near(s.width, 1.5) && s.paint == Paint::Ink(Ink::Ink));
                            starts(&outer, 18.0, main + 39.0) && fill.is_none() && inked && holds(bounds)
                        });
                        // The triangle is 9 mm wide.
                        let sign =
                            paths.iter().any(|(bounds, ..)| (bounds.width - 9.0 * MM).abs() < 0.6 && bounds.y < run.y);
                        assert!(block && frame && sign, "{place}: `{}`: {block} {frame} {sign}", run.text());
                        dangers += 1;
                    }
                    _ => {}
                }
            }
        }
        assert!(notes >= 1 && cares >= 2 && dangers >= 1, "{}: {notes} {cares} {dangers}", plan.name);
    }
}

#[test]
fn tables_have_their_rules_and_row_heights() {
    // Section 8: 0.8 pt ink under the head, 0.3 pt hair under each row but the last, rows 19.5 pt, 26 pt with a gauge.
    for plan in plans() {
        let wide = |bounds: &Bounds| near(bounds.x, 18.0 * MM) && near(bounds.right(), (plan.size.0 - 28.0) * MM);
        let (mut single, mut gauged) = (0, 0);
        for (index, page) in plan.pages().iter().enumerate() {
            let mut lines: Vec<(f32, bool)> = Vec::new();
            for (bounds, weight, paint) in rules(page).into_iter().filter(|(bounds, ..)| wide(bounds)) {
                match paint {
                    Paint::Ink(Ink::Hair) => {
                        assert!(near(weight, 0.3), "{} p{}: a rule of {weight} pt under a row", plan.name, index + 1);
                        lines.push((bounds.y, false));
                    }
                    Paint::Ink(Ink::Ink) if near(weight, 0.8) => lines.push((bounds.y, true)),
                    _ => {}
                }
            }
            // A hair line closes a row that begins at the line above it. A row without a target has no gauge to draw, and
            // keeps the height of its neighbours.
            let mut beside_gauge = false;
            for pair in lines.windows(2) {
                let [(above, _), (below, head)] = pair else { continue };
                if *head || below < above {
                    continue;
                }
                let inside = |y: f32| *above < y && y < *below;
                let cells: Vec<&Run> = Sheet::runs(page)
                    .filter(|(tag, run)| {
                        inside(run.y)
                            && (plan.within(*tag, &Role::Cell) || matches!(plan.role(*tag), Some(Role::HeadCell(_))))
                    })
                    .map(|(_, run)| run)
                    .collect();
                let gauge = page.items.iter().any(|item| match (&item.draw, plan.role(item.tag)) {
                    (Draw::Path { segments, .. }, Some(Role::Figure { .. })) => {
                        let bounds = extent(segments);
                        inside(bounds.y) && inside(bounds.bottom())
                    }
                    _ => false,
                });
                let height = below - above;
                let own = cells.iter().filter(|run| run.size > 7.6);
                let first = cells.first().map_or(0.0, |run| run.y);
                let one_line = own.clone().count() > 0 && own.clone().all(|run| (run.y - first).abs() < 1.0);
                let kept = beside_gauge && near(height, 26.0);
                beside_gauge = gauge || kept;
                if one_line && (gauge || kept) {
                    assert!(near(height, 26.0), "{} p{}: a row with a gauge is {height} pt high", plan.name, index + 1);
                    gauged += 1;
                } else if one_line {
                    assert!(near(height, 19.5), "{} p{}: a row is {height} pt high", plan.name, index + 1);
                    single += 1;
                }
            }
        }
        assert!(single >= 2 && gauged >= 8, "{}: {single} rows, {gauged} with a gauge", plan.name);
    }
}

#[test]
fn the_shed_sheet_can_be_read_from_two_metres() {
    // Section 12: amounts Sans Bold 54 pt, never under 44, digits 12.6 mm at 54; boxes to tick 7.5 mm of 1.4 pt; margins 15,
    // bottom 12; amount column 88, gutter 4; nothing under 13 pt. Section 13: on A5 and Half Letter amounts 40 pt (9.3 mm), text
    // 12 pt; their margins are those of their plan's pages at least where the words stand.
    let mut full_size = 0;
    for (paper, small, least, most, text) in [
        ("A4", None, 44.0, 54.0, 13.0),
        ("Letter", None, 44.0, 54.0, 13.0),
        ("A4", Some("A5"), 40.0, 40.0, 12.0),
        ("Letter", Some("Half Letter"), 40.0, 40.0, 12.0),
    ] {
        for (id, ..) in DEMOS {
            let shed = sheet(id, paper, small, Edition::ShedSheet);
            assert_eq!(shed.pages().len(), 1, "{}", shed.name);
            let page = &shed.pages()[0];
            let amounts: Vec<&Run> = Sheet::runs(page)
                .map(|(_, run)| run)
                .filter(|run| run.face == Face::SansBold && run.size >= 36.0)
                .collect();
            let rows: std::collections::BTreeSet<i32> = amounts.iter().map(|run| run.y.round() as i32).collect();
            assert!((2..=8).contains(&rows.len()), "{}: {} main amounts", shed.name, rows.len());
            for run in &amounts {
                assert!((least..=most).contains(&run.size), "{}: `{}` is {} pt", shed.name, run.text(), run.size);
                full_size += usize::from(run.size == most);
                // Lining figures of Sans Bold are as high as 0.66 of the size: 54 pt is 12.6 mm, 40 pt is 9.3 mm, 44 pt 10.2 mm.
                let digits = 0.66 * run.size / MM;
                assert!(digits >= 0.66 * least / MM - 0.01 && digits >= 9.3, "{}: digits of {digits} mm", shed.name);
            }
            for (_, run) in Sheet::runs(page).filter(|(tag, _)| tag.is_some()) {
                let in_drawing = run.size < text
                    && matches!(
                        shed.role(Sheet::runs(page).find(|(_, r)| std::ptr::eq(*r, run)).unwrap().0),
                        Some(Role::Figure { .. })
                    );
                assert!(run.size >= text || in_drawing, "{}: `{}` is {} pt", shed.name, run.text(), run.size);
                assert!(run.face != Face::SansSemibold || run.size != 7.5, "{}: a margin number", shed.name);
            }
            let boxes: Vec<Bounds> = page
                .items
                .iter()
                .filter_map(|item| match (&item.draw, shed.role(item.tag)) {
                    (Draw::Path { segments, stroke: Some(stroke), .. }, Some(Role::Figure { alternative, .. }))
                        if alternative == "box to tick" =>
                    {
                        assert!(near(stroke.width, 1.4), "{}: a box of {} pt", shed.name, stroke.width);
                        Some(extent(segments))
                    }
                    _ => None,
                })
                .collect();
            for found in &boxes {
                let outer = (found.width + 1.4) / MM;
                assert!((outer - 7.5).abs() < 0.01 && near(found.width, found.height), "{}: {outer} mm", shed.name);
            }
            if small.is_none() {
                let (left, right) = (15.0 * MM, (shed.size.0 - 15.0) * MM);
                let bottom = (shed.size.1 - 12.0) * MM;
                for (_, run) in Sheet::runs(page) {
                    assert!(
                        run.x >= left - NEAR && run.x + run.width <= right + 0.1,
                        "{}: `{}`",
                        shed.name,
                        run.text()
                    );
                    assert!(run.y <= bottom, "{}: `{}`", shed.name, run.text());
                }
                assert!(amounts.iter().any(|run| near(run.x, left)), "{}: amounts stand at the margin", shed.name);
                let what = Sheet::runs(page).any(|(_, run)| run.size == 18.0 && near(run.frame.x, 107.0 * MM));
                assert!(what, "{}: what an amount is of stands at 107 mm", shed.name);
            }
            // A ring of 5 mm in the middle marks the nail; sections are divided by rules of 1.2 pt; the emergency's frame is 2.5 pt.
            let paths = decoration(page);
            let ring = |bounds: &Bounds| {
                (bounds.width - 5.0 * MM).abs() < 0.05
                    && (bounds.x + bounds.width / 2.0 - shed.size.0 / 2.0 * MM).abs() < 0.05
            };
            assert!(paths.iter().any(|(bounds, ..)| ring(bounds)), "{}: no ring for the nail", shed.name);
            assert!(rules(page).iter().any(|(_, weight, _)| near(*weight, 1.2)), "{}: no rule of 1.2 pt", shed.name);
            let frame = paths
                .iter()
                .find(|(bounds, _, stroke, _)| bounds.height > 40.0 && stroke.is_some_and(|s| near(s.width, 2.5)));
            let (frame, ..) = frame.unwrap_or_else(|| panic!("{}: no emergency frame", shed.name));
            let margin = if small.is_some() { 9.0 } else { 12.0 };
            assert!(
                near(frame.bottom() + 1.25, (shed.size.1 - margin) * MM),
                "{}: the emergency is at the foot",
                shed.name
            );
        }
    }
    assert!(full_size > 10, "amounts are shrunk everywhere: {full_size}");
}
