//! The rules of the road, which hold for all operations alike: versions, repeats, pages, problems, sessions, signatures,
//! several people acting at
//! once, and files that come slowly, in part, twice or while things change.

mod amending;
mod paging;
mod refusing;
mod repeating;
mod sessions;
mod signing;
pub mod together;
mod uploading;
