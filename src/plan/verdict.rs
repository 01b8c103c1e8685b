//! The verdict: pond, supply, animals, outflow and authorisation, each judged on its own line with its reason.

use chrono::Datelike;

use super::{CopperLimits, Correction, Desk, Judged, ReadingRow, readings};
use crate::reference::{CALCIUM_CARE, WINDOW_HIGH_DKH, WINDOW_LOW_DKH};
use crate::site::{AnimalKind, Country, Destination};
use crate::units::Si;
use crate::units::table::{CALCIUM_MG, DEGREE_KH};

/// The three words of a verdict, worst last.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Word {
    /// Copper control suits this water.
    Yes,
    /// Not before something is put right.
    NotYet,
    /// Not with this water, these animals, this panel.
    No,
}

/// One judged line. Its sentence is the template's, chosen by `key`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reason {
    /// What is judged: `pond`, `supply`, `calcium`, `ammonia`, `animals`, `outflow`, `authorisation`, `panel`.
    pub about: &'static str,
    /// Which sentence.
    pub key: &'static str,
    /// The word.
    pub word: Word,
    /// A name the sentence needs, such as an animal's.
    pub name: String,
}

/// The verdict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// The worst word of all lines.
    pub word: Word,
    /// Every line, in the order in which an owner asks.
    pub reasons: Vec<Reason>,
}

impl Verdict {
    /// The first line with the verdict's own word: what the verdict's sentence is about.
    #[must_use]
    pub fn lead(&self) -> Option<&Reason> {
        self.reasons.iter().find(|r| r.word == self.word)
    }

    /// Whether a line with this key stands.
    #[must_use]
    pub fn has(&self, key: &str) -> bool {
        self.reasons.iter().any(|r| r.key == key)
    }

    pub(super) fn add(&mut self, about: &'static str, key: &'static str, word: Word, name: &str) {
        self.reasons.push(Reason { about, key, word, name: name.to_owned() });
        self.word = self.word.max(word);
    }
}

/// What an animal is called in a sentence.
pub fn animal_words(kind: AnimalKind) -> &'static str {
    match kind {
        AnimalKind::Goldfish => "goldfish",
        AnimalKind::Koi => "koi",
        AnimalKind::Orfe => "orfe",
        AnimalKind::Tench => "tench",
        AnimalKind::Rudd => "rudd",
        AnimalKind::TenderFish => "fry, new or sick fish",
        AnimalKind::Sturgeon => "sturgeon",
        AnimalKind::Trout => "trout",
        AnimalKind::Snails => "snails",
        AnimalKind::Mussels => "mussels",
        AnimalKind::Shrimps => "shrimps",
        AnimalKind::Crayfish => "crayfish",
        AnimalKind::BreedingAmphibians => "frogs, toads or newts that breed here",
        AnimalKind::VisitingAmphibians => "visiting frogs or toads",
        AnimalKind::Dogs => "dogs",
        AnimalKind::Bees => "bees",
        AnimalKind::Livestock => "sheep, goats or poultry",
        AnimalKind::Birds => "birds",
        AnimalKind::Hedgehogs => "hedgehogs",
    }
}

/// Animals that copper kills at levels goldfish bear (TRADE.md section 5, CU-55, CU-60 to CU-62).
fn sensitive(kind: AnimalKind) -> bool {
    matches!(
        kind,
        AnimalKind::Sturgeon
            | AnimalKind::Trout
            | AnimalKind::Snails
            | AnimalKind::Mussels
            | AnimalKind::Shrimps
            | AnimalKind::Crayfish
    )
}

/// Whether a month lies in the season of spawn and tadpoles: February to July, six months on in the south.
pub fn tadpole_month(month: u32, south: bool) -> bool {
    let month = if south { (month + 5) % 12 + 1 } else { month };
    (2..=7).contains(&month)
}

/// Whether the site lies south of the equator.
pub fn south(desk: &Desk<'_>) -> bool {
    desk.site.latitude.as_ref().is_some_and(|l| l.value.si() < 0.0)
}

fn judged(rows: &[ReadingRow], key: &str) -> Option<Judged> {
    rows.iter().find(|r| r.key == key).map(|r| r.judged)
}

