//! Taking the terminal, and giving it back as it was however we leave.

use std::io::{self, IsTerminal as _, Stdout, Write as _, stdout};
use std::sync::Arc;
use std::sync::Once;
use std::sync::atomic::{AtomicBool, Ordering};
#[cfg(unix)]
use std::time::Duration;

use crossterm::cursor::{Hide, Show};
use crossterm::event::{
    DisableBracketedPaste, DisableMouseCapture, EnableBracketedPaste, EnableMouseCapture,
};
use crossterm::execute;
use crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use ratatui::backend::{Backend as _, ClearType, CrosstermBackend};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Why there is no screen.
#[derive(Debug, thiserror::Error)]
pub enum TerminalError {
    /// Not on a terminal.
    #[error(
        "the workbench needs a terminal for its input and output; without one, use the subcommands (`truing --help`)"
    )]
    NoTerminal,
    /// The system refused.
    #[error("the terminal cannot be used ({0})")]
    Io(#[from] io::Error),
}

/// The terminal while it is ours; dropped, it is as it was before.
///
/// It keeps what it drew last and writes only what differs. It asks the terminal nothing (a
/// terminal that does not answer would stop it).
pub struct Screen {
    backend: CrosstermBackend<Stdout>,
    drawn: Buffer,
    mouse: bool,
}

/// Whether everything that was switched on is still on.
static TAKEN: AtomicBool = AtomicBool::new(false);

impl Screen {
    /// Takes the terminal: raw mode, its second screen, mouse, bracketed paste, no cursor.
    ///
    /// # Errors
    /// [`TerminalError`]; the terminal is then as it was.
    pub fn take() -> Result<Self, TerminalError> {
        if !io::stdin().is_terminal() || !stdout().is_terminal() {
            return Err(TerminalError::NoTerminal);
        }
        restore_on_panic();
        let mut screen = Self {
            backend: CrosstermBackend::new(stdout()),
            drawn: Buffer::empty(Rect::ZERO),
            mouse: true,
        };
        screen.enter()?;
        Ok(screen)
    }

    fn enter(&mut self) -> io::Result<()> {
        TAKEN.store(true, Ordering::SeqCst);
        enable_raw_mode()?;
        execute!(stdout(), EnterAlternateScreen, EnableBracketedPaste, Hide)?;
        self.capture_mouse(self.mouse)?;
        self.forget();
        Ok(())
    }

    /// Takes the mouse, or gives it back to the terminal.
    ///
    /// # Errors
    /// The system's.
    pub fn capture_mouse(&mut self, capture: bool) -> io::Result<()> {
        self.mouse = capture;
        if capture {
            execute!(stdout(), EnableMouseCapture)
        } else {
            execute!(stdout(), DisableMouseCapture)
        }
    }

    /// Columns and rows.
    ///
    /// # Errors
    /// The system's.
    pub fn size(&self) -> io::Result<(u16, u16)> {
        crossterm::terminal::size()
    }

    /// Draws a frame of `columns` × `rows`.
    ///
    /// # Errors
    /// The system's.
    pub fn draw(
        &mut self,
        (columns, rows): (u16, u16),
        draw: impl FnOnce(Rect, &mut Buffer),
    ) -> io::Result<()> {
        let area = Rect::new(0, 0, columns, rows);
        let mut next = Buffer::empty(area);
        draw(area, &mut next);
        if self.drawn.area != area {
            self.backend.clear_region(ClearType::All)?;
            self.drawn = Buffer::empty(area);
        }
        self.backend.draw(self.drawn.diff(&next).into_iter())?;
        self.backend.hide_cursor()?;
        self.drawn = next;
        io::Write::flush(&mut self.backend)
    }

    /// Makes the next frame clear the screen and draw every cell.
    pub fn forget(&mut self) {
        self.drawn = Buffer::empty(Rect::ZERO);
    }

    /// Gives the terminal back, stops this process until the shell continues it, and takes the
    /// terminal again.
    ///
    /// # Errors
    /// The system's.
    pub fn suspend(&mut self) -> io::Result<()> {
        give_back();
        #[cfg(unix)]
        signal_hook::low_level::emulate_default_handler(signal_hook::consts::SIGTSTP)?;
        self.enter()
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        give_back();
    }
}

/// Switches off everything that was switched on; nothing is left to do where that fails.
fn give_back() {
    if !TAKEN.swap(false, Ordering::SeqCst) {
        return;
    }
    let _ = execute!(
        stdout(),
        DisableMouseCapture,
        DisableBracketedPaste,
        LeaveAlternateScreen,
        Show
    );
    let _ = disable_raw_mode();
    let _ = stdout().flush();
}

/// A panic's message must appear on the terminal as it was, not on the second screen.
fn restore_on_panic() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let earlier = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            give_back();
            earlier(info);
        }));
    });
}

/// Signals that came since they were last asked for.
#[derive(Clone, Debug, Default)]
pub struct Signals {
    ends: Arc<AtomicBool>,
    stops: Arc<AtomicBool>,
}

impl Signals {
    /// Listens for the signals that end or stop a program, and for the loss of the terminal.
    ///
    /// # Errors
    /// The system's.
    pub fn listen() -> io::Result<Self> {
        let signals = Self::default();
        #[cfg(unix)]
        {
            use signal_hook::consts::{SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGTSTP};
            for signal in [SIGTERM, SIGHUP, SIGINT, SIGQUIT] {
                signal_hook::flag::register(signal, Arc::clone(&signals.ends))?;
            }
            signal_hook::flag::register(SIGTSTP, Arc::clone(&signals.stops))?;
            let ends = Arc::clone(&signals.ends);
            std::thread::Builder::new()
                .name("watch".to_owned())
                .spawn(move || watch(&ends))?;
        }
        Ok(signals)
    }

    /// Whether one came that ends the program.
    pub fn ended(&self) -> bool {
        self.ends.load(Ordering::SeqCst)
    }

    /// Whether one came that stops it for a while; asked once.
    pub fn stopped(&self) -> bool {
        self.stops.swap(false, Ordering::SeqCst)
    }
}

/// How often the watch looks.
#[cfg(unix)]
const WATCHED_EVERY: Duration = Duration::from_millis(250);

/// How long the loop has to leave by itself once it is asked to.
#[cfg(unix)]
const TIME_TO_LEAVE: Duration = Duration::from_secs(2);

/// How long the escape sequences that give the terminal back may take: a terminal that takes none
/// would hold them for ever.
#[cfg(unix)]
const TIME_TO_GIVE_BACK: Duration = Duration::from_millis(200);

/// Ends the process where the loop cannot: writing to a terminal that nobody reads never returns.
/// Every edit is in the journal by then.
#[cfg(unix)]
fn watch(ends: &AtomicBool) {
    let terminal_is_there = || std::fs::File::open("/dev/tty").is_ok();
    let had_terminal = terminal_is_there();
    loop {
        std::thread::sleep(WATCHED_EVERY);
        if had_terminal && !terminal_is_there() {
            ends.store(true, Ordering::SeqCst);
        }
        if ends.load(Ordering::SeqCst) {
            std::thread::sleep(TIME_TO_LEAVE);
            let _ = disable_raw_mode();
            std::thread::spawn(give_back);
            std::thread::sleep(TIME_TO_GIVE_BACK);
            std::process::exit(1);
        }
    }
}
