//! The nine faces: their bytes, their measures, and text turned into glyphs.

use std::borrow::Cow;
use std::fmt;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

use harfrust::{Buffer, Direction, Feature, Font, Script, ShapeOptions, ShapePlan, ShaperFont, Tag};
use rustc_hash::FxHashMap;
use smol_str::SmolStr;

use super::Face;
use super::display::Glyph;

/// The nine faces. Made once; a face is opened when it is first used.
pub struct Fonts {
    faces: Vec<FaceData>,
    /// What was shaped already, by face and figures. Shaping is a pure function of its key, so the store cannot change a page.
    stores: Mutex<Vec<Store>>,
}

/// The right to shape many words without asking anew for each.
pub struct Shaper<'a> {
    fonts: &'a Fonts,
    stores: MutexGuard<'a, Vec<Store>>,
}

/// What was shaped already in one face with one kind of figures.
#[derive(Clone, Default)]
struct Store {
    words: FxHashMap<SmolStr, Shaped>,
    /// By printable ASCII character: its glyph and advance, once met.
    letters: Vec<Option<(u16, f32)>>,
    /// By two of them: what kerning adds to the first's advance, once met.
    kerns: Vec<Option<i16>>,
}

/// The printable ASCII characters but for the space.
const LETTERS: std::ops::RangeInclusive<u8> = b'!'..=b'~';
const LETTER_COUNT: usize = 94;

/// Which figures a run of text uses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Figures {
    /// All of one width, so that they stand under one another.
    Tabular,
    /// Each of its own width, for titles.
    Proportional,
}

/// A shaped word.
#[derive(Clone, Debug, Default)]
pub struct Shaped {
    /// Its glyphs.
    pub glyphs: Arc<[Glyph]>,
    /// The sum of their advances, in thousandths of the size.
    pub advance: f32,
}

impl From<Vec<Glyph>> for Shaped {
    fn from(glyphs: Vec<Glyph>) -> Shaped {
        let advance = glyphs.iter().map(|glyph| glyph.advance).sum();
        Shaped { glyphs: glyphs.into(), advance }
    }
}

struct FaceData {
    bytes: Cow<'static, [u8]>,
    opened: OnceLock<Option<Opened>>,
}

struct Opened {
    font: Font,
    tabular: ShapePlan,
    proportional: ShapePlan,
}

/// Measures of a face, in thousandths of the size.
#[derive(Clone, Debug, PartialEq)]
pub struct Measures {
    /// PostScript name.
    pub name: String,
    /// Height over the baseline.
    pub ascent: i16,
    /// Depth under the baseline, negative.
    pub descent: i16,
    /// Height of capitals.
    pub cap_height: i16,
    /// Height of small letters.
    pub x_height: i16,
    /// The box around all glyphs: left, bottom, right, top.
    pub bounds: [i16; 4],
    /// Rise and run of the caret.
    pub caret: (i16, i16),
    /// 400 for regular, 700 for bold.
    pub weight: u16,
}

/// A font file that cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FontError(pub Face);

impl fmt::Display for FontError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the font for the face {:?} is not an OpenType font with 1000 units to the em", self.0)
    }
}

impl std::error::Error for FontError {}

impl fmt::Debug for Fonts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Fonts").finish_non_exhaustive()
    }
}

