//! What a browser would make of the page, read from its text.

use std::collections::{HashMap, HashSet};

use super::{COLOURS, STYLESHEET, colours, html};
use crate::report::samples::{HOSTILE, bare, sample, with_text};
use crate::report::{Block, Illustration, Report, Section};

/// A tag: name and attributes in the order of the text.
#[derive(Debug, Clone, PartialEq)]
struct Tag {
    name: String,
    attributes: Vec<(String, String)>,
}

impl Tag {
    fn value(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }
}

/// The tags of a page, where `<` opens one and quotes enclose every value. The stylesheet is passed over.
fn tags(page: &str) -> Vec<Tag> {
    let mut tags = Vec::new();
    let mut rest = page;
    while let Some((_, after)) = rest.split_once('<') {
        let mut end = 0;
        let mut is_quoted = false;
        for (place, character) in after.char_indices() {
            match character {
                '"' => is_quoted = !is_quoted,
                '>' if !is_quoted => {
                    end = place;
                    break;
                }
                _ => {}
            }
        }
        assert!(end > 0, "a tag without end: {}", after.chars().take(80).collect::<String>());
        let (inside, next) = after.split_at(end);
        rest = next;
        let name: String = inside.chars().take_while(|c| !c.is_whitespace()).collect();
        let mut attributes = Vec::new();
        let mut left = &inside[name.len()..];
        while let Some((key, more)) = left.split_once("=\"") {
            let (value, more) = more.split_once('"').unwrap();
            attributes.push((key.trim().to_owned(), value.to_owned()));
            left = more;
        }
        if name == "style" {
            rest = rest.split_once("</style").unwrap().1;
        }
        tags.push(Tag { name: name.trim_end_matches('/').to_owned(), attributes });
    }
    tags
}

/// Tags by name and names of attributes, which texts may not change.
fn skeleton(page: &str) -> Vec<(String, Vec<String>)> {
    tags(page).into_iter().map(|tag| (tag.name, tag.attributes.into_iter().map(|(key, _)| key).collect())).collect()
}

fn with_drawing(svg: &str) -> String {
    let figure = |name: &str| {
        Block::Figure(Illustration {
            name: name.to_owned(),
            svg: svg.to_owned(),
            width: 85.0,
            alternative: "It rises.".to_owned(),
            caption: "A drawing.".to_owned(),
        })
    };
    let section =
        Section { name: "one".to_owned(), title: "One".to_owned(), blocks: vec![figure("same"), figure("same")] };
    html(&Report { title: "T".to_owned(), subtitle: String::new(), made_by: String::new(), sections: vec![section] })
}

#[test]
fn no_text_changes_the_elements_of_the_page() {
    let plain = skeleton(&html(&with_text("plain words")));
    for said in HOSTILE {
        assert_eq!(skeleton(&html(&with_text(said))), plain, "{said:?}");
    }
    let all = HOSTILE.join(" ");
    assert_eq!(skeleton(&html(&with_text(&all))), plain);
}

#[test]
fn texts_are_read_as_they_were_given() {
    let page = html(&with_text("a < b & \"c\" > 'd'"));
    assert!(page.contains("<p>a &lt; b &amp; &quot;c&quot; &gt; &#39;d&#39;</p>"));
    assert!(page.contains("<title>a &lt; b &amp; &quot;c&quot; &gt; &#39;d&#39;</title>"));
    assert!(!html(&with_text("\u{0}\u{1B}\u{FFFF}")).contains(['\u{0}', '\u{1B}', '\u{FFFF}']));
}

#[test]
fn ids_are_unique_and_every_link_and_label_leads_to_one() {
    for report in [sample(), with_text("x"), with_text("\" <b>"), with_text("contents")].into_iter().chain(bare()) {
        let tags = tags(&html(&report));
        let ids: Vec<&str> = tags.iter().filter_map(|tag| tag.value("id")).collect();
        let known: HashSet<&str> = ids.iter().copied().collect();
        assert_eq!(ids.len(), known.len(), "{ids:?}");
        for tag in &tags {
            let link = tag.value("href").map(|link| link.strip_prefix('#').expect("links stay on the page"));
            for target in link.into_iter().chain(tag.value("aria-labelledby")) {
                assert!(known.contains(target), "{target}");
            }
        }
    }
}

#[test]
fn sections_keep_their_names_for_links() {
    let page = html(&sample());
    for name in ["summary", "yields", "curves", "methods", "table-plot-yields", "figure-all-responses"] {
        assert!(page.contains(&format!(" id=\"{name}\"")), "{name}");
    }
}

