//! What a customer's paper bears beside its figures: whose it is, its number, for whom, what the order asked for, and the
//! shop's own words of conformity. What is not on record is left out; nothing is invented.

use std::io::Read;
use std::path::Path;

use base64ct::{Base64, Encoding};

use crate::jobs::lots::facts::Facts;
use crate::jobs::lots::summary::{Letterhead, Papers};
use crate::jobs::records::attached;
use records::catalogue::typed::{May, Text};
use records::catalogue::{As, Attachments, CertificateType, Field, Lots, Organisations, Parts, Recorded};
use records::file::paths::open_plain;
use records::read::organisations::Own;
use records::{Result, Store};

/// The title of the attachment that is an organisation's logo.
const LOGO: &str = "logo";
/// The largest logo that a page takes in.
const LARGEST_LOGO: u64 = 1_000_000;

/// Lines that are parted by `;` or stand on lines of their own.
fn lines(text: &str) -> Vec<String> {
    text.split([';', '\n']).map(str::trim).filter(|l| !l.is_empty()).map(String::from).collect()
}

/// A field's text; a mark says nothing on paper.
fn text<P>(of: As<Organisations>, field: Field<Organisations, Text, P>) -> String {
    of.get(field).unwrap_or_default().trim().to_string()
}

/// What a type of inspection document is, in the program's own words.
fn meaning(kind: CertificateType) -> &'static str {
    match kind {
        CertificateType::T21 => "the maker declares that the order is met, without results",
        CertificateType::T22 => {
            "the maker declares that the order is met, with results not of this delivery alone"
        }
        CertificateType::T31 => {
            "results of this delivery, to be confirmed by the maker's inspection representative, who does not answer to production"
        }
        CertificateType::T32 => {
            "results of this delivery, to be confirmed by the maker's inspection representative and by the purchaser's or an inspector named by rules"
        }
    }
}

/// The papers of a lot. `released`: it is signed, and nothing has changed since.
pub fn of(store: &Store, facts: &Facts, released: bool) -> Result<Papers> {
    let lot = facts.lot;
    let typed = |field: Field<Lots, Text, May>| lot.get(field).unwrap_or_default().trim().to_string();
    let part = facts.behind.at(facts.part);
    let mut out = Papers {
        document: Some(typed(Lots::document)).filter(|d| !d.is_empty()).unwrap_or_else(|| lot.address()),
        issue: Some(facts.releases().count()).filter(|n| *n > 0),
        order_line: typed(Lots::order_line),
        description: part.and_then(|p| p.get(Parts::description)).unwrap_or_default().to_string(),
        certificate: CertificateType::of(&typed(Lots::certificate_type)).map_or("", meaning).to_string(),
        ..Papers::default()
    };
    let own = store.own_organisation()?;
    out.paper = Some(own.paper());
    if let Own::Several(tags) = &own {
        out.remarks.push(format!(
            "{} have the role own; which of them makes this paper is not known, and it bears no letterhead",
            tags.join(" and ")
        ));
    }
    let customer = purchaser(store, &typed(Lots::purchaser))?;
    let signed = facts.releases().next_back().map(|s| s.entry);
    let mut words = None;
    if let Some(own) = own.one() {
        out.letterhead = Some(letterhead(store, facts, own, &mut out.remarks)?);
        words = own.get(Organisations::statement).map(|text| (own.address(), text.to_string()));
    }
    if let Some(customer) = &customer {
        out.purchaser = std::iter::once(text(customer.view(), Organisations::name))
            .chain(lines(&text(customer.view(), Organisations::address)))
            .collect();
        let asked = customer.get(Organisations::statement);
        words = asked.map(|text| (customer.address(), text.to_string())).or(words);
    }
    // Words that were changed since are not those that somebody signed.
    if let (true, Some((organisation, text)), Some(signed)) = (released, words, signed) {
        let written = store.find(&organisation)?.entry;
        if store.said_since(written, &[Organisations::statement.name])? > signed {
            out.remarks.push(format!(
                "the words of conformity of {organisation} were changed after the signature and are left out; the page \
                 that was made then bears those that were signed"
            ));
        } else {
            out.statement = Some(text);
        }
    }
    Ok(out)
}

/// The purchaser as an organisation, by its tag or its name.
fn purchaser(store: &Store, typed: &str) -> Result<Option<Recorded<Organisations>>> {
    let named = |o: &Recorded<Organisations>| {
        o.address().eq_ignore_ascii_case(typed)
            || text(o.view(), Organisations::name).eq_ignore_ascii_case(typed)
    };
    Ok(store.rows::<Organisations>()?.into_iter().find(named))
}

fn letterhead(
    store: &Store,
    facts: &Facts,
    own: As<Organisations>,
    remarks: &mut Vec<String>,
) -> Result<Letterhead> {
    let (tag, mut logo) = (own.address(), None);
    let mine = |a: &Recorded<Attachments>| {
        a.get(Attachments::subject).is_some_and(|s| s.eq_ignore_ascii_case(&tag))
            && a.get(Attachments::title).is_some_and(|t| t.trim().eq_ignore_ascii_case(LOGO))
    };
    if let Some(file) = store.rows::<Attachments>()?.iter().find(|a| mine(a)) {
        match picture(&facts.folder, file) {
            Ok(picture) => logo = Some(picture),
            Err(why) => {
                remarks.push(format!("the logo is left out: {} {why}", file.view().text(Attachments::path)))
            }
        }
    }
    Ok(Letterhead {
        name: text(own, Organisations::name),
        address: lines(&text(own, Organisations::address)),
        contact: lines(&text(own, Organisations::contact)),
        approvals: lines(&text(own, Organisations::approvals)),
        organisation: tag,
        logo,
    })
}

/// The picture in an attached file as an address that holds it whole: a page has nothing to fetch.
fn picture(folder: &Path, file: &Recorded<Attachments>) -> std::result::Result<String, String> {
    attached::check(folder, file)?;
    let mut bytes = Vec::new();
    let opened = open_plain(&folder.join(file.view().text(Attachments::path))).map_err(|e| e.to_string())?;
    opened.take(LARGEST_LOGO + 1).read_to_end(&mut bytes).map_err(|e| e.to_string())?;
    if bytes.len() as u64 > LARGEST_LOGO {
        return Err(format!("has more than {LARGEST_LOGO} bytes"));
    }
    let kind = match bytes.as_slice() {
        [0x89, b'P', b'N', b'G', ..] => "png",
        [0xff, 0xd8, 0xff, ..] => "jpeg",
        // In an image element an SVG runs nothing and fetches nothing.
        [b'<', ..] if bytes.windows(4).any(|w| w == b"<svg") => "svg+xml",
        _ => return Err("is no PNG, JPEG or SVG".into()),
    };
    Ok(format!("data:image/{kind};base64,{}", Base64::encode_string(&bytes)))
}
