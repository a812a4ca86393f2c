//! What every report promises, whatever the readings hold.

mod made_up;

use std::{collections::BTreeMap, path::Path};

use footring::{
    identify::{
        cautions,
        reading::{Levels, PieceReading, Reading},
    },
    report::{self, Heading, Terminal},
};
use image::{GrayImage, RgbImage};
use unicode_width::UnicodeWidthStr;

use made_up::{
    candidate, exhibits, failed, heading, joined, look_alike, pictured, piece, poisoned, reading,
    texts, three,
};

// ---- the page ---------------------------------------------------------------

/// Elements without an end tag.
const VOID: [&str; 5] = ["meta", "img", "input", "br", "wbr"];

/// Reads the page as a strict reader would and returns every start tag with its
/// attributes. Panics where tags do not nest or a quote is open.
fn elements(page: &str) -> Vec<(String, BTreeMap<String, String>)> {
    let page = page
        .strip_prefix("<!DOCTYPE html>\n")
        .expect("has a doctype");
    let mut found = Vec::new();
    let mut open: Vec<String> = Vec::new();
    let mut rest = page;
    while let Some(start) = rest.find('<') {
        assert!(!rest[..start].contains('>'), "a bare > in text");
        rest = &rest[start + 1..];
        // Values may hold anything but a quote, so the end is sought outside them.
        let mut quoted = false;
        let end = rest
            .find(|c| {
                quoted ^= c == '"';
                c == '>' && !quoted
            })
            .expect("every tag ends");
        let tag = &rest[..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "tags nest");
            continue;
        }
        let (tag, closed) = match tag.strip_suffix('/') {
            Some(tag) => (tag, true),
            None => (tag, false),
        };
        let (name, mut attributes) = tag.split_once(' ').unwrap_or((tag, ""));
        assert!(
            name.chars().all(|c| c.is_ascii_alphanumeric()),
            "tag name: {name}"
        );
        let mut values = BTreeMap::new();
        while !attributes.trim().is_empty() {
            attributes = attributes.trim_start();
            if let Some(more) = attributes.strip_prefix("checked") {
                attributes = more;
                continue;
            }
            let (key, more) = attributes.split_once("=\"").expect("quoted attribute");
            let (value, more) = more.split_once('"').expect("closed quote");
            assert!(!value.contains('<'), "markup in an attribute: {value}");
            assert!(
                values.insert(key.to_owned(), value.to_owned()).is_none(),
                "{key} twice"
            );
            attributes = more;
        }
        if name == "style" {
            // Raw text up to its end tag.
            let end = rest.find("</style>").expect("the style sheet ends");
            rest = &rest[end + "</style>".len()..];
        } else if !closed && !VOID.contains(&name) {
            open.push(name.to_owned());
        }
        found.push((name.to_owned(), values));
    }
    assert!(open.is_empty(), "left open: {open:?}");
    found
}

#[test]
fn the_page_is_well_formed_and_its_references_hold() {
    let readings = three();
    let page = report::page(&readings, &pictured(&readings), &heading());
    // Kept in target/tmp so that one can look at it.
    std::fs::write(
        Path::new(env!("CARGO_TARGET_TMPDIR")).join("report.html"),
        &page,
    )
    .expect("can be written");

    let elements = elements(&page);
    let ids: Vec<&String> = elements.iter().filter_map(|(_, a)| a.get("id")).collect();
    let mut once = ids.clone();
    once.sort();
    once.dedup();
    assert_eq!(once.len(), ids.len(), "an id occurs twice");
    for (name, attributes) in &elements {
        for key in ["href", "for", "aria-labelledby", "mask"] {
            let Some(value) = attributes.get(key) else {
                continue;
            };
            if value.starts_with("data:image/") {
                continue;
            }
            let id = value.trim_start_matches("url(").trim_end_matches(')');
            let id = id.trim_start_matches('#').to_owned();
            assert!(ids.contains(&&id), "<{name} {key}={value}> leads nowhere");
        }
        match name.as_str() {
            "img" => assert!(attributes.get("alt").is_some_and(|a| !a.is_empty())),
            "svg" => assert!(
                attributes.contains_key("aria-hidden") || attributes.contains_key("aria-label")
            ),
            _ => {}
        }
    }
    let headings = elements.iter().filter(|(n, _)| n == "h1").count();
    assert_eq!(headings, 1);
}

