//! Names for people, each written once: for `name()` and for the log, where only its number travels.

/// Gives an enum a function of its variants' names, and with the feature `defmt` a form in the log of the same names.
macro_rules! named {
    ($(#[$about:meta])* $of:ident::$called:ident { $($variant:ident => $name:literal,)* }) => {
        impl $of {
            $(#[$about])*
            #[must_use]
            pub const fn $called(self) -> &'static str {
                match self {
                    $(Self::$variant => $name,)*
                }
            }
        }

        #[cfg(feature = "defmt")]
        impl defmt::Format for $of {
            fn format(&self, f: defmt::Formatter<'_>) {
                match self {
                    $(Self::$variant => defmt::write!(f, $name),)*
                }
            }
        }
    };
}
