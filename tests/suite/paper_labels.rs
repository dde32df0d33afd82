//! Carton labels: geometry, words, code, and what is refused.

use pointdown_core::farm::LabelWish;
use pointdown_core::paper::{Paper, QrCode, Stock};
use pointdown_core::record::{Draft, Fields, Id, Kind};
use pointdown_tests::phone::{Phone, gather};

/// A farm under rules, with hen and duck eggs in cartons.
pub(crate) struct Packed {
    pub(crate) phone: Phone,
    pub(crate) hens: Id,
    pub(crate) ducks: Id,
}

/// Eggs gathered, weighed, candled and packed on one day, under these rules.
pub(crate) fn packed(rules: &str, size: Option<&str>, grade: Option<&str>) -> Packed {
    let phone = Phone::first("Ada", "2026-11-24T08:00:00Z", "Europe/Dublin");
    let mut set = Fields::new();
    set.insert("rule_pack".into(), rules.into());
    let block = "Larkmeadow, 4 Example Lane, Exampleville 00000";
    set.insert("producer".into(), block.into());
    phone.farm.amend(phone.farm.id(), set, None).unwrap();
    phone.log(gather("Orchard", "hen", 30));
    phone.log(gather("Pond", "duck", 8));
    let grams: Vec<f64> = (0..30).map(|n| 58.0 + f64::from(n) / 10.0).collect();
    let weigh = Draft::new(Kind::Weigh).with("lot", "2026-11-24/hen");
    phone.log(weigh.with("grams", serde_json::json!(grams)));
    let candle = Draft::new(Kind::Candle).with("parts", "2026-11-24/hen=30");
    phone.log(candle.with("found", serde_json::json!({"a": 30})));
    let run = |species: &str, eggs: u32, each: u32| {
        Draft::new(Kind::Carton)
            .with("parts", format!("2026-11-24/{species}={eggs}"))
            .with("from", "basket")
            .with("species", species)
            .with("eggs_per_carton", each)
            .with("cartons", eggs / each)
            .with("packed", "2026-11-24")
    };
    let mut hens = run("hen", 24, 12);
    if let Some(size) = size {
        hens = hens.with("size", size);
    }
    if let Some(grade) = grade {
        hens = hens.with("grade", grade);
    }
    let hens = phone.log(hens);
    let ducks = phone.log(run("duck", 6, 6));
    Packed { phone, hens, ducks }
}

pub(crate) fn stock(name: &str) -> Stock {
    name.parse().unwrap()
}

// Sheets of labels are cut so that the white around them is the same left and right, above and below;
// paper sizes by ISO 216 and ANSI/ASME Y14.1.
#[test]
fn margins_labels_and_gaps_make_up_the_page() {
    let all = Stock::known();
    assert!(all.len() >= 10);
    for stock in all {
        let around = |page: f64, label: f64, gap: f64, margin: f64, n: u32| {
            let n = f64::from(n);
            (2.0 * margin + n * label + (n - 1.0) * gap - page).abs()
        };
        let across = around(
            stock.page.0,
            stock.label.0,
            stock.gap.0,
            stock.margin.0,
            stock.columns,
        );
        let down = around(
            stock.page.1,
            stock.label.1,
            stock.gap.1,
            stock.margin.1,
            stock.rows,
        );
        assert!(
            across < 0.02 && down < 0.02,
            "{}: {across} {down}",
            stock.name
        );
        let (x, y) = stock.corner(stock.labels() - 1);
        let right = x + stock.label.0 + stock.margin.0;
        assert!((right - stock.page.0).abs() < 0.02);
        assert!((y + stock.label.1 + stock.margin.1 - stock.page.1).abs() < 0.02);
    }
    // Millimetres and inches of the same sheet agree; 1 in = 25.4 mm by definition.
    let inches = stock("letter 3x10 2.625x1 0.125x0 0.1875x0.5 in");
    let mm = stock("215.9x279.4 3x10 66.675x25.4 3.175x0 4.7625x12.7 mm");
    assert!((inches.corner(29).0 - mm.corner(29).0).abs() < 1e-9);
    assert_eq!(inches.page, Paper::Letter.mm());
}

#[test]
fn sheets_that_cannot_be_are_refused_with_what_is_allowed() {
    for (sheet, says) in [
        ("a4-9x9", "a4-3x7"),
        ("", "single-WIDTHxHEIGHT"),
        ("a4 3x7 63.5x38.1 2.5x0 20x15 mm", "fit on it"),
        ("a4 0x7 63.5x38.1 2.5x0 7x15 mm", "columns"),
        ("a4 3x7 63.5x38.1 -2.5x0 7x15 mm", "gaps"),
        ("a4 3x7 63.5x38.1 2.5x0 7x15 ft", "mm or in"),
        ("single-5x5", "15 to 450"),
        ("single-NaNxinf", "allowed"),
        ("a4 99999999999x7 63.5x38.1 2.5x0 7x15 mm", "allowed"),
    ] {
        let error = sheet.parse::<Stock>().unwrap_err();
        assert_eq!(error.field, "sheet");
        assert!(error.allowed.contains(says), "{sheet}: {error}");
    }
}

