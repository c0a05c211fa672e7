//! Test points as steps of the ladder: read, plan, take out of the plan, and everything that holds them.

mod drop;
mod holds;
mod list;
mod plan;
mod read;
mod standing;
mod view;

pub(crate) use drop::*;
pub(crate) use holds::*;
pub(crate) use list::*;
pub(crate) use plan::*;
pub(crate) use read::*;
pub(crate) use standing::PointState;
pub(crate) use view::{PartToSign, PointRow, RungView, SignatureView, rung_view};

use programme::codes::{PointCode, ProgrammeId};
use programme::state::{Rung, State};

use crate::problem::Problem;

/// Where a point is.
pub(crate) fn place(programme: &ProgrammeId, point: &PointCode) -> String {
    format!("/api/v1/programmes/{programme}/points/{point}")
}

/// A point, dropped or not.
pub(crate) fn rung<'a>(state: &'a State, point: &PointCode) -> Result<&'a Rung, Problem> {
    state.rung(point).ok_or_else(|| Problem::unknown("point", point))
}
