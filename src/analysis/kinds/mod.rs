//! What each kind of segment is asked: its figures, one file a kind, each with its `SPEC`; and the
//! kinds that have some, one line each.

pub mod cadence;
pub mod coast;
pub mod gear_change;
pub mod heat_soak;
pub mod ramp;
pub mod result;
pub mod slope;
pub mod spec;
pub mod sprint;
pub mod sprint_fit;
pub mod sprint_limits;
pub mod steady;
pub mod step;
#[cfg(test)]
mod tests;

use serde::Serialize;

use self::spec::{Inputs, Line};
use crate::analysis::figure::Figure;
use crate::session::Kind;

/// What is to be known of the figures of one kind.
#[derive(Clone, Copy, Debug)]
pub struct OfKind {
    /// The kind.
    pub kind: Kind,
    /// Where they stand in the JSON.
    pub root: &'static str,
    /// What the names of their columns begin with.
    pub csv: &'static str,
    /// Their heading.
    pub title: &'static str,
    /// What each means.
    pub figures: &'static [Figure],
    /// What the panel shows of them.
    pub panel: &'static [Line],
}

impl OfKind {
    /// Name of their field.
    pub fn field(&self) -> &'static str {
        self.root.rsplit('.').next().unwrap_or(self.root)
    }
}

macro_rules! kinds {
    ($($kind:ident: $field:ident::$figures:ident;)+) => {
        /// The figures that only one kind of segment has, for the first source under test: those of
        /// the segment's own kind, the others `None`.
        #[derive(Clone, Debug, Default, PartialEq, Serialize)]
        pub struct ByKind {
            $(#[doc = concat!("Of a ", stringify!($field), " segment.")] pub $field: Option<$field::$figures>),+
        }

        /// Every kind that has some, in the order of the JSON.
        pub const ALL: &[OfKind] = &[$(OfKind {
            kind: Kind::$kind,
            root: concat!("segments.", stringify!($field)),
            csv: concat!(stringify!($field), "_"),
            title: $field::SPEC.title,
            figures: $field::SPEC.figures,
            panel: $field::SPEC.panel,
        }),+];

        impl ByKind {
            /// Those of `kind`.
            pub(in crate::analysis) fn of(kind: Kind, inputs: &Inputs<'_, '_>) -> Self {
                let mut out = Self::default();
                match kind {
                    $(Kind::$kind => out.$field = ($field::SPEC.compute)(inputs),)+
                    _ => {}
                }
                out
            }
        }
    };
}

kinds! {
    SteadyBlock: steady::Steady;
    Sprint: sprint::Sprint;
    Ramp: ramp::Ramp;
    GearChange: gear_change::GearChange;
    Coast: coast::Coast;
    HeatSoak: heat_soak::HeatSoak;
    Slope: slope::Slope;
}
