use pointdown_core::book::{self, review, trace, trends};
use pointdown_core::{farm, paper, record, trade};

use crate::mirror::mirror_words;

mirror_words! {
    /// Whose eggs.
    Species of trade::Species {
        /// Domestic chicken.
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
    } both
}

mirror_words! {
    /// Where eggs stand on the farm.
    Station of record::Station {
        /// Gathered, not cleaned yet.
        Basket,
        /// Cleaned, or found clean.
        Clean,
        /// Packed in cartons.
        Cartoned,
    } both
}

mirror_words! {
    /// Where eggs can be in the ledger.
    Place of book::Place {
        /// Where they are laid; never counted empty.
        Nest,
        /// Gathered, not cleaned yet.
        Basket,
        /// Cleaned, or found clean.
        Clean,
        /// Packed in cartons.
        Cartoned,
        /// Sold, given or eaten.
        Out,
        /// Pulled out of the flow.
        Pulled,
        /// What a recount did not find, or found too much of.
        Unaccounted,
    }
}

mirror_words! {
    /// How pressing a line of the review list is.
    Weight of review::Weight {
        /// Someone may eat what they should not: decide now.
        Urgent,
        /// Totals are wrong until someone decides.
        Soon,
        /// Worth knowing.
        Note,
    }
}

mirror_words! {
    /// How sure it is that eggs are those in question.
    Share of trace::Share {
        /// Every one of them is.
        All,
        /// Some may be: they were pooled with others.
        May,
    }
}

mirror_words! {
    /// How long each span of a trend is.
    Step of trends::Step {
        /// One farm day.
        Day,
        /// Monday to Sunday, as ISO 8601 counts weeks.
        Week,
        /// A calendar month.
        Month,
        /// A calendar year.
        Year,
    } both
}

mirror_words! {
    /// A size of paper.
    Paper of paper::Paper {
        /// 210 × 297 mm.
        A4,
        /// 8.5 × 11 in.
        Letter,
    } both
}

mirror_words! {
    /// How sure a source is.
    Mark of trade::Mark {
        /// The published text or number was read when the rule was written down.
        Seen,
        /// Known from a cited publication that was not read again.
        Memory,
        /// A habit of the trade; no publication is known.
        CommonPractice,
        /// Set by the farm itself.
        House,
    }
}

mirror_words! {
    /// How a record's time cannot be.
    Misdating of review::Misdating {
        /// It says that it happened after it was written down.
        Future,
        /// Cartons left before they were packed.
        BeforePacking,
        /// Eggs were handled before the day on which they were gathered.
        BeforeGathering,
    }
}

mirror_words! {
    /// What has to be done.
    Task of book::due::What {
        /// Held eggs stand here: set them apart, touch them no further.
        SetApart,
        /// A cooler is too warm or too cold.
        Cooler,
        /// Into the cooler.
        Chill,
        /// Clean.
        Wash,
        /// Look through the shell.
        Candle,
        /// Into cartons.
        Pack,
        /// Sell, or deliver.
        Sell,
        /// The best-by date of cartons ends.
        BestBy,
        /// A hold ends.
        HoldEnds,
        /// Replace the brush.
        Brush,
    }
}

mirror_words! {
    /// What eggs are cleaned with.
    Means of trade::Means {
        /// A dry brush, fine sandpaper or a dry cloth; the bloom stays.
        Dry,
        /// A spray or running water that drains away.
        Spray,
        /// A brush under running water.
        Brush,
        /// A damp cloth used for one batch, then laundered.
        Cloth,
        /// A paper towel used for one egg.
        PaperTowel,
        /// A sponge.
        Sponge,
        /// A basin or bucket in which the egg is under water.
        Basin,
    } both
}

mirror_words! {
    /// Whether a way of cleaning is open to eggs that are sold.
    Permission of trade::rules::Permission {
        /// Allowed.
        Allowed,
        /// The egg loses its class, except in places with an authorisation.
        LosesClass,
        /// Not allowed.
        Forbidden,
    }
}

mirror_words! {
    /// How the water stands beside its window.
    Verdict of farm::Verdict {
        /// Within it.
        Right,
        /// Too cold: it draws germs through the shell.
        Cold,
        /// So hot that shells crack.
        Hot,
        /// Nobody measured the water, or there is no window to hold it against.
        Unknown,
    }
}

mirror_words! {
    /// What was not as it should be in a cleaning batch.
    FaultOfWash of trade::WashFault {
        /// This way of cleaning is not open under the rules or the house policy.
        NotAllowed,
        /// The eggs may not be sold in their class any more.
        LosesClass,
        /// The eggs were too cold for any water.
        EggTooCold,
        /// The water was too cold for the eggs.
        WaterTooCold,
        /// The water was so hot that shells crack.
        WaterTooHot,
        /// The rinse was colder than allowed beside the wash water.
        RinseTooCold,
        /// The sanitiser was too weak.
        SanitiserTooWeak,
        /// The sanitiser was too strong.
        SanitiserTooStrong,
        /// Eggs stood in water.
        Soaked,
        /// The water was used too long.
        WaterTooOld,
        /// Too many baskets went through the water.
        TooManyBaskets,
        /// The cleaner is not for eggs.
        Cleaner,
        /// The tool is advised against.
        Means,
        /// The sink was not cleaned first.
        SinkNotCleaned,
        /// The temperature of eggs or water was not measured.
        NotMeasured,
    }
}