#[test]
fn landmarks_and_headings_come_in_order() {
    let tags = tags(&html(&sample()));
    let names: Vec<&str> = tags.iter().map(|tag| tag.name.as_str()).collect();
    let places: Vec<usize> = ["header", "nav", "main", "footer"]
        .iter()
        .map(|landmark| {
            assert_eq!(names.iter().filter(|name| *name == landmark).count(), 1, "{landmark}");
            names.iter().position(|name| name == landmark).unwrap()
        })
        .collect();
    assert!(places.is_sorted(), "{places:?}");
    let levels: Vec<u32> = names.iter().filter_map(|name| name.strip_prefix('h')?.parse().ok()).collect();
    assert_eq!(levels, [1, 2, 2, 3, 2, 2]);
    assert_eq!(tags.iter().find(|tag| tag.name == "html").unwrap().value("lang"), Some("en"));
}

#[test]
fn tables_have_captions_heads_and_numbers_to_the_right() {
    let page = html(&sample());
    let tags = tags(&page);
    let count = |name: &str| tags.iter().filter(|tag| tag.name == name).count();
    assert_eq!([count("table"), count("caption"), count("thead"), count("tbody")], [4, 4, 4, 4]);
    // Four columns, six, fourteen and two.
    let scoped = |scope: &str| tags.iter().filter(|tag| tag.name == "th" && tag.value("scope") == Some(scope)).count();
    assert_eq!([scoped("col"), scoped("row")], [4 + 6 + 14 + 2, 6 + 60 + 4 + 2]);
    assert!(page.contains("<td class=\"number\">412.37</td>"));
    assert!(STYLESHEET.contains(".number { text-align: right; font-variant-numeric: tabular-nums"));
    assert!(page.contains("<b>Table 3.</b> Curves and optima by site-year at a price ratio of 0.10 bu/lb"));
}

#[test]
fn a_figure_has_one_alternative_and_it_says_what_is_found() {
    let report = sample();
    let tags = tags(&html(&report));
    let figures: Vec<&Illustration> = report
        .sections
        .iter()
        .flat_map(|section| &section.blocks)
        .filter_map(|block| if let Block::Figure(figure) = block { Some(figure) } else { None })
        .collect();
    let images: Vec<&Tag> = tags.iter().filter(|tag| tag.value("role") == Some("img")).collect();
    assert_eq!(images.len(), figures.len());
    for (image, figure) in images.iter().zip(&figures) {
        assert_eq!(image.value("aria-label"), Some(figure.alternative.as_str()));
    }
    let drawings: Vec<&Tag> = tags.iter().filter(|tag| tag.name == "svg").collect();
    assert_eq!(drawings.len(), figures.len());
    assert!(drawings.iter().all(|svg| svg.value("aria-hidden") == Some("true") && svg.value("aria-label").is_none()));
    // Beyond the page's own title nothing names a drawing.
    assert_eq!(tags.iter().filter(|tag| tag.name == "title").count(), 1);
    assert!(tags.iter().all(|tag| tag.name != "desc"));
}

#[test]
fn a_drawing_keeps_its_shapes_and_texts() {
    let report = sample();
    let page = html(&report);
    for block in report.sections.iter().flat_map(|section| &section.blocks) {
        let Block::Figure(figure) = block else { continue };
        let (_, drawn) = page.split_once(&format!("id=\"figure-{}\"", figure.name)).unwrap();
        let (drawn, _) = drawn.split_once("</svg>").unwrap();
        for element in ["<polyline", "<polygon", "<circle", "<text", "<rect"] {
            assert_eq!(drawn.matches(element).count(), figure.svg.matches(element).count(), "{element}");
        }
        assert!(drawn.contains(">EONR 91 lb/ac (78 to 109)</text>"));
    }
}

#[test]
fn ids_inside_two_drawings_do_not_clash() {
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 9 9\"><defs><clipPath id=\"a b\"><rect width=\"5\" height=\"5\"/></clipPath>\
               </defs><g clip-path=\"url(#a b)\"><path id=\"summary\" d=\"M0 0\"/></g></svg>";
    let tags = tags(&with_drawing(svg));
    let clips: Vec<&str> = tags.iter().filter(|tag| tag.name == "clipPath").filter_map(|tag| tag.value("id")).collect();
    let uses: Vec<&str> = tags.iter().filter_map(|tag| tag.value("clip-path")).collect();
    assert_eq!(clips, ["figure-same-part-1", "figure-same-2-part-1"]);
    assert_eq!(uses, ["url(#figure-same-part-1)", "url(#figure-same-2-part-1)"]);
}