/// The text of a code as an independent decoder reads it from its picture, 6 dots to a module.
fn decoded(code: &QrCode) -> String {
    const DOTS: i32 = 6;
    let side = (code.modules() * DOTS) as usize;
    let light = |x: usize, y: usize| {
        if code.is_dark(x as i32 / DOTS, y as i32 / DOTS) {
            0
        } else {
            255
        }
    };
    let mut image = rqrr::PreparedImage::prepare_from_greyscale(side, side, light);
    let grids = image.detect_grids();
    assert_eq!(grids.len(), 1);
    grids[0].decode().unwrap().1
}

#[test]
fn a_code_is_read_back_by_another_library() {
    for text in [
        "2026-328-hen",
        "2026-328-duck-a1B2c3",
        "Ø 7 & <b>",
        &"x".repeat(60),
    ] {
        assert_eq!(decoded(&QrCode::new(text).unwrap()), text);
    }
    for text in ["", &"x".repeat(61)] {
        assert_eq!(QrCode::new(text).unwrap_err().field, "code");
    }
}

#[test]
fn a_label_says_what_the_rules_ask_and_its_code_names_the_lot() {
    let Packed { phone, hens, ducks } = packed("us_federal", Some("Large"), Some("a"));
    assert_eq!(phone.farm.usual_paper().unwrap(), Paper::Letter);
    assert_eq!(phone.farm.find_carton("2026-328-HEN").unwrap(), hens);
    let page = phone
        .farm
        .label_page(&LabelWish::new(hens, stock("a4-2x4")))
        .unwrap();
    let html = &page.page.html;
    for text in [
        "12 Large eggs",
        "Hen eggs · Grade A",
        "Packed 2026-11-24 (day 328)",
        "Best by 2027-01-07",
        "Keep Refrigerated",
        // 21 CFR 101.17(h), letter for letter, the first words bold and the whole in a box.
        "<p class=\"statement boxed\"><b>SAFE HANDLING INSTRUCTIONS</b>: To prevent illness from \
         bacteria: keep eggs refrigerated, cook eggs until yolks are firm, and cook foods containing \
         eggs thoroughly.</p>",
        "4 Example Lane, Exampleville 00000",
        "aria-label=\"QR code: 2026-328-hen\"",
    ] {
        assert_eq!(html.matches(text).count(), 2, "{text}");
    }
    assert_eq!(
        (page.sheets, page.labels_per_carton, page.next_free),
        (1, 1, Some(3))
    );
    // What the rules add in words stands on the screen, above the sheet, and not on a label.
    let (screen, sheet) = html.split_once("<main>").unwrap();
    assert!(screen.contains("State and local egg laws") && !sheet.contains("egg laws"));
    // No grade and no size for duck eggs, and their name in bold.
    let page = phone
        .farm
        .label_page(&LabelWish::new(ducks, stock("a4-2x4")))
        .unwrap();
    assert!(page.page.html.contains("bold\">Duck eggs</p>"));
}

#[test]
fn what_the_eggs_have_no_right_to_is_refused() {
    let refused = |packed: &Packed, wish: LabelWish| {
        packed
            .phone
            .farm
            .label_page(&wish)
            .unwrap_err()
            .invalid
            .unwrap()
    };
    let wish = |id| LabelWish::new(id, stock("a4-2x4"));
    let all = packed("us_federal", Some("large"), Some("a"));
    let unweighed = LabelWish {
        weighed: Some(false),
        ..wish(all.hens)
    };
    assert!(refused(&all, unweighed).allowed.contains("weighed"));
    let ungraded = LabelWish {
        graded: Some(false),
        ..wish(all.hens)
    };
    assert!(
        refused(&all, ungraded)
            .allowed
            .contains("candled and graded")
    );
    let boast = LabelWish {
        claims: vec!["Jumbo eggs".into()],
        ..wish(all.hens)
    };
    assert!(refused(&all, boast).field.contains("claim"));
    let first = LabelWish {
        first: 9,
        ..wish(all.hens)
    };
    assert_eq!(
        refused(&all, first).allowed,
        "allowed is 1 to 8, the labels of a sheet"
    );
    let none = LabelWish {
        cartons: Some(0),
        ..wish(all.hens)
    };
    assert_eq!(refused(&all, none).field, "cartons");
    let many = LabelWish {
        cartons: Some(u32::MAX),
        ..wish(all.hens)
    };
    assert_eq!(refused(&all, many).field, "cartons");
    let tiny = LabelWish {
        stock: stock("single-25x20"),
        ..wish(all.hens)
    };
    assert!(refused(&all, tiny).allowed.contains("a4-2x4"));
    // Under the EU's rules the size has another word; a producer code is printed where there is one.
    let all = packed("eu", Some("large"), Some("a"));
    assert!(
        refused(&all, wish(all.hens))
            .allowed
            .contains("xl, l, m, s")
    );
    let all = packed("eu", Some("l"), Some("a"));
    let coded = LabelWish {
        producer_code: Some("1-XX-00000".into()),
        ..wish(all.hens)
    };
    assert!(
        all.phone
            .farm
            .label_page(&coded)
            .unwrap()
            .page
            .html
            .contains("1-XX-00000")
    );
    // Without rules nobody can say what has to stand there.
    let phone = Phone::first("Ada", "2026-11-24T08:00:00Z", "UTC");
    let nothing = phone.farm.label_page(&wish(all.hens)).unwrap_err();
    assert!(nothing.message.contains("no run of cartons"), "{nothing}");
}

