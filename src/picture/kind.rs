//! Every picture by its word.

use super::parts::Picture;
use super::subject::Subject;
use super::{
    agreement, coast, coverage, difference, error_curve, forest, gears, gradient, mean_max, proof,
    references, response, soak, traces, weights,
};

use crate::analysis::questions::{Findings, Question};
use crate::analysis::table::table_with;
use crate::suggest::answered;

/// The kinds of picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PictureKind {
    /// Power of every stream.
    Traces,
    /// Under test − reference against time, with the claim as a ground.
    Difference,
    /// Difference against mean, with the limits of agreement.
    Agreement,
    /// The response of the source under test, with the fitted model.
    Response,
    /// Bias in each gear, with the changes.
    Gears,
    /// What is reported while nobody pedals.
    Coast,
    /// Bias against time, with the drift.
    HeatSoak,
    /// Bias against temperature.
    Temperature,
    /// Force against the force that the gradient asks for.
    Gradient,
    /// Both along the ride.
    Slope,
    /// Which combinations were ridden, and the bias in each.
    Coverage,
    /// Highest mean power over every duration.
    MeanMax,
    /// The judged streams against each other.
    References,
    /// Error against power over all blocks of held power.
    ErrorCurve,
    /// What proves an answer: its pieces against the limit, else its place in the ride.
    Proof,
    /// Every answer against its limit.
    Answers,
    /// Readings with known masses: what the line leaves, up and down.
    Weights,
}

impl PictureKind {
    /// Every kind.
    pub const ALL: [PictureKind; 17] = [
        PictureKind::Traces,
        PictureKind::Difference,
        PictureKind::Agreement,
        PictureKind::Response,
        PictureKind::Gears,
        PictureKind::Coast,
        PictureKind::HeatSoak,
        PictureKind::Temperature,
        PictureKind::Gradient,
        PictureKind::Slope,
        PictureKind::Coverage,
        PictureKind::MeanMax,
        PictureKind::References,
        PictureKind::ErrorCurve,
        PictureKind::Proof,
        PictureKind::Answers,
        PictureKind::Weights,
    ];

    /// The word on the command line.
    pub const fn word(self) -> &'static str {
        match self {
            PictureKind::Traces => "traces",
            PictureKind::Difference => "difference",
            PictureKind::Agreement => "agreement",
            PictureKind::Response => "response",
            PictureKind::Gears => "gears",
            PictureKind::Coast => "coast",
            PictureKind::HeatSoak => "heat-soak",
            PictureKind::Temperature => "temperature",
            PictureKind::Gradient => "gradient",
            PictureKind::Slope => "slope",
            PictureKind::Coverage => "coverage",
            PictureKind::MeanMax => "mean-max",
            PictureKind::References => "references",
            PictureKind::ErrorCurve => "error-curve",
            PictureKind::Proof => "proof",
            PictureKind::Answers => "answers",
            PictureKind::Weights => "weights",
        }
    }

    /// The kind with this word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// The picture of this kind.
///
/// # Errors
/// Why there is nothing to draw, in a sentence without its dot.
pub fn picture(kind: PictureKind, subject: &Subject<'_>) -> Result<Picture, String> {
    match kind {
        PictureKind::Traces => traces::of(subject),
        PictureKind::Difference => difference::of(subject),
        PictureKind::Agreement => agreement::of(subject),
        PictureKind::Response => response::of(subject),
        PictureKind::Gears => gears::of(subject),
        PictureKind::Coast => coast::of(subject),
        PictureKind::HeatSoak => soak::of(subject),
        PictureKind::Temperature => soak::against_temperature(subject),
        PictureKind::Gradient => gradient::of(subject),
        PictureKind::Slope => gradient::along_ride(subject),
        PictureKind::Coverage => coverage::of(subject),
        PictureKind::MeanMax => mean_max::of(subject),
        PictureKind::References => references::of(subject),
        PictureKind::ErrorCurve => error_curve::of(subject),
        PictureKind::Weights => weights::of(subject),
        PictureKind::Proof => {
            let found = answers_of(subject);
            let mut answers = found.answers.iter();
            let question = subject.question.unwrap_or(Question::Accuracy);
            let answer = answers.find(|a| a.question == question);
            proof::of(subject, answer.ok_or("no stream under test carries power")?)
        }
        PictureKind::Answers => forest::answers(&answers_of(subject)),
    }
}

fn answers_of(subject: &Subject<'_>) -> Findings {
    let (session, aligned, found) = (subject.session, subject.aligned, subject.findings);
    let table = table_with(session, aligned, found);
    answered(session, aligned, found, &table)
}
