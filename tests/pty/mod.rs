//! The real binary on a pseudo-terminal, and what its screen shows.

use std::io::{Read as _, Write};
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};

/// Only there so that a hanging program fails the test instead of stopping it for ever.
const PATIENCE: Duration = Duration::from_secs(60);

/// A program on a terminal of its own.
pub struct Desk {
    parser: Arc<Mutex<vt100::Parser>>,
    master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    child: Box<dyn Child + Send + Sync>,
}

impl Desk {
    /// Starts `truing` with `arguments`; its data directory is inside `home`.
    pub fn open(arguments: &[&str], home: &Path, columns: u16, rows: u16) -> Self {
        let size = PtySize {
            rows,
            cols: columns,
            pixel_width: 0,
            pixel_height: 0,
        };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_truing"));
        command.args(arguments);
        command.env_clear();
        for (name, value) in [("TERM", "xterm-256color"), ("LANG", "C.UTF-8")] {
            command.env(name, value);
        }
        command.env("HOME", home);
        let child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let parser = Arc::new(Mutex::new(vt100::Parser::new(
            cells(rows),
            cells(columns),
            0,
        )));
        let mut reader = pair.master.try_clone_reader().unwrap();
        let screen = Arc::clone(&parser);
        std::thread::spawn(move || {
            let mut bytes = [0; 8192];
            while let Ok(count @ 1..) = reader.read(&mut bytes) {
                screen.lock().unwrap().process(&bytes[..count]);
            }
        });
        Self {
            parser,
            writer: pair.master.take_writer().unwrap(),
            master: pair.master,
            child,
        }
    }

    /// Types bytes as they are.
    pub fn send(&mut self, bytes: &str) {
        self.writer.write_all(bytes.as_bytes()).unwrap();
        self.writer.flush().unwrap();
    }

    /// The screen's text.
    pub fn screen(&self) -> String {
        self.parser.lock().unwrap().screen().contents()
    }

    /// Waits until the screen shows what `wanted` looks for.
    pub fn wait_until(&self, what: &str, wanted: impl Fn(&str) -> bool) -> String {
        let begun = Instant::now();
        loop {
            let screen = self.screen();
            if wanted(&screen) {
                return screen;
            }
            assert!(begun.elapsed() < PATIENCE, "never saw {what} on\n{screen}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits for a text on the screen.
    pub fn wait_for(&self, text: &str) -> String {
        self.wait_until(text, |screen| screen.contains(text))
    }

    /// Gives the terminal another size.
    pub fn resize(&self, columns: u16, rows: u16) {
        let size = PtySize {
            rows,
            cols: columns,
            pixel_width: 0,
            pixel_height: 0,
        };
        self.parser
            .lock()
            .unwrap()
            .screen_mut()
            .set_size(cells(rows), cells(columns));
        self.master.resize(size).unwrap();
    }

    /// The process's id.
    pub fn id(&self) -> u32 {
        self.child.process_id().unwrap()
    }

    /// Kills the process outright.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Waits until the process ends; its exit code, and whether the terminal is as it was: first
    /// screen, mouse and paste switched off, cursor shown.
    pub fn end(mut self) -> (u32, bool) {
        let begun = Instant::now();
        let status = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status;
            }
            assert!(
                begun.elapsed() < PATIENCE,
                "it does not end\n{}",
                self.screen()
            );
            std::thread::sleep(Duration::from_millis(20));
        };
        drop(self.writer);
        // What it wrote last may still be on its way through the reader.
        let restored = loop {
            let parser = self.parser.lock().unwrap();
            let screen = parser.screen();
            let restored = !screen.alternate_screen()
                && !screen.bracketed_paste()
                && !screen.hide_cursor()
                && screen.mouse_protocol_mode() == vt100::MouseProtocolMode::None;
            if restored || begun.elapsed() > PATIENCE {
                break restored;
            }
            drop(parser);
            std::thread::sleep(Duration::from_millis(20));
        };
        (status.exit_code(), restored)
    }
}

fn cells(count: u16) -> NonZero<u16> {
    NonZero::new(count).unwrap()
}

/// A copy of a sample session, to write in.
pub fn copy_of_sample(name: &str, into: &Path) -> PathBuf {
    let from = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-sessions")
        .join(name);
    let to = into.join(name);
    copy(&from, &to);
    to
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}
