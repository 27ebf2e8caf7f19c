//! A PostgreSQL of a test's own, which it may stop and start: on a free loopback port, in a folder that goes with it.

use std::path::PathBuf;
use std::process::Command;

/// A server that runs until it is dropped.
pub struct Server {
    programs: PathBuf,
    folder: PathBuf,
    port: u16,
}

/// Where Debian keeps the programs of the newest PostgreSQL.
fn programs() -> Option<PathBuf> {
    let mut found: Vec<PathBuf> = std::fs::read_dir("/usr/lib/postgresql")
        .ok()?
        .filter_map(|version| Some(version.ok()?.path().join("bin")))
        .filter(|bin| bin.join("pg_ctl").exists())
        .collect();
    found.sort();
    found.pop()
}

impl Server {
    /// Makes and starts one; none if none is installed.
    pub fn start() -> Option<Self> {
        let programs = programs()?;
        let folder = std::env::temp_dir().join(format!("halfdrop-postgres-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let asked = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let port = asked.local_addr().unwrap().port();
        drop(asked);
        let server = Self {
            programs,
            folder,
            port,
        };
        if root() {
            let owned = Command::new("chown")
                .arg("postgres")
                .arg(&server.folder)
                .status();
            assert!(owned.unwrap().success());
        }
        server.run(
            "initdb",
            &["-A", "trust", "-U", "postgres", "-E", "UTF8", "--locale=C"],
        );
        server.again();
        Some(server)
    }

    /// Its address.
    pub fn url(&self) -> String {
        format!("postgres://postgres@127.0.0.1:{}/postgres", self.port)
    }

    /// Starts it again.
    pub fn again(&self) {
        let options = format!(
            "-p {} -c listen_addresses=127.0.0.1 -c unix_socket_directories={}",
            self.port,
            self.folder.display()
        );
        let log = self.folder.join("log");
        let log = log.to_str().unwrap();
        self.run("pg_ctl", &["-w", "-l", log, "-o", &options, "start"]);
    }

    /// Stops it: "fast" ends transactions, "immediate" ends it as a crash does.
    pub fn stop(&self, how: &str) {
        self.run("pg_ctl", &["-w", "-m", how, "stop"]);
    }

    fn run(&self, program: &str, arguments: &[&str]) {
        let program = self.programs.join(program);
        // The server refuses to run as root.
        let mut command = if root() {
            let mut other = Command::new("runuser");
            other.args(["-u", "postgres", "--"]).arg(program);
            other
        } else {
            Command::new(program)
        };
        let status = command
            .arg("-D")
            .arg(self.folder.join("data"))
            .args(arguments)
            .current_dir(&self.folder)
            .stdout(std::process::Stdio::null())
            .status()
            .unwrap();
        assert!(status.success(), "{arguments:?}: {status}");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = Command::new(if root() { "runuser" } else { "env" })
            .args(if root() {
                &["-u", "postgres", "--"][..]
            } else {
                &[]
            })
            .arg(self.programs.join("pg_ctl"))
            .arg("-D")
            .arg(self.folder.join("data"))
            .args(["-m", "immediate", "stop"])
            .current_dir(&self.folder)
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .status();
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

fn root() -> bool {
    let id = Command::new("id").arg("-u").output().unwrap().stdout;
    String::from_utf8(id).unwrap().trim() == "0"
}
