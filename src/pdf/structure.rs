//! What the parts of the document are: the structure tree, links, and the outline.

use std::collections::{BTreeMap, BTreeSet};

use lopdf::{Object, ObjectId, dictionary};

use crate::page::display::{Bounds, DisplayList, Link, Role, Scope, TagId, Target};

use super::finish::{Finish, name, real, words};
use super::save::{array, integer, real as real_number, reference, string, write};
use super::write::{Marked, PdfError, kept_empty, round};

/// The name of a role in the file.
pub(super) fn structure_type(role: &Role) -> &'static str {
    match role {
        Role::Document => "Document",
        Role::Section => "Sect",
        Role::Heading(1) => "H1",
        Role::Heading(2) => "H2",
        Role::Heading(3) => "H3",
        Role::Heading(4) => "H4",
        Role::Heading(5) => "H5",
        Role::Heading(_) => "H6",
        Role::Paragraph => "P",
        Role::List { .. } => "L",
        Role::ListItem => "LI",
        Role::Label => "Lbl",
        Role::ListBody => "LBody",
        Role::Table => "Table",
        Role::Row => "TR",
        Role::HeadCell(_) => "TH",
        Role::Cell => "TD",
        Role::Caption => "Caption",
        Role::Figure { .. } => "Figure",
        Role::Formula { .. } => "Formula",
        Role::Link => "Link",
        Role::Span | Role::Written(_) => "Span",
    }
}

#[derive(Clone, Copy)]
enum Kid {
    Tag(TagId),
    Content { page: usize, number: i64 },
    Annotation { page: usize, id: ObjectId },
}

/// What hangs under each tag, in the order of reading.
struct Tree {
    kids: Vec<Vec<Kid>>,
    /// Whether a tag has its place in the tree.
    placed: Vec<bool>,
}

impl Tree {
    /// Children stand in the order in which their content is met; empty cells keep their place by their number.
    fn of(list: &DisplayList, marked: &[Marked]) -> Tree {
        let count = list.tags.len();
        let mut tree = Tree { kids: vec![Vec::new(); count], placed: vec![false; count] };
        tree.place(TagId(0));
        for each in marked {
            tree.hang(list, each.tag);
            tree.add(each.tag, Kid::Content { page: each.page, number: each.number });
        }
        for (index, node) in list.tags.iter().enumerate() {
            let tag = TagId(index as u32);
            let above = node.parent.filter(|&above| tree.has(above) && !tree.has(tag) && kept_empty(&node.role));
            let Some(siblings) = above.and_then(|above| tree.kids.get_mut(above.0 as usize)) else { continue };
            let before = |kid: &Kid| matches!(kid, Kid::Tag(other) if *other < tag);
            let at = siblings.iter().rposition(before).map_or(0, |at| at + 1);
            siblings.insert(at, Kid::Tag(tag));
            tree.place(tag);
        }
        tree
    }

    fn has(&self, tag: TagId) -> bool {
        self.placed.get(tag.0 as usize).is_some_and(|placed| *placed)
    }

    /// Says that a tag has its place; gives back whether that is new.
    fn place(&mut self, tag: TagId) -> bool {
        self.placed.get_mut(tag.0 as usize).is_some_and(|placed| !std::mem::replace(placed, true))
    }

    fn add(&mut self, tag: TagId, kid: Kid) {
        if let Some(kids) = self.kids.get_mut(tag.0 as usize) {
            kids.push(kid);
        }
    }

    /// Hangs a tag, and all that it belongs to, where they are met first.
    fn hang(&mut self, list: &DisplayList, tag: TagId) {
        let mut chain = Vec::new();
        let mut at = Some(tag);
        while let Some(tag) = at.filter(|&tag| self.place(tag)) {
            let above = list.tags.get(tag.0 as usize).and_then(|node| node.parent);
            chain.extend(above.map(|above| (above, tag)));
            at = above;
        }
        for (above, tag) in chain.into_iter().rev() {
            self.add(above, Kid::Tag(tag));
        }
    }
}

