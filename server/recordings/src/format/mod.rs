//! One file a recorder format; each gives blocks of rows to a sink.
