//! What is known of an asset, to be changed: what it says of itself, whether it is in service, and
//! whether it is the same as another one. For whoever manages.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Redirect;

use super::asked::{Asked, Fields, Filled, Wrongs, apart, on_to, segment, wrongs};
use super::numbers::{filters, utc};
use super::own::{NAMES, changed, class_of, fields_of, was};
use super::{Frame, Page, Section};
use crate::dossier::words::limit_words;
use crate::dossier::{Fleet, Standing};
use crate::model::{
    Alias, Asset, AssetClass, AssetId, Event, EventKind, Insulation, Invalid, Joining, Stamp, text,
};
use crate::registry;
use crate::store::sqlite::SqliteReader;
use crate::store::{Change, Reader, Result as StoreResult, When};
use crate::web::Service;
use crate::web::api::no_asset;
use crate::web::offered::offered;
use crate::web::refusal::Refusal;
use crate::web::who::Who;

#[derive(Template)]
#[template(path = "change.html", config = "src/web/pages/askama.toml")]
pub(super) struct ChangePage {
    frame: Frame,
    id: AssetId,
    /// How it stands to the fleet.
    standing: Standing,
    /// What the form began with, by the names of the fields that keep it.
    begun: Vec<(String, String)>,
    fields: Fields,
    wrong: Wrongs,
    /// Names of classes.
    classes: Vec<String>,
    /// What its class says, where it has one.
    class: Option<AssetClass>,
    /// Others that it may be the same as.
    others: Vec<String>,
}

/// What the page is made of.
struct Known {
    asset: Asset,
    standing: Standing,
    classes: Vec<AssetClass>,
    others: Vec<String>,
}

impl Known {
    fn read(reader: &SqliteReader, id: &AssetId) -> StoreResult<Option<Known>> {
        let Some(asset) = reader.asset_as_registered(id, When::ALWAYS)? else {
            return Ok(None);
        };
        let fleet = Fleet::read(reader, When::ALWAYS)?;
        let standing = fleet.standing(id).cloned().unwrap_or(Standing::InService);
        let classes = reader.classes(When::ALWAYS)?.into_iter().map(|row| row.value).collect();
        let others = offered(reader)?.into_iter().map(|a| a.id).filter(|other| other != id);
        let others = others.map(|id| id.to_string()).take(OFFERED).collect();
        Ok(Some(Known { asset, standing, classes, others }))
    }
}

/// Ids that the page offers to choose from.
const OFFERED: usize = 2_000;

pub(super) async fn page(
    State(service): State<Arc<Service>>,
    Path(id): Path<String>,
    asked: Asked<()>,
) -> Result<Page<ChangePage>, Refusal> {
    show(&service, &id, (asked.who, &asked.uri), Wrongs::default(), None).await
}

/// The page, with the form as somebody filled it in or as the asset stands.
async fn show(
    service: &Arc<Service>,
    id: &str,
    (who, uri): (Who, &axum::http::Uri),
    wrong: Wrongs,
    filled: Option<Fields>,
) -> Result<Page<ChangePage>, Refusal> {
    let id = AssetId::new(id)?;
    let asked = id.clone();
    let known = service.ask(move |reader| Known::read(reader, &asked)).await?;
    let known = known.ok_or_else(|| no_asset(&id))?;
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let frame = Frame::new(format!("Change {id}"), Some(who), uri).under(Section::Fleet);
    let own = fields_of(&known.asset);
    // A form that comes back began with what it began with.
    let is_own = filled.as_ref().is_some_and(|fields| !fields.get(&was("insulation")).is_empty());
    let kept = |name: &&str| {
        let value = match &filled {
            Some(fields) if is_own => fields.get(&was(name)),
            _ => own.get(name),
        };
        (was(name), value.to_owned())
    };
    let begun = NAMES.iter().map(kept).collect();
    let fields = match filled {
        Some(fields) if is_own => fields,
        Some(fields) => {
            NAMES.iter().fold(fields, |all, name| all.with(name, own.get(name).to_owned()))
        }
        None => own,
    };
    let class = known.classes.iter().find(|class| class.name == known.asset.class).cloned();
    let classes = known.classes.iter().map(|class| class.name.to_string()).collect();
    let Known { standing, others, .. } = known;
    let page = ChangePage { frame, id, standing, begun, fields, wrong, classes, class, others };
    Ok(Page(status, page))
}

