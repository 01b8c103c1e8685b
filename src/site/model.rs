//! The site as meant: every number checked, in its type, with its place in the text kept.

use chrono::{NaiveDate, NaiveTime};

use crate::diag::Span;
use crate::units::{
    AmmoniaNitrogen, Angle, Area, Calcium, CarbonateHardness, CellConstant, Conductivity, ElectricCurrent,
    ElectricPotential, GeneralHardness, Length, Mass, MassConcentration, Nitrate, NitriteIon, Ph, Phosphate, Ratio,
    System, ThermodynamicTemperature, Time, Volume, VolumeRate,
};

/// A value and where it was written.
#[derive(Clone, Debug, PartialEq)]
pub struct Stated<T> {
    /// The value.
    pub value: T,
    /// Its place in the site file or the log.
    pub span: Span,
}

/// A reading: what the kit showed, and whether it only showed "less than".
#[derive(Clone, Debug, PartialEq)]
pub struct Reading<T> {
    /// The value, or the upper bound when `less_than`.
    pub value: T,
    /// The kit showed less than `value`.
    pub less_than: bool,
    /// Its place.
    pub span: Span,
}

/// One water feature and the job.
#[derive(Clone, Debug)]
pub struct Site {
    /// Short name for file names: letters, digits, hyphens.
    pub id: String,
    /// What the page calls it.
    pub name: String,
    /// Whom the plan is made for.
    pub owner: String,
    /// Where it is.
    pub place: String,
    /// Whose rules apply.
    pub country: Country,
    /// Latitude, south negative.
    pub latitude: Option<Stated<Angle>>,
    /// Height above the sea.
    pub elevation: Option<Stated<Length>>,
    /// The date on the plan.
    pub plan_date: Option<Stated<NaiveDate>>,
    /// When the firm comes next.
    pub next_visit: Option<Stated<NaiveDate>>,
    /// Who made the visit.
    pub visited_by: Option<String>,
    /// The firm whose letterhead it bears.
    pub firm: Firm,
    /// Paper and units.
    pub page: PageChoice,
    /// How the volume was found.
    pub volume: VolumeAsTold,
    /// The water that tops up the pond.
    pub supply: Supply,
    /// What lives in it or drinks from it.
    pub animals: Vec<Animal>,
    /// The copper ion controller's panel.
    pub panel: Option<Panel>,
    /// The copper bars.
    pub bars: Option<Bars>,
    /// Flow past the bars.
    pub flow: Option<FlowTest>,
    /// Flow of the hose used for water changes.
    pub hose: Option<Stated<VolumeRate>>,
    /// Where the pond's water may go.
    pub outflow: Outflow,
    /// The product's authorisation for algae control.
    pub authorisation: Authorisation,
    /// What the firm adds, and how pure.
    pub substances: Vec<SubstanceChoice>,
    /// What the plan should reach.
    pub goals: Goals,
    /// Test kits: step and expiry.
    pub kits: Vec<Kit>,
    /// Common-practice settings the firm chose itself.
    pub practice: Practice,
    /// Photographs for the plan.
    pub photos: Vec<Photo>,
    /// Weather, and what comes and goes over the year.
    pub year: super::year::YearAsTold,
    /// The log, oldest first.
    pub visits: Vec<Visit>,
}

/// A photograph that the plan shows.
#[derive(Clone, Debug)]
pub struct Photo {
    /// Path of the file, relative to the site file.
    pub file: Stated<String>,
    /// What is printed beside it; empty for nothing.
    pub caption: String,
    /// What it shows, for those who do not see it.
    pub description: String,
    /// Where in the plan it stands.
    pub part: PhotoPart,
}

/// The parts of a plan that can show photographs, at their ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[expect(missing_docs, reason = "the names are the parts")]
pub enum PhotoPart {
    Water,
    Correction,
    Year,
    Trouble,
    Bars,
    /// A part of their own.
    Pictures,
}

