//! Embeds the example sheets of the methods and standardizations, so that adding one is adding one file.

use std::fmt::Write as _;
use std::path::PathBuf;
use std::{env, fs};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = PathBuf::from(env::var("CARGO_MANIFEST_DIR")?).join("../../examples");
    for part in ["methods", "standardizations"] {
        let folder = root.join(part);
        println!("cargo::rerun-if-changed={}", folder.display());
        let mut files: Vec<PathBuf> = fs::read_dir(&folder)?
            .filter_map(|entry| entry.ok().map(|e| e.path()))
            .filter(|path| path.extension().is_some_and(|e| e == "toml"))
            .collect();
        files.sort();
        let mut code = String::from("[\n");
        for file in files {
            let name = file.file_stem().unwrap_or_default().to_string_lossy();
            let path = file.canonicalize()?.display().to_string();
            writeln!(code, "    ({name:?}, include_str!({path:?})),")?;
        }
        code.push(']');
        fs::write(
            PathBuf::from(env::var("OUT_DIR")?).join(format!("{part}.rs")),
            code,
        )?;
    }
    Ok(())
}