/// Changes what the asset says of itself.
pub(super) async fn change(
    State(service): State<Arc<Service>>,
    Path(id): Path<String>,
    filled: Filled,
) -> Result<Result<Redirect, Page<ChangePage>>, Refusal> {
    let asset = AssetId::new(&id)?;
    let (fields, by) = (filled.fields.clone(), filled.who.name.clone());
    let recorded = service
        .change(move |reader, writer, now| -> StoreResult<_> {
            let known = match class_of(&fields).as_deref() {
                // Without its class it is what it was with it.
                Some("") => reader.asset(&asset, When::ALWAYS)?,
                _ => reader.asset_as_registered(&asset, When::ALWAYS)?,
            };
            let Some(known) = known else { return Ok(Err(Err(no_asset(&asset)))) };
            let changed = match changed(known, &fields) {
                Ok(asset) => Change::Asset(asset),
                Err(wrong) => return Ok(Err(Ok(wrong))),
            };
            let done = apart(registry::record(reader, writer, now, &by, &[changed]))?;
            Ok(done.map_err(wrongs))
        })
        .await?;
    let back = format!("/asset/{}", segment(&id));
    let wrong = match recorded {
        Ok(done) => return Ok(Ok(on_to(&back, if done.new > 0 { "asset" } else { "unchanged" }))),
        Err(wrong) => wrong?,
    };
    let Filled { who, uri, fields } = filled;
    Ok(Err(show(&service, &id, (who, &uri), wrong, Some(fields)).await?))
}

/// Takes the asset out of service or back, or says that it is the same as another one or is not.
pub(super) async fn stand(
    State(service): State<Arc<Service>>,
    Path(id): Path<String>,
    filled: Filled,
) -> Result<Result<Redirect, Page<ChangePage>>, Refusal> {
    let asset = AssetId::new(&id)?;
    let asked = asset.clone();
    let (standing, merger) = service.ask(move |reader| stands(reader, &asked)).await?;
    let standing = standing.ok_or_else(|| no_asset(&asset))?;
    let now = service.shared.clock.now();
    let wrong = match act(&filled.fields, &asset, &standing, merger, now) {
        Err(wrong) => wrong,
        Ok((change, done)) => {
            let by = filled.who.name.clone();
            let kept = asset.clone();
            let recorded = service
                .change(move |reader, writer, now| -> StoreResult<_> {
                    if let Change::Alias(alias) = &change
                        && let Some(wrong) = ring(reader, &kept, &alias.asset)?
                    {
                        return Ok(Err(Ok(wrong)));
                    }
                    let done = apart(registry::record(reader, writer, now, &by, &[change]))?;
                    Ok(done.map_err(wrongs))
                })
                .await?;
            match recorded {
                Ok(_) => return Ok(Ok(on_to(&format!("/asset/{}", segment(&id)), done))),
                Err(wrong) => wrong?,
            }
        }
    };
    let Filled { who, uri, fields } = filled;
    Ok(Err(show(&service, &id, (who, &uri), wrong, Some(fields)).await?))
}

/// How an asset stands, and the row that merges it into another one.
fn stands(reader: &SqliteReader, id: &AssetId) -> StoreResult<(Option<Standing>, Option<Alias>)> {
    let standing = Fleet::read(reader, When::ALWAYS)?.standing(id).cloned();
    let aliases = reader.aliases(When::ALWAYS)?.into_iter().map(|row| row.value);
    let merger = aliases.into_iter().find(|a| a.merged && a.written == id.as_str());
    Ok((standing, merger))
}

/// What is wrong with saying that an asset is the same as another one.
fn ring(reader: &SqliteReader, id: &AssetId, into: &AssetId) -> StoreResult<Option<Wrongs>> {
    let mut wrong = Wrongs::default();
    if reader.asset(into, When::ALWAYS)?.is_none() {
        wrong.add("into", format!("there is no asset `{into}`"));
    } else if Fleet::read(reader, When::ALWAYS)?.is_ring(id, into) {
        wrong.add("into", format!("`{into}` is already the same as `{id}`"));
    }
    Ok(Some(wrong).filter(|wrong| !wrong.is_empty()))
}

