//! A thread that answers the questions of the views, so that no key waits for a fit.

use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use super::study::{self, Answer, Question};
use super::update::Report;

/// The thread, seen from the keyboard. It ends with its owner.
#[derive(Debug)]
pub struct Aside {
    questions: Sender<Question>,
    answers: Receiver<(Question, Answer)>,
    last_asked: Option<Question>,
}

impl Aside {
    /// Starts the thread; it sleeps until it is asked.
    pub fn start() -> Self {
        let (questions, asked) = channel::<Question>();
        let (answered, answers) = channel();
        thread::spawn(move || {
            while let Ok(first) = asked.recv() {
                // Whoever asks again no longer wants the earlier answers.
                let question = asked.try_iter().last().unwrap_or(first);
                let answer = study::answer(&question);
                if answered.send((question, answer)).is_err() {
                    return;
                }
            }
        });
        Self {
            questions,
            answers,
            last_asked: None,
        }
    }

    /// Asks a question in the place of any before it.
    pub fn ask(&mut self, question: Question) {
        if self.questions.send(question.clone()).is_ok() {
            self.last_asked = Some(question);
        }
    }

    /// Whether an answer is still to come.
    pub fn is_busy(&self) -> bool {
        self.last_asked.is_some()
    }

    /// The answers that have come.
    pub fn answers(&mut self) -> impl Iterator<Item = Report> {
        let came: Vec<(Question, Answer)> = self.answers.try_iter().collect();
        if came
            .last()
            .is_some_and(|(question, _)| self.last_asked.as_ref() == Some(question))
        {
            self.last_asked = None;
        }
        came.into_iter()
            .map(|answered| Report::Studied(Box::new(answered)))
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::workbench::bench::{press, state};

    #[test]
    fn the_last_question_is_answered() {
        let mut state = state();
        press(&mut state, "o c");
        let mut aside = Aside::start();
        let about = state.about().unwrap();
        for _ in 0..3 {
            aside.ask(state.question(about));
        }
        assert!(aside.is_busy());
        let last = loop {
            if let Some(report) = aside.answers().last() {
                break report;
            }
            thread::sleep(Duration::from_millis(1));
        };
        let Report::Studied(answered) = last else {
            panic!("{last:?}");
        };
        assert_eq!(answered.0, state.question(about));
        assert!(matches!(answered.1, Answer::Clocks(_)));
    }
}
