//! The real binary on a pseudo-terminal, and what its screen shows.

// Every test file compiles its own copy and uses a part of it.
#![allow(dead_code)]

use std::io::{Read as _, Write};
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};

/// Only there so that a hanging program fails the test instead of stopping it for ever.
const PATIENCE: Duration = Duration::from_secs(60);

/// What came from the program.
struct Seen {
    parser: vt100::Parser,
    /// Every byte.
    bytes: Vec<u8>,
    /// The lines that the message row has shown, each once in a row.
    messages: Vec<String>,
}

impl Seen {
    fn take(&mut self, bytes: &[u8]) {
        self.bytes.extend_from_slice(bytes);
        self.parser.process(bytes);
        let screen = self.parser.screen();
        let (_, columns) = screen.size();
        // On a screen of 24 rows the message stands under the name and the answer.
        let message = screen.rows(0, columns.get()).nth(2);
        if let Some(message) = message.filter(|message| self.messages.last() != Some(message)) {
            self.messages.push(message);
        }
    }
}

/// A program on a terminal of its own.
pub struct Desk {
    seen: Arc<Mutex<Seen>>,
    reader: Option<std::thread::JoinHandle<()>>,
    pressed: usize,
    master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    child: Box<dyn Child + Send + Sync>,
}

impl Desk {
    /// Starts `truing` with `arguments` in `home`, where its data directory is as well.
    pub fn open(arguments: &[&str], home: &Path, columns: u16, rows: u16) -> Self {
        let program = Path::new(env!("CARGO_BIN_EXE_truing"));
        Self::start(program, arguments, &[], home, (columns, rows))
    }

    /// Starts `program` with `arguments` and more environment variables.
    pub fn start(
        program: &Path,
        arguments: &[&str],
        variables: &[(&str, &str)],
        home: &Path,
        (columns, rows): (u16, u16),
    ) -> Self {
        let size = PtySize {
            rows,
            cols: columns,
            pixel_width: 0,
            pixel_height: 0,
        };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut command = CommandBuilder::new(program);
        command.args(arguments);
        command.cwd(home);
        command.env_clear();
        let usual = [("TERM", "xterm-256color"), ("LANG", "C.UTF-8")];
        for (name, value) in usual.iter().chain(variables) {
            command.env(name, value);
        }
        command.env("HOME", home);
        let child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let seen = Arc::new(Mutex::new(Seen {
            parser: vt100::Parser::new(cells(rows), cells(columns), 0),
            bytes: Vec::new(),
            messages: Vec::new(),
        }));
        let mut output = pair.master.try_clone_reader().unwrap();
        let sees = Arc::clone(&seen);
        let reader = std::thread::spawn(move || {
            let mut bytes = [0; 8192];
            while let Ok(count @ 1..) = output.read(&mut bytes) {
                sees.lock().unwrap().take(&bytes[..count]);
            }
        });
        Self {
            seen,
            reader: Some(reader),
            pressed: 0,
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

    /// Types bytes as they are; `false` where nobody is there to read them.
    pub fn try_send(&mut self, bytes: &str) -> bool {
        let sent = self.writer.write_all(bytes.as_bytes());
        sent.and_then(|()| self.writer.flush()).is_ok()
    }

    /// Presses one key: the bytes that a terminal sends for it. Counted.
    pub fn press(&mut self, key: &str) {
        self.pressed += 1;
        self.send(key);
    }

    /// How many keys were pressed.
    pub fn pressed(&self) -> usize {
        self.pressed
    }

    /// The screen's text.
    pub fn screen(&self) -> String {
        self.seen.lock().unwrap().parser.screen().contents()
    }

    /// Every byte that came from the program.
    pub fn bytes(&self) -> Vec<u8> {
        self.seen.lock().unwrap().bytes.clone()
    }

    /// Sends the process a signal, by its name without SIG.
    pub fn signal(&self, name: &str) {
        let sent = std::process::Command::new("kill")
            .args([&format!("-{name}"), &self.id().to_string()])
            .status()
            .unwrap();
        assert!(sent.success());
    }

    /// Whether the terminal is as it was before: first screen, mouse and paste switched off, cursor
    /// shown.
    pub fn is_given_back(&self) -> bool {
        let seen = self.seen.lock().unwrap();
        let screen = seen.parser.screen();
        !screen.alternate_screen()
            && !screen.bracketed_paste()
            && !screen.hide_cursor()
            && screen.mouse_protocol_mode() == vt100::MouseProtocolMode::None
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
        self.seen
            .lock()
            .unwrap()
            .parser
            .screen_mut()
            .set_size(cells(rows), cells(columns));
        self.master.resize(size).unwrap();
    }

    /// The process's id.
    pub fn id(&self) -> u32 {
        self.child.process_id().unwrap()
    }

    /// Kills the process outright; the messages that its screen has shown.
    pub fn kill(mut self) -> Vec<String> {
        self.signal("KILL");
        self.child.wait().unwrap();
        // All that it wrote before is read to the end.
        self.reader.take().unwrap().join().unwrap();
        self.seen.lock().unwrap().messages.clone()
    }

    /// Waits until the process ends; its exit code, and whether the terminal is as it was.
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
        // What it wrote last may still be on its way through the reader.
        let restored = loop {
            let restored = self.is_given_back();
            if restored || begun.elapsed() > PATIENCE {
                break restored;
            }
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
