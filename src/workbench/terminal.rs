//! Taking the terminal, and giving it back as it was however we leave.

use std::io::{self, IsTerminal as _, Stdout, Write as _, stdout};
use std::sync::Arc;
use std::sync::Once;
use std::sync::atomic::{AtomicBool, Ordering};

use crossterm::cursor::{Hide, Show};
use crossterm::event::{
    DisableBracketedPaste, DisableMouseCapture, EnableBracketedPaste, EnableMouseCapture,
};
use crossterm::execute;
use crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;

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
pub struct Screen {
    terminal: Terminal<CrosstermBackend<Stdout>>,
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
            terminal: Terminal::new(CrosstermBackend::new(stdout()))?,
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
        self.terminal.clear()
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
        let size = self.terminal.size()?;
        Ok((size.width, size.height))
    }

    /// Draws a frame.
    ///
    /// # Errors
    /// The system's.
    pub fn draw(&mut self, draw: impl FnOnce(&mut ratatui::Frame<'_>)) -> io::Result<()> {
        self.terminal.draw(draw).map(|_| ())
    }

    /// Makes the next frame draw every cell.
    ///
    /// # Errors
    /// The system's.
    pub fn forget(&mut self) -> io::Result<()> {
        self.terminal.clear()
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
    /// Listens for the signals that end or stop a program.
    ///
    /// # Errors
    /// The system's.
    pub fn listen() -> io::Result<Self> {
        let signals = Self::default();
        #[cfg(unix)]
        {
            use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM, SIGTSTP};
            for signal in [SIGTERM, SIGHUP, SIGINT] {
                signal_hook::flag::register(signal, Arc::clone(&signals.ends))?;
            }
            signal_hook::flag::register(SIGTSTP, Arc::clone(&signals.stops))?;
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
