//! Pages as a browser prints them. Needs the Debian packages chromium and poppler-utils; a machine
//! without them says loudly that these tests were skipped.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use pointdown_core::book::trends::Step;
use pointdown_core::farm::LabelWish;
use pointdown_core::paper::{Paper, Stock, call_back_page};
use pointdown_core::record::{Draft, Kind};
use pointdown_tests::phone::Phone;
use tempfile::TempDir;

use crate::paper_labels::{packed, stock};
use crate::paper_pages::{call_back, nasty};

const POINTS: f64 = 72.0 / 25.4;

/// A browser and the tools that read what it printed.
struct Printer {
    folder: TempDir,
}

/// A printed page.
struct Printed {
    pdf: PathBuf,
    pages: u32,
    /// Width and height in millimetres.
    size: (f64, f64),
}

fn works(program: &str, word: &str) -> bool {
    let mut command = Command::new(program);
    command
        .arg(word)
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command.status().is_ok_and(|status| status.success())
}

impl Printer {
    /// The printer; nothing, said loudly, where a program is missing.
    fn new() -> Option<Printer> {
        for (program, word) in [
            ("chromium", "--version"),
            ("pdftotext", "-v"),
            ("pdfinfo", "-v"),
            ("pdftoppm", "-v"),
        ] {
            if !works(program, word) {
                // The test harness keeps what `eprintln!` says to itself.
                let mut err = std::io::stderr().lock();
                drop(writeln!(
                    err,
                    "skipped: {program} is not here, so no page was printed"
                ));
                return None;
            }
        }
        let folder = tempfile::tempdir().unwrap();
        Some(Printer { folder })
    }

    fn print(&self, name: &str, text: &str) -> Printed {
        let page = self.folder.path().join(name);
        let pdf = page.with_extension("pdf");
        fs::write(&page, text).unwrap();
        let profile = self.folder.path().join("profile");
        let mut browser = Command::new("chromium");
        browser
            .args([
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--no-pdf-header-footer",
            ])
            .args([
                "--disable-dev-shm-usage",
                "--no-first-run",
                "--disable-background-networking",
            ])
            .arg(format!("--user-data-dir={}", profile.display()))
            .arg(format!("--print-to-pdf={}", pdf.display()))
            .arg(format!("file://{}", page.display()));
        let done = browser.output().unwrap();
        assert!(
            pdf.exists(),
            "{name}: {}",
            String::from_utf8_lossy(&done.stderr)
        );
        let info = said(Command::new("pdfinfo").arg(&pdf));
        let value = |key: &str| {
            let line = info.lines().find(|line| line.starts_with(key)).unwrap();
            line[key.len()..].trim().to_owned()
        };
        let size = value("Page size:");
        let words: Vec<f64> = size
            .split(' ')
            .filter_map(|word| word.parse().ok())
            .collect();
        Printed {
            pdf,
            pages: value("Pages:").parse().unwrap(),
            size: (words[0] / POINTS, words[1] / POINTS),
        }
    }
}

fn said(command: &mut Command) -> String {
    let output = command.output().unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).unwrap()
}

