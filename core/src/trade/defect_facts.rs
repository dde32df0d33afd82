use serde::{Deserialize, Serialize};

use super::defect::Defect;
use super::finding::Mark;

/// The steps of the work at which somebody looks at an egg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// At the nest.
    Gathering,
    /// At the sink or the brush.
    Cleaning,
    /// Before the light.
    Candling,
    /// At the carton.
    Packing,
}

/// Whether a fault shows on the shell or only through it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Seen by the naked eye.
    Outside,
    /// Seen only by the candling light: a fault of the inside, or a crack too fine for the eye.
    Inside,
    /// Known from the record, not from the egg.
    Record,
}

/// Whether an egg with the defect may ever go into a carton for others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Packable {
    /// Never.
    Never,
    /// Once it is clean again and was looked over again, where the rules allow the cleaning.
    AfterCleaning,
    /// The rules allow it (perhaps at a lower grade); the house policy decides.
    HouseDecides,
}

/// Where a pulled egg goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Disposal {
    /// Eaten at home, soon and cooked through.
    Home,
    /// Fed to animals, where local rules allow it.
    Feed,
    /// Composted.
    Compost,
    /// Thrown away closed, out of reach of birds and pets.
    Discard,
    /// Set under a hen or in an incubator.
    Hatch,
}

impl Disposal {
    /// Every use, best first.
    pub const ALL: [Disposal; 5] = [
        Disposal::Home,
        Disposal::Feed,
        Disposal::Compost,
        Disposal::Discard,
        Disposal::Hatch,
    ];

    /// The word in records and files, for example `home`.
    pub const fn code(self) -> &'static str {
        match self {
            Disposal::Home => "home",
            Disposal::Feed => "feed",
            Disposal::Compost => "compost",
            Disposal::Discard => "discard",
            Disposal::Hatch => "hatch",
        }
    }

    /// The use with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Disposal> {
        Disposal::ALL.into_iter().find(|d| d.code() == code)
    }
}

/// One line of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct DefectFacts {
    /// The defect.
    pub defect: Defect,
    /// The steps at which it is usually seen, earliest first.
    pub seen_at: &'static [Step],
    /// Where it shows.
    pub side: Side,
    /// Whether the egg may ever be packed for others.
    pub packable: Packable,
    /// What usually becomes of the egg, in words.
    pub disposition: &'static str,
    /// The uses that may be offered, best first.
    pub uses: &'static [Disposal],
    /// What usually causes it.
    pub cause: &'static str,
    /// What to change in the nest or in the handling.
    pub advice: &'static str,
    /// Where the disposition comes from.
    pub source: &'static str,
    /// How sure that source is.
    pub mark: Mark,
}

impl DefectFacts {
    /// Whether the house policy has a say.
    pub fn house_may_decide(&self) -> bool {
        self.packable == Packable::HouseDecides
    }
}
