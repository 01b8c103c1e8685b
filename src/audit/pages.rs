//! A printed page held against the same page made again, word by word.

use similar::{Algorithm, DiffOp, capture_diff_slices};

use crate::pdf::seen::{Seen, Word};

/// What is wrong with some words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SlipKind {
    /// Other words.
    Words,
    /// Words that should not be there.
    Added,
    /// Words that should be there.
    Missing,
    /// Words at another place.
    Moved,
    /// Words in another size, colour or face.
    Look,
}

/// Words that are not as they should be.
#[derive(Clone, Debug, PartialEq)]
pub struct Slip {
    /// What is wrong.
    pub kind: SlipKind,
    /// The line of the printed page, counted from 1 at the top.
    pub line: usize,
    /// How far down the page, to find the figure that belongs to it.
    pub y: f32,
    /// What is printed.
    pub printed: Option<String>,
    /// What comes out.
    pub recomputed: Option<String>,
    /// The printed line.
    pub beside: String,
    /// How many words.
    pub words: usize,
}

impl Slip {
    /// Whether digits are among what differs.
    #[must_use]
    pub fn in_numbers(&self) -> bool {
        let digits = |text: &Option<String>| text.as_ref().is_some_and(|text| text.chars().any(char::is_numeric));
        digits(&self.printed) || digits(&self.recomputed)
    }
}

/// Words of a page stand where they should within this.
const HERE: f32 = 0.5;
/// A wider or narrower digit before it pushes a word no farther than this.
const PUSHED: f32 = 30.0;
/// A page with more words than this is none of ours, and is not gone through word by word.
const MOST_WORDS: usize = 20_000;
/// Words that differ and are longer than this together are told by their beginning.
const MOST_TOLD: usize = 200;

/// Every word of a printed page that is not as it comes out.
#[must_use]
pub fn slips(printed: &Seen, rebuilt: &Seen) -> Vec<Slip> {
    if printed.words == rebuilt.words {
        return Vec::new();
    }
    let near = |(a, b): (&Word, &Word)| (a.y - b.y).abs() < HERE && (a.x - b.x).abs() < PUSHED;
    let in_place = printed.words.len() == rebuilt.words.len() && printed.words.iter().zip(&rebuilt.words).all(near);
    let mut found = Compared { printed, rebuilt, slips: Vec::new(), moved: Vec::new(), look: Vec::new() };
    if in_place {
        for index in 0..printed.words.len() {
            found.pair(index, index);
        }
    } else {
        found.aligned();
    }
    found.done()
}

struct Compared<'a> {
    printed: &'a Seen,
    rebuilt: &'a Seen,
    slips: Vec<Slip>,
    moved: Vec<(usize, usize)>,
    look: Vec<(usize, usize)>,
}

impl Compared<'_> {
    fn words(&self, printed: usize, rebuilt: usize) -> Option<(&Word, &Word)> {
        self.printed.words.get(printed).zip(self.rebuilt.words.get(rebuilt))
    }

    fn beside(&self, line: usize) -> String {
        told(self.printed.lines.get(line.saturating_sub(1)).map_or("", String::as_str))
    }

    /// Two words that stand for each other.
    fn pair(&mut self, a: usize, b: usize) {
        let Some((printed, rebuilt)) = self.words(a, b) else { return };
        if printed.text != rebuilt.text {
            let slip = Slip {
                kind: SlipKind::Words,
                line: printed.line,
                y: rebuilt.y,
                printed: Some(printed.text.clone()),
                recomputed: Some(rebuilt.text.clone()),
                beside: self.beside(printed.line),
                words: 1,
            };
            self.slips.push(slip);
        } else if (printed.x - rebuilt.x).abs() > HERE || (printed.y - rebuilt.y).abs() > HERE {
            self.moved.push((a, b));
        } else if (printed.size - rebuilt.size).abs() > 0.05
            || printed.ink != rebuilt.ink
            || printed.face != rebuilt.face
        {
            self.look.push((a, b));
        }
    }

    fn aligned(&mut self) {
        if self.printed.words.len() > MOST_WORDS {
            self.stretch(SlipKind::Words, (0, self.printed.words.len()), (0, self.rebuilt.words.len()));
            return;
        }
        let texts = |seen: &Seen| seen.words.iter().map(|word| word.text.clone()).collect::<Vec<String>>();
        let (old, new) = (texts(self.printed), texts(self.rebuilt));
        for op in capture_diff_slices(Algorithm::Myers, &old, &new) {
            match op {
                DiffOp::Equal { old_index, new_index, len } => {
                    (0..len).for_each(|n| self.pair(old_index + n, new_index + n));
                }
                DiffOp::Replace { old_index, old_len, new_index, new_len } if old_len == new_len => {
                    (0..old_len).for_each(|n| self.pair(old_index + n, new_index + n));
                }
                DiffOp::Replace { old_index, old_len, new_index, new_len } => {
                    self.stretch(SlipKind::Words, (old_index, old_len), (new_index, new_len));
                }
                DiffOp::Delete { old_index, old_len, new_index } => {
                    self.stretch(SlipKind::Added, (old_index, old_len), (new_index, 0));
                }
                DiffOp::Insert { old_index, new_index, new_len } => {
                    self.stretch(SlipKind::Missing, (old_index, 0), (new_index, new_len));
                }
            }
        }
    }

    fn stretch(&mut self, kind: SlipKind, (old, old_len): (usize, usize), (new, new_len): (usize, usize)) {
        let joined = |seen: &Seen, from: usize, len: usize| {
            let words: Vec<&str> = seen.words.iter().skip(from).take(len).map(|word| word.text.as_str()).collect();
            (!words.is_empty()).then(|| told(&words.join(" ")))
        };
        let at = self.printed.words.get(old).or_else(|| self.printed.words.last());
        let line = at.map_or(1, |word| word.line);
        let y = self.rebuilt.words.get(new).map_or(0.0, |word| word.y);
        let slip = Slip {
            kind,
            line,
            y: if kind == SlipKind::Added { at.map_or(y, |word| word.y) } else { y },
            printed: joined(self.printed, old, old_len),
            recomputed: joined(self.rebuilt, new, new_len),
            beside: self.beside(line),
            words: old_len.max(new_len),
        };
        self.slips.push(slip);
    }

    fn done(mut self) -> Vec<Slip> {
        // Other digits push what stands behind them in their line.
        let lines: Vec<usize> = self.slips.iter().map(|slip| slip.line).collect();
        for (kind, pairs) in
            [(SlipKind::Moved, std::mem::take(&mut self.moved)), (SlipKind::Look, std::mem::take(&mut self.look))]
        {
            let left: Vec<(usize, usize)> = pairs
                .into_iter()
                .filter(|(a, _)| {
                    let line = self.printed.words.get(*a).map_or(0, |word| word.line);
                    kind == SlipKind::Look || !lines.contains(&line)
                })
                .collect();
            let Some((printed, rebuilt)) = left.first().and_then(|&(a, b)| self.words(a, b)) else { continue };
            let slip = Slip {
                kind,
                line: printed.line,
                y: rebuilt.y,
                printed: Some(printed.text.clone()),
                recomputed: None,
                beside: self.beside(printed.line),
                words: left.len(),
            };
            self.slips.push(slip);
        }
        self.slips.sort_by_key(|slip| slip.line);
        self.slips
    }
}

fn told(words: &str) -> String {
    if words.chars().count() <= MOST_TOLD {
        return words.to_owned();
    }
    let cut: String = words.chars().take(MOST_TOLD).collect();
    format!("{}…", cut.trim_end())
}
