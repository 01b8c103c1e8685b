//! As much of a Compact Font Format program (Adobe Technical Notes 5176 and 5177) as tells its glyphs and their widths.

use std::collections::BTreeMap;

/// An embedded font program.
pub struct Program {
    /// Width by CID. A program without CIDs counts its glyphs.
    pub widths: BTreeMap<u16, f64>,
}

/// The entries of one dictionary: operator to operands.
type Dict = BTreeMap<u16, Vec<f64>>;

struct Private {
    default_width: f64,
    nominal_width: f64,
    subroutines: Vec<Vec<u8>>,
}

impl Program {
    /// Opens a bare program; `None` if it cannot be read.
    pub fn open(bytes: &[u8]) -> Option<Program> {
        let header = usize::from(*bytes.get(2)?);
        let (_, at) = index(bytes, header)?;
        let (tops, at) = index(bytes, at)?;
        let (_, at) = index(bytes, at)?;
        let (global, _) = index(bytes, at)?;
        let top = dict(tops.first()?)?;
        let offset = |operator: u16| top.get(&operator).and_then(|v| v.first()).map(|v| *v as usize);
        let (charstrings, _) = index(bytes, offset(17)?)?;
        let count = charstrings.len();
        let composite = top.contains_key(&0x0c1e);
        let (privates, choice) = if composite {
            let (fonts, _) = index(bytes, offset(0x0c24)?)?;
            let privates: Option<Vec<Private>> = fonts.iter().map(|font| private(bytes, &dict(font)?)).collect();
            (privates?, choices(bytes, offset(0x0c25)?, count)?)
        } else {
            (vec![private(bytes, &top)?], vec![0; count])
        };
        let cids = if composite { charset(bytes, offset(15)?, count)? } else { (0..count as u16).collect() };
        let mut widths = BTreeMap::new();
        for (glyph, charstring) in charstrings.iter().enumerate() {
            let private = privates.get(usize::from(*choice.get(glyph)?))?;
            let width = Run { private, global: &global, stack: Vec::new() }.width(charstring, 0)?;
            widths.insert(*cids.get(glyph)?, width.unwrap_or(private.default_width));
        }
        Some(Program { widths })
    }
}

fn number(bytes: &[u8], at: usize, size: usize) -> Option<usize> {
    Some(bytes.get(at..at + size)?.iter().fold(0, |sum, byte| sum << 8 | usize::from(*byte)))
}

/// An INDEX and where it ends.
fn index(bytes: &[u8], at: usize) -> Option<(Vec<Vec<u8>>, usize)> {
    let count = number(bytes, at, 2)?;
    if count == 0 {
        return Some((Vec::new(), at + 2));
    }
    let size = number(bytes, at + 2, 1)?;
    let data = at + 3 + (count + 1) * size - 1;
    let offset = |n: usize| number(bytes, at + 3 + n * size, size);
    let entries: Option<Vec<Vec<u8>>> =
        (0..count).map(|n| bytes.get(data + offset(n)?..data + offset(n + 1)?).map(<[u8]>::to_vec)).collect();
    Some((entries?, data + offset(count)?))
}

fn dict(bytes: &[u8]) -> Option<Dict> {
    let mut found = Dict::new();
    let mut operands = Vec::new();
    let mut at = 0;
    while let Some(&byte) = bytes.get(at) {
        at += 1;
        match byte {
            12 => {
                found.insert(0x0c00 | u16::from(*bytes.get(at)?), std::mem::take(&mut operands));
                at += 1;
            }
            0..=21 => {
                found.insert(u16::from(byte), std::mem::take(&mut operands));
            }
            28 => {
                operands.push(f64::from(number(bytes, at, 2)? as u16 as i16));
                at += 2;
            }
            29 => {
                operands.push(f64::from(number(bytes, at, 4)? as u32 as i32));
                at += 4;
            }
            30 => {
                let mut digits = String::new();
                'digits: loop {
                    let byte = *bytes.get(at)?;
                    at += 1;
                    for nibble in [byte >> 4, byte & 15] {
                        match nibble {
                            0..=9 => digits.push(char::from(b'0' + nibble)),
                            10 => digits.push('.'),
                            11 => digits.push('e'),
                            12 => digits.push_str("e-"),
                            14 => digits.push('-'),
                            _ => break 'digits,
                        }
                    }
                }
                operands.push(digits.parse().ok()?);
            }
            32..=246 => operands.push(f64::from(byte) - 139.0),
            247..=254 => {
                operands.push(short(byte, *bytes.get(at)?));
                at += 1;
            }
            _ => return None,
        }
    }
    Some(found)
}

/// A number of two bytes, the first 247 to 254.
fn short(first: u8, second: u8) -> f64 {
    let (first, second) = (f64::from(first), f64::from(second));
    if first < 251.0 { (first - 247.0) * 256.0 + second + 108.0 } else { -(first - 251.0) * 256.0 - second - 108.0 }
}