#[test]
fn the_page_loads_nothing_and_runs_nothing() {
    let readings = three();
    let page = report::page(&readings, &pictured(&readings), &heading());
    for (name, attributes) in elements(&page) {
        assert!(
            ![
                "script",
                "link",
                "iframe",
                "object",
                "embed",
                "base",
                "form",
                "foreignObject"
            ]
            .contains(&&*name),
            "<{name}>"
        );
        for (key, value) in attributes {
            assert!(!key.starts_with("on") && key != "style", "{key}={value}");
            let loads = ["src", "srcset", "poster", "action", "background"].contains(&&*key)
                || (key == "href" && name != "a");
            assert!(
                !loads || value.starts_with("data:image/"),
                "<{name} {key}={value}>"
            );
        }
    }
    assert!(page.contains("default-src 'none'"));
    assert!(!page.contains("@import") && !page.contains("url(http"));
    // The one address is the name of the SVG language, which is not fetched.
    let addresses = page.matches("://").count();
    assert_eq!(
        addresses,
        page.matches("http://www.w3.org/2000/svg").count()
    );
}

#[test]
fn whatever_a_text_holds_it_stays_text() {
    let clean = report::page(&[poisoned("plain")], &[], &heading());
    // A slash may add a place to break the line, which is nothing else.
    let tags = |page: &str| -> Vec<String> {
        let names = elements(page).into_iter().map(|e| e.0);
        names.filter(|name| name != "wbr").collect()
    };
    for text in [
        "<script>alert(1)</script>",
        "\" onload=\"alert(1)",
        "' onload='alert(1)",
        "</style><img src=x onerror=alert(1)>",
        "]]>--><!-- &amp; &lt;",
        "\u{0}\u{8}\u{1b}[31m\u{202e}txt",
    ] {
        let mut heading = heading();
        heading.set = text.into();
        heading.title = text.into();
        heading.made = text.into();
        let readings = [poisoned(text)];
        let page = report::page(&readings, &[], &heading);
        assert_eq!(tags(&page), tags(&clean), "{text}");
        assert!(!page.contains("<script") && !page.contains("<!--"));
        assert!(!page.contains(['\u{0}', '\u{8}', '\u{1b}', '\u{202e}']));

        let mut exhibits = exhibits(text, 1);
        exhibits[0].matches[0].photo = text.into();
        let pictured = report::page(&readings, &[exhibits], &heading);
        assert!(!pictured.contains("<script") && !pictured.contains("onerror=alert(1)>"));
        elements(&pictured);
    }
}

#[test]
fn the_page_shows_every_photo_and_every_piece() {
    let readings = three();
    let page = report::page(&readings, &pictured(&readings), &heading());
    for reading in &readings {
        assert!(page.contains(&reading.photo));
    }
    for id in [
        "photo-1",
        "photo-1-piece-1",
        "photo-2-piece-1",
        "photo-2-piece-2",
        "photo-3",
    ] {
        assert_eq!(page.matches(&format!(" id=\"{id}\"")).count(), 1, "{id}");
    }
    // Two pieces of one photo share its picture.
    assert_eq!(page.matches("class=\"stage\"").count(), 2);
    assert!(page.contains("copy it again from the camera"));
    assert!(page.contains("<code>damaged</code>"));
}

