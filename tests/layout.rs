//! Pages: what stands where. Documents are built by hand; assertions walk the display list.
#![expect(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use weirbook::layout::{Finding, Fonts, Typeset, typeset};
use weirbook::page::display::{Draw, Role, Run, TagId, Target};
use weirbook::page::style::Sheet;
use weirbook::page::{
    Align, Anchor, Block, BlockKind, Column, Document, Drawing, Face, Formula, Heading, HeadingLook, Ink, Inline, Item,
    Labelled, Letterhead, Line, LineGroup, Math, Paper, Paragraph, ParagraphLook, Row, Running, Segment, Step, Stroke,
    Style, Table, Weight,
};

pub fn fonts() -> &'static Fonts {
    static FONTS: std::sync::OnceLock<Fonts> = std::sync::OnceLock::new();
    FONTS.get_or_init(|| Fonts::new(bytes).unwrap())
}

fn bytes(face: Face) -> &'static [u8] {
    match face {
        Face::Serif => include_bytes!("../fonts/SourceSerif4-Regular.otf"),
        Face::SerifItalic => include_bytes!("../fonts/SourceSerif4-It.otf"),
        Face::SerifSemibold => include_bytes!("../fonts/SourceSerif4-Semibold.otf"),
        Face::Display => include_bytes!("../fonts/SourceSerif4Display-Regular.otf"),
        Face::DisplaySemibold => include_bytes!("../fonts/SourceSerif4Display-Semibold.otf"),
        Face::Sans => include_bytes!("../fonts/SourceSans3-Regular.otf"),
        Face::SansItalic => include_bytes!("../fonts/SourceSans3-It.otf"),
        Face::SansSemibold => include_bytes!("../fonts/SourceSans3-Semibold.otf"),
        Face::SansBold => include_bytes!("../fonts/SourceSans3-Bold.otf"),
    }
}

/// Inlines from a short notation: `*strong*`, `_emph_`, `{3}` a mark, `[3]` an inline mark, `~` a no-break space,
/// `@name@` a page reference, `|` a break, `#` a box to tick, `^2^` raised, `!low!` lowered, `%unit%` a unit.
pub fn t(text: &str) -> Vec<Inline> {
    let text = text.replace('~', "\u{a0}");
    let mut inlines = Vec::new();
    let mut rest = text.as_str();
    while let Some(at) = rest.find(['*', '_', '{', '[', '@', '|', '#', '^', '!', '%']) {
        let (before, from) = rest.split_at(at);
        if !before.is_empty() {
            inlines.push(Inline::Text(before.to_owned()));
        }
        let open = from.chars().next().unwrap();
        let inner = &from[1..];
        let close = match open {
            '{' => '}',
            '[' => ']',
            '|' | '#' => {
                inlines.push(if open == '|' { Inline::Break } else { Inline::TickBox });
                rest = inner;
                continue;
            }
            other => other,
        };
        let end = inner.find(close).unwrap();
        let words = &inner[..end];
        let plain = vec![Inline::Text(words.to_owned())];
        inlines.push(match open {
            '*' => Inline::Strong(plain),
            '_' => Inline::Emph(plain),
            '{' => Inline::Mark(words.parse().unwrap()),
            '[' => Inline::InlineMark(words.parse().unwrap()),
            '@' => Inline::PageOf(words.to_owned()),
            '^' => Inline::Sup(plain),
            '!' => Inline::Sub(plain),
            _ => Inline::Unit(words.to_owned()),
        });
        rest = &inner[end + 1..];
    }
    if !rest.is_empty() {
        inlines.push(Inline::Text(rest.to_owned()));
    }
    inlines
}

pub fn block(kind: BlockKind) -> Block {
    Block { kind, origin: None }
}

pub fn p(text: &str) -> Block {
    block(BlockKind::Paragraph(Paragraph { look: ParagraphLook::Body, text: t(text) }))
}

pub fn heading(level: u8, look: HeadingLook, text: &str) -> Block {
    block(BlockKind::Heading(Heading { level, look, label: vec![], anchor: None, text: t(text) }))
}

pub fn anchored(level: u8, look: HeadingLook, text: &str, anchor: &str) -> Block {
    let anchor = Some(anchor.to_owned());
    block(BlockKind::Heading(Heading { level, look, label: vec![], anchor, text: t(text) }))
}

pub fn callout(weight: Weight, label: &str, text: &str) -> Block {
    block(BlockKind::Callout { weight, label: t(label), body: vec![p(text)] })
}

pub fn step(when: &str, amount: &str, text: &str) -> Step {
    Step { when: t(when), amount: t(amount), text: vec![p(text)] }
}

pub fn table(aligns: &[Align], head: &[&str], rows: &[&[&str]]) -> Table {
    Table {
        summary: "What was found".to_owned(),
        columns: aligns.iter().map(|&align| Column { align, share: 0.0 }).collect(),
        head: head.iter().map(|cell| t(cell)).collect(),
        rows: rows.iter().map(|row| Row { cells: row.iter().map(|cell| t(cell)).collect(), origin: None }).collect(),
    }
}