impl PhotoPart {
    /// All of them, by the word for each in site files and templates.
    pub const ALL: [(&'static str, PhotoPart); 6] = [
        ("water", PhotoPart::Water),
        ("correction", PhotoPart::Correction),
        ("year", PhotoPart::Year),
        ("trouble", PhotoPart::Trouble),
        ("bars", PhotoPart::Bars),
        ("pictures", PhotoPart::Pictures),
    ];
}

/// Whose rules on algae control and electricity apply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Country {
    /// United States.
    UnitedStates,
    /// A member state of the European Union.
    EuropeanUnion,
    /// United Kingdom.
    UnitedKingdom,
    /// Elsewhere.
    Other,
}

/// The firm.
#[derive(Clone, Debug, Default)]
pub struct Firm {
    /// Its name.
    pub name: String,
    /// Its line of trade.
    pub trade: String,
    /// Address lines, at most four with telephone and mail.
    pub address: Vec<String>,
    /// The number to ring.
    pub telephone: String,
    /// Mail.
    pub email: Option<String>,
    /// Path of the letterhead art, relative to the site file.
    pub letterhead: Option<Stated<String>>,
    /// The firm's colour.
    pub accent: Option<Stated<[u8; 3]>>,
}

/// Paper and units, chosen apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PageChoice {
    /// The paper of the plan.
    pub paper: Paper,
    /// The paper of the shed sheet.
    pub shed_paper: Paper,
    /// In whose units the plan speaks.
    pub system: System,
}

/// Sizes of paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the names are the papers")]
pub enum Paper {
    A4,
    Letter,
    A5,
    HalfLetter,
}

/// Sections, less what stands in them; and volumes found other ways.
#[derive(Clone, Debug, Default)]
pub struct VolumeAsTold {
    /// Parts measured with tape and stick.
    pub sections: Vec<Section>,
    /// Stones, plinths: water they push out.
    pub displaced: Vec<Displaced>,
    /// Water-meter readings at filling.
    pub metered: Option<Metered>,
    /// Salt dilution.
    pub salt_dilution: Option<SaltDilution>,
}

/// One part of the feature.
#[derive(Clone, Debug)]
pub struct Section {
    /// Its name.
    pub name: String,
    /// Its shape and sizes.
    pub shape: Shape,
    /// Number of equal parts (three filter bays).
    pub count: u32,
    /// The contractor's own uncertainty of its volume.
    pub uncertainty: Option<Stated<Ratio>>,
    /// Whether this part's surface evaporates and takes rain (a covered filter does not).
    pub open: bool,
    /// Place of the whole section.
    pub span: Span,
}

/// Shapes the tape can measure.
#[derive(Clone, Debug)]
pub enum Shape {
    /// Length by width by depth.
    Rectangle {
        /// Length.
        length: Stated<Length>,
        /// Width.
        width: Stated<Length>,
        /// Depth.
        depth: Depth,
    },
    /// Two axes.
    Ellipse {
        /// Long axis, end to end.
        length: Stated<Length>,
        /// Short axis, end to end.
        width: Stated<Length>,
        /// Depth.
        depth: Depth,
    },
    /// A diameter.
    Circle {
        /// Diameter.
        diameter: Stated<Length>,
        /// Depth.
        depth: Depth,
    },
    /// An area measured some other way.
    MeasuredArea {
        /// The area.
        area: Stated<Area>,
        /// Depth.
        depth: Depth,
    },
    /// Prismoid: areas at top, middle and bottom (VO-12).
    Prismoid {
        /// Area at the water line.
        top: Stated<Area>,
        /// Area half way down.
        middle: Stated<Area>,
        /// Area at the bottom.
        bottom: Stated<Area>,
        /// Depth.
        depth: Stated<Length>,
    },
    /// Stream: length, width and depth of the water.
    Stream {
        /// Length.
        length: Stated<Length>,
        /// Mean width.
        width: Stated<Length>,
        /// Mean depth of water.
        depth: Stated<Length>,
    },
    /// A volume known as such (a filter's plate, a tank).
    Known {
        /// The volume of one.
        volume: Stated<Volume>,
    },
}