#[test]
fn labels_begin_at_the_first_free_one_and_go_on_to_further_sheets() {
    let Packed { phone, hens, .. } = packed("us_federal", Some("large"), Some("a"));
    let wish = LabelWish {
        first: 6,
        cartons: Some(7),
        ..LabelWish::new(hens, stock("a4-2x4"))
    };
    let page = phone.farm.label_page(&wish).unwrap();
    let html = &page.page.html;
    assert_eq!((page.sheets, page.next_free), (2, Some(5)));
    assert_eq!(html.matches("class=\"sheet\"").count(), 2);
    let first = html.split("class=\"sheet\"").nth(1).unwrap();
    assert!(first.contains("\"sheet 1\">") && first.matches("class=\"free\"").count() == 5);
    assert_eq!(html.matches("class=\"count bold\"").count(), 7);
    // Small labels take the parts apart, and say so on the screen.
    let wish = LabelWish::new(hens, stock("single-62x29"));
    let page = phone.farm.label_page(&wish).unwrap();
    assert_eq!(
        (page.labels_per_carton, page.sheets, page.next_free),
        (3, 6, None)
    );
    assert!(
        page.cautions
            .iter()
            .any(|c| c.contains("each carton takes 3"))
    );
    // Every known sheet does.
    for stock in Stock::known() {
        let name = stock.name.clone();
        let page = phone.farm.label_page(&LabelWish::new(hens, stock));
        assert!(page.is_ok_and(|page| page.labels_per_carton <= 3), "{name}");
    }
}

#[test]
fn mixed_sizes_are_sold_by_the_least_that_a_carton_can_weigh() {
    let Packed { phone, hens, .. } = packed("us_federal", Some("mixed"), None);
    let page = phone
        .farm
        .label_page(&LabelWish::new(hens, stock("a4-2x4")))
        .unwrap();
    // The twelve lightest of 58.0, 58.1, ... g: 12 × 58 + (0 + 1 + ... + 11) ÷ 10 = 702.6 g.
    let text = "12 eggs of different sizes, net weight at least 702 g";
    assert!(page.page.html.contains(text));
}

#[test]
fn held_eggs_are_the_first_thing_that_is_said() {
    let Packed { phone, hens, .. } = packed("us_federal", None, None);
    phone.log(
        Draft::new(Kind::Hold)
            .with("from", "2026-11-20")
            .with("coop", "Orchard")
            .with("cause", "medicine"),
    );
    let page = phone
        .farm
        .label_page(&LabelWish::new(hens, stock("a4-2x4")))
        .unwrap();
    assert!(page.cautions[0].contains("on hold"), "{:?}", page.cautions);
}

#[test]
fn a_run_of_two_lots_has_a_code_of_its_own() {
    let Packed { phone, .. } = packed("us_federal", None, None);
    phone.env.pass_ms(86_400_000);
    phone.log(gather("Orchard", "hen", 6));
    let run = phone.log(
        Draft::new(Kind::Carton)
            .with("parts", "2026-11-24/hen=6,2026-11-25/hen=6")
            .with("from", "basket")
            .with("species", "hen")
            .with("eggs_per_carton", 12)
            .with("cartons", 1)
            .with("packed", "2026-11-25"),
    );
    let code = format!("2026-329-hen-{}", run.short());
    assert_eq!(phone.farm.find_carton(&code).unwrap(), run);
    let page = phone
        .farm
        .label_page(&LabelWish::new(run, stock("a4-2x4")))
        .unwrap();
    assert!(page.page.html.contains(&format!("QR code: {code}")));
    assert!(phone.farm.find_carton("2026-001-hen").is_err());
}
