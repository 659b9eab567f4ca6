//! `truing PATHS`: the workbench.

use std::path::PathBuf;

use super::{Exit, Failure};
use crate::workbench::theme::{Depth, Ground, Look};

/// How the workbench looks.
#[derive(Debug, clap::Args)]
pub struct Appearance {
    /// The workbench on a light background.
    #[arg(long)]
    light: bool,
    /// The workbench without colours and with ASCII characters only.
    #[arg(long)]
    plain: bool,
    /// Colours of the workbench [default: what the environment says; NO_COLOR is heeded].
    #[arg(long, value_name = "HOW MANY", value_enum)]
    colours: Option<Colours>,
}

/// How many colours.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Colours {
    None,
    #[value(name = "16")]
    Sixteen,
    #[value(name = "256")]
    TwoHundredFiftySix,
    All,
}

impl Appearance {
    fn look(&self) -> Look {
        let mut look = Look::from_environment(|name| std::env::var(name).ok());
        if self.light {
            look.ground = Ground::Light;
        }
        match self.colours {
            Some(Colours::None) => look.depth = Depth::None,
            Some(Colours::Sixteen) => look.depth = Depth::Sixteen,
            Some(Colours::TwoHundredFiftySix) => look.depth = Depth::TwoHundredFiftySix,
            Some(Colours::All) => look.depth = Depth::True,
            None => {}
        }
        if self.plain {
            look.depth = Depth::None;
            look.ascii = true;
        }
        look
    }
}

/// Opens the workbench over a session folder or recordings.
///
/// # Errors
/// [`Failure`] where they cannot be used, or where there is no terminal.
pub fn run(appearance: &Appearance, paths: &[PathBuf]) -> Result<Exit, Failure> {
    crate::workbench::open::open(paths, appearance.look()).map_err(Failure::CouldNot)?;
    Ok(Exit::Done)
}