/// How depth was found.
#[derive(Clone, Debug)]
pub enum Depth {
    /// A mean given as such.
    Mean(Stated<Length>),
    /// Soundings; on sloping banks the zeros at the banks are among them (VO-08).
    Soundings {
        /// Each sounding.
        depths: Vec<Length>,
        /// Whether walls are vertical, so that no bank zeros belong in the mean.
        vertical_walls: bool,
        /// Place.
        span: Span,
    },
    /// Greatest depth only: mean is 0.4 of it (VO-10), an estimate.
    Greatest(Stated<Length>),
}

/// Something that pushes water out.
#[derive(Clone, Debug)]
pub struct Displaced {
    /// Its name.
    pub name: String,
    /// The volume it takes.
    pub volume: Stated<Volume>,
}

/// A water-meter reading at filling.
#[derive(Clone, Debug)]
pub struct Metered {
    /// Water that went in.
    pub amount: Stated<Volume>,
    /// The contractor's own uncertainty.
    pub uncertainty: Option<Stated<Ratio>>,
}

/// Salt dilution (DI-02).
#[derive(Clone, Debug)]
pub struct SaltDilution {
    /// Salt added.
    pub salt: Stated<Mass>,
    /// Rise in conductivity.
    pub rise: Stated<Conductivity>,
    /// The contractor's own uncertainty.
    pub uncertainty: Option<Stated<Ratio>>,
}

/// The water that tops up the pond.
#[derive(Clone, Debug)]
pub struct Supply {
    /// Where it comes from.
    pub kind: SupplyKind,
    /// It passes a softener.
    pub softened: bool,
    /// A float valve lets it in unwatched.
    pub float_valve: bool,
    /// A carbon filter stands before the pond.
    pub carbon_filter: bool,
    /// Its readings.
    pub readings: Readings,
}

/// Where supply comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SupplyKind {
    /// Public mains.
    Mains,
    /// A well or borehole of one's own.
    Well,
    /// Collected rain.
    Rain,
}

/// Readings of one water at one time. What was not measured is `None`.
#[derive(Clone, Debug, Default)]
#[expect(missing_docs, reason = "the names are the readings of TRADE section 2")]
pub struct Readings {
    pub temperature: Option<Reading<ThermodynamicTemperature>>,
    pub carbonate_hardness: Option<Reading<CarbonateHardness>>,
    pub general_hardness: Option<Reading<GeneralHardness>>,
    pub calcium: Option<Reading<Calcium>>,
    pub magnesium: Option<Reading<MassConcentration>>,
    pub sodium: Option<Reading<MassConcentration>>,
    pub potassium: Option<Reading<MassConcentration>>,
    pub chloride: Option<Reading<MassConcentration>>,
    pub sulfate: Option<Reading<MassConcentration>>,
    pub conductivity: Option<Reading<Conductivity>>,
    pub ph_morning: Option<Reading<Ph>>,
    pub ph_afternoon: Option<Reading<Ph>>,
    pub ammonia: Option<Reading<AmmoniaNitrogen>>,
    pub nitrite: Option<Reading<NitriteIon>>,
    pub nitrate: Option<Reading<Nitrate>>,
    pub phosphate: Option<Reading<Phosphate>>,
    pub total_copper: Option<Reading<MassConcentration>>,
    pub dissolved_copper: Option<Reading<MassConcentration>>,
    pub oxygen_dawn: Option<Reading<MassConcentration>>,
    pub free_chlorine: Option<Reading<MassConcentration>>,
    pub total_chlorine: Option<Reading<MassConcentration>>,
    pub salt: Option<Reading<MassConcentration>>,
}

