//! An assessment as one self-contained page, in the style of the page of readings.

use super::{bare, baselines, counted, is_broken, plot, with_interval};
use crate::{
    assess::{Assessment, LevelAssessment, Rate},
    identify::calibrate::{FIRM, LIKELY},
    report::{
        Heading,
        page::{capital, end, escape, head},
        words,
    },
};

/// Rows of a list that are shown.
const SHOWN: usize = 30;

/// The page. `heading` as of the page of readings.
pub fn page(assessment: &Assessment, heading: &Heading) -> String {
    let title = if heading.title.trim().is_empty() {
        "How well this set answers"
    } else {
        &heading.title
    };
    let mut out = String::new();
    head(&mut out, title);
    out.push_str(&format!(
        concat!(
            "<body>\n<header class=\"top\">\n<p class=\"kicker\">footring</p>\n<h1>{title}</h1>\n",
            "<p class=\"lead\">The set <b><bdi>{set}</bdi></b> was tried on itself: {asked} were asked about, ",
            "each by one photo, with all its own photos left out.</p>\n<p class=\"tally\">{pieces}, {photos} in the set. ",
            "Figures in brackets are 95 % intervals (Wilson).</p>\n</header>\n<main>\n"
        ),
        title = escape(title),
        set = escape(&heading.set),
        asked = counted(assessment.asked, "piece"),
        pieces = counted(assessment.pieces, "piece"),
        photos = counted(assessment.photos, "photo"),
    ));
    summary(&mut out, assessment);
    for (name, level) in assessment.levels.by_name() {
        one(&mut out, name, level);
    }
    out.push_str("</main>\n");
    foot(&mut out, heading);
    out
}

fn num(rate: Option<&Rate>) -> String {
    format!("<td class=\"num\">{}</td>", with_interval(rate))
}