/// A stretch of a paragraph's own words, in an element of its own.
struct Span {
    tag: TagId,
    parent: TagId,
    page: usize,
    number: i64,
}

/// Some readers take an element's own words before those of the elements inside it. In a paragraph of many links, what
/// stands between them therefore becomes elements as well, and every reader meets them in order.
fn spans_between_links(tree: &mut Tree) -> Vec<Span> {
    const MANY: usize = 2;
    let mut spans: Vec<Span> = Vec::new();
    let count = tree.kids.len();
    for (parent, kids) in (0..).map(TagId).zip(&mut tree.kids) {
        let inner = |kid: &Kid| matches!(kid, Kid::Tag(_));
        if kids.iter().filter(|kid| inner(kid)).count() < MANY {
            continue;
        }
        for kid in kids.iter_mut().skip_while(|kid| !inner(kid)) {
            if let Kid::Content { page, number } = *kid {
                let tag = TagId((count + spans.len()) as u32);
                spans.push(Span { tag, parent, page, number });
                *kid = Kid::Tag(tag);
            }
        }
    }
    spans
}

/// The row heads of tables in which there would be more heads than cells: read with every cell, they would drown it. There
/// the column heads are enough.
fn heads_too_many(list: &DisplayList) -> BTreeSet<TagId> {
    #[derive(Default)]
    struct Cells {
        column_heads: usize,
        row_heads: Vec<TagId>,
        others: usize,
    }
    let mut tables: BTreeMap<TagId, Cells> = BTreeMap::new();
    for (index, node) in list.tags.iter().enumerate() {
        if !matches!(node.role, Role::HeadCell(_) | Role::Cell) {
            continue;
        }
        let row = node.parent.and_then(|row| list.tags.get(row.0 as usize));
        let Some(table) = row.and_then(|row| row.parent) else { continue };
        let cells = tables.entry(table).or_default();
        match node.role {
            Role::HeadCell(Scope::Column) => cells.column_heads += 1,
            Role::HeadCell(Scope::Row) => cells.row_heads.push(TagId(index as u32)),
            _ => cells.others += 1,
        }
    }
    let too_many = |cells: &Cells| cells.column_heads > 0 && cells.column_heads + cells.row_heads.len() > cells.others;
    tables.into_values().filter(too_many).flat_map(|cells| cells.row_heads).collect()
}

