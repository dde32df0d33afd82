//! What is known of each defect: where it is seen, what becomes of the egg, and what to change.

use super::defect::Defect;
use super::defect_facts::{DefectFacts, Disposal, Packable, Side, Step};
use super::finding::Mark;

const SHELL_TERMS: &str = "WAC 16-104-130 and 16-104-140, after AMS 56";
const RESTRICTED: &str = "7 CFR 57.1";
const G: Step = Step::Gathering;
const W: Step = Step::Cleaning;
const L: Step = Step::Candling;
const P: Step = Step::Packing;
const HOME_OR_OUT: &[Disposal] = &[Disposal::Home, Disposal::Compost, Disposal::Discard];
const HOME_OR_FEED: &[Disposal] = &[Disposal::Home, Disposal::Feed, Disposal::Compost];
const OUT: &[Disposal] = &[Disposal::Compost, Disposal::Discard];

impl Defect {
    /// What is known of this defect.
    pub fn facts(self) -> DefectFacts {
        use Mark::{CommonPractice, Seen};
        use Packable::{AfterCleaning, HouseDecides, Never};
        use Side::{Inside, Outside, Record};
        let row = |seen_at, side, packable, disposition, uses| DefectFacts {
            defect: self,
            seen_at,
            side,
            packable,
            disposition,
            uses,
            cause: "",
            advice: "",
            source: "",
            mark: Seen,
        };
        let (facts, cause, advice, source, mark) = match self {
            Defect::Mud => (
                row(
                    &[G, W],
                    Outside,
                    AfterCleaning,
                    "Dry and light: clean, look again, then pack. Wet, thick, or from a puddle: \
                     not for the carton, since cold water draws bacteria in; wash and eat at once \
                     if sound, else discard. Never hide it among clean ones.",
                    HOME_OR_OUT,
                ),
                "Muddy feet and runs, floor laying, wet weather.",
                "Drain and cover the way to the nests; dry litter; gather more often.",
                "7 CFR 57.1 (dirty egg); Poultry Science 87(6) on cold water",
                Seen,
            ),
            Defect::Dung => (
                row(
                    &[G, W],
                    Outside,
                    AfterCleaning,
                    "A dry speck: clean and look again. Adhering or spread droppings: a dirty, \
                     not for the carton; home use after washing if sound, else discard.",
                    HOME_OR_OUT,
                ),
                "Birds that roost in the nest, dirty nest litter, loose droppings.",
                "Close nests at night, roosts higher than nests, change litter at least every two \
                 weeks; loose droppings in several birds: ask a veterinarian.",
                RESTRICTED,
                Seen,
            ),
            Defect::EggContent => (
                row(
                    &[G, W, P],
                    Outside,
                    Never,
                    "White or yolk of another egg feeds bacteria and sticks to the carton: out; \
                     wash and eat at once, or discard.",
                    HOME_OR_OUT,
                ),
                "A broken neighbour in the nest or the basket, egg eating.",
                "More padding, fewer eggs a nest, gather oftener; look for an egg eater and for \
                 thin shells.",
                "common practice, no source",
                CommonPractice,
            ),
            Defect::Bedding => (
                row(
                    &[G, W],
                    Outside,
                    AfterCleaning,
                    "Brush it off dry and look again; what stays on is adhering foreign matter, \
                     a dirty.",
                    HOME_OR_OUT,
                ),
                "Damp litter, eggs wet from the bird or from sweating.",
                "Dry, coarse litter that does not cling; let no egg sweat before cleaning.",
                RESTRICTED,
                Seen,
            ),
            Defect::Stain => (
                row(
                    &[W, L, P],
                    Outside,
                    HouseDecides,
                    "Measure the share of the surface: moderate stain up to 1/32 in one place or \
                     1/16 scattered is a B; more, or a prominent stain, is a dirty.",
                    HOME_OR_FEED,
                ),
                "Wet dirt left to dry on, tannin of litter, rusty wire, blood of young layers.",
                "Gather oftener, change the litter, no rusty wire.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::ImpactCrack => (
                row(
                    &[G, W, L, P],
                    Outside,
                    Never,
                    "A check: not for the carton. Cook at once and through, or discard.",
                    HOME_OR_OUT,
                ),
                "A knock: hard nest floor, full basket, hasty hands, thin shells late in lay.",
                "Padding in the nest; baskets no deeper than five layers; look at one carrier and \
                 one route at a time.",
                RESTRICTED,
                Seen,
            ),
            Defect::HairlineCrack => (
                row(
                    &[L],
                    Inside,
                    Never,
                    "A check: seen by the light only, but open to bacteria. Not for the carton; \
                     cook at once and through, or discard.",
                    HOME_OR_OUT,
                ),
                "A light knock, thin shell, water much hotter than the egg.",
                "Keep the wash water within its window; padding; shell grit; candle after washing.",
                RESTRICTED,
                Seen,
            ),
            Defect::Leaker => (
                row(
                    &[G, W, L, P],
                    Outside,
                    Never,
                    "Loss: discard, and clean what it touched.",
                    OUT,
                ),
                "A hard knock or a check that was handled again.",
                "As for cracks; take checks out before the next step.",
                RESTRICTED,
                Seen,
            ),
            Defect::RoughShell => (
                row(
                    &[G, L, P],
                    Outside,
                    HouseDecides,
                    "Rough areas that do not change shape or strength are practically normal; \
                     marked roughness is abnormal, a B.",
                    HOME_OR_FEED,
                ),
                "Disturbance at laying, double ovulation, some respiratory illness.",
                "Quiet at laying time; if many birds do it at once, ask a veterinarian.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::ThinShell => (
                row(
                    &[G, L, P],
                    Outside,
                    HouseDecides,
                    "Unbroken with a pronounced thin spot: abnormal, a B at best, and it seldom \
                     lives to the kitchen. Own use at once is the usual way.",
                    HOME_OR_FEED,
                ),
                "Old hens, heat, too little calcium or vitamin D, illness.",
                "Oyster shell always before them; shade and cool water; sudden thin shells in \
                 several birds: ask a veterinarian.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::SoftShell => (
                row(
                    &[G],
                    Outside,
                    Never,
                    "No shell to keep bacteria out: own use at once and cooked, if clean and \
                     sound, else feed or discard.",
                    &[Disposal::Home, Disposal::Feed, Disposal::Discard],
                ),
                "First eggs of a pullet, fright, heat, too little calcium, illness.",
                "Calcium and quiet; several at once are a sign of disease: ask a veterinarian.",
                "common practice, no source",
                CommonPractice,
            ),
            Defect::Pimples => (
                row(
                    &[G, L, P],
                    Outside,
                    HouseDecides,
                    "Sound and merely spotted: fit to eat, and some customers do not mind. Marked: \
                     seconds. A pimple knocked off can leave a hole: candle it.",
                    HOME_OR_FEED,
                ),
                "Too much calcium for that bird, an egg held back, disturbance.",
                "Offer grit apart from the feed; quiet at laying time.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::Ridged => (
                row(
                    &[G, L, P],
                    Outside,
                    HouseDecides,
                    "Slight ridges are practically normal; pronounced ridges or wrinkles are \
                     abnormal, a B.",
                    HOME_OR_FEED,
                ),
                "A shell broken and mended in the bird, crowding, age, illness.",
                "Room at the nests; many at once: ask a veterinarian.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::Misshapen => (
                row(
                    &[G, P],
                    Outside,
                    HouseDecides,
                    "Somewhat unusual or misshapen: abnormal, a B; it may not sit in the carton.",
                    HOME_OR_FEED,
                ),
                "Young layers, disturbance, some illnesses.",
                "Wait out the start of lay; else quiet and a look at the flock's health.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::Round => (
                row(
                    &[G, P],
                    Outside,
                    HouseDecides,
                    "Abnormal shape, a B; without a pointed end it cannot be set pointed end down.",
                    HOME_OR_FEED,
                ),
                "A trait of the bird; young layers.",
                "None needed.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::Long => (
                row(
                    &[G, P],
                    Outside,
                    HouseDecides,
                    "Abnormal shape, a B; the lid would crack it: own use or a flat.",
                    HOME_OR_FEED,
                ),
                "A trait of the bird.",
                "None needed; keep it out of closed cartons.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::DoubleYolk => (
                row(
                    &[L, P],
                    Inside,
                    HouseDecides,
                    "Good to eat; sell as such if the lid closes over it, else own use.",
                    HOME_OR_FEED,
                ),
                "Young layers coming into lay; a trait of some birds.",
                "None needed; never set it for hatching.",
                "common practice, no source",
                CommonPractice,
            ),
            Defect::VerySmall => (
                row(
                    &[G, P],
                    Outside,
                    HouseDecides,
                    "Under the smallest class: no size may be printed; often without a yolk. Own \
                     use or feed.",
                    HOME_OR_FEED,
                ),
                "First eggs of a pullet, a bit of tissue taken for a yolk.",
                "None needed; if an old hen does it often, look at her.",
                "common practice, no source",
                CommonPractice,
            ),
            Defect::BloodSpot => (
                row(
                    &[L],
                    Inside,
                    HouseDecides,
                    "Up to 1/8 inch (3.2 mm) in all: a B, own use. Larger, or spread into the \
                     white: loss, discard. Blood from a germ: inedible.",
                    HOME_OR_OUT,
                ),
                "A small vessel broke at ovulation; a trait, fright, some feeds.",
                "Quiet; if it grows common, look at feed and age.",
                "Haw. Code R. 4-46-1",
                Seen,
            ),
            Defect::MeatSpot => (
                row(
                    &[L],
                    Inside,
                    HouseDecides,
                    "Up to 1/8 inch (3.2 mm) in all: a B, own use. Larger: loss, discard.",
                    HOME_OR_OUT,
                ),
                "A bit of tissue of the oviduct; brown layers more often.",
                "None needed.",
                "Haw. Code R. 4-46-1",
                Seen,
            ),
            Defect::MottledYolk => (
                row(
                    &[L],
                    Inside,
                    HouseDecides,
                    "Slight mottling is fit to eat; a yolk with plain dark or pale patches is a B.",
                    HOME_OR_FEED,
                ),
                "Age, warm storage, some worm medicines, cottonseed or acorns in the feed.",
                "Check feed and any medicine: a medicine may mean a withdrawal time.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::LooseAirCell => (
                row(
                    &[L],
                    Inside,
                    HouseDecides,
                    "A free or bubbly air cell alone does not lower the US grade; in the EU class \
                     A it must be stationary.",
                    HOME_OR_FEED,
                ),
                "Rough carriage, stored pointed end up, age.",
                "Pointed end down from the first; soft wheels; sell younger.",
                SHELL_TERMS,
                Seen,
            ),
            Defect::Rot => (
                row(
                    &[L],
                    Inside,
                    Never,
                    "Inedible: discard closed, count it, clean what it touched and look for the \
                     cause.",
                    OUT,
                ),
                "Cold or dirty wash water, a check, a hidden nest, warm storage.",
                "Trace the lot; look at the wash water and at how long eggs lay.",
                RESTRICTED,
                Seen,
            ),
            Defect::UnknownAge => (
                row(
                    &[G],
                    Record,
                    Never,
                    "Not for others. Own use only after it was opened apart and looked at; if it \
                     was warm or sat on, discard.",
                    HOME_OR_OUT,
                ),
                "A hidden nest, a missed nest, a basket nobody logged.",
                "Walk the hedges; shut birds in until mid-morning; mark nest eggs; log each gather.",
                "common practice, no source",
                CommonPractice,
            ),
        };
        DefectFacts {
            cause,
            advice,
            source,
            mark,
            ..facts
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_defect_has_a_full_line() {
        for defect in Defect::ALL {
            let facts = defect.facts();
            assert_eq!(facts.defect, defect);
            assert!(!facts.seen_at.is_empty() && !facts.uses.is_empty());
            for words in [facts.disposition, facts.cause, facts.advice, facts.source] {
                assert!(!words.is_empty(), "{defect:?}");
            }
            let from_memory_or_habit = facts.source == "common practice, no source";
            assert_eq!(from_memory_or_habit, facts.mark == Mark::CommonPractice);
        }
    }

    #[test]
    fn restricted_eggs_are_never_packed() {
        for defect in [
            Defect::ImpactCrack,
            Defect::HairlineCrack,
            Defect::Leaker,
            Defect::Rot,
            Defect::EggContent,
            Defect::UnknownAge,
        ] {
            assert_eq!(defect.facts().packable, Packable::Never, "{defect:?}");
            assert!(!defect.facts().uses.contains(&Disposal::Hatch));
        }
        assert!(!Defect::Leaker.facts().uses.contains(&Disposal::Home));
        assert!(!Defect::Rot.facts().uses.contains(&Disposal::Home));
        assert!(Defect::Pimples.facts().house_may_decide());
        assert!(!Defect::Mud.facts().house_may_decide());
    }

    #[test]
    fn uses_go_round() {
        for disposal in Disposal::ALL {
            assert_eq!(Disposal::from_code(disposal.code()), Some(disposal));
        }
    }
}