/// One dated row of the log.
#[derive(Clone, Debug)]
pub struct Visit {
    /// The day.
    pub date: NaiveDate,
    /// The hour, if written.
    pub time: Option<NaiveTime>,
    /// Line of the log, counted from one.
    pub line: usize,
    /// Place of the whole row.
    pub span: Span,
    /// What was measured in the pond.
    pub pond: Readings,
    /// The panel's step when the contractor came.
    pub level_set: Option<Stated<u32>>,
    /// The step it reached.
    pub level_reached: Option<Stated<u32>>,
    /// The step it was left at.
    pub level_left: Option<Stated<u32>>,
    /// The step reached when set to full for a minute.
    pub full_reached: Option<Stated<u32>>,
    /// Bars together, brushed and dry.
    pub bar_mass: Option<Reading<Mass>>,
    /// State of the bars.
    pub bar_state: Option<String>,
    /// Thread score, 1 to 5.
    pub thread_score: Option<Stated<u8>>,
    /// Flow past the bars.
    pub flow: Option<Reading<VolumeRate>>,
    /// Drop of the water line a day, pump on.
    pub drop_running: Option<Reading<Length>>,
    /// The same with the pump off.
    pub drop_still: Option<Reading<Length>>,
    /// The same in a floating bucket.
    pub drop_bucket: Option<Reading<Length>>,
    /// Who took the readings.
    pub by: Option<String>,
    /// Remarks.
    pub note: String,
}

impl Visit {
    /// The level it found the panel at.
    #[must_use]
    pub fn found(&self) -> Option<u32> {
        self.level_set.as_ref().map(|level| level.value)
    }

    /// The level it left the panel at: as it was found, where nothing else is told.
    #[must_use]
    pub fn left(&self) -> Option<u32> {
        self.level_left.as_ref().map(|level| level.value).or_else(|| self.found())
    }
}

/// Animals kept or visiting.
#[derive(Clone, Debug)]
pub struct Animal {
    /// Which.
    pub kind: AnimalKind,
    /// How many, if counted.
    pub count: Option<u32>,
    /// It is wanted and stays (sturgeon, snails).
    pub stays: bool,
    /// The owner has given it up in writing.
    pub given_up: bool,
    /// Remarks.
    pub note: String,
    /// Place.
    pub span: Span,
}

/// Kinds of animal the rules tell apart (TRADE.md section 5).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[expect(missing_docs, reason = "the names are the animals")]
pub enum AnimalKind {
    Goldfish,
    Koi,
    Orfe,
    Tench,
    Rudd,
    /// Fry, eggs, newly bought or sick fish.
    TenderFish,
    Sturgeon,
    Trout,
    Snails,
    Mussels,
    Shrimps,
    Crayfish,
    /// Frogs, toads, newts that breed here.
    BreedingAmphibians,
    /// Amphibians that only visit.
    VisitingAmphibians,
    Dogs,
    Bees,
    Livestock,
    Birds,
    Hedgehogs,
}

/// The panel.
#[derive(Clone, Debug)]
pub struct Panel {
    /// Number of steps above zero.
    pub steps: u32,
    /// Current at each step, first to last; empty when unknown.
    pub currents: Vec<ElectricCurrent>,
    /// The currents were worked out from the current at full scale, in equal steps.
    pub even_steps: bool,
    /// Place of the steps.
    pub span: Span,
    /// Whether the current stops when the flow stops; `None` is unknown.
    pub flow_stop: Option<bool>,
    /// Highest voltage.
    pub voltage_limit: Option<Stated<ElectricPotential>>,
    /// Least conductivity the maker states for the panel to reach its level.
    pub least_conductivity: Option<Stated<Conductivity>>,
    /// Least flow past the bars the maker states.
    pub least_flow: Option<Stated<VolumeRate>>,
    /// Whether the panel turns the current round from time to time; `None` is unknown.
    pub turns_round: Option<bool>,
    /// What gap and plates of the bars make of conductivity: resistance times conductivity.
    pub cell_constant: Option<Stated<CellConstant>>,
    /// A current that was read while the panel could drive no more, and the conductivity of the water that day.
    pub measured: Option<(Stated<ElectricCurrent>, Stated<Conductivity>)>,
    /// The date it was fitted.
    pub fitted: Option<NaiveDate>,
}

