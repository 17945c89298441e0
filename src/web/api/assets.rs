//! Assets: the list, one with its verdict, a new one, a changed one.

use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::{Extension, Json};
use serde::{Deserialize, Deserializer, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::asked::{Asked, NamedAsset, Sent};
use super::paging::{List, Page, Until, list, when};
use super::wire::{AssetOut, LimitIn};
use crate::dossier::{Desk, Statement};
use crate::model::{Asset, AssetId, Invalid};
use crate::registry::{self, AssetChange};
use crate::store::{Change, Reader, When};
use crate::web::Service;
use crate::web::refusal::Refusal;
use crate::web::who::Who;

list! {
    /// Options of `GET /v1/assets`.
    AssetsQuery {
        /// Only those of this site.
        #[param(example = "North quay")]
        site: Option<String>,
    }
}

/// All assets by id.
#[utoipa::path(get, path = "/v1/assets", tag = "questions", params(AssetsQuery),
    responses((status = 200, description = "Assets.", body = Vec<AssetOut>)))]
pub(super) async fn assets(
    State(service): State<Arc<Service>>,
    asked: Asked<AssetsQuery>,
) -> Result<Page<AssetOut>, Refusal> {
    let when = asked.query.when();
    let mut assets = service.ask(move |reader| reader.assets(when)).await?;
    if let Some(site) = &asked.query.site {
        assets.retain(|asset| asset.site == *site);
    }
    let page = Page::of(&asked.query, &asked.uri, assets, |asset| asset.id.to_string());
    Ok(page.map(AssetOut::from))
}

/// Options of `GET /v1/assets/{id}`.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(super) struct AssetQuery {
    /// Only what was measured or done by this time (RFC 3339, or a date: to its end).
    #[param(value_type = Option<String>, example = "2026-03-31")]
    as_of: Option<Until>,
    /// Only what was recorded by this time: the answer as it was given then.
    #[param(value_type = Option<String>, example = "2026-03-31T12:00:00Z")]
    known_at: Option<Until>,
}

/// An asset with its verdict.
#[derive(Serialize, ToSchema)]
pub(super) struct AssessedOut {
    #[serde(flatten)]
    asset: AssetOut,
    /// The verdict with all its evidence.
    assessment: Statement,
}

/// One asset: what is known of it, its limits, and the verdict with all its evidence.
#[utoipa::path(get, path = "/v1/assets/{id}", tag = "questions",
    params(("id" = String, Path, description = "Its id, percent-encoded as one segment.",
        example = "YT-014/drive"), AssetQuery),
    responses((status = 200, description = "The asset.", body = AssessedOut)))]
pub(super) async fn asset(
    State(service): State<Arc<Service>>,
    NamedAsset(id): NamedAsset,
    asked: Asked<AssetQuery>,
) -> Result<Json<AssessedOut>, Refusal> {
    let when = when(asked.query.as_of, asked.query.known_at);
    let ask = move |_: &_, desk: &Desk<'_, _>| {
        let dossier = desk.open(&id)?;
        let testers = desk.testers(&dossier)?;
        Ok((dossier, testers))
    };
    let (dossier, testers) = service.ask_desk(when, ask).await?;
    let assessment = Statement::of(&dossier, &testers);
    Ok(Json(AssessedOut { asset: dossier.asset.into(), assessment }))
}

/// What is said of an asset. What is left out stays as it was.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct AssetChangeIn {
    /// What it is.
    #[schema(example = "traction motor")]
    kind: Option<String>,
    /// Rated voltage in volts; null: not known.
    #[serde(default, deserialize_with = "said")]
    #[schema(value_type = Option<f64>, example = 400.0)]
    rated_voltage_v: Option<Option<f64>>,
    /// Limit in ohm at 40 °C; null: no such limit applies.
    #[serde(default, deserialize_with = "said")]
    #[schema(value_type = Option<f64>, example = 5e6)]
    limit_ohm: Option<Option<f64>>,
    /// `thermosetting`, `thermoplastic`, `none` or `unknown`.
    #[schema(example = "thermosetting")]
    insulation: Option<String>,
    /// `tied`, `separable` or `unknown`.
    #[schema(example = "separable")]
    phases: Option<String>,
    /// Where it lives.
    #[schema(example = "North quay")]
    site: Option<String>,
    /// Free text.
    remark: Option<String>,
    /// All limits beside the one at 40 °C.
    more_limits: Option<Vec<LimitIn>>,
}

