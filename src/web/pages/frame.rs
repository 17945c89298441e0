//! What all pages share: the frame around them, where one is in it, and how a page is answered.

use askama::Template;
use axum::http::{StatusCode, Uri};
use axum::response::{Html, IntoResponse, Response};

use super::files::{File, ICON, LIVE, STYLE};
use crate::model::Role;
use crate::web::who::Who;

/// The pages of the navigation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::web) enum Section {
    Fleet,
    Findings,
    Waiting,
    Bench,
    Gear,
    Stations,
    Enter,
}

impl Section {
    const ALL: &'static [Section] = &[
        Section::Fleet,
        Section::Findings,
        Section::Waiting,
        Section::Bench,
        Section::Gear,
        Section::Stations,
        Section::Enter,
    ];

    /// The word in the navigation.
    pub(in crate::web) const fn word(self) -> &'static str {
        match self {
            Section::Fleet => "Fleet",
            Section::Findings => "Findings",
            Section::Waiting => "Tray & rejects",
            Section::Bench => "Bench",
            Section::Gear => "Gear",
            Section::Stations => "Stations",
            Section::Enter => "Enter a reading",
        }
    }

    /// Where it is.
    pub(in crate::web) const fn path(self) -> &'static str {
        match self {
            Section::Fleet => "/",
            Section::Findings => "/findings",
            Section::Waiting => "/waiting",
            Section::Bench => "/bench",
            Section::Gear => "/gear",
            Section::Stations => "/stations",
            Section::Enter => "/enter",
        }
    }
}

/// The frame of one page: what `layout.html` shows around it.
#[derive(Clone, Debug)]
pub(in crate::web) struct Frame {
    pub(in crate::web) title: String,
    pub(in crate::web) here: Option<Section>,
    /// Who looks at it; none on a page about a refused request.
    pub(in crate::web) who: Option<Who>,
    /// Where it is: path and query.
    pub(in crate::web) at: String,
    /// What was just done, in a sentence.
    pub(in crate::web) done: Option<String>,
}

impl Frame {
    pub(in crate::web) fn new(title: impl Into<String>, who: Option<Who>, at: &Uri) -> Self {
        let at = at.path_and_query().map_or_else(|| "/".to_owned(), ToString::to_string);
        Frame { title: title.into(), here: None, who, at, done: None }
    }

    /// The frame of a page of the navigation.
    pub(in crate::web) fn of(here: Section, who: Who, at: &Uri) -> Self {
        Frame { here: Some(here), ..Frame::new(here.word(), Some(who), at) }
    }

    /// The same below a page of the navigation.
    pub(in crate::web) fn under(self, here: Section) -> Self {
        Frame { here: Some(here), ..self }
    }

    /// The same with what was just done, named by its word in the address.
    pub(in crate::web) fn having_done(self, word: &str) -> Self {
        let done = DONE.iter().find(|(known, _)| *known == word);
        Frame { done: done.map(|(_, words)| (*words).to_owned()), ..self }
    }

    /// What forms send back with a change.
    pub(in crate::web) fn csrf(&self) -> &str {
        self.who.as_ref().map_or("", |who| &who.csrf)
    }

    /// Whether nobody has said who is here, on a service without accounts.
    pub(in crate::web) fn is_unnamed(&self) -> bool {
        self.who.as_ref().is_some_and(|who| who.role.is_none() && who.name.is_empty())
    }

    /// Whether whoever is here may do what is done at a bench.
    pub(in crate::web) fn may_bench(&self) -> bool {
        self.may(Role::Bench)
    }

    /// Whether whoever is here may change registers.
    pub(in crate::web) fn may_manage(&self) -> bool {
        self.may(Role::Manage)
    }

    fn may(&self, needed: Role) -> bool {
        self.who.as_ref().is_some_and(|who| who.role.is_none_or(|role| role.may(needed)))
    }

    pub(in crate::web) fn is_here(&self, section: &Section) -> bool {
        self.here == Some(*section)
    }

    pub(in crate::web) fn sections(&self) -> &'static [Section] {
        Section::ALL
    }

    pub(in crate::web) fn style(&self) -> &'static str {
        path(&STYLE)
    }

    pub(in crate::web) fn script(&self) -> &'static str {
        path(&LIVE)
    }

    pub(in crate::web) fn icon(&self) -> &'static str {
        path(&ICON)
    }
}

fn path(file: &'static File) -> &'static str {
    &file.path
}

/// What a page says after something was done; the word travels in the address as `done`.
const DONE: &[(&str, &str)] = &[
    ("asset", "Recorded. The asset is being assessed again."),
    ("unchanged", "Nothing was different: nothing was recorded."),
    ("retired", "The asset is out of service; its history stays."),
    ("returned", "The asset is back in service."),
    ("merged", "The history of both is read as one from now on; nothing was rewritten."),
    ("unmerged", "Each has its own history again."),
    ("event", "Recorded. The asset is being assessed again."),
    ("void", "The reading counts no more; the original stays in the store."),
    ("restore", "The reading counts again."),
    ("overrule", "The reading counts although a proof failed."),
    ("move", "The reading was moved; the original stays in the store."),
    ("acknowledged", "Acknowledged."),
    ("closed", "Closed."),
    ("assigned", "The reading left the tray."),
    ("alias", "The other name is known from now on, and what it explains left the tray."),
    ("retried", "Read again: nothing of it waits any more."),
    ("mended", "Read as mended, and stored in your name."),
    ("gear", "The gear is recorded."),
    ("proof", "The proof is recorded. What was measured with this tester is assessed again."),
];

/// A page, answered with this status.
pub(in crate::web) struct Page<T>(pub(in crate::web) StatusCode, pub(in crate::web) T);

impl<T: Template> IntoResponse for Page<T> {
    fn into_response(self) -> Response {
        match self.1.render() {
            Ok(html) => (self.0, Html(html)).into_response(),
            Err(why) => {
                tracing::error!("a page could not be written: {why}");
                (StatusCode::INTERNAL_SERVER_ERROR, "the page could not be written").into_response()
            }
        }
    }
}
