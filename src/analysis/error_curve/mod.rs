//! The error of a source against power over all blocks of held power: one decision on its claim, and
//! whether the error changes with power.
//!
//! Asked about is the error at every power ridden. A pooled mean would pass a source that is off at
//! one power, and what the references share does not average down however many blocks there are. So
//! a source conforms where each block does, or where the limits of a smooth curve through them and of
//! every block's own error lie within the claim; each block then has to bring evidence of its own, the
//! more so the further it departs from its neighbours. It does not conform where a block, or the mean
//! of all, lies beyond the claim by a critical value for all of them together (`accuracy`).

mod accuracy;
mod block;
mod figures;
mod fit;
mod inputs;
mod level;
mod words;

#[cfg(test)]
mod tests;

use super::verdict::overall::judged;
use crate::analysis::figures::SegmentFigures;
use crate::session::{Role, Session};

pub use accuracy::{Accuracy, Missing, Open, Rule};
pub use block::{Block, CurvePoint, Finding, LeftOut};
pub use figures::{ErrorCurve, FIGURES};
pub use inputs::{Held, Inputs, STANDS_ALONE_AT, SharedError, called_by};
pub use level::{Basis, Level};
pub use words::Statement;

/// One entry a source under test, in session order.
pub fn error_curves(session: &Session, segments: &[SegmentFigures]) -> Vec<ErrorCurve> {
    session
        .with_role(Role::UnderTest)
        .filter_map(|index| {
            let label = &session.streams.get(index)?.label;
            let inputs = Inputs::of(session, index, judged(label, segments));
            Some(error_curve(label, &inputs))
        })
        .collect()
}

/// What the blocks say together.
pub fn error_curve(under_test: &str, inputs: &Inputs) -> ErrorCurve {
    let (blocks, curve) = drawn(inputs);
    let mut accuracy = accuracy::decide(inputs, &blocks, &curve);
    if inputs.loss.is_open() {
        let agreed = inputs.loss.agreed(|loss_percent| {
            let carried = inputs.carried(loss_percent);
            let (blocks, curve) = drawn(&carried);
            accuracy::decide(&carried, &blocks, &curve).outcome
        });
        if agreed.is_none() {
            accuracy = accuracy.turned_over();
        }
    }
    let mut found = ErrorCurve {
        under_test: under_test.to_owned(),
        accuracy,
        level: level::level(inputs),
        left_out: inputs.left_out.clone(),
        blocks,
        curve,
        accuracy_sentence: String::new(),
        level_sentence: String::new(),
    };
    found.accuracy_sentence = found.statement("").to_string();
    found.level_sentence = found.level.to_string();
    found
}

/// The blocks and the curve through them.
fn drawn(inputs: &Inputs) -> (Vec<Block>, Vec<CurvePoint>) {
    let fitted = fit::Fit::of(inputs);
    let blocks = fit::blocks(inputs, fitted.as_ref());
    (blocks, fitted.map_or_else(Vec::new, |fit| fit.curve))
}
