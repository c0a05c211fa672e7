//! The one least-squares kernel: being written.