impl Finish<'_> {
    /// The structure tree, its map from marked content, and the links.
    pub(super) fn structure(&mut self, marked: &[Marked]) -> Result<(), PdfError> {
        let root = self.file.new_object_id();
        let list = self.list;
        if self.pages.len() != list.pages.len() {
            return Err(PdfError::Assembly("a page was lost".to_owned()));
        }
        let mut tree = Tree::of(list, marked);
        let spans = spans_between_links(&mut tree);

        // Only tags that are placed become objects.
        let mut ids: Vec<Option<ObjectId>> = Vec::with_capacity(list.tags.len() + spans.len());
        for placed in &tree.placed {
            ids.push(placed.then(|| self.file.new_object_id()));
        }
        ids.extend(spans.iter().map(|_| Some(self.file.new_object_id())));
        let id_of = |tag: TagId| ids.get(tag.0 as usize).copied().flatten();

        let mut by_page: Vec<Vec<ObjectId>> = vec![Vec::new(); self.pages.len()];
        for each in marked {
            if let (Some(entries), Some(id)) = (by_page.get_mut(each.page), id_of(each.tag)) {
                entries.push(id);
            }
        }
        for span in &spans {
            let place = by_page.get_mut(span.page).zip(usize::try_from(span.number).ok());
            if let (Some(slot), Some(id)) = (place.and_then(|(page, at)| page.get_mut(at)), id_of(span.tag)) {
                *slot = id;
            }
        }
        // The parent tree: for each key the object that holds the element or elements.
        let mut parents: Vec<ObjectId> = Vec::with_capacity(by_page.len());
        for entries in by_page {
            let id = self.file.new_object_id();
            self.written.add(id, |out| array(out, &entries, |out, id| reference(out, *id)));
            parents.push(id);
        }
        // Links: each an annotation, an object reference in its tag, and an entry in the parent tree.
        let mut linked: BTreeSet<TagId> = BTreeSet::new();
        for (number, page) in list.pages.iter().enumerate() {
            let page_id = self.page(number)?;
            let mut annotations = Vec::new();
            for link in &page.links {
                let lead = match &link.target {
                    Target::Outside(address) => Lead::Outside(address),
                    target => match self.destination(target) {
                        Some((page, y)) => Lead::View(self.page(page)?, self.view_top(y)),
                        None => continue,
                    },
                };
                let Some((tag, tag_id)) = link.tag.and_then(|tag| Some((tag, id_of(tag)?))) else { continue };
                let id = self.file.new_object_id();
                let (height, key) = (list.page_height, parents.len());
                self.written.add(id, |out| annotation(out, link, &lead, height, key));
                parents.push(tag_id);
                annotations.push(Object::Reference(id));
                linked.insert(tag);
                tree.add(tag, Kid::Annotation { page: number, id });
            }
            let dictionary = self.file.get_dictionary_mut(page_id)?;
            dictionary.remove(b"Annots");
            if !annotations.is_empty() {
                dictionary.set("Annots", annotations);
            }
            dictionary.set("StructParents", number as i64);
            dictionary.set("Tabs", name("S"));
        }

        let plain_heads = heads_too_many(list);
        for ((index, node), kids) in list.tags.iter().enumerate().zip(&tree.kids) {
            let tag = TagId(index as u32);
            let Some(id) = id_of(tag) else { continue };
            let role = match &node.role {
                Role::HeadCell(_) if plain_heads.contains(&tag) => &Role::Cell,
                // It leads nowhere: the layout has complained of that.
                Role::Link if !linked.contains(&tag) => &Role::Span,
                role => role,
            };
            let parent = node.parent.and_then(id_of).unwrap_or(root);
            let (pages, height) = (&self.pages, list.page_height);
            self.written.add(id, |out| {
                out.extend(b"<<");
                head(out, role, parent);
                hold(out, kids, pages, id_of);
                describe(out, role, node.title.as_deref(), height);
                out.extend(b">>");
            });
        }
        for span in &spans {
            let (Some(id), Some(above)) = (id_of(span.tag), id_of(span.parent)) else { continue };
            let own = [Kid::Content { page: span.page, number: span.number }];
            let pages = &self.pages;
            self.written.add(id, |out| {
                out.extend(b"<<");
                head(out, &Role::Span, above);
                hold(out, &own, pages, id_of);
                out.extend(b">>");
            });
        }

        let next_key = parents.len() as i64;
        let parent_tree = self.file.new_object_id();
        self.written.add(parent_tree, |out| {
            out.extend(b"<</Nums");
            let keyed: Vec<(i64, ObjectId)> = (0..).zip(parents).collect();
            array(out, &keyed, |out, (key, id)| {
                integer(out, *key);
                out.push(b' ');
                reference(out, *id);
            });
            out.extend(b">>");
        });
        let document = id_of(TagId(0)).ok_or_else(|| PdfError::Assembly("no structure".to_owned()))?;
        self.file.set_object(
            root,
            dictionary! {
                "Type" => "StructTreeRoot",
                "K" => Object::Reference(document),
                "ParentTree" => Object::Reference(parent_tree),
                "ParentTreeNextKey" => next_key,
            },
        );
        let catalog = self.file.catalog_mut()?;
        catalog.set("StructTreeRoot", Object::Reference(root));
        catalog.set("MarkInfo", dictionary! { "Marked" => true });
        Ok(())
    }

    fn destination(&self, target: &Target) -> Option<(usize, f32)> {
        if let Target::Page(page) = target {
            return Some((*page, 0.0));
        }
        self.list
            .anchors
            .binary_search_by(|anchor| anchor.target.cmp(target))
            .ok()
            .and_then(|at| self.list.anchors.get(at))
            .map(|anchor| (anchor.page, anchor.y))
    }

    pub(super) fn view(&self, page: usize, y: f32) -> Result<Vec<Object>, PdfError> {
        let top = real(self.view_top(y));
        Ok(vec![Object::Reference(self.page(page)?), name("XYZ"), Object::Null, top, Object::Null])
    }

    /// The upper edge of what is shown when one comes to a place.
    fn view_top(&self, y: f32) -> f32 {
        (self.list.page_height - y + 12.0).min(self.list.page_height)
    }

    /// The outline, nested by level.
    pub(super) fn outline(&mut self) -> Result<(), PdfError> {
        let entries = &self.list.outline;
        if entries.is_empty() {
            return Ok(());
        }
        let root = self.file.new_object_id();
        let ids: Vec<ObjectId> = entries.iter().map(|_| self.file.new_object_id()).collect();
        // For each entry, the entry it stands under.
        let mut above: Vec<Option<usize>> = Vec::new();
        let mut open: Vec<(u8, usize)> = Vec::new();
        for (index, entry) in entries.iter().enumerate() {
            open.retain(|(level, _)| *level < entry.level);
            above.push(open.last().map(|(_, at)| *at));
            open.push((entry.level, index));
        }
        let children = |of: Option<usize>| -> Vec<usize> {
            above.iter().enumerate().filter(|(_, up)| **up == of).map(|(index, _)| index).collect()
        };
        let reference = |index: &usize| ids.get(*index).map_or(Object::Null, |id| Object::Reference(*id));
        for (index, entry) in entries.iter().enumerate() {
            let up = above.get(index).copied().flatten();
            let siblings = children(up);
            let place = siblings.iter().position(|&each| each == index).unwrap_or(0);
            let mut item = dictionary! {
                "Title" => words(&entry.title),
                "Parent" => up.as_ref().map_or(Object::Reference(root), reference),
                "Dest" => self.view(entry.page, entry.y)?,
            };
            if let Some(before) = place.checked_sub(1).and_then(|place| siblings.get(place)) {
                item.set("Prev", reference(before));
            }
            if let Some(after) = siblings.get(place + 1) {
                item.set("Next", reference(after));
            }
            let own = children(Some(index));
            if let (Some(first), Some(last)) = (own.first(), own.last()) {
                item.set("First", reference(first));
                item.set("Last", reference(last));
                // Negative: shut until it is opened.
                item.set("Count", -(own.len() as i64));
            }
            if let Some(id) = ids.get(index) {
                self.file.set_object(*id, item);
            }
        }
        let top = children(None);
        let mut outlines = dictionary! { "Type" => "Outlines", "Count" => top.len() as i64 };
        if let (Some(first), Some(last)) = (top.first(), top.last()) {
            outlines.set("First", reference(first));
            outlines.set("Last", reference(last));
        }
        self.file.set_object(root, outlines);
        self.file.catalog_mut()?.set("Outlines", Object::Reference(root));
        Ok(())
    }
}