pub fn line(number: u32, name: &str, formula: &str, keyed: &str, result: &str, unit: &str, note: &str) -> Line {
    Line {
        number,
        name: t(name),
        formula: Formula {
            parts: vec![Math::Words(t(formula))],
            written: formula.to_owned(),
            aloud: formula.to_owned(),
        },
        keyed: t(keyed),
        result: result.to_owned(),
        unit: unit.to_owned(),
        notes: if note.is_empty() { vec![] } else { vec![t(note)] },
        also: vec![],
    }
}

pub fn document(blocks: Vec<Block>) -> Document {
    Document {
        title: "Report on the garden shed".to_owned(),
        language: "en-GB".to_owned(),
        author: "Alder & Finch".to_owned(),
        subject: "What to do about the shed".to_owned(),
        date: "2027-03-16".to_owned(),
        style: Style { paper: Paper::A4, sheet: Sheet::Report, accent: [0x8a, 0x4a, 0x1e] },
        letterhead: None,
        running: Running {
            high: "The Shed".to_owned(),
            low: "Report, 16 March 2027".to_owned(),
            foot_left: "Alder & Finch".to_owned(),
            foot_middle: vec!["01632 960 244".to_owned(), "Input 7c41 09e2".to_owned()],
        },
        blocks,
        fingerprint: [7; 32],
    }
}

pub fn gauge(mark: f32) -> Inline {
    let path = |segments, fill, stroke| Item::Path { segments, fill, stroke };
    let stroke = |width, ink| Some(Stroke { width, ink, dash: None });
    Inline::Drawing(Box::new(Drawing {
        width: 102.0,
        height: 26.0,
        items: vec![
            path(
                vec![
                    Segment::Move(22.7, 0.0),
                    Segment::Line(79.3, 0.0),
                    Segment::Line(79.3, 26.0),
                    Segment::Line(22.7, 26.0),
                    Segment::Close,
                ],
                Some(Ink::Window),
                None,
            ),
            path(vec![Segment::Move(0.0, 13.0), Segment::Line(102.0, 13.0)], None, stroke(0.4, Ink::Rule)),
            path(vec![Segment::Move(22.7, 9.5), Segment::Line(22.7, 16.5)], None, stroke(0.8, Ink::Ink)),
            path(vec![Segment::Move(79.3, 9.5), Segment::Line(79.3, 16.5)], None, stroke(0.8, Ink::Ink)),
            path(
                vec![
                    Segment::Move(mark, 8.8),
                    Segment::Line(mark + 3.0, 13.0),
                    Segment::Line(mark, 17.2),
                    Segment::Line(mark - 3.0, 13.0),
                    Segment::Close,
                ],
                Some(Ink::Ink),
                None,
            ),
        ],
        marks: Vec::new(),
        alternative: "The reading inside its target.".to_owned(),
    }))
}

fn chart() -> Block {
    let label = |x, y, anchor, text: &str| Item::Label {
        x,
        y,
        anchor,
        face: Face::Sans,
        size: 8.0,
        ink: Ink::Quiet,
        text: text.to_owned(),
    };
    block(BlockKind::Drawing(Box::new(Drawing {
        width: 354.3,
        height: 165.0,
        items: vec![
            Item::Path {
                segments: vec![
                    Segment::Move(0.0, 10.0),
                    Segment::Line(354.3, 10.0),
                    Segment::Line(354.3, 110.0),
                    Segment::Line(0.0, 110.0),
                    Segment::Close,
                ],
                fill: Some(Ink::Window),
                stroke: None,
            },
            Item::Path {
                segments: vec![
                    Segment::Move(0.0, 140.0),
                    Segment::Line(60.0, 140.0),
                    Segment::Line(60.0, 100.0),
                    Segment::Line(200.0, 100.0),
                    Segment::Line(200.0, 60.0),
                    Segment::Line(354.3, 60.0),
                ],
                fill: None,
                stroke: Some(Stroke { width: 1.2, ink: Ink::Ink, dash: None }),
            },
            label(359.0, 13.0, Anchor::Start, "8\u{a0}mm"),
            label(359.0, 113.0, Anchor::Start, "5"),
            label(-14.0, 140.0, Anchor::End, "Reading on 16 March"),
            label(340.0, 55.0, Anchor::End, "if the roof holds"),
        ],
        marks: Vec::new(),
        alternative: "The gap widens in two steps.".to_owned(),
    })))
}

