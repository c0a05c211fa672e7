//! The things that a programme is written in: what a team types into its document, and what records carry.

mod aircraft;
mod channel;
mod check;
mod design;
mod document;
mod hazard;
pub(crate) mod judging;
mod limit;
mod lost_day;
mod person;
mod phase;
mod point;
mod policy;
mod prediction;
mod quarantine;
mod recorder;
mod weather;

pub use aircraft::{Aircraft, Item, ItemKind, LoadingStation};
pub use channel::Channel;
pub use check::{Check, Validity};
pub(crate) use design::place_mm;
pub use design::{CertificationBasis, LoadingCorner, LoadingLimits, StructuralDesign};
pub use document::{Document, DocumentKind};
pub use hazard::{
    AcceptingRole, AssessedRisk, Hazard, Probability, RiskLevel, RiskMatrix, Severity,
};
pub use limit::{Limit, LimitKind, TimedRating};
pub use lost_day::LostTo;
pub use person::{HeldQualification, Person, Role};
pub use phase::Phase;
pub use point::{
    Axis, Comparison, Condition, CrewSeat, Criterion, Point, RequiredItem, Statistic, WeatherMinima,
};
pub use policy::{
    BuildUpRule, CoupledRule, DesignFigure, Direction, Policy, RequiredTotal, RuleStart,
    ShareOfDesign, Total,
};
pub use prediction::{
    DemandedPrediction, LandingReserve, PowerAvailable, PredictedComponent, PredictionKind,
    PredictionRules, ReserveRule, TakeOffPower,
};
pub use quarantine::QuarantineRule;
pub use recorder::{
    DecimalMark, LinearPlan, MappedColumn, Recorder, RecorderFile, TimeColumn, TimeForm,
};
pub use weather::WeatherObservation;