/// An asset that is new: its id, and what is known of it.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct AssetIn {
    /// Its id; `/` is allowed.
    #[schema(example = "YT-014/drive", min_length = 1)]
    asset: String,
    /// What it is.
    #[schema(example = "traction motor")]
    kind: Option<String>,
    /// Rated voltage in volts.
    #[schema(example = 400.0)]
    rated_voltage_v: Option<f64>,
    /// Limit in ohm at 40 °C; left out: that of its kind.
    #[schema(example = 5e6)]
    limit_ohm: Option<f64>,
    /// `thermosetting`, `thermoplastic`, `none` or `unknown`.
    #[schema(example = "thermosetting")]
    insulation: Option<String>,
    /// `tied`, `separable` or `unknown`.
    #[schema(example = "separable")]
    phases: Option<String>,
    /// Where it lives.
    #[schema(example = "North quay")]
    site: Option<String>,
    /// Free text.
    remark: Option<String>,
    /// Limits beside the one at 40 °C.
    more_limits: Option<Vec<LimitIn>>,
}

/// A field that is there, be it null.
fn said<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Option<f64>>, D::Error> {
    Option::deserialize(from).map(Some)
}

/// Registers an asset.
#[utoipa::path(post, path = "/v1/assets", tag = "registers", request_body = AssetIn,
    responses(
        (status = 201, description = "The asset as it stands now.", body = AssetOut),
        (status = 409, description = "There is one of that id.",
            body = crate::web::refusal::RefusalOut),
    ))]
pub(super) async fn add_asset(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Sent(new): Sent<AssetIn>,
) -> Result<(StatusCode, Json<AssetOut>), Refusal> {
    let id = AssetId::new(&new.asset)?;
    let change = AssetChange {
        kind: new.kind,
        rated_voltage_v: new.rated_voltage_v.map(Some),
        limit_ohm: new.limit_ohm.map(Some),
        insulation: new.insulation,
        phases: new.phases,
        site: new.site,
        remark: new.remark,
        more_limits: limits(new.more_limits)?,
        ..AssetChange::default()
    };
    let asked = id.clone();
    if service.ask(move |reader| reader.asset(&asked, When::ALWAYS)).await?.is_some() {
        let error = format!("there is an asset `{id}` (PATCH /v1/assets/{{id}} changes it)");
        return Err(Refusal::new(StatusCode::CONFLICT, error));
    }
    let asset = change.of(id, None)?;
    Ok((StatusCode::CREATED, service.keep(who, asset).await?))
}

/// Changes what is known of an asset; what was known before stays in the store.
#[utoipa::path(patch, path = "/v1/assets/{id}", tag = "registers",
    params(("id" = String, Path, description = "Its id, percent-encoded as one segment.",
        example = "YT-014/drive")),
    request_body = AssetChangeIn,
    responses((status = 200, description = "The asset as it stands now.", body = AssetOut)))]
pub(super) async fn change_asset(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    NamedAsset(id): NamedAsset,
    Sent(said): Sent<AssetChangeIn>,
) -> Result<Json<AssetOut>, Refusal> {
    let change = AssetChange {
        kind: said.kind,
        rated_voltage_v: said.rated_voltage_v,
        limit_ohm: said.limit_ohm,
        insulation: said.insulation,
        phases: said.phases,
        site: said.site,
        remark: said.remark,
        more_limits: limits(said.more_limits)?,
        ..AssetChange::default()
    };
    let asked = id.clone();
    let known = service.ask(move |reader| reader.asset_as_registered(&asked, When::ALWAYS)).await?;
    let known = known.ok_or_else(|| super::asking::no_asset(&id))?;
    let asset = change.of(id, Some(known))?;
    service.keep(who, asset).await
}

fn limits(said: Option<Vec<LimitIn>>) -> Result<Option<Vec<crate::model::Limit>>, Invalid> {
    said.map(|limits| limits.into_iter().map(LimitIn::limit).collect()).transpose()
}

impl Service {
    async fn keep(self: &Arc<Self>, who: Who, asset: Asset) -> Result<Json<AssetOut>, Refusal> {
        let id = asset.id.clone();
        self.change(move |reader, writer, now| {
            registry::record(reader, writer, now, &who.name, &[Change::Asset(asset)])
        })
        .await?;
        // As it is meant: with what its class says where it is silent.
        let asked = id.clone();
        let kept = self.ask(move |reader| reader.asset(&asked, When::ALWAYS)).await?;
        kept.map(|asset| Json(asset.into())).ok_or_else(|| super::asking::no_asset(&id))
    }
}
