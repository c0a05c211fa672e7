//! Stories about the store.