fn summary(out: &mut String, assessment: &Assessment) {
    let names = baselines(&assessment.levels.form.baselines).map(|(name, _)| name);
    out.push_str("<section aria-labelledby=\"summary\">\n<h2 id=\"summary\">At a glance</h2>\n<div class=\"wide\"><table class=\"figures\">\n<caption>How often the right label comes first (R@1) or among the first five (R@5), mean average precision of the pieces (mAP), and R@1 of three trivial ways on the same questions</caption>\n<thead><tr><th scope=\"col\">Level</th><th scope=\"col\">Asked</th><th scope=\"col\">R@1</th><th scope=\"col\">R@5</th><th scope=\"col\">mAP</th>");
    for name in names {
        out.push_str(&format!("<th scope=\"col\">{}</th>", capital(name)));
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for (name, level) in assessment.levels.by_name() {
        out.push_str(&format!("<tr><th scope=\"row\">{}</th>", capital(name)));
        if level.r1.is_none() {
            let note = level.note.as_deref().unwrap_or("not tried");
            out.push_str(&format!("<td colspan=\"7\">{}</td></tr>\n", escape(note)));
            continue;
        }
        let n = level.r1.map_or(0, |r| r.n);
        out.push_str(&format!("<td class=\"num\">{n}</td>"));
        for rate in [&level.r1, &level.r5, &level.map] {
            out.push_str(&num(rate.as_ref()));
        }
        for (_, rate) in baselines(&level.baselines) {
            out.push_str(&format!("<td class=\"num\">{}</td>", bare(rate.as_ref())));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table></div>\n");
    if let Some(same) = &assessment.same_piece {
        out.push_str(&format!(
            "<p>The same piece in another photo, by all channels together ({} asked about): R@1 <span class=\"num\">{}</span>, mAP <span class=\"num\">{}</span>.</p>\n",
            counted(same.asked, "piece"),
            with_interval(same.r1.as_ref()),
            with_interval(same.map.as_ref()),
        ));
    }
    out.push_str("</section>\n");
}

fn one(out: &mut String, name: &str, level: &LevelAssessment) {
    out.push_str(&format!(
        "<section class=\"level-report\" aria-labelledby=\"{name}\">\n<h2 id=\"{name}\">{}</h2>\n<p class=\"tally\">{} of {} in the set, {} asked about.</p>\n",
        capital(name),
        counted(level.labels, "label"),
        counted(level.pieces, "piece"),
        level.r1.map_or(0, |r| r.n),
    ));
    if let Some(note) = &level.note {
        out.push_str(&format!("<p>{}.</p>\n", escape(&capital(note))));
    }
    if level.not_shown > 0 {
        out.push_str(&format!(
            "<p>{} left out: the photo does not show it.</p>\n",
            counted(level.not_shown, "piece")
        ));
    }
    if level.r1.is_some() {
        out.push_str(&format!(
            "<p>Mean over labels: R@1 <span class=\"num\">{}</span>, R@5 <span class=\"num\">{}</span>.</p>\n",
            with_interval(level.macro_r1.as_ref()),
            with_interval(level.macro_r5.as_ref()),
        ));
        plots(out, name, level);
        promises(out, level);
    }
    lists(out, level);
    out.push_str("</section>\n");
}

fn plots(out: &mut String, name: &str, level: &LevelAssessment) {
    out.push_str("<div class=\"plots\">\n");
    if let Some(curve) = &level.calibration {
        let said = format!(
            "Calibration of {name}: expected calibration error {:.3}",
            curve.error
        );
        out.push_str(&format!(
            "<figure>{}<figcaption>How often the first label is right, by its share of the evidence. On the dashed line both are the same. Expected calibration error {:.3}; so few answers show {:.3} by chance alone.</figcaption></figure>\n",
            plot::calibration(curve, &said),
            curve.error,
            curve.by_chance
        ));
    }
    if !level.risk.is_empty() {
        let allowed = [1.0 - FIRM, 1.0 - LIKELY];
        out.push_str(&format!(
            "<figure>{}<figcaption>What is wrong if only the surest answers are given. Dashed: what firm ({:.2}) and likely ({:.2}) allow.</figcaption></figure>\n",
            plot::risk(&level.risk, &allowed, &format!("Risk against coverage of {name}")),
            allowed[0],
            allowed[1],
        ));
    }
    out.push_str("</div>\n");
}

fn promises(out: &mut String, level: &LevelAssessment) {
    out.push_str("<h3>What the words are worth</h3>\n<div class=\"wide\"><table class=\"figures\">\n<thead><tr><th scope=\"col\">Word</th><th scope=\"col\">Said of labels in the set</th><th scope=\"col\">Of labels struck off</th><th scope=\"col\">Right</th><th scope=\"col\">Promised</th></tr></thead>\n<tbody>\n");
    for word in &level.words {
        let promised = match word.promised {
            Some(promised) if is_broken(word) => {
                format!("{promised:.2} <span class=\"broken\">not kept</span>")
            }
            Some(promised) => format!("{promised:.2}"),
            None => "–".to_owned(),
        };
        let listed = match word.listed {
            Some(listed) => format!(", {listed:.1} labels"),
            None => String::new(),
        };
        out.push_str(&format!(
            "<tr><th scope=\"row\">{}{listed}</th><td class=\"num\">{}</td><td class=\"num\">{}</td>{}<td class=\"num\">{promised}</td></tr>\n",
            words::certainty(word.word),
            word.said,
            word.said_struck_off,
            num(word.right.as_ref()),
        ));
    }
    out.push_str("</tbody>\n</table></div>\n");
    if let Some(known) = &level.known {
        out.push_str(&format!(
            "<p>In the set or not ({} questions against {} with their label struck off): AUROC {:.3}; where 95 % of what is in the set is accepted, <span class=\"num\">{}</span> of what is not is accepted too.</p>\n",
            known.known,
            known.struck_off,
            known.auroc,
            with_interval(Some(&known.false_accept)),
        ));
    }
}

fn lists(out: &mut String, level: &LevelAssessment) {
    let bdi = |label: &str| format!("<bdi>{}</bdi>", escape(label));
    let confusions = level.confusions.iter().map(|c| {
        let times = if c.times == 1 { "once" } else { "times" };
        let n = if c.times == 1 {
            String::new()
        } else {
            format!("{} ", c.times)
        };
        format!(
            "{} taken for {}, {n}{times}",
            bdi(&c.truth),
            bdi(&c.read_as)
        )
    });
    list(out, "Taken for another", confusions.collect());
    let pairs = level.look_alikes.iter().map(|pair| {
        let [a, b] = &pair.labels;
        let note = pair.note.as_ref().map_or_else(
            || "; no note says how to tell them apart".to_owned(),
            |note| format!(": {}", escape(note)),
        );
        format!(
            "{} and {} <span class=\"num\">(the other lay nearer in {:.0} % of {} questions)</span>{note}",
            bdi(a),
            bdi(b),
            100.0 * pair.mixed.rate,
            pair.mixed.n
        )
    });
    list(out, "Look-alikes", pairs.collect());
    let single = level.single.iter().map(|label| bdi(label));
    list(
        out,
        "Labels of one piece: add another to have them tried",
        single.collect(),
    );
}

fn list(out: &mut String, title: &str, rows: Vec<String>) {
    if rows.is_empty() {
        return;
    }
    out.push_str(&format!("<h3>{title}</h3>\n<ul>\n"));
    for row in rows.iter().take(SHOWN) {
        out.push_str(&format!("<li>{row}</li>\n"));
    }
    if rows.len() > SHOWN {
        out.push_str(&format!("<li>and {} more</li>\n", rows.len() - SHOWN));
    }
    out.push_str("</ul>\n");
}

fn foot(out: &mut String, heading: &Heading) {
    out.push_str("<footer>\n<h2>How it was done</h2>\n<p class=\"standing\">Plots and words rest on three questions a piece: with all its photos left out, with the one photo left out, and with its label struck off. Each was judged by what the other four fifths of the pieces taught, and questions struck off weigh as often as pieces are taken to be not in the set (by the labels of one piece only, but not less than is usual). What holds for the photos of the set holds for photos like them.</p>\n");
    end(out, heading);
}
