//! Lists in pages: bare arrays, and a `Link` header to the next page while there is one.

use std::fmt::Write;

use axum::Json;
use axum::http::{HeaderValue, Uri, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Deserializer, Serialize, de};

use crate::limits;
use crate::model::Stamp;
use crate::store::When;

/// A time up to which something is asked.
#[derive(Clone, Copy, Debug)]
pub(super) struct Until(pub(super) Stamp);

impl<'de> Deserialize<'de> for Until {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        Stamp::until(&text).map(Until).map_err(de::Error::custom)
    }
}

/// The number of rows of a page.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limit(usize);

impl Default for Limit {
    fn default() -> Self {
        Limit(limits::PAGE_ROWS)
    }
}

impl<'de> Deserialize<'de> for Limit {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        match usize::deserialize(from)? {
            n @ 1..=limits::PAGE_ROWS => Ok(Limit(n)),
            n => Err(de::Error::custom(format!(
                "expected a number from 1 to {}, found `{n}`",
                limits::PAGE_ROWS
            ))),
        }
    }
}

/// The last row of the page before: its key, and which of several rows with that key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Cursor(String, usize);

impl Cursor {
    fn text(&self) -> String {
        let mut text = String::new();
        for byte in format!("{}\0{}", self.0, self.1).bytes() {
            // Writing to a text cannot fail.
            write!(text, "{byte:02x}").unwrap_or_default();
        }
        text
    }

    fn read(text: &str) -> Option<Self> {
        let pair = |i| u8::from_str_radix(text.get(i..i + 2)?, 16).ok();
        let bytes: Option<Vec<u8>> = (0..text.len()).step_by(2).map(pair).collect();
        let inner = String::from_utf8(bytes?).ok()?;
        let (key, n) = inner.rsplit_once('\0')?;
        Some(Cursor(key.to_owned(), n.parse().ok()?))
    }
}

impl<'de> Deserialize<'de> for Cursor {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        Cursor::read(&text).ok_or_else(|| {
            de::Error::custom("expected the cursor of a `Link` header, as it was given")
        })
    }
}

/// What every list may be asked.
pub(super) trait List {
    /// Which rows count.
    fn when(&self) -> When;
    /// Where the page begins and how long it is.
    fn page(&self) -> (Option<&Cursor>, Limit);
}

