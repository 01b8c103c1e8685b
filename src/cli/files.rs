//! Files: the supplies of a site's folder, and writing a file whole or not at all.

use std::borrow::Cow;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::{art, photo};
use crate::document::Templates;
use crate::page::{Art, Face, Photo};
use crate::supplies::{Fault, Shipped, Supplies};

/// What comes with the program, and the pictures beside the site file.
#[derive(Debug)]
pub(super) struct Folder {
    folder: PathBuf,
}

impl Folder {
    /// Supplies of the folder a site file stands in.
    pub fn new(folder: PathBuf) -> Self {
        Self { folder }
    }
}

impl Templates for Folder {
    fn template(&self, name: &str) -> Option<&str> {
        // Shipped is a value without fields; its templates are static.
        static SHIPPED: Shipped = Shipped;
        SHIPPED.template(name)
    }
}

impl Supplies for Folder {
    fn face(&self, face: Face) -> Cow<'static, [u8]> {
        Shipped.face(face)
    }

    fn art(&self, path: &str) -> Option<Result<Art, Fault>> {
        Some(self.picture(path)?.and_then(|bytes| art::read(&bytes)))
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
            let (size, most) = (size / 1_000_000, photo::MOST_BYTES / 1_000_000);
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
    file.as_file().sync_all()?;
    file.persist(path).map_err(|e| e.error)?;
    Ok(())
}
