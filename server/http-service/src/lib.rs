//! To be laid.