/// Where a link leads.
enum Lead<'a> {
    Outside(&'a str),
    View(ObjectId, f32),
}

fn annotation(out: &mut Vec<u8>, link: &Link, lead: &Lead<'_>, page_height: f32, key: usize) {
    out.extend(b"<</Type/Annot/Subtype/Link/Rect");
    rectangle(out, &link.bounds, page_height);
    out.extend(b"/Border[0 0 0]/F 4/Contents");
    write(out, &words(&link.description));
    out.extend(b"/StructParent ");
    integer(out, key as i64);
    match lead {
        Lead::Outside(address) => {
            out.extend(b"/A<</S/URI/URI");
            string(out, address.as_bytes());
            out.extend(b">>");
        }
        Lead::View(page, top) => {
            out.extend(b"/Dest[");
            reference(out, *page);
            out.extend(b" /XYZ null ");
            real_number(out, round(*top));
            out.extend(b" null]");
        }
    }
    out.extend(b">>");
}

/// What an element is and what it belongs to.
fn head(out: &mut Vec<u8>, role: &Role, parent: ObjectId) {
    out.extend(b"/Type/StructElem/S/");
    out.extend(structure_type(role).bytes());
    out.extend(b"/P ");
    reference(out, parent);
}

/// What an element holds. The page of its first words is its home: what stands there need not name the page.
fn hold(out: &mut Vec<u8>, kids: &[Kid], pages: &[ObjectId], id_of: impl Fn(TagId) -> Option<ObjectId>) {
    let home = kids.iter().find_map(|kid| match kid {
        Kid::Content { page, .. } => Some(*page),
        _ => None,
    });
    let page_id = |page: usize| pages.get(page).copied().unwrap_or_default();
    if let Some(home) = home {
        out.extend(b"/Pg ");
        reference(out, page_id(home));
    }
    let kid = |out: &mut Vec<u8>, kid: &Kid| match *kid {
        Kid::Tag(child) => reference(out, id_of(child).unwrap_or_default()),
        Kid::Content { page, number } if Some(page) == home => integer(out, number),
        Kid::Content { page, number } => {
            out.extend(b"<</Type/MCR/Pg ");
            reference(out, page_id(page));
            out.extend(b"/MCID ");
            integer(out, number);
            out.extend(b">>");
        }
        Kid::Annotation { page, id } => {
            out.extend(b"<</Type/OBJR/Pg ");
            reference(out, page_id(page));
            out.extend(b"/Obj ");
            reference(out, id);
            out.extend(b">>");
        }
    };
    match kids {
        [] => {}
        [only] => {
            out.extend(b"/K");
            if !matches!(only, Kid::Annotation { .. }) {
                out.push(b' ');
            }
            kid(out, only);
        }
        _ => {
            out.extend(b"/K");
            array(out, kids, kid);
        }
    }
}

