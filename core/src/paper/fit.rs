//! How much room a text takes, so that type is as large as a label lets it be.
//!
//! Widths are those of the metric-compatible family that the label's style names first, in
//! thousandths of the type size. Source, from memory: the public font metrics files of the 14 core
//! fonts of PostScript, regular weight.

/// Widths of the characters from space to tilde.
const WIDTHS: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278,
    278, // to slash
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, // to ?
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778, // to O
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556, // to _
    333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, // to o
    556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];

/// Bold type is wider, and another machine's type may be a little.
const SLACK: f64 = 1.05;
const BOLD: f64 = 1.08;

/// Millimetres to a point.
pub(super) const MM_PER_PT: f64 = 25.4 / 72.0;

/// From one line to the next, in type sizes; the style says the same.
pub(super) const LEADING: f64 = 1.2;

/// The height of a lower-case o over the type size, in that family.
pub(super) const O_HEIGHT: f64 = 0.519;

/// The width of a text in millimetres.
pub(super) fn width(text: &str, pt: f64, bold: bool) -> f64 {
    let of = |c: char| match u32::from(c) {
        code @ 32..=126 => f64::from(WIDTHS[code as usize - 32]),
        // Letters of other scripts: a full square from the East Asian ones on, else a wide letter.
        0x2E80.. => 1000.0,
        _ => 720.0,
    };
    let ems: f64 = text.chars().map(of).sum::<f64>() / 1000.0;
    ems * pt * MM_PER_PT * SLACK * if bold { BOLD } else { 1.0 }
}

/// How many lines a text takes in this width, broken between words, and within a word that is wider
/// than the whole line.
pub(super) fn lines(text: &str, pt: f64, bold: bool, room: f64) -> u32 {
    let space = width(" ", pt, bold);
    let mut all = 0;
    for paragraph in text.split('\n') {
        let (mut count, mut used) = (1_u32, 0.0);
        for word in paragraph.split_whitespace() {
            let mut wide = width(word, pt, bold);
            let wanted = if used > 0.0 {
                used + space + wide
            } else {
                wide
            };
            if wanted <= room {
                used = wanted;
                continue;
            }
            count += u32::from(used > 0.0);
            while wide > room && room > 0.0 {
                count += 1;
                wide -= room;
            }
            used = wide;
        }
        all += count;
    }
    all
}

/// The height of a text in millimetres.
pub(super) fn height(text: &str, pt: f64, bold: bool, room: f64) -> f64 {
    f64::from(lines(text, pt, bold, room)) * pt * MM_PER_PT * LEADING
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_takes_the_lines_that_its_words_need() {
        // 12 pt are 4.23 mm; five digits of 0.556 each, with the slack, are 12.4 mm.
        assert!((width("12345", 12.0, false) - 12.355).abs() < 0.01);
        assert_eq!(lines("12345 12345", 12.0, false, 30.0), 1);
        assert_eq!(lines("12345 12345", 12.0, false, 20.0), 2);
        assert_eq!(lines("12345\n12345", 12.0, false, 30.0), 2);
        assert_eq!(lines("1234512345", 12.0, false, 13.0), 2);
        assert_eq!(lines("", 12.0, false, 13.0), 1);
    }
}
