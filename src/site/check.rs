//! The site file as meant: every part is checked even when others failed, so that all complaints come in one run.

use chrono::NaiveDate;

use super::fields::{Bounds, FIELDS, field, listed, nearest};
use super::model::*;
use super::values::{clipped, plain};
use super::written::{Complaints, Table};
use crate::diag::{Diagnostic, Text};
use crate::reference::SUBSTANCES;
use crate::units::table as unit;
use crate::units::{ElectricCurrent, Kind, Length, Ratio, Si, System};

const LENGTH: Bounds = Bounds::new(&unit::METRE, 0.01, 1_000.0).usual(0.01, 200.0);
/// A sounding may be zero: at a sloping bank it is.
const DEPTH: Bounds = Bounds::new(&unit::METRE, 0.0, 20.0).usual(0.0, 4.0);
const AREA: Bounds = Bounds::new(&unit::SQUARE_METRE, 0.01, 100_000.0).usual(0.01, 10_000.0);
const VOLUME: Bounds = Bounds::new(&unit::LITRE, 0.1, 100_000_000.0);
const FLOW: Bounds = Bounds::new(&unit::LITRES_PER_SECOND, 0.001, 1_000.0).usual(0.01, 20.0);
const SHARE: Bounds = Bounds::new(&unit::PERCENT, 0.0, 100.0);
const CURRENT: Bounds = Bounds::new(&unit::MILLIAMPERE, 0.0, 10_000.0).usual(0.1, 500.0);
const MASS: Bounds = Bounds::new(&unit::GRAM, 0.1, 1_000_000.0);
/// From the shore of the Dead Sea to the highest town.
const ELEVATION: Bounds = Bounds::new(&unit::METRE, -450.0, 5_500.0);
/// What the site file says, before the log joins it. `None` where a complaint stands in its place.
#[derive(Default)]
pub(super) struct Told {
    pub head: Option<Head>,
    pub firm: Option<Firm>,
    pub page: Option<PageChoice>,
    pub volume: Option<VolumeAsTold>,
    pub supply: Option<Supply>,
    pub animals: Vec<Animal>,
    pub panel: Option<Panel>,
    pub bars: Option<Bars>,
    pub flow: Option<FlowTest>,
    pub hose: Option<Stated<crate::units::VolumeRate>>,
    pub outflow: Option<Outflow>,
    pub authorisation: Authorisation,
    pub substances: Vec<SubstanceChoice>,
    pub goals: Goals,
    pub kits: Vec<Kit>,
    pub practice: Practice,
    pub photos: Vec<Photo>,
    pub year: super::year::YearAsTold,
    pub log_file: Option<Stated<String>>,
    pub plan_date: Option<Stated<NaiveDate>>,
    pub next_visit: Option<Stated<NaiveDate>>,
}

/// `[site]`, without its dates.
pub(super) struct Head {
    pub id: String,
    pub name: String,
    pub owner: String,
    pub place: String,
    pub country: Country,
    pub latitude: Option<Stated<crate::units::Angle>>,
    pub elevation: Option<Stated<Length>>,
    pub visited_by: Option<String>,
}

pub(super) fn check(
    mut root: Table<'_, '_>,
    plan_date: Option<NaiveDate>,
    weather: Option<&Text>,
    c: &mut Complaints<'_>,
) -> Told {
    let mut told = Told::default();
    site(&mut root, plan_date, &mut told, c);
    told.firm = need(&mut root, "firm", "the plan bears the firm's name", c).and_then(|t| firm(t, c));
    told.page =
        need(&mut root, "page", "paper and units are the owner's, and are not guessed", c).and_then(|t| page(t, c));
    told.volume = need(&mut root, "volume", "every dose is in proportion to it", c).and_then(|t| volume(t, c));
    told.supply = need(&mut root, "supply", "pond and supply are judged apart", c).and_then(|t| supply(t, c));
    told.animals = root.tables("animal", c).into_iter().filter_map(|t| animal(t, c)).collect();
    told.panel = root.table("panel", c).and_then(|t| panel(t, c));
    told.bars = root.table("bars", c).and_then(|t| bars(t, c));
    told.flow = root.table("flow", c).and_then(|t| flow(t, c));
    told.hose = root.table("hose", c).and_then(|mut t| {
        let hose = t.quantity("flow", &FLOW, c);
        t.finish(c);
        hose
    });
    told.outflow = root.table("outflow", c).map(|t| outflow(t, c));
    told.authorisation = root.table("authorisation", c).map(|t| authorisation(t, c)).unwrap_or_default();
    told.substances = root.tables("substance", c).into_iter().filter_map(|t| substance(t, c)).collect();
    told.goals = root.table("goals", c).map(|t| goals(t, c)).unwrap_or_default();
    told.kits = root.tables("kit", c).into_iter().filter_map(|t| kit(t, c)).collect();
    let steps = told.panel.as_ref().map(|p| p.steps);
    told.practice = root.table("practice", c).map(|t| practice(t, steps, c)).unwrap_or_default();
    told.photos = root.tables("photo", c).into_iter().filter_map(|t| photo(t, c)).collect();
    let latitude = told.head.as_ref().is_none_or(|head| head.latitude.is_some());
    told.year = super::year::year(&mut root, latitude, weather, c);
    // A valve told of with the top-up is a valve of the supply.
    let valve = told.year.top_up.as_ref().is_some_and(|t| t.by == super::year::TopUpBy::FloatValve);
    if let Some(supply) = told.supply.as_mut().filter(|_| valve) {
        supply.float_valve = true;
    }
    told.log_file = root.table("log", c).and_then(|mut t| {
        let file = t.need_text("file", "it names the readings", "\"log.csv\"", c);
        t.finish(c);
        file
    });
    root.finish(c);
    told
}

