//! One small type for each kind of quantity.
