//! Writing files for people: never over another without being told to, and never half.

use std::io::Write;
use std::path::{Path, PathBuf};

/// What is to be written, and what may be overwritten for it.
#[derive(Clone, Debug, Default)]
pub struct Files {
    /// Whether any file may be overwritten (`--force`).
    pub force: bool,
    /// A folder that the user named for output (`--out`): it is made if need be, and files below it may be overwritten.
    pub out: Option<PathBuf>,
}

/// One file: its path and its whole content.
#[derive(Clone, Debug)]
pub struct File {
    /// Where.
    pub path: PathBuf,
    /// What.
    pub content: Vec<u8>,
}

impl Files {
    /// What stands against writing these paths, one sentence each with how to mend it; empty if nothing does. Ask *before* long
    /// work, so that its result is not thrown away.
    #[must_use]
    pub fn against(&self, paths: &[&Path]) -> Vec<String> {
        let mut all = Vec::new();
        for (i, path) in paths.iter().enumerate() {
            let name = path.display();
            if paths[..i].contains(path) {
                all.push(format!("{name} is asked for twice: give each file a name of its own"));
            } else if path.is_dir() {
                all.push(format!("{name} is a folder: give the name of a file"));
            } else if path.exists() && !self.may_overwrite(path) {
                all.push(format!("{name} is there already: give another name, or --force to write over it"));
            } else if !self.below_out(path) && !folder_of(path).is_dir() {
                all.push(format!("the folder of {name} is not there: make it first, or give another name"));
            }
        }
        all
    }

    fn below_out(&self, path: &Path) -> bool {
        // "out/../x" lies below nothing that the user meant.
        let climbs = |rest: &Path| rest.components().any(|c| c == std::path::Component::ParentDir);
        self.out.as_ref().is_some_and(|out| path.strip_prefix(out).is_ok_and(|rest| !climbs(rest)))
    }

    fn may_overwrite(&self, path: &Path) -> bool {
        self.force || self.below_out(path)
    }

    /// Writes all files, or none: each goes whole into a temporary file beside its place first, and is renamed only when all are
    /// there.
    ///
    /// # Errors
    /// One sentence for people: what could not be written, and why.
    pub fn write(&self, files: &[File]) -> Result<(), String> {
        let paths: Vec<&Path> = files.iter().map(|f| f.path.as_path()).collect();
        let against = self.against(&paths);
        if !against.is_empty() {
            return Err(against.join("\n"));
        }
        let mut ready = Vec::with_capacity(files.len());
        for file in files {
            let tell = |e: std::io::Error| format!("cannot write {}: {e}", file.path.display());
            let folder = folder_of(&file.path);
            if self.below_out(&file.path) {
                std::fs::create_dir_all(folder).map_err(tell)?;
            }
            let mut temporary = tempfile::Builder::new().prefix(".capcycle-").tempfile_in(folder).map_err(tell)?;
            temporary.write_all(&file.content).and_then(|()| temporary.flush()).map_err(tell)?;
            ready.push((temporary, file));
        }
        for (temporary, file) in ready {
            // Someone may have made the file in between: without leave it is still not written over.
            let done = if self.may_overwrite(&file.path) {
                temporary.persist(&file.path)
            } else {
                temporary.persist_noclobber(&file.path)
            };
            let kept = done.map_err(|e| format!("cannot write {}: {}", file.path.display(), e.error))?;
            readable(&kept);
        }
        Ok(())
    }
}

/// Temporary files are for their owner alone; results are for everyone, as any file a program writes.
#[cfg(unix)]
fn readable(file: &std::fs::File) {
    use std::os::unix::fs::PermissionsExt;
    let _ = file.set_permissions(std::fs::Permissions::from_mode(0o644));
}

#[cfg(not(unix))]
fn readable(_: &std::fs::File) {}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    }
}