/// Everything a report may contain.
pub fn sampler() -> Document {
    let mut blocks = vec![
        block(BlockKind::Labelled(vec![
            Labelled { label: t("Made for"), body: vec![p("Ines Carrow")] },
            Labelled {
                label: t("Site"),
                body: vec![p("Shed and lean-to at the Malt House, Nether Oakum. 42,000 to 46,900 nails{3}{4}")],
            },
            Labelled {
                label: t("Visit of"),
                body: vec![p("Tuesday 16 March 2027, by Dan Pell. Next visit: 14 June 2027")],
            },
        ])),
        block(BlockKind::Heading(Heading {
            level: 1,
            look: HeadingLook::Verdict,
            label: t("Verdict"),
            anchor: None,
            text: t("*Not yet:* the new roof suits this shed, once the floor is raised from 4.0 to 7.0~cm."),
        })),
        p(
            "The floor, in centimetres (cm), is the part of the shed that steadies the posts and ties up the walls. Below 5~cm the office can flood. Winter rain has taken this shed down to 4.0{2}. It takes three days to put right.",
        ),
        heading(2, HeadingLook::Wide, "What to do now"),
        block(BlockKind::Steps(vec![
            step("Today", "Power off", "Leave the power switched off at the wall until step 5."),
            step(
                "Wed 17, Thu 18 and Fri 19 March",
                "1.25~kg of fine gravel, once a day{3}",
                "Buy 3.75~kg (sold as finishing sand; nothing added). Stir each dose into three 10-litre buckets of water until clear. Pour it in slowly at the foot of the wall, over 20 minutes.",
            ),
            step(
                "Each morning, before the dose",
                "Up by 0.5 at most",
                "Today it was 7.3. If it rises by more than 0.5 in a day, wait one day.",
            ),
            step(
                "Sat 20 March",
                "6~cm or more",
                "Test the floor. It should read 6.7 to 7.0. If it reads less than 6, keep the power off and ring us{3}{1}. Do not add more. See @floor@.",
            ),
            step(
                "Mon 29 March",
                "Under 0.045~mg/L{1}",
                "Test again. Expect 0.010 to 0.014~mg/L. At 0.045 test every second day. At 0.090 switch the power off and change{2}{3}.",
            ),
        ])),
        callout(
            Weight::Care,
            "If it floods",
            "*Power off, pump on full, then ring 01632~960~244,* day or night. The sheet for the shed says what to do while you wait.",
        ),
        block(BlockKind::NewPart),
        anchored(1, HeadingLook::Page, "Two readings are too low", "floor"),
        p(
            "On 16 March the floor and the wall were below their targets. The gravel on page 3 raises both. The roof was not measured, so the limits are set without its help. We will bring the ladder on 14 June.",
        ),
    ];
    let mut readings = table(
        &[Align::Left, Align::Decimal, Align::Decimal, Align::Left, Align::Left, Align::Left],
        &["Reading", "Shed", "Yard", "Target", "low", "Verdict"],
        &[
            &["*Floor*%cm%", "*4.0*", "6.1", "5 to 14", "", "*too low*{2}"],
            &["Wall%m%", "5.8", "7.2", "4 to 15", "", "good{3}"],
            &["*Conduit*%µS/cm, 25~°C%", "*208*", "262", "250 to 1,000", "", "*too low*{4}"],
            &["Damp%mg/L%", "0.0007", "", "0.005 or less", "", "good{1}{2}"],
        ],
    );
    for (row, mark) in readings.rows.iter_mut().zip([17.0, 40.0, 20.0, 35.0]) {
        row.cells[4] = vec![gauge(mark)];
    }
    readings.columns[4].share = 0.32;
    blocks.push(block(BlockKind::Table(readings)));
    blocks.push(block(BlockKind::Paragraph(Paragraph {
        look: ParagraphLook::Quiet,
        text: t("Lozenge: the shed. Circle: the yard. An arrow: off the scale."),
    })));
    blocks.push(heading(2, HeadingLook::Section, "The floor since the shed was built"));
    blocks.push(chart());
    blocks.push(block(BlockKind::Table(table(
        &[Align::Left, Align::Middle, Align::Middle, Align::Middle, Align::Middle],
        &["", "*Tue 16*", "*Wed 17*", "*Thu 18*", "*Fri 19*"],
        &[
            &["Test first", "done", "floor", "floor", "floor"],
            &["Fine gravel", "", "*1.25~kg*", "*1.25~kg*", "*1.25~kg*"],
            &["Done", "", "#", "#", "#"],
        ],
    ))));
    blocks.push(callout(Weight::Danger, "", "*Use fine gravel and nothing else.* Never washing sand, cement or lime: they push the floor up within minutes and can break every post. Read the packet. It must say fine gravel, nothing added."));
    blocks.push(callout(Weight::Care, "", "*Stop and ring us if* the posts creak at the surface, or the morning reading passes 8.5. A higher floor makes the damp already in the wall more harmful. At today’s reading there is room{4}."));
    blocks.push(callout(Weight::Note, "", "Water changes alone cannot reach 7~cm: the yard has only 6.1. The gravel also lifts the wall to about 300~mm, inside its target, so add no salt{1}."));
    blocks.push(heading(2, HeadingLook::Section, "Assumed, not measured"));
    blocks.push(block(BlockKind::Table(table(
        &[Align::Left, Align::Left, Align::Left],
        &["What", "Assumed", "What would replace it"],
        &[
            &["Nails lost from wall", "_35~% a day at 15~°C_", "four nail counts in the first raised spell"],
            &["Largest dose a day", "_1~cm, common practice_", "no published limit was found"],
        ],
    ))));
    blocks.push(block(BlockKind::NewPart));
    blocks.push(heading(1, HeadingLook::Page, "Workings"));
    blocks.push(p("Each line shows the formula, then the same thing as you would key it into a calculator. A number in brackets names the line that a value comes from."));
    let mut lines = vec![
        line(
            1,
            "Mean volume",
            "_V_ = _A_ · _d_",
            "58.5~m^2^ × 0.760~m",
            "44.46",
            "m³",
            "_A_ area; _d_ mean of 24 soundings, zeros counted. Site file, lines 12, 13",
        ),
        line(
            2,
            "Its uncertainty",
            "_u_ = √(_u_!A!^2^ + _u_!d!^2^)",
            "√(0.020^2^ + 0.050^2^)",
            "0.05385",
            "",
            "Uncertainty of the area and of the depth. Site file, line 14",
        ),
        line(
            3,
            "Low end, used for doses",
            "_V_!low! = _V_ · (1 − _u_)",
            "44.46[1] × (1 − 0.05385[2])",
            "42.066",
            "m³",
            "Printed as 42,000 litres: rounded down",
        ),
        line(
            4,
            "High end",
            "_V_!high! = _V_ · (1 + _u_)",
            "44.46[1] × (1 + 0.05385[2])",
            "46.854",
            "m³",
            "Printed as 46,900 litres: rounded up",
        ),
    ];
    lines[2].also.push("shed".to_owned());
    blocks.push(block(BlockKind::Lines(LineGroup { title: "Volume".to_owned(), lines })));
    let mut document = document(blocks);
    document.letterhead = Some(Letterhead {
        name: "Alder & Finch".to_owned(),
        trade: "Sheds, posts and roofs".to_owned(),
        address: vec![
            "The Sluice Yard, Nether Oakum".into(),
            "01632 960 244".into(),
            "office@alderandfinch.example".into(),
        ],
        art: None,
    });
    document
}

