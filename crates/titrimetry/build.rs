//! Lists the method files, so that adding a method is adding one file.

use std::fmt::Write as _;
use std::path::PathBuf;
use std::{env, fs};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = PathBuf::from(env::var("CARGO_MANIFEST_DIR")?).join("../../reference/methods");
    println!("cargo::rerun-if-changed={}", folder.display());
    let mut files: Vec<PathBuf> = fs::read_dir(&folder)?
        .filter_map(|entry| entry.ok().map(|e| e.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    let mut code = String::from("[\n");
    for file in files {
        let name = file
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        let path = file.canonicalize()?;
        writeln!(
            code,
            "    ({name:?}, include_str!({:?})),",
            path.display().to_string()
        )?;
    }
    code.push(']');
    fs::write(PathBuf::from(env::var("OUT_DIR")?).join("methods.rs"), code)?;
    Ok(())
}
