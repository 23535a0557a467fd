//! A batch as one page: the sets by urgency with small pictures, filters, replies and numbers. The
//! pictures and full readings lie in files beside it; nothing comes from elsewhere.

use super::letter::Letter;
use super::reply::item_name;
use super::text::{CHANGES, bar_names, copies_words, filled_histograms, next};
use crate::Result;
use crate::batch::judge::Verdict;
use crate::batch::manifest::Client;
use crate::batch::run::{page_name, thumbnail_name};
use crate::batch::shown::shown;
use crate::batch::summary::{BatchResult, BatchSummary};
use crate::report::advice::advice_text;
use crate::report::draw::theme::{INK, PATCH, PREDICTED, QUIET, STEEL};
use crate::schema::Status;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The page as HTML, given to `put` part by part: a page of thousands of sets is long.
///
/// # Errors
/// Whatever `put` met.
pub(crate) fn batch_sheet(
    lot: &BatchResult,
    title: &str,
    letter: &Letter,
    mut put: impl FnMut(&str) -> Result<()>,
) -> Result<()> {
    put(&html! {
        (DOCTYPE)
        (PreEscaped("<html lang=\"en\">"))
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            title { "Contact patterns: " (title) }
            style { (PreEscaped(style())) }
        }
        (PreEscaped("<body>"))
        h1 { "Contact patterns: " (title) }
        p { (headline(&lot.summary)) }
        // Filters without a script: a chosen button hides the sets of other verdicts.
        input type="radio" name="show" id="show-all" checked;
        label for="show-all" { "all " (lot.summary.sets) }
        @for verdict in Verdict::ALL {
            @let count = lot.summary.verdicts.get(verdict.word()).copied().unwrap_or(0);
            @if count > 0 {
                input type="radio" name="show" id={ "show-" (verdict.word()) };
                label for={ "show-" (verdict.word()) } { (verdict.title()) " " (count) }
            }
        }
        (PreEscaped("<main>"))
    }
    .into_string())?;
    for &set in &lot.order {
        put(&set_part(lot, set, letter).into_string())?;
    }
    put(&html! {
        (PreEscaped("</main>"))
        (numbers(&lot.summary))
        p.quiet {
            "Look at the outlines before you believe the numbers: each should lie on one whole flank. "
            "A photo shows the pattern only, and a drive axle is safety-critical: " (CHANGES)
        }
        script { (PreEscaped(COPY)) }
        (PreEscaped("</body></html>"))
    }.into_string())
}

/// Copies the reply above a button; where the browser does not let a page write to the clipboard, the old way.
const COPY: &str = "for(const b of document.querySelectorAll('button.copy'))b.addEventListener('click',async()=>{\
    const t=b.previousElementSibling;let ok=false;\
    try{await navigator.clipboard.writeText(t.innerText);ok=true}catch{const s=getSelection();s.selectAllChildren(t);ok=document.execCommand('copy')}\
    b.textContent=ok?'Copied':'Select the text and copy it';setTimeout(()=>{b.textContent='Copy the reply'},2000)});";