impl Fonts {
    /// Takes the bytes of each face.
    ///
    /// # Errors
    ///
    /// When a face is not an OpenType font with a thousand units to the em.
    pub fn new<B: Into<Cow<'static, [u8]>>>(bytes: impl Fn(Face) -> B) -> Result<Fonts, FontError> {
        let mut faces = Vec::new();
        for face in Face::ALL {
            let bytes = bytes(face).into();
            let units = table(&bytes, *b"head").and_then(|head| u16_at(head, 18));
            if units != Some(1000) || measures(&bytes).is_none() {
                return Err(FontError(face));
            }
            faces.push(FaceData { bytes, opened: OnceLock::new() });
        }
        let stores = vec![Store::default(); 2 * Face::ALL.len()];
        Ok(Fonts { faces, stores: Mutex::new(stores) })
    }

    fn data(&self, face: Face) -> Option<&FaceData> {
        self.faces.get(face as usize)
    }

    /// The whole font file of a face.
    #[must_use]
    pub fn bytes(&self, face: Face) -> &[u8] {
        self.data(face).map_or(&[], |data| &data.bytes)
    }

    /// The measures of a face.
    #[must_use]
    pub fn measures(&self, face: Face) -> Option<Measures> {
        measures(self.bytes(face))
    }

    /// The advance of a glyph, in thousandths of the size.
    #[must_use]
    pub fn width(&self, face: Face, glyph: u16) -> u16 {
        let bytes = self.bytes(face);
        let count = table(bytes, *b"hhea").and_then(|hhea| u16_at(hhea, 34)).unwrap_or(0);
        let at = usize::from(glyph.min(count.saturating_sub(1))) * 4;
        table(bytes, *b"hmtx").and_then(|hmtx| u16_at(hmtx, at)).unwrap_or(0)
    }

    /// Opens the store of shaped words.
    #[must_use]
    pub fn shaper(&self) -> Shaper<'_> {
        Shaper { fonts: self, stores: self.stores.lock().unwrap_or_else(PoisonError::into_inner) }
    }

    /// Turns a word into glyphs; see [`Shaper::shape`].
    #[must_use]
    pub fn shape(&self, face: Face, figures: Figures, word: &str) -> Shaped {
        self.shaper().shape(face, figures, word)
    }

    /// Turns a word into glyphs without looking at what was shaped before.
    #[must_use]
    pub fn shape_whole(&self, face: Face, figures: Figures, word: &str) -> Shaped {
        self.shape_afresh(face, figures, word).map(Shaped::from).unwrap_or_default()
    }

    fn shape_afresh(&self, face: Face, figures: Figures, word: &str) -> Option<Vec<Glyph>> {
        let data = self.data(face)?;
        let opened = data.opened.get_or_init(|| data.open()).as_ref()?;
        let font = ShaperFont::new(&opened.font);
        let mut buffer = Buffer::new();
        buffer.push_str(word);
        buffer.set_direction(Direction::LeftToRight);
        buffer.set_script(Some(Script::LATIN));
        let plan = match figures {
            Figures::Tabular => &opened.tabular,
            Figures::Proportional => &opened.proportional,
        };
        let features = features(figures);
        harfrust::shape(&font, &mut buffer, ShapeOptions::new().plan(Some(plan)).features(&features)).ok()?;

        let infos = buffer.glyph_infos();
        let mut glyphs: Vec<Glyph> = Vec::with_capacity(infos.len());
        let mut before: Option<u32> = None;
        for (index, (info, position)) in infos.iter().zip(buffer.glyph_positions()).enumerate() {
            let start = info.cluster as usize;
            let end = infos.iter().skip(index).map(|next| next.cluster as usize).find(|&next| next > start);
            let text = if before == Some(info.cluster) {
                ""
            } else {
                word.get(start..end.unwrap_or(word.len())).unwrap_or("")
            };
            before = Some(info.cluster);
            let offset = position.x_offset as f32;
            if let Some(last) = glyphs.last_mut() {
                last.advance += offset;
            }
            let natural = font.glyph_h_advance(info.glyph_id.into()) as f32;
            let advance = position.x_advance as f32 - offset;
            glyphs.push(Glyph { id: u16::try_from(info.glyph_id).unwrap_or(0), natural, advance, text: text.into() });
        }
        Some(glyphs)
    }
}

impl Shaper<'_> {
    /// Turns a word into glyphs, kerned and with ligatures. A character the face lacks becomes its empty box.
    #[must_use]
    pub fn shape(&mut self, face: Face, figures: Figures, word: &str) -> Shaped {
        let kind = 2 * face as usize + figures as usize;
        let Some(store) = self.stores.get_mut(kind) else { return Shaped::default() };
        if let Some(shaped) = store.words.get(word) {
            return shaped.clone();
        }
        let shaped = store.composed(word).unwrap_or_else(|| {
            let shaped = self.fonts.shape_whole(face, figures, word);
            store.learn(word, &shaped);
            shaped
        });
        store.words.insert(word.into(), shaped.clone());
        shaped
    }
}

impl Store {
    /// A word put together from what was learnt of its letters and of each two of them side by side. That is all that
    /// shaping looks at in the nine faces where there is no ligature; a test compares the two.
    fn composed(&self, word: &str) -> Option<Shaped> {
        if !simple(word) || self.kerns.is_empty() {
            return None;
        }
        let mut glyphs = Vec::with_capacity(word.len());
        let mut rest = word.bytes().map(|letter| usize::from(letter - LETTERS.start())).peekable();
        for (at, _) in word.char_indices() {
            let letter = rest.next()?;
            let (id, natural) = (*self.letters.get(letter)?)?;
            let kern = match rest.peek() {
                Some(next) => (*self.kerns.get(letter * LETTER_COUNT + next)?)?,
                None => 0,
            };
            let text = word.get(at..=at)?.into();
            glyphs.push(Glyph { id, natural, advance: natural + f32::from(kern), text });
        }
        Some(Shaped::from(glyphs))
    }