/// The change that a form means, and the word for what was done.
fn act(
    fields: &Fields,
    asset: &AssetId,
    standing: &Standing,
    merger: Option<Alias>,
    now: Stamp,
) -> Result<(Change, &'static str), Wrongs> {
    let mut wrong = Wrongs::default();
    let asked = fields.get("do");
    let reason = if matches!(asked, "merge" | "unmerge") { "reason" } else { "why" };
    let why = wrong.keep(text(reason, fields.get(reason)).and_then(|why| match why.is_empty() {
        true => Err(Invalid::new(reason, "the reason: it is kept with the change", "")),
        false => Ok(why),
    }));
    let retired = matches!(standing, Standing::Retired { .. });
    let meant = match (asked, merger) {
        ("retire", _) if !retired => Some(Err(EventKind::Retired)),
        ("return", _) if retired => Some(Err(EventKind::Returned)),
        ("merge", None) => Some(Ok(None)),
        ("unmerge", Some(merger)) => Some(Ok(Some(merger))),
        _ => None,
    };
    let Some(meant) = meant else {
        let words = format!("it is {} meanwhile: look at it again", standing.word());
        wrong.add("asset", words);
        return Err(wrong);
    };
    let remark = why.clone().unwrap_or_default();
    let change = match meant {
        Err(kind) => {
            let at = match fields.get("at") {
                "" => Some(now),
                written => Stamp::parse(&utc(written)).map_err(|why| wrong.add("at", why)).ok(),
            };
            let done = if kind == EventKind::Retired { "retired" } else { "returned" };
            at.map(|at| (Change::Event(Event { at, asset: asset.clone(), kind, remark }), done))
        }
        Ok(None) => {
            let into = AssetId::new(fields.get("into")).map_err(|e| Invalid { field: "into", ..e });
            wrong
                .keep(into)
                .map(|into| (Change::Alias(Alias::merger(asset, into, remark)), "merged"))
        }
        Ok(Some(merger)) => Some((Change::AliasVoid(Alias { remark, ..merger }), "unmerged")),
    };
    change.filter(|_| wrong.is_empty()).ok_or(wrong)
}

impl ChangePage {
    fn is_retired(&self) -> bool {
        matches!(self.standing, Standing::Retired { .. })
    }

    fn is_merged(&self) -> bool {
        matches!(self.standing, Standing::Merged { .. })
    }

    /// A hint that says what its class says where it says nothing.
    fn or_class(&self, hint: &str, says: Option<String>) -> String {
        let says = says.filter(|says| !says.is_empty());
        match says {
            Some(says) => format!("empty: as its class says, {says}"),
            None => hint.to_owned(),
        }
    }

    fn kind_hint(&self) -> String {
        let says = self.class.as_ref().map(|class| class.kind.to_string());
        self.or_class("such as drive motor", says)
    }

    fn limit_hint(&self) -> String {
        let says = self.class.as_ref().and_then(|class| class.limit_ohm);
        self.or_class("such as 5 MΩ; empty: none", says.map(crate::trend::words::ohms))
    }

    fn more_hint(&self) -> String {
        let silent = |class: &AssetClass| {
            let filled = class.fill(Asset::silent(self.id.clone()));
            filled.more_limits.iter().map(limit_words).collect::<Vec<_>>().join("; ")
        };
        self.or_class(
            "one a line: 1 MΩ as read, or 100 Ω/V at 800 V",
            self.class.as_ref().map(silent),
        )
    }

    fn interval_hint(&self) -> String {
        let says = self.class.as_ref().and_then(|class| class.interval_days);
        self.or_class("empty: nobody asks", says.map(|days| format!("{days} days")))
    }

    fn discharge_hint(&self) -> String {
        let says = self.class.as_ref().and_then(|class| class.discharge_s);
        self.or_class("empty: as the bench has it", says.map(|seconds| format!("{seconds} s")))
    }
}