/// Everything a poster may contain.
pub fn poster() -> Document {
    let row = |label: &str, body: Vec<Block>| Labelled { label: t(label), body };
    let blocks = vec![
        heading(1, HeadingLook::Page, "Shed sheet"),
        heading(2, HeadingLook::Section, "This week, with the power off"),
        block(BlockKind::Labelled(vec![row(
            "*1.25* kg",
            vec![p(
                "*fine gravel* (finishing sand) once a day, in three buckets of water, slowly, at the foot of the wall. *Never cement or lime.*",
            )],
        )])),
        p("#Wed 17 #Thu 18 #Fri 19 March"),
        p(
            "Sat 20: floor *6~cm* or more? Power on at 1/10, Mon 22. If not, ring us. Mon 29: test again. It should be under *0.045~mg/L*.",
        ),
        heading(2, HeadingLook::Section, "Power"),
        block(BlockKind::Labelled(vec![
            row("*1/10*", vec![p("*nearly all year* If in doubt, go back to 1/10.")]),
            row(
                "*7/10*",
                vec![
                    p("*only if moss runs away*"),
                    block(BlockKind::Table(table(
                        &[Align::Left, Align::Left],
                        &["", ""],
                        &[&["26 April", "*back down 6 May*"], &["21 June", "*back down 2 July*"]],
                    ))),
                ],
            ),
        ])),
        heading(
            2,
            HeadingLook::Section,
            "Test on the first Sunday of the month, and every second day in a raised spell",
        ),
        block(BlockKind::Labelled(vec![
            row("*5* to *14* cm", vec![p("*floor height* Below 5: power off, ring us.")]),
            row("*0.045* mg/L", vec![p("*damp: watch* At this or more, test every second day.")]),
            row("*0.090* mg/L", vec![p("*damp: stop* Power off, then do step 3 below.")]),
        ])),
        block(BlockKind::Callout {
            weight: Weight::Danger,
            label: t("Walls creaking or leaning over?"),
            body: vec![block(BlockKind::List {
                start: Some(1),
                items: vec![
                    vec![p("*Power off* at the wall. *Pump and fan on full.*")],
                    vec![p("Ring Alder & Finch, *01632~960~244*, day or night.")],
                    vec![p("Put in *9~g of nails,* then run in *4,200~litres* of sand over 3½ hours.")],
                ],
            })],
        }),
    ];
    let mut document = document(blocks);
    document.style.sheet = Sheet::Poster;
    document.running.low = "Use until 14 June 2027".to_owned();
    document
}