#[test]
fn the_page_says_resembles_and_never_is() {
    let readings = three();
    let page = report::page(&readings, &pictured(&readings), &heading());
    assert!(page.contains("Resembles <b><bdi>C-0012</bdi></b> (distance 0.21), labelled "));
    assert!(page.contains(" by the set."));
    assert!(page.contains("0 = same, 1 = the usual distance between unrelated pieces"));
    assert!(page.contains("Not in the set"));
    for text in cautions::STANDING {
        assert!(page.contains(text), "{text}");
    }
    for limit in cautions::LIMITS {
        assert!(page.contains(limit.lead));
    }
}

#[test]
fn a_page_without_pictures_or_readings_is_still_a_page() {
    elements(&report::page(&three(), &[], &Heading::default()));
    let empty = report::page(&[], &[], &Heading::default());
    elements(&empty);
    assert!(empty.contains(cautions::STANDING[0]));
}

#[test]
fn numbers_that_are_none_do_not_break_the_page() {
    let mut odd = piece();
    odd.matches[0].distance = f64::NAN;
    odd.levels.form[0].probability = f64::INFINITY;
    let mut exhibits = exhibits("cup.jpg", 1);
    exhibits[0].sights[0].outline.outer[3] = [f32::NAN, f32::INFINITY];
    exhibits[0].sights[0].mask = GrayImage::new(1, 1);
    exhibits[0].palette[0].share = f32::NAN;
    exhibits[0].palette[1].lab = [f32::NAN; 3];
    exhibits[0].sights[0].crop = RgbImage::new(0, 0);
    exhibits[0].matches[0].thumbnail = b"no picture".to_vec();
    let page = report::page(&[reading("cup.jpg", vec![odd])], &[exhibits], &heading());
    elements(&page);
    assert!(!page.contains("NaN") && !page.contains(">inf"));
}

// ---- the table --------------------------------------------------------------

#[test]
fn no_line_of_the_table_is_wider_than_the_terminal() {
    let mut readings = three();
    readings.push(poisoned(
        "青花纏枝蓮紋碗・とても長い名前の茶碗 e\u{301}e\u{301} ❤️ 👩‍👩‍👧 long-word",
    ));
    readings.push(poisoned(&"x".repeat(300)));
    readings.push(reading("empty.jpg", vec![]));
    for width in 1..=140 {
        let table = report::table(
            &readings,
            Terminal {
                width,
                colour: false,
            },
        );
        for line in table.lines() {
            assert!(line.width() <= width, "{} > {width}: {line}", line.width());
        }
    }
}

#[test]
fn colour_adds_nothing_but_colour() {
    let plain = report::table(&three(), Terminal::default());
    let painted = report::table(
        &three(),
        Terminal {
            colour: true,
            ..Terminal::default()
        },
    );
    assert!(!plain.contains('\u{1b}') && painted.contains('\u{1b}'));
    let mut bare = String::new();
    let mut parts = painted.split('\u{1b}');
    bare.push_str(parts.next().expect("a first part"));
    for part in parts {
        bare.push_str(part.split_once('m').expect("a whole sequence").1);
    }
    assert_eq!(bare, plain);
}

#[test]
fn a_name_cannot_drive_the_terminal() {
    let table = report::table(
        &[poisoned("\u{1b}]0;owned\u{7}\u{9b}2J")],
        Terminal::default(),
    );
    assert!(table.chars().all(|c| c == '\n' || !c.is_control()));
}

