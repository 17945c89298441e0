//! Questions that a file leaves open, and the answers that a person gave.

use std::collections::{BTreeMap, BTreeSet};

use super::{Candidate, Question};

/// Asks, and hands out what was answered.
pub(super) struct Asker<'a> {
    answers: &'a BTreeMap<String, String>,
    /// What nobody answered yet.
    pub(super) questions: Vec<Question>,
    used: BTreeSet<String>,
    /// An answer that cannot be: key, what was expected, what was found.
    pub(super) wrong: Option<(String, String, String)>,
}

impl<'a> Asker<'a> {
    pub(super) fn new(answers: &'a BTreeMap<String, String>) -> Asker<'a> {
        Asker { answers, questions: Vec::new(), used: BTreeSet::new(), wrong: None }
    }

    /// One of the candidates must be chosen before anything can be read.
    pub(super) fn ask(
        &mut self,
        key: &str,
        unsure: &str,
        candidates: Vec<Candidate>,
    ) -> Option<String> {
        let expected =
            candidates.iter().map(|c| format!("`{}`", c.value)).collect::<Vec<_>>().join(" or ");
        let fits = |answer: &str| candidates.iter().any(|c| c.value == answer);
        let answer = self.answer(key, &expected, fits);
        if answer.is_none() {
            self.open(key, unsure, candidates, true);
        }
        answer
    }

    /// Any text for which `fits` holds must be given before anything can be read.
    pub(super) fn ask_for(
        &mut self,
        key: &str,
        unsure: &str,
        hints: Vec<Candidate>,
        expected: &str,
        fits: impl Fn(&str) -> bool,
    ) -> Option<String> {
        let answer = self.answer(key, expected, fits);
        if answer.is_none() {
            self.open(key, unsure, hints, true);
        }
        answer
    }

    /// As [`Asker::ask_for`], but reading can do without: then the tray or a flag says so.
    pub(super) fn may_say(
        &mut self,
        key: &str,
        unsure: &str,
        hints: Vec<Candidate>,
        expected: &str,
        fits: impl Fn(&str) -> bool,
    ) -> Option<String> {
        let answer = self.answer(key, expected, fits);
        if answer.is_none() {
            self.open(key, unsure, hints, false);
        }
        answer
    }

    /// An answer that was given although nothing was asked: it overrules what the file shows.
    pub(super) fn overruled(
        &mut self,
        key: &str,
        expected: &str,
        fits: impl Fn(&str) -> bool,
    ) -> Option<String> {
        self.answer(key, expected, fits)
    }

    /// Keys of answers that nothing asked for.
    pub(super) fn unused(&self) -> Vec<String> {
        self.answers.keys().filter(|key| !self.used.contains(*key)).cloned().collect()
    }

    fn answer(&mut self, key: &str, expected: &str, fits: impl Fn(&str) -> bool) -> Option<String> {
        let answer = self.answers.get(key)?;
        self.used.insert(key.to_owned());
        if fits(answer) {
            return Some(answer.clone());
        }
        self.wrong.get_or_insert((key.to_owned(), expected.to_owned(), answer.clone()));
        None
    }

    fn open(&mut self, key: &str, unsure: &str, candidates: Vec<Candidate>, required: bool) {
        let (key, unsure) = (key.to_owned(), unsure.to_owned());
        self.questions.push(Question { key, unsure, candidates, required });
    }
}

/// One way to answer, and what it would make of the file's own rows.
pub(super) fn candidate(value: &str, means: &str) -> Candidate {
    Candidate { value: value.to_owned(), means: means.to_owned() }
}