fn need<'t, 'i>(
    root: &mut Table<'t, 'i>,
    key: &'static str,
    why: &str,
    c: &mut Complaints<'_>,
) -> Option<Table<'t, 'i>> {
    if !root.has(key) {
        let part = if key == "volume" { "[[volume.section]]".to_owned() } else { format!("[{key}]") };
        root.lacks(
            key,
            Diagnostic::error("missing-part", root.span, format!("the part `{part}` is missing"))
                .label("it can stand anywhere in the file")
                .why(why)
                .hint(format!("add `{part}`; `weirbook new FOLDER` writes a site file that shows what belongs in it")),
        );
    }
    root.table(key, c)
}

fn site(root: &mut Table<'_, '_>, plan_date: Option<NaiveDate>, told: &mut Told, c: &mut Complaints<'_>) {
    let Some(mut t) = need(root, "site", "it says whose pond this is, and whose rules apply", c) else { return };
    let id = t.need_text("id", "the plan's files are named after it", "\"ash-lane\"", c);
    let id = id.filter(|id| {
        let good = |ch: char| ch.is_ascii_alphanumeric() || ch == '-';
        let fine = id.value.chars().all(good) && id.value.len() <= 60;
        if !fine {
            let mended: String =
                id.value.to_lowercase().chars().map(|ch| if good(ch) { ch } else { '-' }).take(60).collect();
            c.push(
                Diagnostic::error(
                    "site-id",
                    id.span,
                    format!("`{}` cannot be part of a file name everywhere", clipped(&id.value)),
                )
                .label("letters a to z, digits and hyphens, at most 60 of them")
                .why("the plan's files are named after it")
                .hint(format!("write `\"{mended}\"`")),
            );
        }
        fine
    });
    let name = t.need_text("name", "the plan's title is made of it", "\"Ash Lane\"", c);
    let owner = t.need_text("owner", "the plan is addressed to the owner", "\"Mrs A. Reeve\"", c);
    let place = t.need_text("place", "the plan says where the pond is", "\"Ash Lane, Dunmarrow\"", c);
    let why = "the law on algae control and electricity differs from country to country";
    if t.blank("country") {
        t.complain_missing("country", why, "\"UK\"", c);
    }
    let countries = [
        ("UK", Country::UnitedKingdom),
        ("US", Country::UnitedStates),
        ("EU", Country::EuropeanUnion),
        ("other", Country::Other),
    ];
    let country = t.word("country", &countries, c);
    let latitude = t.quantity("latitude", &Bounds::new(&unit::DEGREE, -90.0, 90.0), c);
    let elevation = t.quantity("elevation", &ELEVATION, c);
    let visited_by = t.text("visited_by", c).map(|s| s.value);
    if plan_date.is_none() && t.blank("plan_date") {
        t.complain_missing("plan_date", "the plan counts its days from it; the clock is never asked", "2026-03-12", c);
    }
    let written = t.date("plan_date", c);
    told.plan_date = match plan_date {
        Some(value) => Some(Stated { value, span: written.as_ref().map_or(t.span, |d| d.span) }),
        None => written,
    };
    told.next_visit = t.date("next_visit", c);
    if let (Some(plan), Some(next)) = (&told.plan_date, &told.next_visit)
        && next.value <= plan.value
    {
        c.push(
            Diagnostic::error(
                "date-order",
                next.span,
                format!("the next visit, {}, is not after the plan's date", next.value),
            )
            .label(format!("the plan is dated {}", plan.value))
            .why("what the owner does until the next visit would have no days to be done in")
            .hint(if plan_date.is_some() {
                format!(
                    "`--date` says {}, `next_visit` says {}: give an earlier `--date`, or write a later `next_visit`",
                    plan.value, next.value
                )
            } else {
                format!("correct one of the two: `plan_date` is {}, `next_visit` is {}", plan.value, next.value)
            }),
        );
    }
    t.finish(c);
    if let (Some(id), Some(name), Some(owner), Some(place), Some(country)) = (id, name, owner, place, country) {
        told.head = Some(Head {
            id: id.value,
            name: name.value,
            owner: owner.value,
            place: place.value,
            country: country.value,
            latitude,
            elevation,
            visited_by,
        });
    }
}