fn private(bytes: &[u8], font: &Dict) -> Option<Private> {
    let place = font.get(&18)?;
    let (size, at) = (*place.first()? as usize, *place.get(1)? as usize);
    let entries = dict(bytes.get(at..at + size)?)?;
    let first = |operator: u16| entries.get(&operator).and_then(|v| v.first()).copied();
    let subroutines = match first(19) {
        Some(offset) => index(bytes, at + offset as usize)?.0,
        None => Vec::new(),
    };
    Some(Private { default_width: first(20).unwrap_or(0.0), nominal_width: first(21).unwrap_or(0.0), subroutines })
}

fn choices(bytes: &[u8], at: usize, count: usize) -> Option<Vec<u8>> {
    match bytes.get(at)? {
        0 => bytes.get(at + 1..at + 1 + count).map(<[u8]>::to_vec),
        3 => {
            let ranges = number(bytes, at + 1, 2)?;
            let mut found = Vec::new();
            for n in 0..ranges {
                let range = at + 3 + 3 * n;
                let (first, next) = (number(bytes, range, 2)?, number(bytes, range + 3, 2)?);
                found.extend(std::iter::repeat_n(*bytes.get(range + 2)?, next - first));
            }
            Some(found)
        }
        _ => None,
    }
}

fn charset(bytes: &[u8], at: usize, count: usize) -> Option<Vec<u16>> {
    let format = *bytes.get(at)?;
    let mut found = vec![0_u16];
    let mut at = at + 1;
    while found.len() < count {
        let first = number(bytes, at, 2)? as u16;
        let (left, step) = match format {
            0 => (0, 2),
            1 => (number(bytes, at + 2, 1)?, 3),
            2 => (number(bytes, at + 2, 2)?, 4),
            _ => return None,
        };
        found.extend((0..=left as u16).map(|n| first + n));
        at += step;
    }
    Some(found)
}

/// A charstring being run, only as far as its width.
struct Run<'a> {
    private: &'a Private,
    global: &'a [Vec<u8>],
    stack: Vec<f64>,
}

impl Run<'_> {
    /// The inner `None`: the glyph has the default width.
    fn width(&mut self, code: &[u8], depth: usize) -> Option<Option<f64>> {
        match self.go(code, depth)? {
            Some(extra) => Some(extra.map(|extra| self.private.nominal_width + extra)),
            None => Some(None),
        }
    }

    /// `Some(Some(..))` once the first operator that clears the stack was met.
    #[expect(clippy::option_option, reason = "not met yet, met without a width, met with one")]
    fn go(&mut self, code: &[u8], depth: usize) -> Option<Option<Option<f64>>> {
        if depth > 10 {
            return None;
        }
        let mut at = 0;
        while let Some(&byte) = code.get(at) {
            at += 1;
            // How many operands the operator takes itself; one more is the width.
            let own = match byte {
                1 | 3 | 18 | 19 | 20 | 23 => self.stack.len() & !1,
                21 => 2,
                4 | 22 => 1,
                14 => self.stack.len() & 4,
                10 | 29 => {
                    let list = if byte == 10 { &self.private.subroutines[..] } else { self.global };
                    let bias = if list.len() < 1240 { 107 } else { 1131 };
                    let number = self.stack.pop()? as i64 + bias;
                    let inner = list.get(usize::try_from(number).ok()?)?.clone();
                    match self.go(&inner, depth + 1)? {
                        Some(met) => return Some(Some(met)),
                        None => continue,
                    }
                }
                11 => return Some(None),
                28 => {
                    self.stack.push(f64::from(number(code, at, 2)? as u16 as i16));
                    at += 2;
                    continue;
                }
                32..=246 => {
                    self.stack.push(f64::from(byte) - 139.0);
                    continue;
                }
                247..=254 => {
                    self.stack.push(short(byte, *code.get(at)?));
                    at += 1;
                    continue;
                }
                255 => {
                    self.stack.push(f64::from(number(code, at, 4)? as u32 as i32) / 65536.0);
                    at += 4;
                    continue;
                }
                _ => return None,
            };
            let extra = (self.stack.len() > own).then(|| self.stack[0]);
            return Some(Some(extra));
        }
        Some(None)
    }
}

#[test]
fn the_width_of_a_known_glyph_is_read() {
    // The digit zero of this face is 497 wide in its `hmtx` table, as every digit is.
    let face = include_bytes!("../fonts/SourceSans3-Regular.otf");
    let tables = number(face, 4, 2).unwrap_or(0);
    let found = (0..tables).map(|n| 12 + 16 * n).find(|at| &face[*at..at + 4] == b"CFF ");
    let record = found.unwrap_or(0);
    let (start, length) = (number(face, record + 8, 4).unwrap_or(0), number(face, record + 12, 4).unwrap_or(0));
    let program = Program::open(&face[start..start + length]);
    let zeros = program.map_or(0, |program| program.widths.values().filter(|width| **width == 497.0).count());
    assert!(zeros >= 10, "{zeros} glyphs are 497 wide");
}