/// What the sampler has no room for: art, long tables, long lines, lists, many paragraphs in a callout.
pub fn oddments() -> Document {
    let mut lines = vec![
        line(
            1,
            "A line with a very long name that must wrap",
            "_x_ = _a_ + _b_ + _c_ + _d_ + _e_ + _f_ + _g_ + _h_ + _i_ + _j_ + _k_ + _l_ + _m_ + _n_ + _o_ + _p_ + _q_ + _r_",
            "1.000001[2] + 2.0000002[3] × 3.00000003 + 4.00000000004 + 5.0000000000005 − (6.00 + 7.00)",
            "123,456.7",
            "g a day",
            "A note that is long enough to reach the right edge of the column and then to go on for a second line, as notes do when they name every symbol",
        ),
        line(2, "Tiny", "_y_ = 10^−9^", "0.000000001", "0.000000001", "mol/m³", ""),
        line(
            3,
            "Keyed too long for a line",
            "_z_ = _a_ · _b_",
            "(0.123456789 × 0.123456789 + 0.987654321 × 0.987654321) ÷ (0.5555555555 × 0.66666666666) + 12.34567[1] × 98.76543[2] − 0.00001234 + (1.23456789 × 9.87654321)",
            "42.1",
            "",
            "Source",
        ),
    ];
    for n in 4..30 {
        lines.push(line(
            n,
            "Another line",
            "_v_ = _s_ ÷ _t_",
            &format!("{n} ÷ 7"),
            &format!("{:.3}", f64::from(n) / 7.0),
            "m/s",
            "As measured",
        ));
    }
    lines[0].also = vec!["shed".to_owned(), "care".to_owned()];
    let mut blocks = vec![
        heading(1, HeadingLook::Page, "Oddments: a title that is long enough to need two lines of its own"),
        p(&format!("{}{{1}}{{2}}{{3}}{{4}}{{5}}{{6}}{{7}}.", "Everything in one line of marks")),
        block(BlockKind::List {
            start: None,
            items: vec![
                vec![p("First, with nothing to add.")],
                vec![p(
                    "Second, which is so long that it goes on over the end of its line and has to be continued below, under its own first word.",
                )],
                vec![p("Third.")],
            ],
        }),
        block(BlockKind::List { start: Some(9), items: vec![vec![p("Nine.")], vec![p("Ten.")]] }),
        heading(2, HeadingLook::Wide, "A wide head over something else"),
        block(BlockKind::Labelled(vec![
            Labelled {
                label: t("*Green walls*"),
                body: vec![
                    p("Moss grows where rain runs. Scrub it in March, before it flowers, and again in September{8}."),
                    p("If it comes back within a month, ring us."),
                ],
            },
            Labelled { label: t("*A label that takes three lines of its own column*"), body: vec![p("Short.")] },
            Labelled { label: t("*Loose nails*"), body: vec![p("Hammer them in.")] },
        ])),
        block(BlockKind::Callout {
            weight: Weight::Note,
            label: vec![],
            body: vec![
                p("First paragraph of a note, with some words in it to fill the line and more."),
                p("Second paragraph."),
                block(BlockKind::List { start: Some(1), items: vec![vec![p("One.")], vec![p("Two.")]] }),
            ],
        }),
        block(BlockKind::Callout {
            weight: Weight::Danger,
            label: t("Very great danger"),
            body: vec![p("*Stop.* This is short.")],
        }),
    ];
    let rows: Vec<[String; 4]> = (0..40)
        .map(|n| {
            [
                format!("Row {n}"),
                format!("{n}.{n}"),
                "a longer text that wants to wrap when there is too little room for it on one line".to_owned(),
                "done".to_owned(),
            ]
        })
        .collect();
    let rows: Vec<Vec<&str>> = rows.iter().map(|row| row.iter().map(String::as_str).collect()).collect();
    let rows: Vec<&[&str]> = rows.iter().map(Vec::as_slice).collect();
    blocks.push(block(BlockKind::Table(table(
        &[Align::Left, Align::Decimal, Align::Left, Align::Right],
        &["Name", "Number", "What it means", "End"],
        &rows,
    ))));
    blocks.push(block(BlockKind::Lines(LineGroup { title: "Lines".to_owned(), lines })));
    let mut document = document(blocks);
    document.style.paper = Paper::Letter;
    let rgba =
        (0..60 * 20).flat_map(|n: u32| [(n % 60 * 4) as u8, 80, 120, if n % 60 < 30 { 255 } else { 128 }]).collect();
    document.letterhead = Some(Letterhead {
        name: "Alder & Finch".to_owned(),
        trade: String::new(),
        address: vec![
            "The Sluice Yard".into(),
            "Nether Oakum".into(),
            "01632 960 244".into(),
            "office@alderandfinch.example".into(),
        ],
        art: Some(weirbook::page::Art::Raster { width: 60, height: 20, rgba }),
    });
    document
}

pub fn set(document: &Document) -> Typeset {
    typeset(document, fonts())
}

#[test]
fn nothing_is_found_wrong_with_the_samples() {
    assert_eq!(set(&sampler()).findings, []);
    assert_eq!(set(&poster()).findings, []);
    assert_eq!(set(&oddments()).findings, []);
}

/// Long sentences without meaning, of `count` words.
fn prose(count: usize) -> String {
    const WORDS: [&str; 12] =
        ["gravel", "lies", "under", "the", "floor", "and", "keeps", "every", "post", "dry", "through", "winter"];
    (0..count).map(|n| WORDS[(n * 7 + n / 5) % WORDS.len()]).collect::<Vec<_>>().join(" ")
}

/// Every run with its page and tag.
fn runs(typeset: &Typeset) -> Vec<(usize, Option<TagId>, &Run)> {
    let mut runs = Vec::new();
    for (number, page) in typeset.pages.pages.iter().enumerate() {
        for item in &page.items {
            if let Draw::Text(run) = &item.draw {
                runs.push((number, item.tag, run));
            }
        }
    }
    runs
}

fn role(typeset: &Typeset, tag: Option<TagId>) -> Option<&Role> {
    tag.map(|tag| &typeset.pages.tags[tag.0 as usize].role)
}

/// The page on which a text first stands, as part of the document.
fn page_with(typeset: &Typeset, words: &str) -> usize {
    runs(typeset)
        .iter()
        .find(|(_, tag, run)| tag.is_some() && run.text().contains(words))
        .unwrap_or_else(|| panic!("`{words}` is nowhere"))
        .0
}

/// Asserts that every run stands in its own frame and on the page, clear of the head and foot.
fn assert_inside(typeset: &Typeset) {
    let list = &typeset.pages;
    for (page, tag, run) in runs(typeset) {
        let text = run.text();
        assert!(run.x >= run.frame.x - 0.01, "page {page}: `{text}` starts left of its column");
        assert!(run.x + run.width <= run.frame.right() + 0.02, "page {page}: `{text}` passes its column");
        assert!(run.x >= 0.0 && run.x + run.width <= list.page_width, "page {page}: `{text}` leaves the page");
        assert!(run.y > 20.0 && run.y < list.page_height - 20.0, "page {page}: `{text}` leaves the page");
        if tag.is_some() {
            assert!(run.y < list.page_height - 14.0 * 72.0 / 25.4 - 8.0, "page {page}: `{text}` runs into the foot");
        }
    }
}

