//! The handlers: one file a resource, or one file an endpoint where a resource is large.

pub(crate) mod account;
pub(crate) mod accounts;
pub(crate) mod channels;
pub(crate) mod checks;
pub(crate) mod compute;
pub(crate) mod description;
pub(crate) mod document;
pub(crate) mod exceedances;
pub(crate) mod happenings;
pub(crate) mod hazards;
pub(crate) mod health;
pub(crate) mod hours;
pub(crate) mod ledger;
pub(crate) mod limit_proposals;
pub(crate) mod limits;
pub(crate) mod next;
pub(crate) mod points;
pub(crate) mod points_table;
pub(crate) mod programmes;
pub(crate) mod results;
pub(crate) mod runs;
pub(crate) mod sessions;
pub(crate) mod sign_offs;
pub(crate) mod snags;
pub(crate) mod stand_down;
pub(crate) mod weather;