#[test]
fn the_table_says_what_is_settled_and_what_is_not() {
    let table = report::table(&three(), Terminal::default());
    let expected = "\
kitchen/cup.jpg
  piece 1: seen from the side
  form     firm     0.18  teacup
  shape    likely   0.24  low flared
  pattern  several  0.52  blue rim band or blue rim band with rose sprigs or co…
  glaze    unknown  0.97  not in the set; nearest label: celadon
  colour   ground blue (2.8PB 6.1/5.8); with blue (2.8PB 6.1/5.8)
  treated  several: coloured outside only or coloured inside and out (outside
           blue; inside not seen well enough)
  decor    outside (inside not seen): rim band; printed, decalled or painted;
           blue; border repeats about 22 to 24 times round the rim; most like
           blue rim band (0.52, several)
  nearest  C-0012 (0.21), C-0044 (0.48), C-0100 (0.66)
  advice   photograph the underside: the mark may settle the pattern (and 1
           more)
  warning  much of the piece is burnt out by glare: use flat, even light from
           the side

";
    assert!(table.starts_with(expected), "{table}");
    assert!(table.contains("  failed   broken.jpg: is no picture;"));
    assert!(table.contains("no food-safety test"));
}

#[test]
fn what_the_levels_say_together_and_what_parts_look_alikes_is_shown() {
    let mut one = piece();
    one.joined = joined();
    one.look_alikes = vec![look_alike()];
    let table = report::table(
        &[reading("cup.jpg", vec![one.clone()])],
        Terminal {
            width: 100,
            colour: false,
        },
    );
    let expected = "  \
  joined   new combination: the set has shape low flared (3 pieces) and pattern blue rim band (2
           pieces), but none of both
  years    from 1931 on, by the set: shape low flared from 1931 on
  maker    Quellmoor Pottery, by the set: shape low flared
  mark     a moor hen, by the set: pattern blue rim band
  note     the nearest piece is borrowed
  apart    shape low flared or tall flared: the handle joins lower (a curator); outline is nearer to
           low flared (0.12) than to tall flared (0.36); form is as near to both (0.20 and 0.21)
";
    assert!(table.contains(expected.trim_start()), "{table}");

    let readings = [reading("cup.jpg", vec![one.clone()])];
    let page = report::page(&readings, &pictured(&readings), &heading());
    elements(&page);
    for said in [
        "New combination: the set has shape low flared (3 pieces)",
        "the handle joins lower",
        "Noted by <bdi>a curator</bdi>",
        "nearer to low flared (0.12)",
        "<bdi>low flared</bdi>: <bdi>C-0012</bdi></figcaption>",
        "<bdi>tall flared</bdi>: <bdi>C-0044</bdi></figcaption>",
    ] {
        assert!(page.contains(said), "{said}");
    }
    let drawn = |page: &str| page.matches("laid over that of C-0044").count();
    assert_eq!(drawn(&page), 2, "the match's outline, and the pair's");
    // Outlines say nothing about a pattern; without pictures the words stand.
    one.look_alikes[0].level = "pattern".into();
    let readings = [reading("cup.jpg", vec![one.clone()])];
    assert_eq!(
        drawn(&report::page(&readings, &pictured(&readings), &heading())),
        1
    );
    let bare = report::page(&readings, &[], &heading());
    elements(&bare);
    assert!(
        bare.contains("nearer to low flared (0.12)")
            && !bare.contains("<bdi>C-0044</bdi></figcaption>")
    );
    // The table has one pair a level, and all that have a note.
    let mut second = look_alike();
    second.level = "pattern".into();
    second.labels[1] = "the third".into();
    let told = |one: &PieceReading| {
        let table = report::table(
            &[reading("cup.jpg", vec![one.clone()])],
            Terminal::default(),
        );
        table.matches("  apart ").count()
    };
    one.look_alikes.push(second);
    assert_eq!(told(&one), 2);
    one.look_alikes[1].note = None;
    assert_eq!(told(&one), 1);

    let csv = report::csv(&readings).expect("can be written");
    assert!(csv.trim_end().ends_with(",new,1931,"), "{csv}");
}

// ---- JSON and CSV -----------------------------------------------------------