/// Whose gears they are, in words.
fn client_words(client: &Client) -> Option<String> {
    let named = [("Customer", &client.customer), ("order", &client.order)];
    let parts: Vec<String> = named
        .iter()
        .filter_map(|(name, said)| Some(format!("{name} {}", said.as_ref()?)))
        .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn style() -> String {
    let mut style = format!(
        "*{{box-sizing:border-box}}body{{margin:0 auto;max-width:84rem;padding:1rem;color:{INK};\
         background:#fff;font:1rem/1.45 system-ui,sans-serif}}h1{{font-size:1.4rem;margin:.2rem 0;overflow-wrap:anywhere}}\
         h2{{font-size:1.05rem;margin:0;overflow-wrap:anywhere}}\
         input[name=show]{{position:absolute;opacity:0}}\
         input[name=show]+label{{display:inline-block;border:1px solid {INK};border-radius:.2rem;\
         padding:.15rem .6rem;margin:.15rem .3rem .15rem 0;cursor:pointer}}\
         input[name=show]:checked+label{{background:{INK};color:#fff}}\
         input[name=show]:focus-visible+label{{outline:3px solid {PATCH}}}\
         main{{display:flex;flex-wrap:wrap;gap:.9rem;margin-top:.8rem}}\
         .set{{flex:0 1 calc(var(--photos)*15.8rem + 2.2rem);min-width:0;border-top:2px solid {INK};border-left:.6rem solid {QUIET};padding:.6rem .8rem}}\
         .set:has(details[open]){{flex-basis:100%}}\
         .beyond_shims,.misplaced{{border-left-color:{PREDICTED}}}.unsure,.measure{{border-left-style:double}}\
         .photo_again{{border-left-color:#ccd3dd}}.right{{border-left-color:{PATCH}}}\
         .verdict{{font-weight:700}}.photos{{display:flex;flex-wrap:wrap;gap:.8rem;margin:.5rem 0}}\
         figure{{margin:0;width:15rem}}figure img,.none{{width:15rem;height:10.5rem;object-fit:contain;background:{STEEL};display:block}}\
         .none{{display:grid;place-items:center;color:{QUIET};padding:.5rem;text-align:center}}\
         figcaption{{font-size:.85rem;overflow-wrap:anywhere}}pre{{white-space:pre-wrap;font:inherit;margin:.3rem 0;\
         padding:.5rem .8rem;background:{STEEL}}}.copy{{font:inherit;min-height:2.6rem;padding:.3rem .8rem}}summary{{cursor:pointer}}\
         .quiet{{color:{QUIET};font-size:.85rem}}\
         .lot{{display:grid;gap:1.2rem;grid-template-columns:repeat(auto-fit,minmax(min(100%,24rem),1fr));border-top:2px solid {INK};margin-top:1rem;padding-top:.6rem}}\
         table{{border-collapse:collapse;font-variant-numeric:tabular-nums;font-size:.9rem}}\
         td,th{{padding:.05rem .6rem .05rem 0;text-align:right;font-weight:400}}td:first-child,th:first-child{{text-align:left}}\
         .bar{{display:inline-block;height:.7rem;background:{PATCH}}}td.bars{{width:9rem;text-align:left}}\
         @media print{{input,label{{display:none!important}}.set{{break-inside:avoid}}}}"
    );
    for verdict in Verdict::ALL {
        let word = verdict.word();
        style.push_str(&format!(
            "#show-{word}:checked~main .set:not(.{word}){{display:none}}"
        ));
    }
    style
}

fn headline(summary: &BatchSummary) -> String {
    let status = &summary.status;
    let mut line = format!(
        "{} photos in {} sets: {} read, {} unsure, {} unreadable.",
        summary.photos, summary.sets, status.read, status.unsure, status.unreadable
    );
    if let Some(copies) = copies_words(summary) {
        line.push_str(&format!(" {copies}."));
    }
    line
}

fn set_part(lot: &BatchResult, set: usize, letter: &Letter) -> Markup {
    let about = &lot.plan.sets[set];
    let verdict = &lot.sets[set];
    let next = next(lot, set);
    html! {
        section class={ "set " (verdict.verdict.word()) } style={ "--photos:" (about.photos.len()) } {
            h2 { (about.name) ": " span.verdict { (verdict.verdict.title()) } }
            @if let Some(client) = client_words(&about.client) { div { (client) } }
            div { "Next: " (next) }
            div.photos { @for &at in &about.photos { (photo_part(lot, at)) } }
            @if let Some(advice) = &verdict.advice {
                details { summary { "Advice" } pre { (advice_text(advice, lot.units[set]).trim_end()) } }
            }
            details {
                summary { "Reply to send" }
                p.quiet { "Put right here what you would say otherwise, then copy it: what is changed is not kept." }
                pre.reply contenteditable="true" aria-label="the reply, to be changed before it is sent" { (letter.reply(lot, set).trim_end()) }
                button.copy type="button" { "Copy the reply" }
            }
        }
    }
}

fn photo_part(lot: &BatchResult, at: usize) -> Markup {
    let found = &lot.found[at];
    let path = &lot.plan.items[at].path;
    let name = item_name(&lot.plan.items[at]);
    let words = photo_words(lot, at);
    let pictures = found.key.as_ref().filter(|_| found.has_pictures());
    let other = |other: Option<usize>| {
        let item = &lot.plan.items[other?];
        let folder = (item.path.parent()).filter(|folder| Some(*folder) != path.parent());
        let folder = folder.and_then(|folder| folder.file_name());
        Some(match folder {
            Some(folder) => format!("{}/{}", shown(folder.as_ref()), item_name(item)),
            None => item_name(item),
        })
    };
    html! {
        figure {
            @if let Some(key) = pictures {
                a href={ "readings/" (page_name(key)) } {
                    img src={ "readings/" (thumbnail_name(key)) } loading="lazy" alt={ (name) ": " (words) };
                }
            } @else {
                div.none { "no picture" }
            }
            figcaption title=(shown(path)) {
                b { (name) } ": " (words)
                @if let Some(first) = other(lot.same_as[at]) { " Copy of " (first) "." }
                @if let Some(first) = other(lot.like[at]) { " The same picture as " (first) "." }
            }
        }
    }
}

/// What was found in a photo, in a sentence.
fn photo_words(lot: &BatchResult, at: usize) -> String {
    let found = &lot.found[at];
    if let Some(problem) = &found.problem {
        return problem.message.clone();
    }
    let flank = found.flank.map_or("flank not known", |f| f.side.word());
    let place = lot.photos[at].diagnosis.as_ref().map(|diagnosis| {
        format!(
            "{flank}, {} (length {:+.2}, height {:+.2})",
            diagnosis.words, diagnosis.length, diagnosis.height
        )
    });
    let reasons = || {
        let reasons: Vec<&str> = found.reasons.iter().map(|r| r.message.as_str()).collect();
        reasons.join(" ")
    };
    match found.status {
        Status::Read => format!("{}.", place.unwrap_or_else(|| flank.into())),
        Status::Unsure => format!(
            "{}; unsure. {}",
            place.unwrap_or_else(|| flank.into()),
            reasons()
        ),
        Status::Unreadable => reasons(),
    }
}

fn numbers(summary: &BatchSummary) -> Markup {
    let mut reasons: Vec<_> = summary.reasons.iter().collect();
    reasons.sort_by(|a, b| b.1.photos.cmp(&a.1.photos).then(a.0.cmp(b.0)));
    html! {
        div.lot {
            @if !reasons.is_empty() {
                section {
                    h2 { "Why photos were refused or doubted" }
                    table { @for (code, count) in reasons {
                        tr {
                            td { (code.replace('_', " ")) } td { (count.photos) }
                            td { (format!("{:.0} %", 100.0 * count.share)) }
                        }
                    } }
                }
            }
            @for (name, ends, bars) in filled_histograms(summary) {
                section {
                    h2 { "Patch from its target: " (name) }
                    table { (bars_part(&bar_names(&summary.offsets.edges, ends), bars)) }
                }
            }
            @if !summary.troubles.is_empty() {
                section {
                    h2 { "Could not be used" }
                    @for trouble in &summary.troubles {
                        p.quiet { b { (trouble.path) } ": " (trouble.message) }
                    }
                }
            }
        }
    }
}

fn bars_part(names: &[String], bars: &[usize]) -> Markup {
    let most = bars.iter().copied().max().unwrap_or(1).max(1) as f64;
    html! {
        @for (name, &count) in names.iter().zip(bars) {
            tr {
                td { (name) } td { (count) }
                td.bars { span.bar style=(format!("width:{:.1}%", 100.0 * count as f64 / most)) {} }
            }
        }
    }
}
