//! What the parts of the document are: the structure tree, links, and the outline.

use std::collections::{BTreeMap, BTreeSet};

use lopdf::{Dictionary, Object, ObjectId, dictionary};

use crate::page::display::{Bounds, DisplayList, Role, Scope, TagId, Target};

use super::finish::{Finish, name, real, words};
use super::write::{Marked, PdfError, kept_empty, owners};

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

enum Kid {
    Tag(TagId),
    Content { page: usize, number: i64 },
    Annotation { page: usize, id: ObjectId },
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
fn spans_between_links(list: &DisplayList, kids: &mut BTreeMap<TagId, Vec<Kid>>) -> Vec<Span> {
    const MANY: usize = 2;
    let mut spans: Vec<Span> = Vec::new();
    for (&parent, kids) in kids.iter_mut() {
        let inner = |kid: &Kid| matches!(kid, Kid::Tag(_));
        if kids.iter().filter(|kid| inner(kid)).count() < MANY {
            continue;
        }
        for kid in kids.iter_mut().skip_while(|kid| !inner(kid)) {
            if let Kid::Content { page, number } = *kid {
                let tag = TagId((list.tags.len() + spans.len()) as u32);
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
        let parent = |tag: TagId| list.tags.get(tag.0 as usize).and_then(|node| node.parent);

        // Children stand in the order in which their content is met; empty cells keep their place by their number.
        let mut kids: BTreeMap<TagId, Vec<Kid>> = BTreeMap::new();
        let mut placed: BTreeSet<TagId> = BTreeSet::from([TagId(0)]);
        let hang = |tag: TagId, kids: &mut BTreeMap<TagId, Vec<Kid>>, placed: &mut BTreeSet<TagId>| {
            let mut at = tag;
            let mut chain = Vec::new();
            while placed.insert(at) {
                chain.push(at);
                match parent(at) {
                    Some(above) => at = above,
                    None => break,
                }
            }
            for tag in chain.into_iter().rev() {
                if let Some(above) = parent(tag) {
                    kids.entry(above).or_default().push(Kid::Tag(tag));
                }
            }
        };
        for each in marked {
            hang(each.tag, &mut kids, &mut placed);
            kids.entry(each.tag).or_default().push(Kid::Content { page: each.page, number: each.number });
        }
        let used = owners(marked);
        for (index, node) in list.tags.iter().enumerate() {
            let tag = TagId(index as u32);
            if placed.contains(&tag) || used.contains(&tag) || !kept_empty(&node.role) {
                continue;
            }
            let Some(above) = node.parent.filter(|above| placed.contains(above)) else { continue };
            let siblings = kids.entry(above).or_default();
            let at =
                siblings.iter().rposition(|kid| matches!(kid, Kid::Tag(other) if *other < tag)).map_or(0, |at| at + 1);
            siblings.insert(at, Kid::Tag(tag));
            placed.insert(tag);
        }

        let spans = spans_between_links(list, &mut kids);

        // Only tags that are placed become objects.
        let mut ids: Vec<Option<ObjectId>> = Vec::with_capacity(list.tags.len() + spans.len());
        for index in 0..list.tags.len() {
            ids.push(placed.contains(&TagId(index as u32)).then(|| self.file.new_object_id()));
        }
        ids.extend(spans.iter().map(|_| Some(self.file.new_object_id())));
        let id_of = |tag: TagId| ids.get(tag.0 as usize).copied().flatten();

        // Links: each an annotation, an object reference in its tag, and an entry in the parent tree.
        let mut numbers: Vec<Object> = Vec::new();
        let mut by_page: Vec<Vec<Object>> = vec![Vec::new(); self.pages.len()];
        for each in marked {
            if let (Some(entries), Some(id)) = (by_page.get_mut(each.page), id_of(each.tag)) {
                entries.push(Object::Reference(id));
            }
        }
        for span in &spans {
            let place = by_page.get_mut(span.page).zip(usize::try_from(span.number).ok());
            if let (Some(slot), Some(id)) = (place.and_then(|(page, at)| page.get_mut(at)), id_of(span.tag)) {
                *slot = Object::Reference(id);
            }
        }
        for (index, entries) in by_page.into_iter().enumerate() {
            numbers.push(Object::Integer(index as i64));
            numbers.push(Object::Reference(self.file.add_object(entries)));
        }
        let mut next_key = self.pages.len() as i64;
        let mut linked: BTreeSet<TagId> = BTreeSet::new();
        for (number, page) in list.pages.iter().enumerate() {
            let page_id = self.page(number)?;
            let mut annotations = Vec::new();
            for link in &page.links {
                let (key, lead) = if let Target::Outside(address) = &link.target {
                    let address = Object::string_literal(address.as_bytes());
                    ("A", Object::Dictionary(dictionary! { "S" => "URI", "URI" => address }))
                } else {
                    let Some((target_page, y)) = self.destination(&link.target) else { continue };
                    ("Dest", Object::Array(self.view(target_page, y)?))
                };
                let Some(tag_id) = link.tag.and_then(id_of) else { continue };
                let annotation = self.file.add_object(dictionary! {
                    "Type" => "Annot",
                    "Subtype" => "Link",
                    "Rect" => self.rectangle(&link.bounds),
                    "Border" => vec![0.into(), 0.into(), 0.into()],
                    "F" => 4,
                    "Contents" => words(&link.description),
                    "StructParent" => next_key,
                    key => lead,
                });
                numbers.push(Object::Integer(next_key));
                numbers.push(Object::Reference(tag_id));
                next_key += 1;
                annotations.push(Object::Reference(annotation));
                if let Some(tag) = link.tag {
                    linked.insert(tag);
                    kids.entry(tag).or_default().push(Kid::Annotation { page: number, id: annotation });
                }
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
        for (index, node) in list.tags.iter().enumerate() {
            let tag = TagId(index as u32);
            let Some(id) = id_of(tag) else { continue };
            let role = match &node.role {
                Role::HeadCell(_) if plain_heads.contains(&tag) => &Role::Cell,
                // It leads nowhere: the layout has complained of that.
                Role::Link if !linked.contains(&tag) => &Role::Span,
                role => role,
            };
            let mut element = dictionary! {
                "Type" => "StructElem",
                "S" => name(structure_type(role)),
                "P" => Object::Reference(node.parent.and_then(id_of).unwrap_or(root)),
            };
            let own = kids.remove(&tag).unwrap_or_default();
            let home = own.iter().find_map(|kid| match kid {
                Kid::Content { page, .. } => Some(*page),
                _ => None,
            });
            if let Some(home) = home {
                element.set("Pg", Object::Reference(self.page(home)?));
            }
            let mut entries = Vec::new();
            for kid in own {
                entries.push(match kid {
                    Kid::Tag(child) => match id_of(child) {
                        Some(child) => Object::Reference(child),
                        None => continue,
                    },
                    Kid::Content { page, number } if Some(page) == home => Object::Integer(number),
                    Kid::Content { page, number } => Object::Dictionary(dictionary! {
                        "Type" => "MCR",
                        "Pg" => Object::Reference(self.page(page)?),
                        "MCID" => number,
                    }),
                    Kid::Annotation { page, id } => Object::Dictionary(dictionary! {
                        "Type" => "OBJR",
                        "Pg" => Object::Reference(self.page(page)?),
                        "Obj" => Object::Reference(id),
                    }),
                });
            }
            if entries.len() == 1 {
                if let Some(only) = entries.pop() {
                    element.set("K", only);
                }
            } else if !entries.is_empty() {
                element.set("K", entries);
            }
            self.describe(&mut element, role, node.title.as_deref());
            self.file.set_object(id, element);
        }

        for span in &spans {
            let (Some(id), Some(above)) = (id_of(span.tag), id_of(span.parent)) else { continue };
            let element = dictionary! {
                "Type" => "StructElem",
                "S" => "Span",
                "P" => Object::Reference(above),
                "Pg" => Object::Reference(self.page(span.page)?),
                "K" => span.number,
            };
            self.file.set_object(id, element);
        }

        let parent_tree = self.file.add_object(dictionary! { "Nums" => numbers });
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

    fn describe(&self, element: &mut Dictionary, role: &Role, title: Option<&str>) {
        match role {
            Role::Figure { alternative, bounds } | Role::Formula { alternative, bounds, .. } => {
                element.set("Alt", words(alternative));
                let mut layout = dictionary! { "O" => "Layout", "Placement" => "Block" };
                if let Some((_, bounds)) = bounds {
                    layout.set("BBox", self.rectangle(bounds));
                }
                element.set("A", layout);
            }
            Role::List { numbered } => {
                let numbering = if *numbered { "Decimal" } else { "None" };
                element.set("A", dictionary! { "O" => "List", "ListNumbering" => numbering });
            }
            Role::HeadCell(scope) => {
                let scope = match scope {
                    Scope::Column => "Column",
                    Scope::Row => "Row",
                };
                element.set("A", dictionary! { "O" => "Table", "Scope" => scope });
            }
            Role::Table => {
                if let Some(summary) = title.filter(|summary| !summary.is_empty()) {
                    element.set("A", dictionary! { "O" => "Table", "Summary" => words(summary) });
                }
            }
            _ => {
                if let Some(title) = title.filter(|title| !title.is_empty()) {
                    element.set("T", words(title));
                }
            }
        }
    }

    fn rectangle(&self, bounds: &Bounds) -> Vec<Object> {
        let height = self.list.page_height;
        vec![real(bounds.x), real(height - bounds.bottom()), real(bounds.right()), real(height - bounds.y)]
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
        let top = (self.list.page_height - y + 12.0).min(self.list.page_height);
        Ok(vec![Object::Reference(self.page(page)?), name("XYZ"), Object::Null, real(top), Object::Null])
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
