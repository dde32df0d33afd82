use serde::{Deserialize, Serialize};

macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident = $code:literal,)*) => {
        /// Every kind of record.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Kind { $($(#[$doc])* $name,)* }

        impl Kind {
            /// Every kind, in the order in which eggs meet them; set-up facts last.
            pub const ALL: &[Kind] = &[$(Kind::$name,)*];

            /// The word in records and files, for example `gather`.
            pub const fn code(self) -> &'static str {
                match self { $(Kind::$name => $code,)* }
            }
        }
    };
}

kinds! {
    /// A collection round at one coop.
    Gather = "gather",
    /// Eggs pulled out of the flow, with a reason and a use.
    Cull = "cull",
    /// One cleaning batch; dry cleaning is one too.
    Wash = "wash",
    /// Looking through the shell with a light.
    Candle = "candle",
    /// Single egg weights.
    Weigh = "weigh",
    /// Packing a run of cartons.
    Carton = "carton",
    /// Eggs leaving: sold, given, eaten, or coming back.
    Out = "out",
    /// What someone really found at a station.
    Recount = "recount",
    /// A span of days when eggs may not be sold.
    Hold = "hold",
    /// Laying birds in a coop.
    Headcount = "headcount",
    /// Feed bought or given.
    Feed = "feed",
    /// The temperature of a cooler.
    Reading = "reading",
    /// A brush replaced, cloths laundered, cartons bought.
    Supply = "supply",
    /// Later values for fields of a record.
    Amend = "amend",
    /// A record that should not stand, with who and why; never a deletion.
    Void = "void",
    /// How far a device's clock was off against the server's.
    Clock = "clock",
    /// What a person decided about a line of the review list.
    Decision = "decision",
    /// The farm itself: name, zone, units, rule pack.
    Farm = "farm",
    /// A place where birds lay.
    Coop = "coop",
    /// Someone who logs.
    Person = "person",
    /// An installation that logs.
    Device = "device",
    /// A fridge or cold room.
    Cooler = "cooler",
    /// Where eggs go: a stall, a shop, a neighbour.
    Outlet = "outlet",
}

impl Kind {
    /// The kind with this word, if there is one.
    pub fn from_code(code: &str) -> Option<Kind> {
        Kind::ALL.iter().copied().find(|k| k.code() == code)
    }

    /// Set-up facts live in the farm's own document, all else in the document of its month.
    pub const fn is_setup(self) -> bool {
        matches!(
            self,
            Kind::Farm | Kind::Coop | Kind::Person | Kind::Device | Kind::Cooler | Kind::Outlet
        )
    }

    /// An amendment or a void: it speaks about another record.
    pub const fn is_edit(self) -> bool {
        matches!(self, Kind::Amend | Kind::Void)
    }
}
