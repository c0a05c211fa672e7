//! The parts that papers are made of; each writes what it knows of its subject, and says what was not recorded.

mod aircraft;
mod cautions;
mod demonstrated;
mod envelope;
mod exceedances;
mod hazards;
mod hours;
mod limits;
mod people;
mod points;
mod predictions;
mod results;
mod runs;
mod snags;

pub(crate) use aircraft::{aircraft, configuration, configuration_changes, loading};
pub(crate) use cautions::{authority, cautions};
pub(crate) use demonstrated::demonstrated;
pub(crate) use envelope::envelope;
pub(crate) use exceedances::exceedances;
pub(crate) use hazards::{hazard_details, hazards};
pub(crate) use hours::{hours, log};
pub(crate) use limits::{limit_plots, limits};
pub(crate) use people::{checks, documents, people};
pub(crate) use points::{card, ladder};
pub(crate) use predictions::predictions;
pub(crate) use results::{result, results};
pub(crate) use runs::{recordings, runs};
pub(crate) use snags::{all_snags, open_snags, stand_downs};
