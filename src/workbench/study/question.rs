//! What a view asks, with all that the answer depends on.

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
    pub found: RideFindings,
}

impl PartialEq for Question {
    fn eq(&self, other: &Self) -> bool {
        self.asks(other.about, &other.aligned, &other.opened.session)
    }
}

impl Question {
    /// Whether it would be asked in the same way of these.
    pub fn asks(&self, about: About, aligned: &Arc<Aligned>, session: &Session) -> bool {
        self.about == about
            && Arc::ptr_eq(&self.aligned, aligned)
            && self.opened.session == *session
    }
}
