//! Files: the supplies of a site's folder, and writing a file whole or not at all.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::{art, photo};
use crate::diag::{Diagnostic, Diagnostics, Text, listed, nearest};
use crate::document::{PARTS, Templates, file_of};
use crate::page::{Art, Face, Photo};
use crate::site;
use crate::supplies::{Fault, Shipped, Supplies};

/// What comes with the program, the pictures beside the site file, and the firm's own templates.
#[derive(Debug)]
pub struct Folder {
    folder: PathBuf,
    own: BTreeMap<&'static str, Text>,
}

/// Why the templates of a folder could not be read.
#[derive(Debug)]
pub struct Unreadable {
    /// The file or folder.
    pub path: PathBuf,
    /// What the system says.
    pub error: std::io::Error,
}

impl Folder {
    /// Supplies of the folder a site file stands in, with the templates that come with the program.
    #[must_use]
    pub fn new(folder: PathBuf) -> Self {
        Self { folder, own: BTreeMap::new() }
    }

    /// Puts the templates of a folder in the place of those that come with the program, each that is there.
    ///
    /// # Errors
    /// When the folder or a template in it cannot be read.
    pub(super) fn read_templates(&mut self, folder: &Path) -> Result<Diagnostics, Unreadable> {
        let unreadable = |path: &Path| {
            let path = path.to_path_buf();
            |error| Unreadable { path, error }
        };
        let mut complaints = Diagnostics::new();
        let mut names: Vec<String> = Vec::new();
        for entry in std::fs::read_dir(folder).map_err(unreadable(folder))? {
            names.push(entry.map_err(unreadable(folder))?.file_name().to_string_lossy().into_owned());
        }
        names.sort();
        for name in names.iter().filter(|name| !name.starts_with('.')) {
            let path = folder.join(name);
            let Some(part) = PARTS.iter().find(|part| format!("{part}.md") == *name) else {
                complaints.push(unknown_file(&path, name, &names));
                continue;
            };
            let bytes = std::fs::read(&path).map_err(unreadable(&path))?;
            let (mut text, found) = site::decode(&path.display().to_string(), &bytes, file_of(part));
            complaints.append(found);
            // Line ends are an editor's habit and no words.
            text.words = text.words.replace("\r\n", "\n");
            self.own.insert(part, text);
        }
        Ok(complaints)
    }
}

fn unknown_file(path: &Path, name: &str, names: &[String]) -> Diagnostic {
    let known: Vec<String> = PARTS.iter().map(|part| format!("{part}.md")).collect();
    let free = known.iter().map(String::as_str).filter(|known| !names.iter().any(|name| name == known));
    let hint = match nearest(name, free) {
        Some(near) => format!("call it `{near}` if that is meant"),
        None => format!("templates are called {}", listed(known.iter().map(String::as_str))),
    };
    Diagnostic::warning("unknown-template-file", None, format!("`{}` is not read", path.display()))
        .why("no template of the plan has this name")
        .hint(hint)
}

impl Templates for Folder {
    fn template(&self, name: &str) -> Option<&str> {
        // Shipped is a value without fields; its templates are static.
        static SHIPPED: Shipped = Shipped;
        self.own.get(name).map(|text| text.words.as_str()).or_else(|| SHIPPED.template(name))
    }

    fn own(&self, name: &str) -> bool {
        self.own.contains_key(name)
    }

    fn label(&self, name: &str) -> String {
        self.own.get(name).map_or_else(|| format!("{name}.md, as it comes with the program"), |text| text.name.clone())
    }
}

impl Supplies for Folder {
    fn face(&self, face: Face) -> Cow<'static, [u8]> {
        Shipped.face(face)
    }

    fn art(&self, path: &str) -> Option<Result<Art, Fault>> {
        Some(self.picture(path)?.and_then(|bytes| art::read(&bytes)))
    }

    fn art_file(&self, path: &str) -> Option<Vec<u8>> {
        self.picture(path)?.ok()
    }

    fn photo(&self, path: &str) -> Option<Result<Photo, Fault>> {
        Some(self.picture(path)?.and_then(|bytes| photo::read(&bytes)))
    }
}

impl Folder {
    /// The bytes of a picture, unless it is too large to open.
    fn picture(&self, path: &str) -> Option<Result<Vec<u8>, Fault>> {
        let path = self.folder.join(path);
        let size = match std::fs::metadata(&path) {
            Ok(found) if found.is_dir() => return Some(Err(Fault::new("it is a folder", "name the file in it"))),
            Ok(found) => found.len(),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return None,
            Err(error) => return Some(Err(Fault::new(error.to_string(), "see that the file can be opened"))),
        };
        if size > photo::MOST_BYTES {
            let (size, most) = (size.div_ceil(1_000_000), photo::MOST_BYTES / 1_000_000);
            let reason = format!("it is {size} MB large; {most} MB is the most");
            return Some(Err(Fault::new(
                reason,
                "save it smaller: 2,000 pixels in the longer side are plenty for a page",
            )));
        }
        let unreadable = |e: std::io::Error| Fault::new(e.to_string(), "see that the file can be opened");
        Some(std::fs::read(&path).map_err(unreadable))
    }
}

/// Writes a file whole: into a temporary one beside it, then renamed.
pub(super) fn write_whole(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    std::fs::create_dir_all(folder)?;
    let mut file = tempfile::Builder::new().prefix(".weirbook-").tempfile_in(folder)?;
    file.write_all(bytes)?;
    // A plan is for others to read; a temporary file is private until then.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        file.as_file().set_permissions(std::fs::Permissions::from_mode(0o644))?;
    }
    // Not pressed to the disk, which would take longer than to make the plan: it can be made again.
    file.persist(path).map_err(|e| e.error)?;
    Ok(())
}
