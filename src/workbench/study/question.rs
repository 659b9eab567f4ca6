//! What is wanted of the thread aside: what the ride shows, or a view's answer, with all that it
//! depends on.

use std::sync::Arc;

use super::super::state::parts::View;
use crate::analysis::ride::RideFindings;
use crate::recording::Channel;
use crate::session::{OpenedSession, Session};
use crate::timeline::{Aligned, Member, Span};

/// What a view is about; it is asked anew when this changes, or the session, or a clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct About {
    /// The view.
    pub view: View,
    /// The stretch of time.
    pub span: Span,
    /// The segment it is, where it is one.
    pub segment: Option<usize>,
    /// The source under test.
    pub under_test: Option<usize>,
    /// What it is compared with.
    pub basis: Option<Member>,
    /// The selected stream and the one whose clock is compared.
    pub pair: Option<(usize, usize)>,
    /// The channel that matters.
    pub channel: Option<Channel>,
    /// The test plan chosen, by its place in the list.
    pub plan: Option<usize>,
}

/// A question of a view, with all that its answer depends on.
#[derive(Clone, Debug)]
pub struct Question {
    /// What about.
    pub about: About,
    /// The ride on one time line.
    pub aligned: Arc<Aligned>,
    /// The session with its recordings (shared, so cheap to hold).
    pub opened: OpenedSession,
    /// What the whole ride shows.
    pub found: Arc<RideFindings>,
}

impl PartialEq for Question {
    fn eq(&self, other: &Self) -> bool {
        let session = &other.opened.session;
        self.asks(other.about, &other.aligned, &other.found, session)
    }
}

impl Question {
    /// Whether it would be asked in the same way of these.
    pub fn asks(
        &self,
        about: About,
        aligned: &Arc<Aligned>,
        found: &Arc<RideFindings>,
        session: &Session,
    ) -> bool {
        self.about == about
            && Arc::ptr_eq(&self.aligned, aligned)
            && Arc::ptr_eq(&self.found, found)
            && self.opened.session == *session
    }
}

/// What is to be computed aside.
#[derive(Clone, Debug)]
pub enum Wanted {
    /// What the whole ride on this time line shows.
    Findings(Arc<Aligned>),
    /// The answer to a question of a view.
    Answer(Box<Question>),
}

impl PartialEq for Wanted {
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (Wanted::Findings(a), Wanted::Findings(b)) => Arc::ptr_eq(a, b),
            (Wanted::Answer(a), Wanted::Answer(b)) => a == b,
            _ => false,
        }
    }
}

/// What the whole ride shows, with the time line that it was searched on.
#[derive(Clone, Debug)]
pub struct Found {
    /// The ride on one time line.
    pub aligned: Arc<Aligned>,
    /// What it shows.
    pub findings: Arc<RideFindings>,
}

impl PartialEq for Found {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.aligned, &other.aligned) && Arc::ptr_eq(&self.findings, &other.findings)
    }
}
