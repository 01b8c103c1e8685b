//! A file to bytes. Every object is written once, the small ones together in compressed object streams.
//!
//! lopdf's own saver writes each object three times, compresses at the slowest level and leaves the cross-reference
//! stream uncompressed: half of the time of a whole plan.

use flate2::{Compress, Compression, FlushCompress, Status};
use lopdf::{Dictionary, Document as File, Object, ObjectId, Stream, StringFormat};

use super::write::PdfError;

/// Higher levels take twice the time for a tenth less.
const LEVEL: u32 = 2;
/// Objects in one object stream.
const TOGETHER: usize = 1000;
/// Bytes of a row of the cross-reference stream: kind, place, index.
const ROW: usize = 7;

/// Where an object stands.
#[derive(Clone, Copy)]
enum Place {
    Free,
    /// At this byte.
    At(u32),
    /// In this object stream, at this index.
    In(u32, u16),
}

/// Objects in the form in which they stand in the file. A plan has thousands of elements, and to make a dictionary of each
/// before it is written takes several times as long as to write it.
#[derive(Default)]
pub(super) struct Written {
    bytes: Vec<u8>,
    /// The number of each, and where it ends.
    ends: Vec<(u32, usize)>,
}

impl Written {
    pub(super) fn add(&mut self, (id, _): ObjectId, write: impl FnOnce(&mut Vec<u8>)) {
        write(&mut self.bytes);
        self.ends.push((id, self.bytes.len()));
    }

    fn objects(&self) -> impl Iterator<Item = (u32, &[u8])> {
        let starts = std::iter::once(0).chain(self.ends.iter().map(|&(_, end)| end));
        starts.zip(&self.ends).map(|(start, &(id, end))| (id, self.bytes.get(start..end).unwrap_or_default()))
    }
}