#[test]
fn a_drawing_that_is_more_than_shapes_is_shown_apart_from_the_page() {
    let inside = |body: &str| format!("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 9 9\">{body}</svg>");
    for body in ["<g/>", "<text>a &lt; b &#x41;</text>", "<!-- words --><title>t<b/></title><g><![CDATA[x<]]></g>"] {
        let page = with_drawing(&inside(body));
        assert!(page.contains("<svg") && !page.contains("<img"), "{body}");
    }
    let hostile = [
        inside("<script>alert(1)</script>"),
        inside("<g onload=\"alert(1)\"/>"),
        inside("<foreignObject><p>x</p></foreignObject>"),
        inside("<image href=\"https://example.org/x.png\"/>"),
        inside("<a href=\"javascript:alert(1)\"><g/></a>"),
        inside("<rect fill=\"url(https://example.org/x)\"/>"),
        inside("<rect fill=\"u\\72l(https://example.org/x)\"/>"),
        inside("<style>body { display: none }</style>"),
        inside("<rect style=\"position:fixed\"/>"),
        inside("<g></svg><script>alert(1)</script>"),
        inside("&unknown;"),
        inside("<svg/>"),
        format!("{}<script>alert(1)</script>", inside("")),
        format!("{}<svg viewBox=\"0 0 1 1\"/>", inside("")),
        "<!DOCTYPE svg [<!ENTITY a \"b\">]><svg viewBox=\"0 0 9 9\">&a;</svg>".to_owned(),
        "<svg><g/></svg>".to_owned(),
        "<svg viewBox=\"0 0 9 9\"><g>".to_owned(),
        "</svg>".to_owned(),
        "words".to_owned(),
        String::new(),
    ];
    let plain = skeleton(&with_drawing(""));
    for svg in hostile {
        let page = with_drawing(&svg);
        assert_eq!(skeleton(&page), plain, "{svg}");
        assert!(!page.contains("<svg") && page.contains("src=\"data:image/svg+xml,"), "{svg}");
        for tag in tags(&page).iter().filter(|tag| tag.name == "img") {
            assert_eq!(tag.value("aria-hidden"), Some("true"), "its box has the alternative");
        }
    }
}

#[test]
fn nothing_runs_and_nothing_is_fetched() {
    for report in [sample(), with_text(&HOSTILE.join(" "))] {
        let page = html(&report);
        let tags = tags(&page);
        assert!(
            tags.iter()
                .all(|tag| !["script", "link", "iframe", "object", "embed", "base"].contains(&tag.name.as_str()))
        );
        assert!(tags.iter().flat_map(|tag| &tag.attributes).all(|(name, _)| !name.starts_with("on")));
        assert!(tags.iter().filter_map(|tag| tag.value("src")).all(|address| address.starts_with("data:")));
        assert!(page.contains("content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\""));
    }
    assert!(!STYLESHEET.contains("url(") && !STYLESHEET.contains("@import"));
}

#[test]
fn reports_without_anything_in_them_are_pages_too() {
    for report in bare() {
        let page = html(&report);
        assert!(page.starts_with("<!DOCTYPE html>") && page.ends_with("</html>\n"));
        for row in page.split("<tr>").skip(1) {
            assert!(row.matches("</td>").count() + row.matches("</th>").count() > 0, "{row}");
        }
    }
    assert_eq!(html(&sample()), html(&sample()));
}

/// Relative luminance (Web Content Accessibility Guidelines 2.2, from the definition of sRGB).
fn luminance(colour: (u8, u8, u8)) -> f64 {
    let part = |value: u8| {
        let share = f64::from(value) / 255.0;
        if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * part(colour.0) + 0.7152 * part(colour.1) + 0.0722 * part(colour.2)
}

fn contrast(a: (u8, u8, u8), b: (u8, u8, u8)) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// Values of a property anywhere in the stylesheet, the palette's names read as colours.
fn values(property: &str) -> Vec<(u8, u8, u8)> {
    let named: HashMap<&str, (u8, u8, u8)> = COLOURS.into_iter().collect();
    STYLESHEET
        .split(['{', ';', '}'])
        .filter_map(|declaration| declaration.split_once(':'))
        .filter(|(name, value)| name.trim() == property && value.trim() != "inherit")
        .map(|(_, value)| {
            let name = value.trim().strip_prefix("var(--").and_then(|rest| rest.strip_suffix(')'));
            named[name.unwrap_or_else(|| panic!("{property}:{value} is no colour of the palette"))]
        })
        .collect()
}

#[test]
fn every_text_stands_out_from_every_ground() {
    // The two ends of the scale, by their definition.
    assert!((contrast((0, 0, 0), (255, 255, 255)) - 21.0).abs() < 1e-9);
    let (texts, grounds) = (values("color"), values("background"));
    assert!(texts.len() >= 2 && grounds.len() >= 2, "{texts:?} {grounds:?}");
    for text in &texts {
        for ground in &grounds {
            let ratio = contrast(*text, *ground);
            assert!(ratio >= 4.5, "{text:?} on {ground:?}: {ratio:.2}");
        }
    }
    // Colours come from the palette alone, and a caution's edge can be told from the page.
    assert!(!STYLESHEET.contains('#') && !STYLESHEET.contains("rgb"));
    assert!(contrast(crate::figures::palette::BRICK, crate::figures::palette::PAPER) >= 3.0);
    assert_eq!(colours().matches("--").count(), COLOURS.len());
}