/// Judges every line but the panel's, which needs the schedule.
pub fn judge(
    desk: &mut Desk<'_>,
    rows: &[ReadingRow],
    correction: &Correction,
    limits: Option<&CopperLimits>,
    copper_over: bool,
) -> Verdict {
    let mut verdict = Verdict { word: Word::Yes, reasons: Vec::new() };
    let site = desk.site;
    let supply = &site.supply;
    match &supply.readings.carbonate_hardness {
        Some(reading) if reading.value.si() >= DEGREE_KH.si(WINDOW_HIGH_DKH) * (1.0 - 1e-9) => {
            verdict.add("supply", "supply-hard", Word::No, "");
        }
        Some(_) if supply.softened => verdict.add("supply", "supply-softened", Word::NotYet, ""),
        Some(reading) if reading.value.si() < DEGREE_KH.si(WINDOW_LOW_DKH) * (1.0 - 1e-9) => {
            verdict.add("supply", "supply-soft", Word::Yes, "")
        }
        Some(_) => verdict.add("supply", "supply-good", Word::Yes, ""),
        None => verdict.add("supply", "supply-untested", Word::NotYet, ""),
    }
    match judged(rows, "carbonate-hardness") {
        Some(Judged::TooLow) if correction.ammonia_forbids => {
            verdict.add("pond", "pond-soft-ammonia", Word::NotYet, "")
        }
        Some(Judged::TooLow) if correction.buffer_untold => verdict.add("pond", "pond-soft-untold", Word::NotYet, ""),
        Some(Judged::TooLow) => verdict.add("pond", "pond-soft", Word::NotYet, ""),
        Some(Judged::TooHigh) => verdict.add("pond", "pond-hard", Word::NotYet, ""),
        Some(Judged::TestIt) | None => verdict.add("pond", "pond-untested", Word::NotYet, ""),
        Some(_) if correction.changes.is_some() => verdict.add("pond", "pond-creeping", Word::Yes, ""),
        Some(_) => verdict.add("pond", "pond-good", Word::Yes, ""),
    }
    match readings::fresh(desk, |r| r.calcium.as_ref()) {
        None => verdict.add("calcium", "calcium-untested", Word::NotYet, ""),
        Some(reading) if reading.value.si() < CALCIUM_MG.si(CALCIUM_CARE) => {
            verdict.add("calcium", "calcium-low", Word::NotYet, "");
        }
        Some(_) if correction.calcium.is_some() => verdict.add("calcium", "calcium-raised", Word::Yes, ""),
        Some(_) => verdict.add("calcium", "calcium-good", Word::Yes, ""),
    }
    match judged(rows, "unionised-ammonia") {
        Some(Judged::TooHigh) => verdict.add("ammonia", "ammonia-high", Word::NotYet, ""),
        Some(Judged::Good) => verdict.add("ammonia", "ammonia-good", Word::Yes, ""),
        _ => verdict.add("ammonia", "ammonia-untested", Word::NotYet, ""),
    }
    if limits.is_none() && verdict.word == Word::Yes {
        verdict.add("calcium", "no-limit", Word::NotYet, "");
    }
    if copper_over {
        let key = if correction.copper.is_some() { "copper-high" } else { "copper-over-stop" };
        verdict.add("copper", key, Word::NotYet, "");
    }
    animals(desk, &mut verdict);
    outflow(desk, &mut verdict);
    match (&site.authorisation.number, site.country) {
        (Some(number), _) => verdict.add("authorisation", "authorised", Word::Yes, number),
        (None, Country::Other) => verdict.add("authorisation", "ask-authority", Word::Yes, ""),
        (None, _) => verdict.add("authorisation", "authorisation-missing", Word::NotYet, ""),
    }
    verdict
}

fn animals(desk: &Desk<'_>, verdict: &mut Verdict) {
    let mut any = false;
    for animal in &desk.site.animals {
        let name = animal_words(animal.kind);
        if sensitive(animal.kind) {
            any = true;
            match (animal.given_up, animal.stays) {
                (true, _) => verdict.add("animals", "animal-given-up", Word::Yes, name),
                (false, true) => verdict.add("animals", "animal-sensitive", Word::No, name),
                (false, false) => verdict.add("animals", "animal-consent", Word::NotYet, name),
            }
        }
        match animal.kind {
            AnimalKind::TenderFish => {
                any = true;
                verdict.add("animals", "animal-tender", Word::NotYet, name);
            }
            AnimalKind::BreedingAmphibians => {
                any = true;
                let word = if tadpole_month(desk.date.month(), south(desk)) { Word::NotYet } else { Word::Yes };
                verdict.add("animals", "animal-tadpoles", word, name);
            }
            _ => {}
        }
    }
    if !any && !desk.site.animals.is_empty() {
        verdict.add("animals", "animals-hardy", Word::Yes, "");
    } else if desk.site.animals.is_empty() {
        verdict.add("animals", "animals-untold", Word::NotYet, "");
    }
}

fn open_water(destination: Destination) -> bool {
    matches!(destination, Destination::Watercourse | Destination::StormDrain | Destination::Wetland)
}

fn outflow(desk: &Desk<'_>, verdict: &mut Verdict) {
    let outflow = &desk.site.outflow;
    let name = |d: Destination| match d {
        Destination::Watercourse => "a watercourse",
        Destination::StormDrain => "a storm drain",
        Destination::Wetland => "a wetland",
        _ => "",
    };
    if open_water(outflow.overflow) {
        let (key, word) =
            if outflow.can_be_relaid { ("overflow-relay", Word::NotYet) } else { ("overflow-open", Word::No) };
        verdict.add("outflow", key, word, name(outflow.overflow));
    } else if open_water(outflow.changes) {
        verdict.add("outflow", "changes-open", Word::NotYet, name(outflow.changes));
    } else if outflow.changes == Destination::Unknown {
        verdict.add("outflow", "changes-unknown", Word::NotYet, "");
    } else if outflow.overflow == Destination::Unknown {
        verdict.add("outflow", "overflow-unknown", Word::NotYet, "");
    } else {
        verdict.add("outflow", "outflow-good", Word::Yes, "");
    }
}
