//! Files: the supplies of a site's folder, and writing a file whole or not at all.

use std::borrow::Cow;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::art;
use crate::document::Templates;
use crate::page::{Art, Face};
use crate::supplies::{Shipped, Supplies};

/// What comes with the program, and the art beside the site file.
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

    fn art(&self, path: &str) -> Option<Result<Art, String>> {
        let bytes = std::fs::read(self.folder.join(path)).ok()?;
        Some(art::read(&bytes))
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
