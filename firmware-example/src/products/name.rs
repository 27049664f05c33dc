//! The name under which a product is kept.

/// Longest name, bytes of UTF-8.
pub const NAME_MAX: usize = 24;

/// A product's name: 1 … [`NAME_MAX`] bytes of UTF-8, without blanks at its ends and without control characters.
///
/// Two names are the same when their bytes are: capitals count.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Name(heapless::String<NAME_MAX>);

/// One broken rule of a [`Name`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NameError {
    /// Nothing is left once blanks are trimmed.
    Empty,
    /// Longer than [`NAME_MAX`] bytes.
    TooLong,
    /// A control character, which no display shows.
    Control,
}

impl NameError {
    /// What is wrong, and what would mend it, for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Empty => "the name is empty: give at least one character that is not a blank",
            Self::TooLong => {
                "the name is longer than 24 bytes: shorten it (a letter with an accent takes two bytes or more)"
            }
            Self::Control => "the name holds a control character, such as a tab or line end: leave it out",
        }
    }
}

impl Name {
    /// Trims blanks at both ends and checks the rest.
    ///
    /// # Errors
    /// The first broken rule, in the order of [`NameError`].
    pub fn new(text: &str) -> Result<Self, NameError> {
        // Control characters are not trimmed away: a name with a line end was not meant like that.
        let text = text.trim_matches(|c: char| c.is_whitespace() && !c.is_control());
        if text.is_empty() {
            return Err(NameError::Empty);
        }
        if text.len() > NAME_MAX {
            return Err(NameError::TooLong);
        }
        if text.chars().any(char::is_control) {
            return Err(NameError::Control);
        }
        heapless::String::try_from(text).map(Self).map_err(|_| NameError::TooLong)
    }

    /// The name as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Name {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{=str:?}", self.as_str());
    }
}