/// An object that stands together with others.
enum Small<'a> {
    Object(&'a Object),
    Written(&'a [u8]),
}

/// Writes a file with object streams and a cross-reference stream.
pub(super) fn save(file: &File, written: &Written) -> Result<Vec<u8>, PdfError> {
    let mut out = format!("%PDF-{}\n%", file.version).into_bytes();
    out.extend([0xbb, 0xad, 0xc0, 0xde, b'\n']);
    let mut places = vec![Place::Free; file.max_id as usize + 1];
    let mut packer = Packer::new();
    let mut small = Vec::new();
    for (&(id, _), object) in &file.objects {
        match object {
            Object::Stream(stream) => {
                put(&mut places, id, Place::At(offset(&out)?));
                let packed = if stream.allows_compression { packed(stream, &mut packer)? } else { None };
                match packed {
                    Some(packed) => indirect(&mut out, id, &packed),
                    None => indirect(&mut out, id, stream),
                }
            }
            _ => small.push((id, Small::Object(object))),
        }
    }
    small.extend(written.objects().map(|(id, bytes)| (id, Small::Written(bytes))));
    small.sort_by_key(|&(id, _)| id);
    for group in small.chunks(TOGETHER) {
        let stream_id = places.len() as u32;
        let (mut heads, mut bodies) = (Vec::new(), Vec::new());
        for (index, (id, object)) in group.iter().enumerate() {
            put(&mut places, *id, Place::In(stream_id, index as u16));
            integer(&mut heads, i64::from(*id));
            heads.push(b' ');
            integer(&mut heads, bodies.len() as i64);
            heads.push(b' ');
            match object {
                Small::Object(object) => write(&mut bodies, object),
                Small::Written(bytes) => bodies.extend_from_slice(bytes),
            }
            bodies.push(b'\n');
        }
        let mut dictionary = Dictionary::new();
        dictionary.set("Type", "ObjStm");
        dictionary.set("N", group.len() as i64);
        dictionary.set("First", heads.len() as i64);
        heads.append(&mut bodies);
        places.push(Place::At(offset(&out)?));
        indirect(&mut out, stream_id, &packer.deflated(dictionary, &heads)?);
    }
    let start = offset(&out)?;
    let id = places.len() as u32;
    places.push(Place::At(start));
    let mut dictionary = file.trailer.clone();
    dictionary.set("Type", "XRef");
    dictionary.set("Size", places.len() as i64);
    dictionary.set("W", vec![1.into(), 4.into(), 2.into()]);
    let mut parameters = Dictionary::new();
    parameters.set("Predictor", 12);
    parameters.set("Columns", ROW as i64);
    dictionary.set("DecodeParms", parameters);
    indirect(&mut out, id, &packer.deflated(dictionary, &rows(&places))?);
    out.extend(format!("startxref\n{start}\n%%EOF\n").bytes());
    Ok(out)
}

fn put(places: &mut [Place], id: u32, place: Place) {
    if let Some(slot) = places.get_mut(id as usize) {
        *slot = place;
    }
}

fn offset(out: &[u8]) -> Result<u32, PdfError> {
    u32::try_from(out.len()).map_err(|_| PdfError::Assembly("the file is too large".to_owned()))
}

/// The cross-reference rows, each as its difference from the row above.
fn rows(places: &[Place]) -> Vec<u8> {
    let mut rows = Vec::with_capacity(places.len() * (ROW + 1));
    let mut above = [0; ROW];
    for place in places {
        let (kind, at, index) = match *place {
            Place::Free => (0, 0, 0),
            Place::At(at) => (1, at, 0),
            Place::In(stream, index) => (2, stream, index),
        };
        let ([a, b, c, d], [e, f]) = (at.to_be_bytes(), index.to_be_bytes());
        let row = [kind, a, b, c, d, e, f];
        rows.push(2); // "Up"
        rows.extend(row.iter().zip(above).map(|(now, above)| now.wrapping_sub(above)));
        above = row;
    }
    rows
}

/// One compressor for all streams: to make one costs as much as to compress a page.
struct Packer {
    inner: Compress,
}

impl Packer {
    fn new() -> Self {
        Packer { inner: Compress::new(Compression::new(LEVEL), true) }
    }

    fn deflated(&mut self, mut dictionary: Dictionary, bytes: &[u8]) -> Result<Stream, PdfError> {
        self.inner.reset();
        // Deflate adds at most a few bytes to each 16 kB.
        let mut packed = Vec::with_capacity(bytes.len() + bytes.len() / 1000 + 64);
        let status = self.inner.compress_vec(bytes, &mut packed, FlushCompress::Finish);
        if !matches!(status, Ok(Status::StreamEnd)) {
            return Err(PdfError::Assembly("a stream could not be compressed".to_owned()));
        }
        packed.shrink_to_fit();
        dictionary.set("Filter", "FlateDecode");
        Ok(Stream::new(dictionary, packed))
    }
}

/// The compressed stream, where it is not compressed yet and that makes it smaller.
fn packed(stream: &Stream, packer: &mut Packer) -> Result<Option<Stream>, PdfError> {
    if stream.dict.has(b"Filter") {
        return Ok(None);
    }
    let packed = packer.deflated(stream.dict.clone(), &stream.content)?;
    Ok((packed.content.len() + 20 < stream.content.len()).then_some(packed))
}

fn indirect(out: &mut Vec<u8>, id: u32, stream: &Stream) {
    integer(out, i64::from(id));
    out.extend(b" 0 obj\n");
    out.extend(b"<<");
    for (key, value) in stream.dict.iter().filter(|(key, _)| *key != b"Length") {
        entry(out, key, value);
    }
    out.extend(b"/Length ");
    integer(out, stream.content.len() as i64);
    out.extend(b">>\nstream\n");
    out.extend(&stream.content);
    out.extend(b"\nendstream\nendobj\n");
}

fn entry(out: &mut Vec<u8>, key: &[u8], value: &Object) {
    name(out, key);
    if !matches!(value, Object::Name(_) | Object::String(..) | Object::Array(_) | Object::Dictionary(_)) {
        out.push(b' ');
    }
    write(out, value);
}

/// An object that is no stream.
pub(super) fn write(out: &mut Vec<u8>, object: &Object) {
    match object {
        Object::Null => out.extend(b"null"),
        Object::Boolean(value) => out.extend(if *value { &b"true"[..] } else { b"false" }),
        Object::Integer(value) => integer(out, *value),
        Object::Real(value) => real(out, *value),
        Object::Name(text) => name(out, text),
        Object::String(bytes, StringFormat::Literal) => string(out, bytes),
        Object::String(bytes, StringFormat::Hexadecimal) => {
            out.push(b'<');
            for byte in bytes {
                out.extend([hex(byte >> 4), hex(byte & 15)]);
            }
            out.push(b'>');
        }
        Object::Array(items) => array(out, items, write),
        Object::Dictionary(dictionary) => {
            out.extend(b"<<");
            for (key, value) in dictionary {
                entry(out, key, value);
            }
            out.extend(b">>");
        }
        // Streams stand by themselves; `save` writes them.
        Object::Stream(_) => out.extend(b"null"),
        Object::Reference(id) => reference(out, *id),
    }
}

/// Items in brackets, a space between them.
pub(super) fn array<T>(out: &mut Vec<u8>, items: &[T], write: impl Fn(&mut Vec<u8>, &T)) {
    out.push(b'[');
    for (index, item) in items.iter().enumerate() {
        if index > 0 {
            out.push(b' ');
        }
        write(out, item);
    }
    out.push(b']');
}

pub(super) fn reference(out: &mut Vec<u8>, (id, generation): ObjectId) {
    integer(out, i64::from(id));
    out.push(b' ');
    integer(out, i64::from(generation));
    out.extend(b" R");
}

fn hex(digit: u8) -> u8 {
    if digit < 10 { b'0' + digit } else { b'A' + digit - 10 }
}

/// A name, with what is not a plain letter, digit or sign escaped.
fn name(out: &mut Vec<u8>, text: &[u8]) {
    out.push(b'/');
    for &byte in text {
        if (b'!'..=b'~').contains(&byte) && !b"()<>[]{}/%#".contains(&byte) {
            out.push(byte);
        } else {
            out.extend([b'#', hex(byte >> 4), hex(byte & 15)]);
        }
    }
}

/// A string in brackets.
pub(super) fn string(out: &mut Vec<u8>, bytes: &[u8]) {
    out.push(b'(');
    for &byte in bytes {
        match byte {
            b'(' | b')' | b'\\' => out.extend([b'\\', byte]),
            b'\r' => out.extend(b"\\r"),
            b'\n' => out.extend(b"\\n"),
            _ => out.push(byte),
        }
    }
    out.push(b')');
}

/// A whole number.
pub(super) fn integer(out: &mut Vec<u8>, value: i64) {
    if value < 0 {
        out.push(b'-');
    }
    digits(out, value.unsigned_abs());
}

fn digits(out: &mut Vec<u8>, value: u64) {
    if value >= 10 {
        digits(out, value / 10);
    }
    out.push(b'0' + (value % 10) as u8);
}

/// A number: with at most two decimals where these tell all of it, else with as many as it takes.
pub(super) fn real(out: &mut Vec<u8>, value: f32) {
    let hundredths = (value * 100.0).round();
    if hundredths / 100.0 != value || hundredths.abs() > 1.0e9 {
        out.extend(value.to_string().bytes());
        return;
    }
    if hundredths < 0.0 {
        out.push(b'-');
    }
    let hundredths = hundredths.abs() as u64;
    let (whole, tenth, hundredth) = (hundredths / 100, (hundredths / 10 % 10) as u8, (hundredths % 10) as u8);
    digits(out, whole);
    if tenth > 0 || hundredth > 0 {
        out.extend([b'.', b'0' + tenth]);
    }
    if hundredth > 0 {
        out.push(b'0' + hundredth);
    }
}
