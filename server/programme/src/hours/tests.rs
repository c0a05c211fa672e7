//! Hours.
