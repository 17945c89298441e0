//! What a request for a page says: who asks, where, with which options or filled-in fields.

use std::collections::HashMap;

use axum::extract::rejection::{FormRejection, QueryRejection};
use axum::extract::{Form, FromRequest, FromRequestParts, Query, Request};
use axum::http::request::Parts;
use axum::http::{StatusCode, Uri};
use axum::response::Redirect;
use serde::de::DeserializeOwned;

use crate::model::Invalid;
use crate::registry::HandError;
use crate::store::StoreError;
use crate::web::refusal::Refusal;
use crate::web::who::Who;

/// Who asks for a page, where, and with which options.
pub(in crate::web) struct Asked<Q> {
    pub(in crate::web) who: Who,
    pub(in crate::web) uri: Uri,
    pub(in crate::web) query: Q,
}

impl<Q: DeserializeOwned, S: Sync> FromRequestParts<S> for Asked<Q> {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Refusal> {
        let Query(query) = Query::try_from_uri(&parts.uri)
            .map_err(|e: QueryRejection| Refusal::new(StatusCode::BAD_REQUEST, e.body_text()))?;
        let who = known(parts.extensions.get::<Who>())?;
        Ok(Asked { who, uri: parts.uri.clone(), query })
    }
}

/// Every route finds out who calls before its handler runs.
fn known(who: Option<&Who>) -> Result<Who, Refusal> {
    let failed = "the request failed by a fault of this program";
    who.cloned().ok_or_else(|| Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, failed))
}

/// A form as it was filled in: every field by name, trimmed; one that is not there reads as empty.
#[derive(Clone, Debug)]
pub(in crate::web) struct Filled {
    pub(in crate::web) who: Who,
    pub(in crate::web) uri: Uri,
    pub(in crate::web) fields: Fields,
}

/// The fields of a form.
#[derive(Clone, Debug, Default)]
pub(in crate::web) struct Fields(HashMap<String, String>);

impl Fields {
    pub(in crate::web) fn get(&self, name: &str) -> &str {
        self.0.get(name).map_or("", |value| value.trim())
    }

    /// The same with a field filled in.
    pub(in crate::web) fn with(mut self, name: &str, value: String) -> Self {
        self.0.insert(name.to_owned(), value);
        self
    }

    /// The same with some fields empty.
    pub(in crate::web) fn without(mut self, names: &[&str]) -> Self {
        self.0.retain(|name, _| !names.contains(&name.as_str()));
        self
    }
}

impl<S: Send + Sync> FromRequest<S> for Filled {
    type Rejection = Refusal;

    async fn from_request(request: Request, state: &S) -> Result<Self, Refusal> {
        let who = known(request.extensions().get::<Who>())?;
        let uri = request.uri().clone();
        let Form(fields) = Form::<HashMap<String, String>>::from_request(request, state)
            .await
            .map_err(|e: FormRejection| Refusal::new(e.status(), e.body_text()))?;
        Ok(Filled { who, uri, fields: Fields(fields) })
    }
}

/// What is wrong with a form, each beside its field; what belongs to none stands above.
#[derive(Clone, Debug, Default)]
pub(in crate::web) struct Wrongs(Vec<(&'static str, String)>);

impl Wrongs {
    pub(in crate::web) fn add(&mut self, field: &'static str, words: impl Into<String>) {
        self.0.push((field, words.into()));
    }

    pub(in crate::web) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub(in crate::web) fn all(&self) -> &[(&'static str, String)] {
        &self.0
    }

    /// What is wrong with a field.
    pub(in crate::web) fn at(&self, field: &str) -> Option<&str> {
        self.0.iter().find(|(name, _)| *name == field).map(|(_, words)| words.as_str())
    }

    /// Keeps a value that can be, and says what is wrong with one that cannot.
    pub(in crate::web) fn keep<T>(&mut self, value: Result<T, Invalid>) -> Option<T> {
        value.map_err(|invalid| self.add(invalid.field, invalid_words(&invalid))).ok()
    }
}

impl From<Invalid> for Wrongs {
    fn from(invalid: Invalid) -> Self {
        Wrongs(vec![(invalid.field, invalid_words(&invalid))])
    }
}

fn invalid_words(invalid: &Invalid) -> String {
    match invalid.found.as_str() {
        "" => format!("expected {}", invalid.expected),
        found => format!("expected {}, found “{found}”", invalid.expected),
    }
}

/// Lets a change end well for the store although a person has to mend what they filled in.
pub(in crate::web) fn apart<T>(
    done: Result<T, HandError>,
) -> Result<Result<T, HandError>, StoreError> {
    match done {
        Err(HandError::Store(error)) => Err(error),
        other => Ok(other),
    }
}

/// Sorts out what a person can mend in the form from what refuses the request.
pub(in crate::web) fn wrongs(error: HandError) -> Result<Wrongs, Refusal> {
    Ok(match error {
        HandError::Invalid(invalid) => invalid.into(),
        HandError::Missing(field) => Wrongs(vec![(field, "missing".into())]),
        HandError::NoAsset(id) => {
            let words = format!("there is no asset “{id}”; enter its id as the fleet shows it");
            Wrongs(vec![("asset", words)])
        }
        HandError::NoClass { name, known } => {
            let words = format!("there is no class `{name}`; known: {known}");
            Wrongs(vec![("class", words)])
        }
        HandError::NoPhase(why) => Wrongs(vec![("phase", why)]),
        other => return Err(other.into()),
    })
}

/// On with a page after something was done; what was done stands on it.
pub(in crate::web) fn on_to(path: &str, done: &str) -> Redirect {
    let (path, part) = path.split_once('#').unwrap_or((path, ""));
    let joint = if path.contains('?') { '&' } else { '?' };
    let part = if part.is_empty() { String::new() } else { format!("#{part}") };
    Redirect::to(&format!("{path}{joint}done={done}{part}"))
}

/// A text as one segment of a path, or as a value in a query.
pub(in crate::web) fn segment(text: &str) -> String {
    askama::filters::urlencode_strict(text).map(|t| t.to_string()).unwrap_or_default()
}