#[test]
fn no_text_leaves_its_column_or_its_page() {
    for paper in [Paper::A4, Paper::Letter] {
        for mut document in [sampler(), poster(), oddments()] {
            document.style.paper = paper;
            let typeset = set(&document);
            let list = &typeset.pages;
            let report = document.style.sheet == Sheet::Report;
            for (page, _, run) in runs(&typeset) {
                let text = run.text();
                assert!(run.x >= run.frame.x - 0.01, "page {page}: `{text}` starts left of its column");
                assert!(run.x + run.width <= run.frame.right() + 0.02, "page {page}: `{text}` passes its column");
                assert!(run.y > 20.0 && run.y < list.page_height - 20.0, "page {page}: `{text}` leaves the page");
            }
            if report {
                assert_inside(&typeset);
            }
        }
    }
}

#[test]
fn no_heading_stands_last_on_a_page() {
    for words in (20..900).step_by(37) {
        let blocks =
            vec![p(&prose(words)), heading(1, HeadingLook::Section, "A section"), p(&prose(60)), p(&prose(400))];
        let typeset = set(&document(blocks));
        assert_inside(&typeset);
        for page in &typeset.pages.pages {
            let last = page.items.iter().rfind(|item| item.tag.is_some() && matches!(item.draw, Draw::Text(_)));
            let role = role(&typeset, last.and_then(|item| item.tag));
            assert!(!matches!(role, Some(Role::Heading(_))), "with {words} words before it");
        }
    }
}

#[test]
fn two_lines_of_a_paragraph_stand_on_either_side_of_a_break() {
    for words in (20..900).step_by(23) {
        let typeset = set(&document(vec![p(&prose(words)), p(&prose(70)), p(&prose(70)), p(&prose(300))]));
        let mut lines: std::collections::BTreeMap<(TagId, usize), usize> = std::collections::BTreeMap::new();
        for (page, tag, _) in runs(&typeset) {
            if let Some(tag) = tag {
                *lines.entry((tag, page)).or_default() += 1;
            }
        }
        let tags: Vec<TagId> = lines.keys().map(|(tag, _)| *tag).collect();
        for (&(tag, page), &count) in &lines {
            let split = tags.iter().filter(|&&other| other == tag).count() > 1;
            assert!(!split || count >= 2, "with {words} words first, page {page} has one line of a paragraph");
        }
    }
}

#[test]
fn body_text_stands_on_the_grid() {
    let blocks = vec![
        p(&prose(40)),
        heading(1, HeadingLook::Section, "A section"),
        p(&prose(50)),
        callout(Weight::Care, "", &prose(30)),
        p(&prose(20)),
        callout(Weight::Note, "", &prose(30)),
        p(&prose(60)),
    ];
    let document = document(blocks);
    let top = document.style.grid().first_top;
    let typeset = set(&document);
    for (_, tag, run) in runs(&typeset) {
        if tag.is_some() && run.face == Face::Serif && run.size == 10.0 {
            let lines = (run.y - top - 9.5) / 13.0;
            assert!((lines - lines.round()).abs() < 0.01, "`{}` stands {lines} lines down", run.text());
        }
    }
}

#[test]
fn rows_are_not_split_and_the_head_comes_again() {
    let long = prose(14);
    let rows: Vec<Vec<String>> =
        (0..90).map(|n| vec![format!("Row {n}"), format!("value {n}"), long.clone(), format!("end {n}")]).collect();
    let rows: Vec<Vec<&str>> = rows.iter().map(|row| row.iter().map(String::as_str).collect()).collect();
    let rows: Vec<&[&str]> = rows.iter().map(Vec::as_slice).collect();
    let aligns = [Align::Left, Align::Left, Align::Left, Align::Left];
    let wide = table(&aligns, &["Name", "Value", "What it means", "End"], &rows);
    let typeset = set(&document(vec![p(&prose(30)), block(BlockKind::Table(wide))]));
    assert_inside(&typeset);
    assert!(typeset.pages.pages.len() > 2);
    for n in 0..90 {
        let first = page_with(&typeset, &format!("value {n}"));
        assert_eq!(first, page_with(&typeset, &format!("end {n}")), "row {n} is split");
    }
    for (number, page) in typeset.pages.pages.iter().enumerate().skip(1) {
        let repeated = page.items.iter().any(|item| match &item.draw {
            Draw::Text(run) => item.tag.is_none() && run.text().contains("continued"),
            _ => false,
        });
        assert!(repeated, "page {number} does not repeat the head");
    }
}

#[test]
fn a_table_head_stays_with_two_rows() {
    for words in (300..700).step_by(29) {
        let rows: [&[&str]; 12] = [&["a row", "1.0"]; 12];
        let small = table(&[Align::Left, Align::Decimal], &["The head", "Value"], &rows);
        let typeset = set(&document(vec![p(&prose(words)), block(BlockKind::Table(small))]));
        let head = page_with(&typeset, "The head");
        let beside = runs(&typeset).iter().filter(|(page, _, run)| *page == head && run.text() == "a row").count();
        assert!(beside >= 2, "with {words} words first, the head has {beside} rows");
    }
}

