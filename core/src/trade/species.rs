use serde::{Deserialize, Serialize};

/// The birds whose eggs a small farm packs. One carton never holds two of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Species {
    /// Domestic chicken, the only species that the weight classes and grades of the rule packs know.
    Hen,
    /// Domestic and Muscovy ducks.
    Duck,
    /// Domestic geese.
    Goose,
    /// Domestic turkeys.
    Turkey,
    /// Guinea fowl.
    Guinea,
    /// Japanese quail.
    Quail,
}

impl Species {
    /// Every species, in the order in which lists show them.
    pub const ALL: [Species; 6] = [
        Species::Hen,
        Species::Duck,
        Species::Goose,
        Species::Turkey,
        Species::Guinea,
        Species::Quail,
    ];

    /// The word in records and files, for example `hen`.
    pub const fn code(self) -> &'static str {
        match self {
            Species::Hen => "hen",
            Species::Duck => "duck",
            Species::Goose => "goose",
            Species::Turkey => "turkey",
            Species::Guinea => "guinea",
            Species::Quail => "quail",
        }
    }

    /// The species with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Species> {
        Species::ALL.into_iter().find(|s| s.code() == code)
    }
}