fn describe(out: &mut Vec<u8>, role: &Role, title: Option<&str>, page_height: f32) {
    let title = title.filter(|title| !title.is_empty());
    match role {
        Role::Figure { alternative, bounds } | Role::Formula { alternative, bounds, .. } => {
            out.extend(b"/Alt");
            write(out, &words(alternative));
            out.extend(b"/A<</O/Layout/Placement/Block");
            if let Some((_, bounds)) = bounds {
                out.extend(b"/BBox");
                rectangle(out, bounds, page_height);
            }
            out.extend(b">>");
        }
        Role::List { numbered: true } => out.extend(b"/A<</O/List/ListNumbering/Decimal>>"),
        Role::List { numbered: false } => out.extend(b"/A<</O/List/ListNumbering/None>>"),
        Role::HeadCell(Scope::Column) => out.extend(b"/A<</O/Table/Scope/Column>>"),
        Role::HeadCell(Scope::Row) => out.extend(b"/A<</O/Table/Scope/Row>>"),
        Role::Table => {
            if let Some(summary) = title {
                out.extend(b"/A<</O/Table/Summary");
                write(out, &words(summary));
                out.extend(b">>");
            }
        }
        _ => {
            if let Some(title) = title {
                out.extend(b"/T");
                write(out, &words(title));
            }
        }
    }
}

fn rectangle(out: &mut Vec<u8>, bounds: &Bounds, page_height: f32) {
    let sides = [bounds.x, page_height - bounds.bottom(), bounds.right(), page_height - bounds.y];
    array(out, &sides, |out, side| real_number(out, round(*side)));
}