fn firm(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Firm> {
    let name = t.need_text("name", "the plan bears the firm's name", "\"Reeve & Daughters\"", c);
    let trade = t.text("trade", c).map(|s| s.value).unwrap_or_default();
    let address = t.texts("address", c);
    let telephone = t.need_text("telephone", "the owner rings it when fish are in trouble", "\"01632 960000\"", c);
    let email = t.text("email", c).map(|s| s.value);
    let letterhead = t.text("letterhead", c);
    let accent = t.text("accent", c).and_then(|text| match colour(&text.value) {
        Some(value) => Some(Stated { value, span: text.span }),
        None => {
            c.push(
                Diagnostic::error("colour-form", text.span, format!("`{}` is not a colour", clipped(&text.value)))
                    .label("`#` and six digits from 0 to f belong here")
                    .why("headings and rules are drawn in it")
                    .hint("write `\"#2f5d50\"`, for instance"),
            );
            None
        }
    });
    t.finish(c);
    Some(Firm { name: name?.value, trade, address, telephone: telephone?.value, email, letterhead, accent })
}

fn colour(text: &str) -> Option<[u8; 3]> {
    let digits = text.strip_prefix('#').filter(|d| d.len() == 6 && d.bytes().all(|b| b.is_ascii_hexdigit()))?;
    let part = |from: usize| digits.get(from..from + 2).and_then(|two| u8::from_str_radix(two, 16).ok());
    Some([part(0)?, part(2)?, part(4)?])
}

fn page(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<PageChoice> {
    if t.blank("paper") {
        t.complain_missing("paper", "a plan on the wrong paper is cut off by the printer", "\"A4\"", c);
    }
    if t.blank("units") {
        t.complain_missing("units", "the plan speaks in the owner's units", "\"metric\"", c);
    }
    let papers = [("A4", Paper::A4), ("Letter", Paper::Letter), ("A5", Paper::A5), ("Half Letter", Paper::HalfLetter)];
    let paper = t.word("paper", papers.get(..2).unwrap_or_default(), c);
    let shed_paper = t.word("shed_paper", &papers, c);
    let units = t.word("units", &[("metric", System::Metric), ("us", System::Us), ("imperial", System::Imperial)], c);
    t.finish(c);
    let paper = paper?.value;
    // Amounts read from two metres want the larger sheet, even beside a small plan.
    let shed_paper = shed_paper.map_or(
        match paper {
            Paper::A4 | Paper::A5 => Paper::A4,
            Paper::Letter | Paper::HalfLetter => Paper::Letter,
        },
        |chosen| chosen.value,
    );
    Some(PageChoice { paper, shed_paper, system: units?.value })
}

fn photo(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Photo> {
    let file = t.need_text("file", "it names the picture", "\"return.jpg\"", c);
    let caption = t.text("caption", c).map(|s| s.value).unwrap_or_default();
    let why = "whoever has the plan read aloud hears this in the picture's place";
    let description = t.need_text("description", why, "\"The return: a slate lip, water falling into the pond\"", c);
    let part = t.word("part", &PhotoPart::ALL, c).map_or(PhotoPart::Pictures, |s| s.value);
    t.finish(c);
    Some(Photo { file: file?, caption, description: description?.value, part })
}

fn volume(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<VolumeAsTold> {
    let written = t.tables("section", c);
    let (given, had_sections) = (written.len(), !written.is_empty());
    let sections: Vec<Section> = written.into_iter().filter_map(|s| section(s, c)).collect();
    let displaced = t.tables("displaced", c).into_iter().filter_map(|d| displaced(d, c)).collect();
    let metered = t.table("metered", c).and_then(|mut m| {
        let amount = m.need_quantity("amount", &VOLUME, "it is the water that the meter counted", c);
        let uncertainty = m.quantity("uncertainty", &SHARE, c);
        m.finish(c);
        Some(Metered { amount: amount?, uncertainty })
    });
    let salt_dilution = t.table("salt_dilution", c).and_then(|mut s| {
        let salt = s.need_quantity("salt", &MASS, "the volume is found from it", c);
        let bounds = Bounds::new(&unit::MICROSIEMENS, 1.0, 20_000.0).usual(50.0, 2_000.0);
        let rise = s.need_quantity("rise", &bounds, "the volume is found from it", c);
        let uncertainty = s.quantity("uncertainty", &SHARE, c);
        s.finish(c);
        Some(SaltDilution { salt: salt?, rise: rise?, uncertainty })
    });
    if !had_sections && !t.has("metered") && !t.has("salt_dilution") {
        c.missing(
            Diagnostic::error("no-volume", t.span, "the volume was not measured in any way")
                .label("sections, a meter reading or a salt dilution belong here")
                .why("every dose is in proportion to it")
                .hint("add `[[volume.section]]` with its shape, sizes and soundings"),
        );
    }
    let whole = sections.len() == given;
    t.finish(c);
    whole.then_some(VolumeAsTold { sections, displaced, metered, salt_dilution })
}

fn displaced(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Displaced> {
    let name = t.need_text("name", "the workings name what stands in the water", "\"stones\"", c);
    let volume = t.need_quantity("volume", &VOLUME, "it is taken off the volume", c);
    t.finish(c);
    Some(Displaced { name: name?.value, volume: volume? })
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum ShapeWord {
    Rectangle,
    Ellipse,
    Circle,
    MeasuredArea,
    Prismoid,
    Stream,
    Known,
}

fn section(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Section> {
    const SIZES: &str = "the volume is reckoned from it";
    let place = t.span;
    let name = t.need_text("name", "the workings name each part", "\"pond\"", c);
    if t.blank("shape") {
        t.complain_missing("shape", "the formula goes by the shape", "\"rectangle\"", c);
    }
    let shapes = [
        ("rectangle", ShapeWord::Rectangle),
        ("ellipse", ShapeWord::Ellipse),
        ("circle", ShapeWord::Circle),
        ("measured area", ShapeWord::MeasuredArea),
        ("prismoid", ShapeWord::Prismoid),
        ("stream", ShapeWord::Stream),
        ("known volume", ShapeWord::Known),
    ];
    let word = t.word("shape", &shapes, c).map(|s| s.value);
    let shape = match word {
        Some(ShapeWord::Rectangle) => {
            let (length, width) =
                (t.need_quantity("length", &LENGTH, SIZES, c), t.need_quantity("width", &LENGTH, SIZES, c));
            let depth = depth(&mut t, c);
            length.zip(width).zip(depth).map(|((length, width), depth)| Shape::Rectangle { length, width, depth })
        }
        Some(ShapeWord::Ellipse) => {
            let (length, width) =
                (t.need_quantity("length", &LENGTH, SIZES, c), t.need_quantity("width", &LENGTH, SIZES, c));
            let depth = depth(&mut t, c);
            length.zip(width).zip(depth).map(|((length, width), depth)| Shape::Ellipse { length, width, depth })
        }
        Some(ShapeWord::Circle) => {
            let diameter = t.need_quantity("diameter", &LENGTH, SIZES, c);
            let depth = depth(&mut t, c);
            diameter.zip(depth).map(|(diameter, depth)| Shape::Circle { diameter, depth })
        }
        Some(ShapeWord::MeasuredArea) => {
            let area = t.need_quantity("area", &AREA, SIZES, c);
            let depth = depth(&mut t, c);
            area.zip(depth).map(|(area, depth)| Shape::MeasuredArea { area, depth })
        }
        Some(ShapeWord::Prismoid) => {
            let top = t.need_quantity("top", &AREA, SIZES, c);
            let middle = t.need_quantity("middle", &AREA, SIZES, c);
            let bottom = t.need_quantity("bottom", &AREA, SIZES, c);
            let depth = t.need_quantity("depth", &DEPTH, SIZES, c);
            match (top, middle, bottom, depth) {
                (Some(top), Some(middle), Some(bottom), Some(depth)) => {
                    Some(Shape::Prismoid { top, middle, bottom, depth })
                }
                _ => None,
            }
        }
        Some(ShapeWord::Stream) => {
            let length = t.need_quantity("length", &LENGTH, SIZES, c);
            let width = t.need_quantity("width", &LENGTH, SIZES, c);
            let depth = t.need_quantity("depth", &DEPTH, SIZES, c);
            length.zip(width).zip(depth).map(|((length, width), depth)| Shape::Stream { length, width, depth })
        }
        Some(ShapeWord::Known) => t.need_quantity("volume", &VOLUME, SIZES, c).map(|volume| Shape::Known { volume }),
        None => None,
    };
    let count = t.count("count", 1..=1_000, c).map_or(1, |n| n.value);
    let uncertainty = t.quantity("uncertainty", &SHARE, c);
    let open = t.yes_no("open", c).unwrap_or(true);
    // Without a shape nobody knows which sizes belong here, so their keys are not judged.
    if word.is_some() {
        t.finish(c);
    } else {
        t.finish_unjudged(c);
    }
    Some(Section { name: name?.value, shape: shape?, count, uncertainty, open, span: place })
}

fn depth(t: &mut Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Depth> {
    let ways = ["soundings", "mean_depth", "greatest_depth"];
    let given: Vec<&str> = ways.into_iter().filter(|way| t.has(way)).collect();
    if given.is_empty() {
        c.missing(
            Diagnostic::error("no-depth", t.span, format!("`{}` has no depth", t.title))
                .label("`soundings`, `mean_depth` or `greatest_depth` belongs in this part")
                .why("the volume is area times mean depth")
                .hint("write `soundings = [\"0 m\", \"0.35 m\", \"0.70 m\", \"0 m\"]`, from bank to bank"),
        );
    }
    if given.len() > 1 {
        c.push(
            Diagnostic::error("two-depths", t.span, format!("the depth is given as `{}`", given.join("` and as `")))
                .label("one of them is enough")
                .why("the two may not agree, and the volume goes by one")
                .hint("keep the soundings, the surest of the three, and put the rest in a remark"),
        );
    }
    let walls = t.word("walls", &[("vertical", true), ("sloping", false)], c);
    let soundings = t.quantities::<Length>("soundings", &DEPTH, c);
    let mean = t.quantity("mean_depth", &DEPTH, c);
    let greatest = t.quantity("greatest_depth", &DEPTH, c);
    if let Some(depths) = soundings {
        let zeros = depths.value.iter().filter(|d| d.si() == 0.0).count();
        let vertical = walls.as_ref().is_some_and(|w| w.value);
        if depths.value.iter().all(|d| d.si() <= 0.0) {
            c.push(
                Diagnostic::error("no-depth", depths.span, "no sounding is deeper than nothing")
                    .label("depths of the water belong here")
                    .why("the volume would be nothing, and every dose with it")
                    .hint("write the depths from bank to bank, as in `[\"0 m\", \"0.35 m\", \"0.70 m\", \"0 m\"]`"),
            );
            return None;
        }
        if walls.is_none() && t.blank("walls") {
            t.complain_missing("walls", "on sloping banks the zeros at the banks belong in the mean", "\"sloping\"", c);
        } else if !vertical && walls.is_some() && zeros == 0 {
            c.push(
                Diagnostic::warning("no-bank-zeros", depths.span, "the soundings on sloping banks have no zeros")
                    .label("the water's edge, where depth is zero, is missing")
                    .why(
                        "without the zeros the mean depth comes out a quarter too large or more, and the doses with it",
                    )
                    .hint("begin and end each transect with `\"0 m\"`, or write `walls = \"vertical\"`"),
            );
        }
        return Some(Depth::Soundings { depths: depths.value, vertical_walls: vertical, span: depths.span });
    }
    mean.map(Depth::Mean).or(greatest.map(Depth::Greatest))
}

fn supply(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Supply> {
    if t.blank("kind") {
        t.complain_missing(
            "kind",
            "mains water is disinfected, a well may be hard, rain brings nothing",
            "\"mains\"",
            c,
        );
    }
    let kinds = [("mains", SupplyKind::Mains), ("well", SupplyKind::Well), ("rain", SupplyKind::Rain)];
    let kind = t.word("kind", &kinds, c);
    let softened = t.yes_no("softened", c).unwrap_or(false);
    let float_valve = t.yes_no("float_valve", c).unwrap_or(false);
    let carbon_filter = t.yes_no("carbon_filter", c).unwrap_or(false);
    let mut readings = Readings::default();
    for (reading, key) in FIELDS.iter().zip(SUPPLY_KEYS) {
        if let Some((number, place)) = t.number(key, reading.kind, &reading.bounds, c) {
            (reading.set)(&mut readings, number.si, number.less_than, place);
        }
    }
    t.finish(c);
    Some(Supply { kind: kind?.value, softened, float_valve, carbon_filter, readings })
}

/// The names of [`FIELDS`] as keys of `[supply]`, in the same order; a test compares them. Water from a tap has no
/// morning, so its pH is `ph`.
#[rustfmt::skip]
pub(super) const SUPPLY_KEYS: [&str; 22] = [
    "temperature", "carbonate_hardness", "general_hardness", "calcium", "magnesium", "sodium", "potassium", "chloride",
    "sulfate", "conductivity", "ph", "ph_afternoon", "ammonia", "nitrite", "nitrate", "phosphate", "total_copper",
    "dissolved_copper", "oxygen_at_dawn", "free_chlorine", "total_chlorine", "salt",
];

fn animal(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Animal> {
    let span = t.span;
    if t.blank("kind") {
        t.complain_missing("kind", "some animals do not bear copper at all", "\"koi\"", c);
    }
    #[rustfmt::skip]
    let kinds = [
        ("goldfish", AnimalKind::Goldfish), ("koi", AnimalKind::Koi), ("orfe", AnimalKind::Orfe),
        ("tench", AnimalKind::Tench), ("rudd", AnimalKind::Rudd), ("tender fish", AnimalKind::TenderFish),
        ("sturgeon", AnimalKind::Sturgeon), ("sterlet", AnimalKind::Sturgeon), ("trout", AnimalKind::Trout), ("snails", AnimalKind::Snails),
        ("mussels", AnimalKind::Mussels), ("shrimps", AnimalKind::Shrimps), ("crayfish", AnimalKind::Crayfish),
        ("breeding amphibians", AnimalKind::BreedingAmphibians),
        ("visiting amphibians", AnimalKind::VisitingAmphibians), ("dogs", AnimalKind::Dogs),
        ("bees", AnimalKind::Bees), ("livestock", AnimalKind::Livestock), ("birds", AnimalKind::Birds),
        ("hedgehogs", AnimalKind::Hedgehogs),
    ];
    let kind = t.word("kind", &kinds, c);
    let count = t.count("count", 0..=1_000_000, c).map(|n| n.value);
    let given_up = t.yes_no("given_up", c).unwrap_or(false);
    // An animal that nobody has given up is taken to stay: the kinder reading of silence.
    let stays = t.yes_no("stays", c).unwrap_or(!given_up);
    let note = t.text("note", c).map(|s| s.value).unwrap_or_default();
    t.finish(c);
    Some(Animal { kind: kind?.value, count, stays, given_up, note, span })
}

fn panel(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Panel> {
    let steps = t.count("steps", 1..=1_000, c);
    let currents = t.quantities::<ElectricCurrent>("currents", &CURRENT, c).filter(|list| !list.value.is_empty());
    if t.blank("steps") && !t.has("currents") {
        t.complain_missing("steps", "panels differ in their number of steps, and none is assumed", "6", c);
    }
    if let Some(list) = &currents {
        if let Some(steps) = &steps
            && usize::try_from(steps.value).is_ok_and(|n| n != list.value.len())
        {
            c.push(
                Diagnostic::error(
                    "panel-steps",
                    list.span,
                    format!("{} currents are given for {} steps", list.value.len(), steps.value),
                )
                .label("one current belongs to each step, the lowest first")
                .why("a step taken for another doses the wrong copper")
                .hint("give as many currents as steps, or leave `steps` out"),
            );
        }
        if list.value.windows(2).any(|pair| matches!(pair, [low, high] if high.si() <= low.si())) {
            c.push(
                Diagnostic::error("panel-steps", list.span, "the currents do not rise from step to step")
                    .label("the lowest step comes first, and each gives more than the one before")
                    .why("a step taken for another doses the wrong copper")
                    .hint("put them in order; step zero is not among them"),
            );
        }
    }
    let even = full_scale(&mut t, steps.as_ref(), currents.as_ref(), c);
    let span = steps.as_ref().map(|s| s.span).or(currents.as_ref().map(|l| l.span)).unwrap_or(t.span);
    let flow_stop = t.yes_no("flow_stop", c);
    let voltage_limit = t.quantity("voltage_limit", &Bounds::new(&unit::VOLT, 0.1, 1_000.0).usual(1.0, 50.0), c);
    let conductivity = Bounds::new(&unit::MICROSIEMENS, 1.0, 60_000.0).usual(30.0, 5_000.0);
    let least_conductivity = t.quantity("least_conductivity", &conductivity, c);
    let least_flow = t.quantity("least_flow", &FLOW, c);
    let turns_round = t.yes_no("turns_round", c);
    let cell_constant = t.quantity("cell_constant", &Bounds::new(&unit::PER_CENTIMETRE, 1e-4, 100.0), c);
    let measured_current = t.quantity("measured_current", &CURRENT, c);
    let measured_conductivity = t.quantity("measured_conductivity", &conductivity, c);
    let half = match (&measured_current, &measured_conductivity) {
        (Some(current), None) => Some((current.span, "measured_conductivity", "\"480 µS/cm\"")),
        (None, Some(conductivity)) => Some((conductivity.span, "measured_current", "\"9 mA\"")),
        _ => None,
    };
    if let Some((place, other, example)) = half {
        c.push(
            Diagnostic::error("half-a-pair", place, format!("`{other}` is missing beside this"))
                .label("one of two numbers that belong together")
                .why("a current says what the cell lets through only together with the water's conductivity that day")
                .hint(format!("write `{other} = {example}` too, or take this out")),
        );
    }
    let fitted = t.date("fitted", c).map(|d| d.value);
    t.finish(c);
    let even_steps = even.is_some();
    let currents = even.or(currents.map(|list| list.value)).unwrap_or_default();
    let steps = steps.map(|s| s.value).or_else(|| u32::try_from(currents.len()).ok().filter(|n| *n > 0))?;
    let measured = measured_current.zip(measured_conductivity);
    Some(Panel {
        steps,
        currents,
        even_steps,
        span,
        flow_stop,
        voltage_limit,
        least_conductivity,
        least_flow,
        turns_round,
        cell_constant,
        measured,
        fitted,
    })
}

/// Currents worked out from the current at full scale, where the site file says that the steps are equal.
fn full_scale(
    t: &mut Table<'_, '_>,
    steps: Option<&Stated<u32>>,
    currents: Option<&Stated<Vec<ElectricCurrent>>>,
    c: &mut Complaints<'_>,
) -> Option<Vec<ElectricCurrent>> {
    let full = t.quantity::<ElectricCurrent>("full_current", &CURRENT, c);
    let law = t.word("law", &[("equal steps", ())], c);
    let Some(full) = full else {
        if let Some(law) = law {
            c.push(
                Diagnostic::error("law-without-current", law.span, "`law` stands without the current at full scale")
                    .label("a rule for the steps, and nothing to share out")
                    .why("the current of each step is a share of the current at full scale")
                    .hint("write `full_current = \"28 mA\"` too, or the `currents` of all steps instead"),
            );
        }
        return None;
    };
    if currents.is_some() {
        c.push(
            Diagnostic::error("two-currents", full.span, "the currents are given twice: as a list and by full scale")
                .label("one of them is enough")
                .why("the two may not agree, and copper goes by one")
                .hint("keep the list, which was read step by step, and take this out"),
        );
        return None;
    }
    let (Some(steps), Some(_)) = (steps, &law) else {
        let lacks = if steps.is_none() { "steps = \"6\"" } else { "law = \"equal steps\"" };
        c.push(
            Diagnostic::error("no-law", full.span, "the current at full scale does not tell that of each step")
                .label("how the steps share it is not said")
                .why("panels differ: some rise evenly, some not, and a step taken for another doses the wrong copper")
                .hint(format!("write `{lacks}` if the maker says so, or read the current of each step: `currents`")),
        );
        return None;
    };
    let count = f64::from(steps.value);
    Some((1..=steps.value).map(|step| ElectricCurrent::from_si(full.value.si() * f64::from(step) / count)).collect())
}

fn bars(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Bars> {
    if t.blank("count") {
        t.complain_missing("count", "the bars are weighed together", "2", c);
    }
    let count = t.count("count", 1..=100, c);
    let new_mass =
        t.need_quantity("new_mass", &MASS, "what the bars lose tells how much copper went into the water", c);
    let usable_share = t.quantity("usable_share", &SHARE, c);
    let place = t.text("place", c).map(|s| s.value);
    t.finish(c);
    Some(Bars { count: count?.value, new_mass: new_mass?, usable_share, place })
}

fn flow(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<FlowTest> {
    let (bucket, notch, stated) = (t.has("bucket_volume") || t.has("bucket_time"), t.has("notch_head"), t.has("flow"));
    let found = if bucket {
        let volume = t.need_quantity("bucket_volume", &VOLUME, "flow is volume by time", c);
        let time =
            t.need_quantity("bucket_time", &Bounds::new(&unit::SECOND, 0.1, 86_400.0), "flow is volume by time", c);
        volume.zip(time).map(|(volume, time)| FlowTest::Bucket { volume, time })
    } else if notch {
        let bounds = Bounds::new(&unit::METRE, 0.01, 1.0).usual(0.02, 0.4);
        t.quantity("notch_head", &bounds, c).map(|head| FlowTest::Notch { head })
    } else {
        let way = "bars in dead water plate over, so the flow past them has to be known";
        t.need_quantity("flow", &FLOW, way, c).map(FlowTest::Stated)
    };
    if u8::from(bucket) + u8::from(notch) + u8::from(stated) > 1 {
        c.push(
            Diagnostic::error("two-flows", t.span, "the flow past the bars is given in two ways")
                .label("one of bucket, notch and flow is enough")
                .why("the two may not agree, and the plan goes by one")
                .hint("keep the surer one and put the other in a remark"),
        );
    } else {
        t.finish(c);
    }
    found
}

fn outflow(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Outflow {
    let span = Some(t.span);
    let places = [
        ("own ground", Destination::OwnGround),
        ("sewer", Destination::Sewer),
        ("watercourse", Destination::Watercourse),
        ("storm drain", Destination::StormDrain),
        ("wetland", Destination::Wetland),
        ("unknown", Destination::Unknown),
    ];
    let overflow = t.word("overflow", &places, c).map_or(Destination::Unknown, |s| s.value);
    let changes = t.word("changes", &places, c).map_or(Destination::Unknown, |s| s.value);
    let can_be_relaid = t.yes_no("can_be_relaid", c).unwrap_or(false);
    t.finish(c);
    Outflow { overflow, can_be_relaid, changes, span }
}

fn authorisation(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Authorisation {
    let text = |t: &mut Table<'_, '_>, key, c: &mut Complaints<'_>| t.text(key, c).map(|s| s.value);
    let found = Authorisation {
        number: text(&mut t, "number", c),
        holder: text(&mut t, "holder", c),
        licence: text(&mut t, "licence", c),
        label_limit: t.quantity("label_limit", &Bounds::new(&unit::MILLIGRAMS, 0.001, 10.0), c),
    };
    t.finish(c);
    found
}

/// The substances that can be dosed, by their names in `reference`.
fn substances() -> impl Iterator<Item = &'static str> {
    SUBSTANCES.iter().map(|s| s.id)
}

fn substance(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<SubstanceChoice> {
    let span = t.span;
    let id = t.need_text("name", "each substance has its own dose", "\"sodium-bicarbonate\"", c).filter(|id| {
        let known = substances().any(|known| known == id.value);
        if !known {
            let all = listed(substances());
            let deadly = id.value.contains("carbonate") && !id.value.contains("bicarbonate");
            let hint = match nearest(&id.value, substances()).filter(|_| !deadly) {
                Some(near) => format!("write `\"{near}\"` if that is meant; possible are {all}"),
                None => format!("possible are {all}"),
            };
            c.push(
                Diagnostic::error(
                    "unknown-substance",
                    id.span,
                    format!("`{}` is not a substance the plan can dose", clipped(&id.value)),
                )
                .label("this substance is not known here")
                .why("look-alikes kill: washing soda and baking soda differ by one word")
                .hint(hint),
            );
        }
        known
    });
    let purity = t.quantity("purity", &Bounds::new(&unit::PERCENT, 1.0, 100.0).usual(50.0, 100.0), c);
    t.finish(c);
    Some(SubstanceChoice { id: id?.value, purity, span })
}

fn goals(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Goals {
    let found = Goals {
        carbonate_hardness: t.quantity(
            "carbonate_hardness",
            &Bounds::new(&unit::DEGREE_KH, 0.5, 30.0).usual(5.6, 14.0),
            c,
        ),
        calcium: t.quantity("calcium", &Bounds::new(&unit::CALCIUM_MG, 1.0, 400.0).usual(20.0, 120.0), c),
    };
    t.finish(c);
    found
}

fn kit(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Kit> {
    let span = t.span;
    let reading =
        t.need_text("reading", "it says which column of the log the kit belongs to", "\"carbonate hardness\"", c);
    let known = reading.as_ref().and_then(|r| field(&r.value.to_lowercase()));
    if let Some(reading) = reading.as_ref().filter(|_| known.is_none()) {
        let hint = match nearest(&reading.value, FIELDS.iter().map(|f| f.name)) {
            Some(near) => format!("write `\"{near}\"` if that is meant"),
            None => format!("possible are {}", listed(FIELDS.iter().map(|f| f.name))),
        };
        c.push(
            Diagnostic::error(
                "unknown-reading",
                reading.span,
                format!("`{}` is not a reading of the log", clipped(&reading.value)),
            )
            .label("the name of a log column, without its unit, belongs here")
            .why("the kit's step and expiry date count for that reading alone")
            .hint(hint),
        );
    }
    let shown =
        t.text_as_written("step").map(|text| text.trim_start_matches(|c: char| c.is_ascii_digit() || ".,".contains(c)));
    let unit = known.and_then(|f| f.kind).zip(shown).and_then(|(kind, text)| crate::units::unit_named(kind, text).ok());
    let step = known.and_then(|f| {
        // The step of a thermometer is a difference: its zero is not that of the scale.
        let (kind, bounds) = match f.kind {
            Some(Kind::Temperature) => {
                (Some(Kind::TemperatureDifference), Bounds::new(&unit::KELVIN_DIFFERENCE, 0.01, 10.0))
            }
            kind => (kind, Bounds::new(f.bounds.unit, f.bounds.hard.1 * 1e-6, f.bounds.hard.1)),
        };
        t.number("step", kind, &bounds, c).map(|(number, _)| number.si)
    });
    let drops = t.yes_no("drops", c).unwrap_or(false);
    let expires = t.date("expires", c);
    if known.is_some() {
        t.finish(c);
    }
    Some(Kit { reading: known?.name.to_owned(), step, unit, drops, expires, span })
}

fn practice(mut t: Table<'_, '_>, steps: Option<u32>, c: &mut Complaints<'_>) -> Practice {
    let hardness_step = t.quantity("hardness_step", &Bounds::new(&unit::DEGREE_KH, 0.05, 60.0), c);
    let change_share = t.quantity::<Ratio>("change_share", &Bounds::new(&unit::PERCENT, 1.0, 100.0), c);
    let copper_stop = t.quantity("copper_stop", &Bounds::new(&unit::MICROGRAMS, 1.0, 1_000.0), c);
    let scale_step = t.quantity("scale_step", &Bounds::new(&unit::GRAM, 0.01, 1_000.0).usual(0.1, 50.0), c);
    let spells = t.count("spells", 0..=12, c);
    let holding_level = t.count("holding_level", 0..=steps.unwrap_or(1_000), c);
    let hardness_step =
        hardness_step.filter(|step| tight(step, &unit::DEGREE_KH, 1.0, "the daily step of carbonate hardness", c));
    // Never more than a third in a day, except in poisoning (TRADE.md section 4).
    let change_share =
        change_share.filter(|share| tight(share, &unit::PERCENT, 34.0, "the share of water changed in a day", c));
    t.finish(c);
    Practice { hardness_step, change_share, copper_stop, scale_step, spells, holding_level }
}

/// A site file may tighten a limit, never loosen it.
fn tight<Q: Si>(stated: &Stated<Q>, unit: &unit::Unit, limit: f64, what: &str, c: &mut Complaints<'_>) -> bool {
    let fine = unit.of(stated.value.si()) <= limit + 1e-9;
    if !fine {
        c.push(
            Diagnostic::error("loosened-limit", stated.span, format!("{what} is wider than the plan allows"))
                .label(format!("at most {} {}", plain(limit), unit.symbol))
                .why("a site file may tighten a limit that protects fish, never loosen it")
                .hint(format!("write at most `\"{} {}\"`, or leave the line out", plain(limit), unit.symbol)),
        );
    }
    fine
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn supply_and_log_name_the_same_readings() {
        for (field, key) in FIELDS.iter().zip(SUPPLY_KEYS) {
            let spaced = key.replace('_', " ");
            assert!(field.name == spaced || (field.name == "ph morning" && key == "ph"), "{} and {key}", field.name);
        }
        assert_eq!(FIELDS.len(), SUPPLY_KEYS.len());
    }
}