impl Printed {
    fn text(&self) -> String {
        let text = said(
            Command::new("pdftotext")
                .arg("-layout")
                .arg(&self.pdf)
                .arg("-"),
        );
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// A browser rounds a page to a dot of its own, a hundredth of an inch or so.
    #[track_caller]
    fn is(&self, pages: u32, (width, height): (f64, f64)) {
        let close = |a: f64, b: f64| (a - b).abs() < 0.3;
        assert!(
            close(self.size.0, width) && close(self.size.1, height),
            "{:?} is not {width} × {height} mm",
            self.size
        );
        assert_eq!(self.pages, pages);
    }

    /// Every word of a page with its place in millimetres: left, top, right, bottom.
    fn words(&self) -> Vec<(u32, [f64; 4], String)> {
        let boxes = said(
            Command::new("pdftotext")
                .arg("-bbox")
                .arg(&self.pdf)
                .arg("-"),
        );
        let mut page = 0;
        let mut all = Vec::new();
        for line in boxes.lines().map(str::trim) {
            page += u32::from(line.starts_with("<page "));
            if let Some(word) = line.strip_prefix("<word ") {
                let mut parts = word.split('"');
                let mut side = || {
                    let value: f64 = parts.nth(1).unwrap().parse().unwrap();
                    value / POINTS
                };
                let place = [side(), side(), side(), side()];
                let text = word.split(['>', '<']).nth(1).unwrap().to_owned();
                all.push((page, place, text));
            }
        }
        all
    }

    /// What the codes of a page say, as another library reads them off the printed dots.
    fn codes(&self, page: u32) -> Vec<String> {
        let root = self.pdf.with_extension(format!("page{page}"));
        let n = page.to_string();
        let mut draw = Command::new("pdftoppm");
        draw.args(["-gray", "-r", "200", "-singlefile", "-f", &n, "-l", &n]);
        said(draw.arg(&self.pdf).arg(&root));
        let (width, height, dots) = grey(&root.with_extension(format!("page{page}.pgm")));
        let light = |x: usize, y: usize| dots[y * width + x];
        let mut image = rqrr::PreparedImage::prepare_from_greyscale(width, height, light);
        let grids = image.detect_grids();
        grids.iter().map(|grid| grid.decode().unwrap().1).collect()
    }
}

/// A picture of the format PGM: `P5`, width, height, the highest value, then a byte for each dot.
fn grey(path: &Path) -> (usize, usize, Vec<u8>) {
    let bytes = fs::read(path).unwrap();
    let mut at = 0;
    let mut word = || {
        let start = at;
        at += bytes[start..]
            .iter()
            .position(u8::is_ascii_whitespace)
            .unwrap()
            + 1;
        std::str::from_utf8(&bytes[start..at - 1])
            .unwrap()
            .to_owned()
    };
    let (kind, width, height, _) = (word(), word(), word(), word());
    assert_eq!(kind, "P5");
    let dots = bytes[at..].to_vec();
    (width.parse().unwrap(), height.parse().unwrap(), dots)
}

#[test]
fn labels_print_in_their_places_and_their_codes_can_be_read() {
    let Some(printer) = Printer::new() else {
        return;
    };
    let all = packed("us_federal", Some("large"), Some("a"));
    for (sheet, first, pages, codes) in [
        ("a4-2x4", 3, 1, 5),
        ("letter-3x10", 2, 1, 5),
        ("single-62x29", 1, 15, 1),
    ] {
        let stock: Stock = stock(sheet);
        let wish = LabelWish {
            first,
            cartons: Some(5),
            ..LabelWish::new(all.hens, stock.clone())
        };
        let labels = all.phone.farm.label_page(&wish).unwrap();
        let printed = printer.print(&format!("{sheet}.html"), &labels.page.html);
        printed.is(pages, stock.page);
        // No word leaves its label, or stands on one that was used before.
        let used = first - 1..first - 1 + 5 * labels.labels_per_carton;
        let words = printed.words();
        assert!(words.len() > 100, "{sheet} has {} words", words.len());
        for (page, [left, top, right, bottom], text) in words {
            let inside = |n: &u32| {
                let (x, y) = stock.corner(*n % stock.labels());
                let (width, height) = stock.label;
                *n / stock.labels() == page - 1
                    && left >= x + 0.5
                    && right <= x + width - 0.5
                    && top >= y
                    && bottom <= y + height
            };
            let place = [left, top, right, bottom];
            assert!(
                used.clone().any(|n| inside(&n)),
                "{sheet}: {text} at {place:?} on {page}"
            );
        }
        let read = printed.codes(1);
        assert_eq!(read, vec!["2026-328-hen"; codes], "{sheet}");
        let text = printed.text();
        for words in ["12 Large eggs", "Best by 2027-01-07", "Keep Refrigerated"] {
            assert_eq!(text.matches(words).count(), 5, "{words} in {text}");
        }
        // The cautions are for the screen.
        assert!(!text.contains("egg laws"), "{text}");
    }
}

/// The same farm with its hens counted, and a round of theirs.
fn counted() -> Phone {
    let phone = nasty();
    phone.log(
        Draft::new(Kind::Headcount)
            .with("coop", "Orchard")
            .with("species", "hen")
            .with("birds", 12),
    );
    phone.gather("Orchard", "hen", 9);
    phone
}

#[test]
fn sheets_print_on_the_paper_they_are_for() {
    let Some(printer) = Printer::new() else {
        return;
    };
    let phone = counted();
    let farm = &phone.farm;
    let today = farm.today().unwrap();
    for paper in Paper::ALL {
        let (width, height) = paper.mm();
        let page = farm.day_sheet_page(today, today, paper).unwrap();
        let day = printer.print("day.html", &page.html);
        day.is(1, (width, height));
        let text = day.text();
        for words in [
            "Tuesday 24 November 2026",
            "gathered 20",
            "On hand",
            "<script>alert(1)</script>",
        ] {
            assert!(text.contains(words), "{words} in {text}");
        }
        // A page for each of the four flocks, across.
        let page = farm.gather_sheet_page(None, today, (7, 2), paper).unwrap();
        let sheet = printer.print("gather.html", &page.html);
        sheet.is(4, (height, width));
        assert!(sheet.text().contains("Nobody went: leave the line empty."));
        let page = farm.gather_sheet_page(None, today, (9, 2), paper).unwrap();
        printer
            .print("longer.html", &page.html)
            .is(4, (height, width));
        let page = call_back_page(&call_back("Roadside stand"), paper);
        let list = printer.print("call-back.html", &page.html);
        list.is(1, (width, height));
        assert!(list.text().contains("555 0101"));
    }
}

#[test]
fn trends_print_with_picture_and_table() {
    let Some(printer) = Printer::new() else {
        return;
    };
    let phone = counted();
    let coop = phone.farm.find(Kind::Coop, "Orchard").unwrap();
    let today = phone.farm.today().unwrap();
    let span = (today - chrono::Days::new(6), today);
    let page = phone
        .farm
        .trend_page(span, Step::Day, Some(coop), Paper::A4)
        .unwrap();
    let printed = printer.print("trends.html", &page.html);
    printed.is(1, Paper::A4.mm());
    let text = printed.text();
    // Once in the picture, and once in the table.
    assert!(text.matches("2026-11-24").count() >= 2, "{text}");
    for words in [
        "eggs per 100 birds a day",
        "75.0",
        "46.8 to 91.1",
        "veterinarian",
    ] {
        assert!(text.contains(words), "{words} in {text}");
    }
    // The picture alone is a file of its own.
    let trends = phone
        .farm
        .trends(span.0, span.1, Step::Day, Some(coop))
        .unwrap();
    let picture = pointdown_core::paper::trend_chart(&trends).unwrap();
    let text = printer.print("trends.svg", &picture).text();
    assert!(
        text.contains("Orchard, hen eggs") && text.contains("eggs gathered"),
        "{text}"
    );
}
