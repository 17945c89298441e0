//! `GET /v1/openapi.json`: the API's description, made from the handlers and the wire types.

use std::sync::OnceLock;

use axum::http::{Method, header};
use axum::response::IntoResponse;
use utoipa::openapi::header::HeaderBuilder;
use utoipa::openapi::path::{Operation, ParameterBuilder, ParameterIn, PathItem};
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::security::{
    ApiKey, ApiKeyValue, HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme,
};
use utoipa::openapi::{
    Components, ContentBuilder, OpenApi as Document, Ref, RefOr, Required, ResponseBuilder,
};
use utoipa::{Modify, OpenApi};

use super::stream::GapNews;
use super::{assets, audit, findings, ingest, readings, registers, sources, stream, waiting};
use crate::web::bench::wire;
use crate::web::news::ReadingsNews;
use crate::web::refusal::RefusalOut;
use crate::web::route::{Needs, Route};
use crate::web::{health, metrics};

/// What is described, and what every route has in common.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "ohmward",
        description = "Keeps ward over insulation: readings in, questions answered, corrections \
            taken in a person's name. Times are RFC 3339; what cannot be done is answered with \
            `error`, which says what was expected and found. It informs; it does not say that \
            anything is safe to touch. The examples are of the invented harbour Kestrel Quay.",
        license(name = "MIT"),
    ),
    paths(
        ingest::send_readings,
        findings::declining,
        findings::findings,
        findings::acknowledge,
        findings::close,
        assets::assets,
        assets::add_asset,
        assets::asset,
        assets::change_asset,
        readings::readings,
        readings::void_reading,
        readings::restore_reading,
        readings::overrule_reading,
        readings::move_reading,
        waiting::tray,
        readings::assign_reading,
        waiting::rejects,
        waiting::reject,
        waiting::retry_rejects,
        registers::events,
        registers::add_event,
        registers::void_event,
        registers::gear,
        registers::add_gear,
        registers::proofs,
        registers::add_proof,
        registers::void_proof,
        registers::aliases,
        registers::add_alias,
        registers::void_alias,
        audit::audit,
        sources::sources,
        stream::stream,
        wire::stations,
        wire::station,
        wire::live,
        openapi,
        health::healthz,
        metrics::metrics,
    ),
    components(schemas(RefusalOut, GapNews, ReadingsNews)),
    tags(
        (name = "readings", description = "Readings in."),
        (name = "questions", description = "What is known of assets, now or at another time."),
        (name = "findings", description = "Answers to findings."),
        (name = "corrections", description = "What people put right, and what waits for them."),
        (name = "registers", description = "Assets, events, gear, proofs, aliases."),
        (name = "bench", description = "The run sheets of stations, to be looked at. A step is taken \
            on the page of the bench, by whoever stands at the part."),
        (name = "accounts", description = "Who did what."),
        (name = "service", description = "How the service itself stands."),
    ),
    modifiers(&Common),
)]
struct Api;

/// The description itself (OpenAPI 3.1).
#[utoipa::path(get, path = "/v1/openapi.json", tag = "service",
    responses((status = 200, description = "This document.", body = Object)))]
pub(super) async fn openapi() -> impl IntoResponse {
    static TEXT: OnceLock<String> = OnceLock::new();
    let text = TEXT.get_or_init(|| Api::openapi().to_json().unwrap_or_default());
    ([(header::CONTENT_TYPE, "application/json")], text.as_str())
}

/// What follows from the table of routes: who may, and how each route may refuse.
struct Common;

const ERROR: &str = "#/components/schemas/RefusalOut";

impl Modify for Common {
    fn modify(&self, document: &mut Document) {
        document.info.version = env!("CARGO_PKG_VERSION").to_owned();
        let components = document.components.get_or_insert_with(Components::new);
        components.add_security_scheme(
            "token",
            SecurityScheme::Http(HttpBuilder::new().scheme(HttpAuthScheme::Bearer).build()),
        );
        components.add_security_scheme(
            "session",
            SecurityScheme::ApiKey(ApiKey::Cookie(ApiKeyValue::new("ohmward"))),
        );
        for route in crate::web::table() {
            let Some(item) = document.paths.paths.get_mut(route.path) else { continue };
            if let Some(operation) = operation(item, &route.method) {
                describe(operation, &route);
            }
        }
    }
}

fn operation<'d>(item: &'d mut PathItem, method: &Method) -> Option<&'d mut Operation> {
    match *method {
        Method::GET => item.get.as_mut(),
        Method::POST => item.post.as_mut(),
        Method::PATCH => item.patch.as_mut(),
        _ => None,
    }
}