/// The bars.
#[derive(Clone, Debug)]
pub struct Bars {
    /// How many.
    pub count: u32,
    /// Mass of all together when new.
    pub new_mass: Stated<Mass>,
    /// Share that can be used before they are thin.
    pub usable_share: Option<Stated<Ratio>>,
    /// Where they stand, in words.
    pub place: Option<String>,
}

/// How flow past the bars was found.
#[derive(Clone, Debug)]
pub enum FlowTest {
    /// Bucket and stopwatch (FL-01).
    Bucket {
        /// Volume caught.
        volume: Stated<Volume>,
        /// Time it took.
        time: Stated<Time>,
    },
    /// A 90° notch (FL-03).
    Notch {
        /// Head over the notch.
        head: Stated<Length>,
    },
    /// A flow given as such.
    Stated(Stated<VolumeRate>),
}

/// Where water leaves to.
#[derive(Clone, Debug)]
pub struct Outflow {
    /// Overflow in wet weather.
    pub overflow: Destination,
    /// The pipe can be laid elsewhere.
    pub can_be_relaid: bool,
    /// Water of changes and cleaning.
    pub changes: Destination,
    /// Place.
    pub span: Option<Span>,
}

/// Where pond water may end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Destination {
    /// Soaks in on the owner's ground: lawn, shrubs, soakaway.
    OwnGround,
    /// Sanitary sewer, with leave.
    Sewer,
    /// Stream, ditch, brook, lake.
    Watercourse,
    /// Street gully or storm drain.
    StormDrain,
    /// Wetland.
    Wetland,
    /// Nobody said.
    Unknown,
}

/// Authorisation of copper against algae.
#[derive(Clone, Debug, Default)]
pub struct Authorisation {
    /// Its number.
    pub number: Option<String>,
    /// Who holds it.
    pub holder: Option<String>,
    /// The licence of whoever applies it.
    pub licence: Option<String>,
    /// The label's own limit on total copper.
    pub label_limit: Option<Stated<MassConcentration>>,
}

/// A substance the firm uses.
#[derive(Clone, Debug)]
pub struct SubstanceChoice {
    /// Its name in `reference`.
    pub id: String,
    /// Share of the pure substance in the product.
    pub purity: Option<Stated<Ratio>>,
    /// Place.
    pub span: Span,
}

/// What the plan should reach.
#[derive(Clone, Debug, Default)]
pub struct Goals {
    /// Carbonate hardness to correct to.
    pub carbonate_hardness: Option<Stated<CarbonateHardness>>,
    /// Calcium to correct to.
    pub calcium: Option<Stated<Calcium>>,
}

/// A test kit.
#[derive(Clone, Debug)]
pub struct Kit {
    /// The reading it makes: a log column's name without unit.
    pub reading: String,
    /// Its step, as SI of that reading.
    pub step: Option<f64>,
    /// The unit the kit shows: the plan speaks of copper in it.
    pub unit: Option<&'static crate::units::Unit>,
    /// Whether it counts drops (Decisions: the true value lies in the step below the reading).
    pub drops: bool,
    /// Last day it may be used.
    pub expires: Option<Stated<NaiveDate>>,
    /// Place.
    pub span: Span,
}

/// Common-practice numbers the firm may set to its own.
#[derive(Clone, Debug, Default)]
pub struct Practice {
    /// Largest rise of carbonate hardness in a day.
    pub hardness_step: Option<Stated<CarbonateHardness>>,
    /// Largest share of the water changed in a day.
    pub change_share: Option<Stated<Ratio>>,
    /// A tighter stop for total copper.
    pub copper_stop: Option<Stated<MassConcentration>>,
    /// Step of the scale used to weigh doses.
    pub scale_step: Option<Stated<Mass>>,
    /// Raised spells offered in a year.
    pub spells: Option<Stated<u32>>,
    /// The lowest step of the year round; default 1.
    pub holding_level: Option<Stated<u32>>,
}
