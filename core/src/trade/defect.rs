use serde::{Deserialize, Serialize};

/// What can be wrong with an egg, as seen from outside or by the candling light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Defect {
    /// Wet or dried mud on the shell.
    Mud,
    /// Droppings on the shell.
    Dung,
    /// White or yolk of a broken neighbour dried onto the shell.
    EggContent,
    /// Litter stuck to the shell.
    Bedding,
    /// A stain that stays after dry cleaning.
    Stain,
    /// A star or dent from a knock.
    ImpactCrack,
    /// A crack seen only by the candling light.
    HairlineCrack,
    /// Shell and membranes broken, contents exposed.
    Leaker,
    /// Sandpaper-like shell.
    RoughShell,
    /// A shell that gives under a finger.
    ThinShell,
    /// Membrane with little or no shell.
    SoftShell,
    /// Calcium deposits.
    Pimples,
    /// Ridges or wrinkles round the shell.
    Ridged,
    /// Not the usual shape, flat-sided or lopsided.
    Misshapen,
    /// Nearly a ball.
    Round,
    /// Too long for the carton.
    Long,
    /// Two yolks seen by the light.
    DoubleYolk,
    /// A tiny egg, often without a yolk.
    VerySmall,
    /// A blood spot on the yolk or in the white.
    BloodSpot,
    /// A piece of tissue in the white.
    MeatSpot,
    /// Pale patches on the yolk.
    MottledYolk,
    /// An air cell that moves or bubbles.
    LooseAirCell,
    /// Any rot: black, mixed, white, mouldy, sour.
    Rot,
    /// Found where nobody knows since when.
    UnknownAge,
}

impl Defect {
    /// Every defect, outside faults first.
    pub const ALL: [Defect; 24] = [
        Defect::Mud,
        Defect::Dung,
        Defect::EggContent,
        Defect::Bedding,
        Defect::Stain,
        Defect::ImpactCrack,
        Defect::HairlineCrack,
        Defect::Leaker,
        Defect::RoughShell,
        Defect::ThinShell,
        Defect::SoftShell,
        Defect::Pimples,
        Defect::Ridged,
        Defect::Misshapen,
        Defect::Round,
        Defect::Long,
        Defect::DoubleYolk,
        Defect::VerySmall,
        Defect::BloodSpot,
        Defect::MeatSpot,
        Defect::MottledYolk,
        Defect::LooseAirCell,
        Defect::Rot,
        Defect::UnknownAge,
    ];

    /// The word in records and files, for example `hairline_crack`.
    pub const fn code(self) -> &'static str {
        match self {
            Defect::Mud => "mud",
            Defect::Dung => "dung",
            Defect::EggContent => "egg_content",
            Defect::Bedding => "bedding",
            Defect::Stain => "stain",
            Defect::ImpactCrack => "impact_crack",
            Defect::HairlineCrack => "hairline_crack",
            Defect::Leaker => "leaker",
            Defect::RoughShell => "rough_shell",
            Defect::ThinShell => "thin_shell",
            Defect::SoftShell => "soft_shell",
            Defect::Pimples => "pimples",
            Defect::Ridged => "ridged",
            Defect::Misshapen => "misshapen",
            Defect::Round => "round",
            Defect::Long => "long",
            Defect::DoubleYolk => "double_yolk",
            Defect::VerySmall => "very_small",
            Defect::BloodSpot => "blood_spot",
            Defect::MeatSpot => "meat_spot",
            Defect::MottledYolk => "mottled_yolk",
            Defect::LooseAirCell => "loose_air_cell",
            Defect::Rot => "rot",
            Defect::UnknownAge => "unknown_age",
        }
    }

    /// The defect with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Defect> {
        Defect::ALL.into_iter().find(|d| d.code() == code)
    }
}