#[test]
fn json_holds_the_schema_field_for_field() {
    let mut one = piece();
    one.levels = Levels {
        form: vec![candidate("teacup", 0.18, 0.91)],
        ..Levels::default()
    };
    one.matches.truncate(1);
    one.matches[0].channels = [("outline".to_owned(), 0.12)].into();
    one.matches[0].labels = texts(&[("form", "teacup")]);
    one.advice.truncate(1);
    one.cautions = vec!["no appraisal".into()];
    one.joined = joined();
    one.look_alikes = vec![look_alike()];
    let mut ok = reading("cup.jpg", vec![one]);
    ok.warnings[0].text = "glare".into();
    let lines = report::jsonl(&[ok, failed("broken.jpg")]).expect("can be written");
    let expected = concat!(
        r#"{"schema":"footring.reading/1","photo":"cup.jpg","status":"ok","error":null,"#,
        r#""warnings":[{"code":"glare","text":"glare"}],"#,
        r#""pieces":[{"box_px":[96,120,310,220],"mask_area_px2":40120.5,"view":"side","#,
        r#""reordered_by_graph":false,"levels":{"form":[{"label":"teacup","distance":0.18,"pieces":3,"probability":0.91,"matches":[1]}],"#,
        r#""shape":[],"pattern":[],"glaze":[]},"#,
        r#""certainty":{"form":"firm","shape":"likely","pattern":"several","glaze":"unknown"},"#,
        r#""joined":{"combination":"new","labels":[{"level":"shape","label":"low flared"},"#,
        r#"{"level":"pattern","label":"blue rim band"}],"#,
        r#""new_pairs":[{"labels":[{"level":"shape","label":"low flared"},"#,
        r#"{"level":"pattern","label":"blue rim band"}],"pieces":[3,2]}],"perhaps_new":null,"#,
        r#""years":{"from":1931,"to":null,"basis":[{"level":"shape","label":"low flared","#,
        r#""from":1931,"to":null,"pieces":2}]},"years_conflict":null,"#,
        r#""maker":{"values":["Quellmoor Pottery"],"basis":[{"level":"shape","label":"low flared"}]},"#,
        r#""mark":{"values":["a moor hen"],"basis":[{"level":"pattern","label":"blue rim band"}]},"#,
        r#""notes":["the nearest piece is borrowed"]},"#,
        r#""look_alikes":[{"level":"shape","labels":["low flared","tall flared"],"#,
        r#""pieces":["C-0012","C-0044"],"photos":["set/C-0012-side.jpg","set/C-0044.jpg"],"ranks":[1,2],"#,
        r#""channels":[{"channel":"outline","distances":[0.12,0.36],"apart":0.31},"#,
        r#"{"channel":"form","distances":[0.2,0.21],"apart":null}],"#,
        r#""note":{"text":"the handle joins lower","who":"a curator","at":"2031-05-04T10:00:00Z"}}],"#,
        r#""settled":{"form":{"short_list":1,"unknown":0.02,"trials":120},"#,
        r#""shape":{"short_list":2,"unknown":0.11,"trials":120},"#,
        r#""pattern":{"short_list":3,"unknown":0.09,"trials":120},"#,
        r#""glaze":{"short_list":1,"unknown":0.88,"trials":120}},"#,
        r#""colour":{"balance":"found","ground":{"lab":[62.0,-4.0,-22.0],"rgb":[116,154,188],"#,
        r#""share":0.8,"doubt":{"chroma":1.2,"lightness":8.0},"name":"blue (2.8PB 6.1/5.8)","#,
        r#""surround_lab":null},"decoration":[{"lab":[62.0,-4.0,-22.0],"rgb":[120,150,190],"#,
        r#""share":0.1,"name":"blue (2.8PB 6.1/5.8)"}]},"#,
        r#""surface":{"view":"oblique","outside":{"share":0.5,"ground":{"lab":[62.0,-4.0,-22.0],"#,
        r#""rgb":[116,154,188],"share":0.9,"name":"blue"},"decorated":0.2},"inside":null,"zones":[{"zone":"rim_band","#,
        r#""face":"outside","share":0.25,"ground":null,"decorated":null}]},"#,
        r#""treatment":{"certainty":"several","candidates":["outside_only","inside_and_out"],"#,
        r#""basis":"outside blue; inside not seen well enough","sees_inside":false},"#,
        r#""decoration":{"side":"outside","seen":["outside"],"all_over":false,"#,
        r#""locations":[{"zone":"rim_band","face":"outside","share":0.4}],"technique":"applied","#,
        r#""colours":[{"lab":[62.0,-4.0,-22.0],"rgb":[120,150,190],"share":0.1,"#,
        r#""name":"blue (2.8PB 6.1/5.8)"}],"border":{"zone":"rim_band","face":"outside","#,
        r#""repeats":[22,24],"whole_turn":false,"likeness":0.8},"#,
        r#""motif":{"label":"blue rim band","distance":0.52,"certainty":"several"}},"#,
        r#""matches":[{"rank":1,"piece":"C-0012","photo":"set/C-0012-side.jpg","distance":0.21,"#,
        r#""channels":{"outline":0.12},"#,
        r#""ground":{"delta_e00":3.1,"doubt":2.4,"told_apart":false},"labels":{"form":"teacup"}}],"#,
        r#""advice":["photograph the underside: the mark may settle the pattern"],"#,
        r#""cautions":["no appraisal"]}]}"#,
        "\n",
        r#"{"schema":"footring.reading/1","photo":"broken.jpg","status":"failed","#,
        r#""error":{"kind":"damaged","message":"broken.jpg: is no picture; copy it again from the camera"},"#,
        r#""warnings":[],"pieces":[]}"#,
        "\n",
    );
    assert_eq!(lines, expected);
}

