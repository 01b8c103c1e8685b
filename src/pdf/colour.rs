//! The colours' definition: a small sRGB profile, made here.

/// An ICC profile (version 2) of sRGB, IEC 61966-2-1. Primaries are those of the standard, adapted to D50.
pub(super) fn srgb() -> Vec<u8> {
    let text = |tag: &[u8; 4], words: &str| {
        let mut data = tag.to_vec();
        data.extend([0; 4]);
        data.extend(words.as_bytes());
        data.push(0);
        data
    };
    let mut description = b"desc\0\0\0\0".to_vec();
    let name = "sRGB";
    description.extend((name.len() as u32 + 1).to_be_bytes());
    description.extend(name.as_bytes());
    description.push(0);
    description.extend([0; 4 + 4 + 2 + 1 + 67]);
    let xyz = |values: [f64; 3]| {
        let mut data = b"XYZ \0\0\0\0".to_vec();
        for value in values {
            data.extend(((value * 65536.0).round() as i32).to_be_bytes());
        }
        data
    };
    let mut curve = b"curv\0\0\0\0".to_vec();
    const STEPS: u32 = 256;
    curve.extend(STEPS.to_be_bytes());
    for step in 0..STEPS {
        let v = f64::from(step) / f64::from(STEPS - 1);
        let linear = if v <= 0.04045 { v / 12.92 } else { libm::pow((v + 0.055) / 1.055, 2.4) };
        curve.extend(((linear * 65535.0).round() as u16).to_be_bytes());
    }
    let tags: [(&[u8; 4], Vec<u8>); 7] = [
        (b"desc", description),
        (b"cprt", text(b"text", "Public domain")),
        (b"wtpt", xyz([0.9642, 1.0, 0.8249])),
        (b"rXYZ", xyz([0.43607, 0.22249, 0.01392])),
        (b"gXYZ", xyz([0.38515, 0.71687, 0.09708])),
        (b"bXYZ", xyz([0.14307, 0.06061, 0.71410])),
        (b"rTRC", curve),
    ];
    // The three channels share one curve.
    let names: [&[u8; 4]; 9] = [b"desc", b"cprt", b"wtpt", b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC"];
    let start = 128 + 4 + 12 * names.len();
    let mut data = Vec::new();
    let mut places: Vec<(&[u8; 4], usize, usize)> = Vec::new();
    for (name, content) in tags {
        places.push((name, start + data.len(), content.len()));
        data.extend(content);
        data.resize(data.len().next_multiple_of(4), 0);
    }
    let mut table = (names.len() as u32).to_be_bytes().to_vec();
    for name in names {
        let shared: &[u8; 4] = if name.ends_with(b"TRC") { b"rTRC" } else { name };
        let place = places.iter().find(|place| place.0 == shared);
        let (at, length) = place.map_or((0, 0), |place| (place.1, place.2));
        table.extend(name);
        table.extend((at as u32).to_be_bytes());
        table.extend((length as u32).to_be_bytes());
    }
    let mut profile = Vec::new();
    profile.extend(((start + data.len()) as u32).to_be_bytes());
    profile.extend([0; 4]);
    profile.extend([2, 0x10, 0, 0]);
    profile.extend(b"mntrRGB XYZ ");
    // The date of the standard's first edition.
    for part in [1999_u16, 10, 18, 0, 0, 0] {
        profile.extend(part.to_be_bytes());
    }
    profile.extend(b"acsp");
    profile.resize(68, 0);
    for value in [0.9642_f64, 1.0, 0.8249] {
        profile.extend(((value * 65536.0).round() as i32).to_be_bytes());
    }
    profile.resize(128, 0);
    profile.extend(table);
    profile.extend(data);
    profile
}
