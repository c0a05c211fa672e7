//! How a kind is declared: a documented name, the unit that it is held in, and its other units by factor.

/// Declares kinds of quantity. Each gets `from_<unit>` and `<unit>` for the unit that it is held in and for each other.
macro_rules! kinds {
    ($(
        $(#[$about:meta])*
        $kind:ident held in $from_held:ident / $held:ident
        $(, $from_other:ident / $other:ident by $factor:expr)* ;
    )*) => {$(
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $kind(f64);

        impl $kind {
            #[doc = concat!("From a figure in ", stringify!($held), ".")]
            pub const fn $from_held($held: f64) -> Self {
                Self($held)
            }

            #[doc = concat!("The figure in ", stringify!($held), ".")]
            pub const fn $held(self) -> f64 {
                self.0
            }

            $(
                #[doc = concat!("From a figure in ", stringify!($other), ".")]
                pub const fn $from_other($other: f64) -> Self {
                    Self($other * $factor)
                }

                #[doc = concat!("The figure in ", stringify!($other), ".")]
                pub const fn $other(self) -> f64 {
                    self.0 / $factor
                }
            )*
        }
    )*};
}

pub(crate) use kinds;
