use serde::{Deserialize, Serialize};

use super::super::units::Millimetres;

/// The shell as seen and felt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shell {
    /// About the usual shape, sound, no thin spots.
    Normal,
    /// Unbroken, but misshapen, ridged or thin in places.
    Abnormal,
    /// Cracked, membranes whole.
    Cracked,
    /// Cracked through the membranes.
    Leaking,
    /// Smashed.
    Smashed,
}

/// How strong a stain is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StainTone {
    /// Very small specks or marks; the egg still looks clean.
    Specks,
    /// A shade over some of the shell that one sees on a second look.
    Slight,
    /// Plain, but not striking.
    Moderate,
    /// Striking.
    Prominent,
}

/// A stain on the shell.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stain {
    /// How strong it is.
    pub tone: StainTone,
    /// The share of the surface, 0 to 1.
    pub share: f64,
    /// Whether it is in several places.
    pub scattered: bool,
}

/// The white as it lets the yolk move.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum White {
    /// Clear and firm.
    Firm,
    /// Clear and reasonably firm.
    ReasonablyFirm,
    /// Weak and watery.
    Weak,
}

/// The outline of the yolk as the egg is twirled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Yolk {
    /// Slightly defined.
    Slight,
    /// Fairly well defined.
    Fair,
    /// Plainly visible; dark, enlarged or flattened.
    Plain,
}

/// Blood or meat spots.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spots {
    /// Their size together.
    pub size: Millimetres,
    /// Whether blood has spread into the white.
    pub in_white: bool,
}

/// The germ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Germ {
    /// Not to be seen.
    None,
    /// Development visible, no blood from it.
    Visible,
    /// A blood ring or an embryo.
    Blood,
}

/// What somebody saw of one egg. The inside is `None` where nobody looked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Seen {
    /// The shell.
    pub shell: Shell,
    /// Dirt or foreign matter that adheres.
    pub adhering_dirt: bool,
    /// A stain, if any.
    pub stain: Option<Stain>,
    /// The depth of the air cell.
    pub air_cell: Option<Millimetres>,
    /// Whether the air cell moves or bubbles.
    pub air_cell_moves: bool,
    /// The white.
    pub white: Option<White>,
    /// The yolk.
    pub yolk: Option<Yolk>,
    /// Blood or meat spots, if any.
    pub spots: Option<Spots>,
    /// The germ.
    pub germ: Germ,
    /// Any rot, mould, must, green white, stuck yolk.
    pub rotten: bool,
    /// Whether the egg was washed or otherwise cleaned.
    pub cleaned: bool,
}

impl Seen {
    /// A clean, sound egg of which the inside was not looked at.
    pub fn clean_outside() -> Seen {
        Seen {
            shell: Shell::Normal,
            adhering_dirt: false,
            stain: None,
            air_cell: None,
            air_cell_moves: false,
            white: None,
            yolk: None,
            spots: None,
            germ: Germ::None,
            rotten: false,
            cleaned: false,
        }
    }

    /// A clean, sound egg with the inside as given.
    pub fn candled(air_cell: Millimetres, white: White, yolk: Yolk) -> Seen {
        Seen {
            air_cell: Some(air_cell),
            white: Some(white),
            yolk: Some(yolk),
            ..Seen::clean_outside()
        }
    }
}