/// Declares the options of a list: its own, and those that every list has.
macro_rules! list {
    ($(#[$meta:meta])* $name:ident { $($(#[$fmeta:meta])* $field:ident: $kind:ty),* $(,)? }) => {
        $(#[$meta])*
        #[derive(Debug, serde::Deserialize, utoipa::IntoParams)]
        #[serde(deny_unknown_fields)]
        #[into_params(parameter_in = Query)]
        pub(super) struct $name {
            $($(#[$fmeta])* $field: $kind,)*
            /// Only what was measured or done by this time (RFC 3339, or a date: to its end).
            #[param(value_type = Option<String>, example = "2026-03-31")]
            as_of: Option<$crate::web::api::paging::Until>,
            /// Only what was recorded by this time: the answer as it was given then.
            #[param(value_type = Option<String>, example = "2026-03-31T12:00:00Z")]
            known_at: Option<$crate::web::api::paging::Until>,
            /// At most so many rows.
            #[serde(default)]
            #[param(value_type = Option<u32>, minimum = 1, maximum = 10_000)]
            limit: $crate::web::api::paging::Limit,
            /// The cursor of the `Link` header of the page before.
            #[param(value_type = Option<String>)]
            after: Option<$crate::web::api::paging::Cursor>,
        }

        impl $crate::web::api::paging::List for $name {
            fn when(&self) -> $crate::store::When {
                $crate::web::api::paging::when(self.as_of, self.known_at)
            }

            fn page(
                &self,
            ) -> (Option<&$crate::web::api::paging::Cursor>, $crate::web::api::paging::Limit) {
                (self.after.as_ref(), self.limit)
            }
        }
    };
}
pub(super) use list;

/// Which rows count, by what was asked.
pub(super) fn when(as_of: Option<Until>, known_at: Option<Until>) -> When {
    let time = |asked: Option<Until>| asked.map_or(Stamp::MAX, |until| until.0);
    When { as_of: time(as_of), known_at: time(known_at) }
}

/// Which rows of a long list may be on the page asked for, so that the others need not be kept. To
/// be asked for every row by time, within one instant in any order; their keys begin with the time,
/// as [`by_time`] gives it, and differ.
pub(super) struct Near {
    after: Option<String>,
    /// Rows still to be taken; one more than a page tells that there is a next page.
    left: usize,
    /// The instant of the last row taken.
    last: Option<Stamp>,
}

impl Near {
    /// Near this page.
    pub(super) fn to(list: &impl List) -> Self {
        let (after, Limit(limit)) = list.page();
        Near { after: after.map(|after| after.0.clone()), left: limit + 1, last: None }
    }

    /// Whether this row may be on it.
    pub(super) fn has(&mut self, at: Stamp, key: impl FnOnce() -> String) -> bool {
        if self.left == 0 && self.last != Some(at) {
            return false;
        }
        if self.after.as_ref().is_some_and(|after| key() <= *after) {
            return false;
        }
        (self.left, self.last) = (self.left.saturating_sub(1), Some(at));
        true
    }
}

/// One page of a list.
pub(super) struct Page<T> {
    rows: Vec<T>,
    next: Option<String>,
}

impl<T> Page<T> {
    /// The page asked for, of rows in the order of their keys. Rows that came since the page
    /// before stand where their keys put them; none is given twice.
    pub(super) fn of(
        list: &impl List,
        uri: &Uri,
        rows: Vec<T>,
        key: impl Fn(&T) -> String,
    ) -> Self {
        let (after, Limit(limit)) = list.page();
        let mut keyed: Vec<(String, T)> = rows.into_iter().map(|row| (key(&row), row)).collect();
        keyed.sort_by(|(a, _), (b, _)| a.cmp(b));
        let (mut page, mut last, mut more) = (Vec::new(), Cursor(String::new(), 0), false);
        let mut previous: Option<(String, usize)> = None;
        for (key, row) in keyed {
            let n = match &previous {
                Some((before, n)) if *before == key => n + 1,
                _ => 0,
            };
            let place = Cursor(key, n);
            previous = Some((place.0.clone(), n));
            if after.is_some_and(|after| (&place.0, n) <= (&after.0, after.1)) {
                continue;
            }
            if page.len() == limit {
                more = true;
                break;
            }
            page.push(row);
            last = place;
        }
        Page { rows: page, next: more.then(|| next(uri, &last)) }
    }

    /// The same page of other rows.
    pub(super) fn map<U>(self, with: impl FnMut(T) -> U) -> Page<U> {
        Page { rows: self.rows.into_iter().map(with).collect(), next: self.next }
    }

    /// The same, where a row may be none, and asking for it may fail.
    pub(super) fn try_map<U, E>(
        self,
        with: impl FnMut(T) -> Result<Option<U>, E>,
    ) -> Result<Page<U>, E> {
        let rows = self.rows.into_iter().map(with).filter_map(Result::transpose);
        Ok(Page { rows: rows.collect::<Result<_, _>>()?, next: self.next })
    }
}

/// The same question, for what comes after a row.
fn next(uri: &Uri, last: &Cursor) -> String {
    let rest = uri.query().unwrap_or_default().split('&');
    let rest = rest.filter(|pair| !pair.is_empty() && !pair.starts_with("after="));
    let pairs: Vec<&str> = rest.collect();
    let and = if pairs.is_empty() { "" } else { "&" };
    format!("{}?{}{and}after={}", uri.path(), pairs.join("&"), last.text())
}

impl<T: Serialize> IntoResponse for Page<T> {
    fn into_response(self) -> Response {
        let mut response = Json(self.rows).into_response();
        let link = self.next.map(|next| format!("<{next}>; rel=\"next\""));
        if let Some(Ok(link)) = link.map(|link| HeaderValue::from_str(&link)) {
            response.headers_mut().insert(header::LINK, link);
        }
        response
    }
}

/// A key by which times sort.
pub(super) fn by_time(at: Stamp) -> String {
    format!("{:016x}", at.micros() as u64 ^ (1 << 63))
}

/// A key by which times sort, the newest first.
pub(super) fn newest(at: Stamp) -> String {
    format!("{:016x}", !(at.micros() as u64 ^ (1 << 63)))
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Asked(Option<Cursor>, usize);

    impl List for Asked {
        fn when(&self) -> When {
            When::ALWAYS
        }

        fn page(&self) -> (Option<&Cursor>, Limit) {
            (self.0.as_ref(), Limit(self.1))
        }
    }

    #[test]
    fn pages_give_every_row_once_equal_keys_too() {
        let rows = ["b", "a", "c", "b", "b", "d"];
        for limit in 1..=7 {
            let (mut given, mut after) = (Vec::new(), None);
            loop {
                let uri: Uri = "/v1/list?site=x&after=00".parse().unwrap();
                let asked = Asked(after, limit);
                let page = Page::of(&asked, &uri, rows.to_vec(), |r| (*r).to_owned());
                given.extend(page.rows);
                let Some(next) = page.next else { break };
                let (path, cursor) = next.split_once("&after=").unwrap();
                assert_eq!(path, "/v1/list?site=x");
                after = Some(Cursor::read(cursor).unwrap());
            }
            assert_eq!(given, ["a", "b", "b", "b", "c", "d"], "limit {limit}");
        }
    }

    #[test]
    fn only_rows_near_a_page_are_kept_and_none_is_lost() {
        // Three instants; within one the keys stand in no order.
        let rows = [(1, 'c'), (1, 'b'), (1, 'a'), (2, 'a'), (3, 'b'), (3, 'a')];
        let key = |(at, name): &(i64, char)| format!("{} {name}", by_time(Stamp::from_micros(*at)));
        for limit in 1..=7 {
            let (mut given, mut after) = (Vec::new(), None);
            loop {
                let uri: Uri = "/v1/list".parse().unwrap();
                let asked = Asked(after, limit);
                let mut near = Near::to(&asked);
                let kept = |row: &&(i64, char)| near.has(Stamp::from_micros(row.0), || key(row));
                let kept: Vec<_> = rows.iter().filter(kept).copied().collect();
                assert!(kept.len() <= limit + 3, "{kept:?}");
                let page = Page::of(&asked, &uri, kept, key);
                given.extend(page.rows);
                let Some(next) = page.next else { break };
                after = Some(Cursor::read(next.split_once("?after=").unwrap().1).unwrap());
            }
            assert_eq!(given, [(1, 'a'), (1, 'b'), (1, 'c'), (2, 'a'), (3, 'a'), (3, 'b')]);
        }
    }

    #[test]
    fn a_cursor_that_was_not_given_is_none() {
        for text in ["", "0", "zz", "6162", "ff00", "é0"] {
            assert_eq!(Cursor::read(text), None, "{text}");
        }
    }

    #[test]
    fn times_sort_as_their_keys() {
        let times = [i64::MIN, -1, 0, 1, i64::MAX].map(Stamp::from_micros);
        assert!(times.map(by_time).is_sorted());
        assert!(times.map(newest).iter().rev().is_sorted());
    }
}