#[test]
fn json_read_again_is_the_same() {
    let json = report::json(&three()).expect("can be written");
    let again: Vec<Reading> = serde_json::from_str(&json).expect("can be read");
    assert_eq!(report::json(&again).expect("can be written"), json);
    let lines = report::jsonl(&three()).expect("can be written");
    assert_eq!(lines.lines().count(), 3);
    for line in lines.lines() {
        let _: Reading = serde_json::from_str(line).expect("each line stands alone");
    }
}

#[test]
fn csv_has_a_row_for_each_piece() {
    let text = report::csv(&three()).expect("can be written");
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let header = rows.headers().expect("a header").clone();
    let rows: Vec<BTreeMap<String, String>> = rows
        .records()
        .map(|row| {
            let row = row.expect("equal lengths");
            let pairs = header.iter().zip(row.iter());
            pairs.map(|(k, v)| (k.to_owned(), v.to_owned())).collect()
        })
        .collect();
    assert_eq!(rows.len(), 4);
    assert_eq!(rows[0]["form_resembles"], "teacup");
    assert_eq!(rows[0]["form_certainty"], "firm");
    assert_eq!(rows[0]["form_distance"], "0.1800");
    assert_eq!(rows[0]["glaze_certainty"], "unknown");
    assert_eq!(rows[0]["nearest_piece"], "C-0012");
    assert_eq!(rows[0]["warnings"], "glare");
    assert_eq!(rows[2]["piece"], "2");
    assert_eq!(rows[3]["status"], "failed");
    assert!(rows[3]["error"].contains("is no picture"));
    assert_eq!(rows[3]["nearest_piece"], "");
}

#[test]
fn no_cell_of_the_csv_is_a_formula() {
    for text in ["=HYPERLINK(\"x\")", "@A1", "+1+1", "-1+1", "\t=1"] {
        let text = report::csv(&[poisoned(text)]).expect("can be written");
        let mut rows = csv::Reader::from_reader(text.as_bytes());
        for row in rows.records() {
            for cell in &row.expect("equal lengths") {
                let number = cell.parse::<f64>().is_ok();
                assert!(
                    number || !cell.trim_start().starts_with(['=', '+', '-', '@']),
                    "{cell}"
                );
            }
        }
    }
}