fn describe(operation: &mut Operation, route: &Route) {
    let mut may = |status: &str, why: &str| {
        let described = operation.responses.responses.contains_key(status);
        if !described {
            let content = ContentBuilder::new().schema(Some(Ref::new(ERROR))).build();
            let mut response =
                ResponseBuilder::new().description(why).content("application/json", content);
            if status == "503" {
                let seconds = ObjectBuilder::new().schema_type(Type::Integer).build();
                let header = HeaderBuilder::new().schema(Some(seconds)).build();
                response = response.header("Retry-After", header);
            }
            operation.responses.responses.insert(status.to_owned(), RefOr::T(response.build()));
        }
    };
    if route.needs == Needs::Nothing {
        operation.security = Some(Vec::new());
        return;
    }
    may("400", "Something in the request cannot be; `error` names it.");
    may("401", "Nobody is logged in, and the token is missing or wrong.");
    may("403", "Whoever calls may not do this.");
    may("421", "The `Host` of the request is not a name of this service.");
    may("500", "A fault of this service or its store; `error` says which.");
    may("503", "Not now; send the same again after some seconds.");
    if route.path.contains('{') || route.path == "/v1/readings" || route.path.ends_with("/void") {
        may("404", "There is no such thing; `error` names it.");
    }
    if route.method != Method::GET {
        may("404", "What the request speaks of is not there; `error` names it.");
        may("408", "The body came too slowly.");
        may("413", "The body is too long; `error` says how long it may be.");
        may("415", "The body is of another type; `error` lists those that are taken.");
    }
    let no_scopes: [&str; 0] = [];
    operation.security = Some(vec![
        SecurityRequirement::new("token", no_scopes),
        SecurityRequirement::new("session", no_scopes),
        // A service without accounts, on its own machine.
        SecurityRequirement::default(),
    ]);
    if matches!(route.needs, Needs::Person(_)) {
        let name = ObjectBuilder::new().schema_type(Type::String).min_length(Some(1)).build();
        let operator = ParameterBuilder::new()
            .name("Ohmward-Operator")
            .parameter_in(ParameterIn::Header)
            .required(Required::False)
            .description(Some(
                "In whose name: needed on a service without accounts, where it is kept with the \
                 change.",
            ))
            .schema(Some(name))
            .example(Some("R. Hale".into()))
            .build();
        operation.parameters.get_or_insert_default().push(operator.into());
    }
    let description = operation.description.take().unwrap_or_default();
    let needs = match route.needs {
        Needs::Nothing => String::new(),
        Needs::Role(role) | Needs::Person(role) => format!("Needs the role `{role}`."),
    };
    operation.description = Some(format!("{description}\n\n{needs}").trim().to_owned());
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn the_document_names_the_routes_of_the_table_and_no_others() {
        let document: serde_json::Value = serde_json::to_value(Api::openapi()).unwrap();
        let mut told = BTreeSet::new();
        for (path, item) in document["paths"].as_object().unwrap() {
            for method in item.as_object().unwrap().keys() {
                told.insert((method.to_uppercase(), path.clone()));
            }
        }
        let of_api =
            |path: &str| path.starts_with("/v1/") || path == "/healthz" || path == "/metrics";
        let served: BTreeSet<_> = crate::web::table()
            .into_iter()
            .filter(|route| of_api(route.path))
            .map(|route| (route.method.to_string(), route.path.to_owned()))
            .collect();
        assert_eq!(told, served);
    }

    #[test]
    fn every_operation_has_a_name_of_its_own_and_every_field_a_description() {
        let document: serde_json::Value = serde_json::to_value(Api::openapi()).unwrap();
        let mut names = BTreeSet::new();
        for (path, item) in document["paths"].as_object().unwrap() {
            for (method, operation) in item.as_object().unwrap() {
                let name = operation["operationId"].as_str().unwrap();
                assert!(names.insert(name.to_owned()), "{method} {path}: `{name}` is taken");
                assert!(operation["summary"].is_string(), "{method} {path} says nothing");
            }
        }
        for (name, schema) in document["components"]["schemas"].as_object().unwrap() {
            let Some(fields) = schema["properties"].as_object() else { continue };
            for (field, schema) in fields {
                let refers = schema.to_string().contains("\"$ref\"");
                assert!(refers || schema["description"].is_string(), "{name}.{field}");
            }
        }
    }
}
