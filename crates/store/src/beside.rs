//! Files that are made whole before they stand under the name that was asked for: beside it, under a name of their own.

use crate::error::StoreError;
use std::io;
use std::path::{Path, PathBuf};

/// A file or folder that is not finished; it goes when this is dropped before it was put in place.
pub(crate) struct Beside {
    path: PathBuf,
    is_folder: bool,
}

impl Beside {
    /// A new, empty file beside a place where there is nothing yet.
    ///
    /// # Errors
    /// [`StoreError::Exists`], or why nothing can be made there, in the name of the place.
    pub(crate) fn file(place: &Path) -> Result<Self, StoreError> {
        Self::made(place, false, |path| {
            std::fs::File::create_new(path).map(|_| ())
        })
    }

    /// The same for a folder.
    ///
    /// # Errors
    /// As [`Self::file`].
    pub(crate) fn folder(place: &Path) -> Result<Self, StoreError> {
        Self::made(place, true, |path| std::fs::create_dir(path))
    }

    fn made(
        place: &Path,
        is_folder: bool,
        make: impl Fn(&Path) -> io::Result<()>,
    ) -> Result<Self, StoreError> {
        free(place)?;
        folder_of(place)?;
        let mut number = 0;
        loop {
            let mut name = place.file_name().unwrap_or_default().to_owned();
            name.push(format!(".unfinished-{}-{number}", std::process::id()));
            let path = place.with_file_name(name);
            match make(&path) {
                Ok(()) => return Ok(Self { path, is_folder }),
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => number += 1,
                Err(error) => return Err(failed(place, &error)),
            }
        }
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// The path as text.
    ///
    /// # Errors
    /// [`StoreError::File`] if it is not UTF-8.
    pub(crate) fn text(&self) -> Result<&str, StoreError> {
        self.path.to_str().ok_or_else(|| StoreError::File {
            place: self.path.display().to_string(),
            reason: "the name is not UTF-8".into(),
        })
    }

    /// Makes it durable and puts it where it was asked for.
    ///
    /// # Errors
    /// [`StoreError::Exists`] if something came there meanwhile, or what the disk says.
    pub(crate) fn put(self, place: &Path) -> Result<(), StoreError> {
        let done = || {
            std::fs::File::open(&self.path)?.sync_all()?;
            Ok::<_, io::Error>(())
        };
        done().map_err(|error| failed(place, &error))?;
        free(place)?;
        std::fs::rename(&self.path, place).map_err(|error| failed(place, &error))
    }
}

impl Drop for Beside {
    fn drop(&mut self) {
        // Once it was put in place there is nothing under this name any more.
        match self.is_folder {
            true => drop(std::fs::remove_dir_all(&self.path)),
            false => clear(&self.path),
        }
    }
}

/// Removes a file with what SQLite keeps beside it.
pub(crate) fn clear(path: &Path) {
    for end in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(with_end(path, end));
    }
}

/// A path with something after its name.
pub(crate) fn with_end(path: &Path, end: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(end);
    name.into()
}

/// There is nothing at a place yet.
pub(crate) fn free(place: &Path) -> Result<(), StoreError> {
    match place.exists() {
        true => Err(StoreError::Exists(place.display().to_string())),
        false => Ok(()),
    }
}

/// The folder of a place is there.
pub(crate) fn folder_of(place: &Path) -> Result<(), StoreError> {
    let folder = place.parent().filter(|p| !p.as_os_str().is_empty());
    match folder {
        Some(folder) if !folder.is_dir() => Err(StoreError::File {
            place: place.display().to_string(),
            reason: format!("there is no folder {}; make it first", folder.display()),
        }),
        _ => Ok(()),
    }
}

/// An error of a file in the words of its place.
pub(crate) fn failed(place: &Path, error: &io::Error) -> StoreError {
    use io::ErrorKind as K;
    let reason = match error.kind() {
        K::NotFound => "there is no such file or folder".into(),
        K::PermissionDenied => {
            "it may not be read or written; check the permissions of the file and its folder".into()
        }
        K::ReadOnlyFilesystem => "the disk may not be written".into(),
        K::StorageFull => "the disk is full; free some space".into(),
        K::IsADirectory => "this is a folder, not a file".into(),
        K::NotADirectory => "what stands before the last / is a file, not a folder".into(),
        K::UnexpectedEof => "it ends too early".into(),
        _ => error.to_string(),
    };
    StoreError::File {
        place: place.display().to_string(),
        reason,
    }
}