#[test]
fn decimal_points_stand_under_one_another() {
    let rows: [&[&str]; 4] = [&["a", "4.0"], &["b", "1,208.25"], &["c", "17"], &["d", "0.0007"]];
    let typeset =
        set(&document(vec![block(BlockKind::Table(table(&[Align::Left, Align::Decimal], &["", "Value"], &rows)))]));
    let point = |words: &str| {
        let runs = runs(&typeset);
        let (_, _, run) = runs.iter().find(|(_, _, run)| run.text() == words).unwrap();
        let before: f32 = run.glyphs.iter().take_while(|glyph| glyph.text != ".").map(|glyph| glyph.advance).sum();
        run.x + before * run.size / 1000.0
    };
    for words in ["1,208.25", "17", "0.0007"] {
        assert!((point(words) - point("4.0")).abs() < 0.01, "`{words}`");
    }
}

#[test]
fn a_mark_stands_on_the_baseline_of_its_line() {
    let text = format!("{} forty{{1}} {} sixty{{2}} again{{1}} {}", prose(30), prose(20), prose(10));
    let lines = LineGroup {
        title: "Group".to_owned(),
        lines: vec![line(1, "One", "a", "1", "1", "", ""), line(2, "Two", "b", "2", "2", "", "")],
    };
    let document = document(vec![p(&text), block(BlockKind::Lines(lines))]);
    let number_x = document.style.grid().number_x;
    let typeset = set(&document);
    let runs = runs(&typeset);
    let marks: Vec<&Run> =
        runs.iter().map(|(_, _, run)| *run).filter(|run| run.size == 7.5 && run.face == Face::SansSemibold).collect();
    assert_eq!(marks.len(), 2, "the second use of a number in a block is not set");
    for (mark, word) in marks.iter().zip(["forty", "sixty"]) {
        assert!(mark.x >= number_x - 0.01);
        let (_, _, line) = runs.iter().find(|(_, _, run)| run.text().contains(word)).unwrap();
        assert!((mark.y - line.y).abs() < 0.01, "the mark of `{word}` stands {} lower", mark.y - line.y);
    }
}

#[test]
fn marks_of_one_line_are_listed_in_reading_order() {
    let text = "One{2} two{1} and two again{2}.";
    let lines = (1..=2).map(|n| line(n, "Line", "a", "1", "1", "", "")).collect();
    let group = block(BlockKind::Lines(LineGroup { title: "Group".to_owned(), lines }));
    let typeset = set(&document(vec![p(text), group]));
    let marks: Vec<String> = runs(&typeset)
        .iter()
        .filter(|(_, _, run)| run.size == 7.5 && run.face == Face::SansSemibold)
        .map(|(_, _, run)| run.text())
        .collect();
    assert_eq!(marks, ["2,", "1"]);
}

#[test]
fn a_numbered_line_lists_the_pages_that_refer_to_it() {
    let typeset = set(&document(vec![
        p("First{7}."),
        block(BlockKind::NewPart),
        p("Second."),
        block(BlockKind::NewPart),
        p("Third{7}."),
        block(BlockKind::NewPart),
        block(BlockKind::Lines(LineGroup {
            title: "Group".to_owned(),
            lines: vec![line(7, "Seven", "a", "1", "1", "", "")],
        })),
    ]));
    let found: Vec<String> = runs(&typeset)
        .iter()
        .filter(|(page, _, run)| *page == 3 && run.size == 7.5)
        .map(|(_, _, run)| run.text())
        .collect();
    assert_eq!(found, ["p\u{a0}1,", "3"]);
    let anchor = typeset.pages.anchors.iter().find(|anchor| anchor.target == Target::Line(7)).unwrap();
    assert_eq!(anchor.page, 3);
    assert!(typeset.pages.pages[0].links.iter().any(|link| link.target == Target::Line(7)));
}

#[test]
fn a_reference_names_the_page_of_its_anchor() {
    let typeset = set(&document(vec![
        p("See @end@, or @nowhere@."),
        block(BlockKind::NewPart),
        anchored(1, HeadingLook::Page, "The end", "end"),
        p("Words."),
    ]));
    let text: String = runs(&typeset).iter().filter(|(page, ..)| *page == 0).map(|(_, _, run)| run.text()).collect();
    assert!(text.contains("page\u{a0}2"), "{text}");
    let origin = None;
    assert_eq!(typeset.findings, [Finding::UnknownAnchor { origin, anchor: "nowhere".to_owned() }]);
}

#[test]
fn a_danger_is_kept_with_what_it_guards() {
    for words in (200..700).step_by(31) {
        let typeset = set(&document(vec![
            p(&prose(words)),
            p("The amount to be guarded."),
            callout(Weight::Danger, "", &prose(40)),
            p(&prose(100)),
        ]));
        assert_eq!(page_with(&typeset, "guarded"), page_with(&typeset, "Danger"), "with {words} words first");
    }
}

