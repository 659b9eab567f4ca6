//! A thread that searches the ride and answers the questions of the views, so that no key waits for
//! a fit.

use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use super::draw::views;
use super::study::{self, Computed, Wanted};
use super::update::Report;

/// Computes what is wanted; may take a second on a long ride.
pub fn compute(wanted: Wanted) -> Computed {
    study::compute(wanted, views::answer)
}

/// The thread, seen from the keyboard. It ends with its owner.
#[derive(Debug)]
pub struct Worker {
    orders: Sender<Wanted>,
    computed: Receiver<Computed>,
    last_wanted: Option<Wanted>,
}

impl Worker {
    /// Starts the thread; it sleeps until it is asked.
    pub fn start() -> Self {
        let (orders, wanted) = channel::<Wanted>();
        let (done, computed) = channel();
        thread::spawn(move || {
            while let Ok(first) = wanted.recv() {
                // Whoever wants something else no longer wants what came before.
                let last = wanted.try_iter().last().unwrap_or(first);
                if done.send(compute(last)).is_err() {
                    return;
                }
            }
        });
        Self {
            orders,
            computed,
            last_wanted: None,
        }
    }

    /// Wants something in the place of anything before it.
    pub fn want(&mut self, wanted: Wanted) {
        if self.orders.send(wanted.clone()).is_ok() {
            self.last_wanted = Some(wanted);
        }
    }

    /// Whether something is still to come.
    pub fn is_busy(&self) -> bool {
        self.last_wanted.is_some()
    }

    /// What has come.
    pub fn reports(&mut self) -> impl Iterator<Item = Report> {
        let came: Vec<Computed> = self.computed.try_iter().collect();
        let last = came.last().zip(self.last_wanted.as_ref());
        if last.is_some_and(|(computed, wanted)| computed.is(wanted)) {
            self.last_wanted = None;
        }
        came.into_iter()
            .map(|computed| Report::Studied(Box::new(computed)))
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::workbench::bench::{press, state};
    use crate::workbench::study::Answer;

    #[test]
    fn what_was_wanted_last_is_computed() {
        let mut state = state();
        press(&mut state, "o c");
        let mut worker = Worker::start();
        let about = state.about().unwrap();
        for _ in 0..3 {
            worker.want(Wanted::Answer(Box::new(state.question(about))));
        }
        assert!(worker.is_busy());
        let last = loop {
            if let Some(report) = worker.reports().last() {
                break report;
            }
            thread::sleep(Duration::from_millis(1));
        };
        let Report::Studied(answered) = last else {
            panic!("{last:?}");
        };
        let Computed::Answer(answered) = *answered else {
            panic!("{answered:?}");
        };
        assert_eq!(answered.0, state.question(about));
        assert!(matches!(answered.1, Answer::Clocks(_)));
    }
}
