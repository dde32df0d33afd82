//! A record book as one page of HTML that needs nothing else: no script, no font, no picture.

use std::fmt::Write as _;

use super::text::{later, or, title, values};
use super::{BookRow, RecordBook};

const STYLE: &str = include_str!("page.css");

/// The book as a page to be printed.
pub fn page(book: &RecordBook) -> String {
    let mut out =
        String::from("<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    // Nothing may be loaded or run, whatever a note holds.
    out.push_str(
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src \
         'unsafe-inline'\">\n<meta name=\"viewport\" content=\"width=device-width\">\n",
    );
    let _ = writeln!(out, "<title>{}</title>", escaped(&title(book)));
    let _ = writeln!(out, "<style>\n{STYLE}</style>\n</head>\n<body>");
    let _ = writeln!(out, "<h1>{}</h1>", escaped(&title(book)));
    if let Some(producer) = &book.producer {
        let _ = writeln!(out, "<p class=\"producer\">{}</p>", escaped(producer));
    }
    let _ = writeln!(
        out,
        "<p>Times are those of {}. Made {}.</p>\n<p>{}</p>\n<p class=\"caution\">{}</p>",
        escaped(&book.zone),
        escaped(&book.made),
        escaped(&book.rules),
        escaped(book.caution)
    );
    out.push_str("<h2>What is missing</h2>\n<ul>\n");
    for line in &book.missing {
        let _ = writeln!(out, "<li>{}</li>", escaped(line));
    }
    if book.missing.is_empty() {
        out.push_str("<li>Nothing that this book looks for.</li>\n");
    }
    out.push_str("</ul>\n");
    for (kind, rows) in &book.sections {
        let _ = writeln!(out, "<h2>{} ({})</h2>", capital(kind.code()), rows.len());
        out.push_str(
            "<table>\n<thead><tr><th scope=\"col\">When</th><th scope=\"col\">Where</th>\
             <th scope=\"col\">Who</th><th scope=\"col\">What</th><th scope=\"col\">Record</th>\
             </tr></thead>\n<tbody>\n",
        );
        for one in rows {
            out.push_str(&row(one));
        }
        out.push_str("</tbody>\n</table>\n");
    }
    out.push_str(
        "<div class=\"signs\"><p>Shown by (name, date)</p><p>Seen by (name, date)</p></div>\n\
         </body>\n</html>\n",
    );
    out
}

fn row(row: &BookRow) -> String {
    let voided = row.standing == "voided";
    let class = if voided { " class=\"voided\"" } else { "" };
    let mut out = format!("<tr{class}><td class=\"when\">{}", escaped(&row.when));
    if let Some(entered) = &row.entered {
        let _ = write!(out, "<br>entered {}", escaped(entered));
    }
    let _ = write!(
        out,
        "</td><td>{}</td><td>{}</td><td>",
        escaped(&row.place),
        escaped(or(&row.by, "nobody named"))
    );
    if voided {
        out.push_str("<span class=\"flag\">Voided.</span> ");
    }
    let _ = write!(out, "<span class=\"what\">{}</span>", escaped(&values(row)));
    for line in later(row) {
        let _ = write!(out, "<div class=\"later\">{}</div>", escaped(&line));
    }
    let _ = writeln!(out, "</td><td class=\"id\">{}</td></tr>", row.id);
    out
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + letters.as_str()
    })
}

/// Text as HTML shows it; also safe within quotation marks.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}