#[test]
fn what_is_taller_than_a_page_is_reported_and_drawn_without_loss() {
    let text = prose(1500);
    let typeset = set(&document(vec![p(&prose(50)), callout(Weight::Care, "", &text), p("The end.")]));
    assert!(matches!(typeset.findings[..], [Finding::TooTall { .. }]), "{:?}", typeset.findings);
    assert_inside(&typeset);
    let set: String =
        runs(&typeset).iter().filter(|(_, tag, _)| tag.is_some()).map(|(_, _, run)| run.text() + " ").collect();
    let words = set.split_whitespace().count();
    assert_eq!(words, 50 + 1500 + 2);
}

#[test]
fn a_step_taller_than_a_page_is_reported_and_drawn_without_loss() {
    let text = prose(1200);
    let typeset =
        set(&document(vec![block(BlockKind::Steps(vec![step("Today", "Amount", &text), step("", "Next", "")]))]));
    assert!(matches!(typeset.findings[..], [Finding::TooTall { .. }]), "{:?}", typeset.findings);
    assert_inside(&typeset);
    let set: String =
        runs(&typeset).iter().filter(|(_, tag, _)| tag.is_some()).map(|(_, _, run)| run.text() + " ").collect();
    assert_eq!(set.split_whitespace().count(), 1200 + 5);
}

#[test]
fn a_word_wider_than_its_column_is_reported_and_cut_not_lost() {
    let word = "Donaudampfschifffahrtsgesellschaft".repeat(5);
    let typeset = set(&document(vec![p(&word)]));
    assert!(matches!(typeset.findings[..], [Finding::TooWide { .. }]), "{:?}", typeset.findings);
    assert_inside(&typeset);
    let set: String = runs(&typeset).iter().filter(|(_, tag, _)| tag.is_some()).map(|(_, _, run)| run.text()).collect();
    assert_eq!(set, word);
}

#[test]
fn a_character_no_face_has_is_reported() {
    let typeset = set(&document(vec![p("A fish: 🐟.")]));
    assert!(matches!(typeset.findings[..], [Finding::MissingGlyph { .. }]), "{:?}", typeset.findings);
}

#[test]
fn a_number_and_its_unit_stand_a_fifth_of_an_em_apart() {
    let typeset = set(&document(vec![p("1.25~kg on Wed 17~March")]));
    let gaps: Vec<f32> = runs(&typeset)
        .iter()
        .flat_map(|(_, _, run)| run.glyphs.iter())
        .filter(|glyph| glyph.text == "\u{a0}")
        .map(|glyph| glyph.advance)
        .collect();
    assert_eq!(gaps, [200.0, 200.0]);
}

#[test]
fn a_quantity_is_never_broken_over_a_line() {
    for words in 5..40 {
        let text = format!("{} 0.053~mg/L or a 10-litre bucket at 1/10 of it {}", prose(words), prose(8));
        let typeset = set(&document(vec![p(&text)]));
        let lines: Vec<String> =
            runs(&typeset).iter().filter(|(_, tag, _)| tag.is_some()).map(|(_, _, run)| run.text()).collect();
        for whole in ["0.053\u{a0}mg/L", "10-litre", "1/10"] {
            assert!(lines.iter().any(|line| line.contains(whole)), "`{whole}` is broken in {lines:?}");
        }
    }
}

#[test]
fn steps_are_never_split() {
    for words in (0..400).step_by(41) {
        let steps = (0..12).map(|n| step("Today", &format!("Amount {n}"), &format!("{} last{n}", prose(50)))).collect();
        let typeset = set(&document(vec![p(&prose(words + 1)), block(BlockKind::Steps(steps))]));
        assert_inside(&typeset);
        for n in 0..12 {
            assert_eq!(page_with(&typeset, &format!("Amount {n}")), page_with(&typeset, &format!("last{n}")));
        }
    }
}

#[test]
fn a_poster_keeps_to_one_page_and_says_when_it_cannot() {
    let mut document = poster();
    let more = document.blocks[2].clone();
    for _ in 0..4 {
        document.blocks.insert(3, more.clone());
    }
    let typeset = set(&document);
    assert_eq!(typeset.pages.pages.len(), 1);
    assert!(matches!(typeset.findings[..], [Finding::TooTall { by, .. }] if by > 100.0), "{:?}", typeset.findings);
}

#[test]
fn a_crowded_poster_shrinks_its_amounts_no_further_than_44_points() {
    let mut document = poster();
    let nails = Labelled { label: t("*3.5* kg"), body: vec![p("*nails* by Sunday.")] };
    document.blocks.insert(3, block(BlockKind::Labelled(vec![nails])));
    document.blocks.insert(4, p("And one line more."));
    let typeset = set(&document);
    let largest = runs(&typeset).iter().fold(0.0_f32, |largest, (_, _, run)| largest.max(run.size));
    assert!((44.0..54.0).contains(&largest), "{largest}");
    assert_eq!(typeset.findings, []);
}

#[test]
fn a_pale_accent_does_not_carry_numbers() {
    let mut document = sampler();
    document.style.accent = [0xff, 0xe0, 0x80];
    let typeset = set(&document);
    assert!(runs(&typeset).iter().all(|(_, _, run)| run.ink != Ink::Accent));
}

#[test]
fn setting_twice_gives_the_same_pages() {
    let (first, second) = (set(&sampler()), set(&sampler()));
    assert_eq!(format!("{:?}", first.pages), format!("{:?}", second.pages));
}
