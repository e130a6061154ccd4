//! The summary as one HTML file that prints on A4 and on Letter, with nothing to fetch.

use crate::jobs::lots::summary::{Letterhead, LotSummary, TextTable};
use crate::show::code::matrix;
use crate::show::fitted::{self, fitted, pairs};
use crate::show::html::{STYLE as PAGE, element, escaped as e, list};
use records::catalogue::Paper;
use records::value::tag::shown;
use records::value::words::counted;

/// Text inside a string of a style sheet: nothing that could end the string or the sheet.
fn css(text: &str) -> String {
    shown(text).chars().filter(|c| !"\"\\<>&".contains(*c) && !c.is_control()).collect()
}

/// A table of no more rows than this is kept on one page.
const KEPT: usize = 20;

const STYLE: &str = "
body{font-family:'Liberation Sans',Arial,Helvetica,'DejaVu Sans',sans-serif}
.head{display:flex;gap:6mm;align-items:flex-start;border-bottom:.5mm solid #111;padding-bottom:2mm;margin-bottom:4mm;break-inside:avoid}
.head img{max-width:40mm;max-height:22mm}.head div{flex:1}.head p{margin:0;font-size:8pt}.head .name{font-size:12pt;font-weight:bold}
.head .right{text-align:right}.number{margin:0 0 2mm;font-size:10pt}
.box h2{border:0;margin-top:0}.ok{border-color:#060}.two{display:grid;grid-template-columns:11fr 8fr;gap:4mm;align-items:start;break-inside:avoid}
.keep{break-inside:avoid;margin:0}section .n,section thead,h1,h2{break-after:avoid}tbody tr:first-child{break-before:avoid}
.words{border-left:1mm solid #060;padding:1mm 3mm;margin:3mm 0;break-inside:avoid}.words p{margin:0 0 1mm}.words h2{margin-top:0}
.mark{position:fixed;top:45%;left:0;width:100%;text-align:center;font-size:90pt;color:#b00;opacity:.09;transform:rotate(-35deg);z-index:-1}
.seal{display:flex;gap:5mm;align-items:center;break-inside:avoid}.seal p{margin:0}.code{flex:none}
.sign{display:flex;gap:8mm;margin-top:14mm;break-inside:avoid}.sign div{flex:1;border-top:.3mm solid #111;font-size:8pt;padding-top:1mm}
";

impl LotSummary {
    /// The page as an auditor reads one: whose it is, what for, what is released, what it rests on, who signed.
    pub fn html(&self) -> String {
        let mark = self.mark();
        let mut out = self.frame();
        if mark != "FINAL" {
            out.push_str(&element("div class=\"mark\"", mark));
        }
        self.papers.letterhead.iter().for_each(|l| out.push_str(&l.html()));
        out.push_str(&element("h1", &format!("{mark}: lot acceptance summary {}", self.lot)));
        out.push_str(&element("p class=\"number\"", &self.document()));
        self.verdict(&mut out);
        let counts: Vec<(String, String)> =
            self.count_rows().into_iter().map(|(n, v)| (n.to_string(), v)).collect();
        out.push_str(&format!("<div class=\"two\">{}{}</div>", pairs(&self.heading_rows()), pairs(&counts)));
        self.conformity(&mut out);
        out.push_str(&list("Reconciliation", self.reconciliation.iter().cloned()));
        let [blades, scrapped] = self.blade_ranges();
        out.push_str(&blades.html());
        if scrapped.rows.len() > 1 {
            out.push_str(&scrapped.html());
        }
        self.tables().iter().for_each(|table| out.push_str(&table.html()));
        out.push_str(&self.pictures());
        for (title, lines) in self.said() {
            out.push_str(&list(title, lines.into_iter()));
        }
        out.push_str(&list("Cautions", self.cautions.iter().cloned()));
        self.seal(&mut out);
        out.push_str("</body></html>\n");
        out
    }

    /// The head of the file: the paper, and what stands at the edges of each page of it.
    fn frame(&self) -> String {
        let mark = self.mark();
        format!(
            "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">{}<style>{PAGE}{}{STYLE}\
             @page{{size:{};margin:18mm 14mm 16mm;@top-left{{content:\"{mark} · lot {} · {}\";font:bold 8.5pt sans-serif}}\
             @top-right{{content:\"{}\";font:8.5pt sans-serif}}\
             @bottom-left{{content:\"head {} · not valid if altered\";font:6.5pt sans-serif}}\
             @bottom-right{{content:\"page \" counter(page) \" of \" counter(pages);font:8pt sans-serif}}}}</style></head><body>",
            element("title", &format!("{mark} lot acceptance summary {}", self.lot)),
            fitted::STYLE,
            if self.paper() == Paper::A4 { "A4" } else { "letter" },
            css(&self.lot),
            css(&self.document()),
            css(self.papers.letterhead.as_ref().map_or("", |l| &l.name)),
            self.journal_head.get(..16).unwrap_or_default(),
        )
    }

    fn verdict(&self, out: &mut String) {
        let class = if self.mark() == "FINAL" { "box ok" } else { "box" };
        out.push_str(&format!("<div class=\"{class}\">"));
        self.release_lines().iter().for_each(|l| out.push_str(&element("p", l)));
        if !self.blocked.is_empty() {
            out.push_str(&element(
                "h2",
                &format!("May not go, for {}", counted(self.reasons.len(), "reason")),
            ));
            let mut rows =
                vec![["station", "reason", "how many", "since", "blades"].map(String::from).to_vec()];
            rows.extend(self.reasons.iter().map(|r| {
                vec![
                    r.station.clone(),
                    r.reason.clone(),
                    r.touched(),
                    r.day().to_string(),
                    r.ranges().join("; "),
                ]
            }));
            out.push_str(&fitted(&rows));
        } else if self.mark() == "DRAFT" {
            out.push_str("<p>Nothing blocks. Not signed: this is a draft.</p>");
        }
        out.push_str("</div>");
    }

    /// The shop's own words, on a release only.
    fn conformity(&self, out: &mut String) {
        let Some(words) = self.papers.statement.as_ref().filter(|_| self.mark() == "FINAL") else { return };
        out.push_str(&format!("<div class=\"words\">{}", element("h2", "Statement of conformity")));
        words.lines().for_each(|line| out.push_str(&element("p", line)));
        if self.counts.concession > 0 || !self.permissions.is_empty() {
            let except = "Blades under a deviation or concession are named below, each with what it covers.";
            out.push_str(&element("p class=\"n\"", except));
        }
        out.push_str("</div>");
    }

    /// The head of the journal for a scanner and for people, and the places for hands.
    fn seal(&self, out: &mut String) {
        let code = matrix(&self.journal_head)
            .map(|code| code.svg(0.6, "head of the journal as a two-dimensional code"));
        out.push_str(&format!(
            "<section class=\"keep\"><h2>Seal</h2><div class=\"seal\">{}<p class=\"mono\">journal head {} ({} entries)<br>content {}</p></div>",
            code.unwrap_or_default(),
            e(&self.journal_head),
            self.journal_entries,
            e(&self.content)
        ));
        if self.mark() == "FINAL" {
            let third = match self
                .heading
                .iter()
                .any(|(name, value)| *name == "certificate type" && value == "3.2")
            {
                true => "Purchaser's inspection representative, or inspector named by rules; date",
                false => "Purchaser's representative, where agreed",
            };
            out.push_str(&format!(
                "<div class=\"sign\"><div>Signatory, date</div>{}</div>",
                element("div", third)
            ));
        }
        out.push_str("</section>");
    }
}

impl Letterhead {
    fn html(&self) -> String {
        let lines = |lines: &[String]| lines.iter().map(|l| element("p", l)).collect::<String>();
        let logo = self.logo.iter().map(|l| format!("<img src=\"{}\" alt=\"\">", e(l))).collect::<String>();
        format!(
            "<header class=\"head\">{logo}<div>{}{}</div><div class=\"right\">{}{}</div></header>",
            element("p class=\"name\"", &self.name),
            lines(&self.address),
            lines(&self.contact),
            lines(&self.approvals)
        )
    }
}

impl TextTable {
    /// With its heading; a cell that says OUTSIDE stands out. A short one is kept on one page.
    fn html(&self) -> String {
        let heading = element("h2", &self.title);
        if self.rows.len() < 2 {
            return format!("<section class=\"keep\">{heading}<p class=\"n\">None on record.</p></section>");
        }
        let note = if self.note.is_empty() { String::new() } else { element("p class=\"n\"", &self.note) };
        let class = if self.rows.len() <= KEPT { " class=\"keep\"" } else { "" };
        format!("<section{class}>{heading}{note}{}</section>", fitted(&self.rows))
    }
}