    fn learn(&mut self, word: &str, shaped: &Shaped) {
        if !simple(word) || shaped.glyphs.len() != word.len() {
            return;
        }
        self.letters.resize(LETTER_COUNT, None);
        self.kerns.resize(LETTER_COUNT * LETTER_COUNT, None);
        let letters = word.bytes().map(|letter| usize::from(letter - LETTERS.start()));
        let next = letters.clone().skip(1).map(Some).chain([None]);
        for ((letter, next), glyph) in letters.zip(next).zip(shaped.glyphs.iter()) {
            if let Some(slot) = self.letters.get_mut(letter) {
                *slot = Some((glyph.id, glyph.natural));
            }
            if let Some(slot) = next.and_then(|next| self.kerns.get_mut(letter * LETTER_COUNT + next)) {
                *slot = Some((glyph.advance - glyph.natural) as i16);
            }
        }
    }
}

/// Whether no two letters of a word can join: all ligatures start with an f.
fn simple(word: &str) -> bool {
    let mut after_f = false;
    word.bytes().all(|letter| {
        let joins = after_f && letter.is_ascii_lowercase();
        after_f = letter == b'f';
        LETTERS.contains(&letter) && !joins
    })
}

fn features(figures: Figures) -> Vec<Feature> {
    match figures {
        Figures::Tabular => Vec::new(),
        Figures::Proportional => vec![Feature::new(Tag::new(b"pnum"), 1, ..)],
    }
}

impl FaceData {
    fn open(&self) -> Option<Opened> {
        let font = match &self.bytes {
            Cow::Borrowed(bytes) => Font::new(*bytes, 0)?,
            Cow::Owned(bytes) => Font::new(bytes.clone(), 0)?,
        };
        let plan =
            |figures| ShapePlan::new(&font, Direction::LeftToRight, Some(Script::LATIN), None, &features(figures));
        let (tabular, proportional) = (plan(Figures::Tabular), plan(Figures::Proportional));
        Some(Opened { font, tabular, proportional })
    }
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_be_bytes(bytes.get(at..at.checked_add(2)?)?.try_into().ok()?))
}

fn i16_at(bytes: &[u8], at: usize) -> Option<i16> {
    u16_at(bytes, at).map(u16::cast_signed)
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.get(at..at.checked_add(4)?)?.try_into().ok()?))
}

fn table(bytes: &[u8], tag: [u8; 4]) -> Option<&[u8]> {
    let count = usize::from(u16_at(bytes, 4)?);
    (0..count).find_map(|index| {
        let record = bytes.get(12 + 16 * index..28 + 16 * index)?;
        if record.get(..4)? != tag {
            return None;
        }
        let start = u32_at(record, 8)? as usize;
        bytes.get(start..start.checked_add(u32_at(record, 12)? as usize)?)
    })
}

fn measures(bytes: &[u8]) -> Option<Measures> {
    let head = table(bytes, *b"head")?;
    let hhea = table(bytes, *b"hhea")?;
    let os2 = table(bytes, *b"OS/2")?;
    let name = table(bytes, *b"name")?;
    let storage = usize::from(u16_at(name, 4)?);
    let postscript = (0..usize::from(u16_at(name, 2)?)).find_map(|index| {
        let record = name.get(6 + 12 * index..18 + 12 * index)?;
        if u16_at(record, 6)? != 6 || u16_at(record, 0)? != 3 {
            return None;
        }
        let start = storage + usize::from(u16_at(record, 10)?);
        let units = name.get(start..start + usize::from(u16_at(record, 8)?))?;
        let units: Vec<u16> = units.chunks_exact(2).filter_map(|pair| u16_at(pair, 0)).collect();
        String::from_utf16(&units).ok()
    })?;
    Some(Measures {
        name: postscript,
        ascent: i16_at(hhea, 4)?,
        descent: i16_at(hhea, 6)?,
        cap_height: i16_at(os2, 88)?,
        x_height: i16_at(os2, 86)?,
        bounds: [i16_at(head, 36)?, i16_at(head, 38)?, i16_at(head, 40)?, i16_at(head, 42)?],
        caret: (i16_at(hhea, 18)?, i16_at(hhea, 20)?),
        weight: u16_at(os2, 4)?,
    })
}
