//! What can be handed over: charts, and reports of an asset or of the fleet as HTML, PDF and CSV.
//!
//! For a page that shows an asset's chart:
//!
//! ```text
//! for (group, scene) in dossier.groups.iter().zip(report::chart::asset(&dossier, chart::WIDE)) {
//!     // `group` says which lines these are, `scene.description` tells the chart in sentences
//!     let element = report::svg::inline(&scene);  // goes into the page as it is, unescaped
//! }
//! let css = report::svg::stylesheet();             // served once, with the page's own CSS
//! ```

pub mod chart;
pub mod ink;
pub mod scene;
pub mod svg;

mod about;
mod asset;
pub mod csv;
pub mod document;
mod fleet;
mod form;
pub mod html;
pub mod pdf;
mod schedule;

pub use about::About;
pub use asset::asset;
pub use document::Report;
pub use fleet::{TESTED_WITHIN_DAYS, fleet};
pub use form::{Form, FormError, write_whole};
pub use pdf::Paper;
pub use schedule::{Every, Schedule, ScheduleError};
