//! The rules of the road, which hold for all operations alike: versions, repeats, pages, problems, sessions, signatures,
//! and several people acting at once.

mod amending;
mod paging;
mod refusing;
mod repeating;
mod sessions;
mod signing;
mod together;
