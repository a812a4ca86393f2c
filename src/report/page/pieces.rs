//! The page of photos that were cut apart: each photo with the numbers of its
//! pieces, and the pieces, so that whoever cut them can see what is none.

use super::{
    end, head,
    html::{self, escape},
    stage, title,
};
use crate::report::{Heading, Sight, words};

/// A photo that was cut apart.
#[derive(Clone, Debug)]
pub struct Lot {
    /// The photo's name, as shown.
    pub photo: String,
    /// What was cut out of it, or why it could not be read.
    pub found: Result<Vec<CutOut>, String>,
}

/// One piece of a photo, cut out.
#[derive(Clone, Debug)]
pub struct CutOut {
    /// The name of its picture, as shown.
    pub file: String,
    /// Part of the photo that it covers, 0 to 1.
    pub share: f64,
    /// Whether the photo's edge cuts it off.
    pub touches_frame: bool,
    /// How it is seen there.
    pub sight: Sight,
}

/// The page, made photo by photo: of a box of photos only the markup is kept.
#[derive(Clone, Debug, Default)]
pub struct PiecesPage {
    sections: String,
    photos: usize,
    pieces: usize,
}

impl PiecesPage {
    /// Puts the next photo on the page.
    pub fn add(&mut self, lot: &Lot) {
        self.photos += 1;
        self.pieces += lot.found.as_ref().map_or(0, Vec::len);
        photo(&mut self.sections, self.photos, lot);
    }

    /// The whole page.
    pub fn finish(self, heading: &Heading) -> String {
        let title = title(heading, "What was cut out");
        let mut out = String::new();
        head(&mut out, title);
        out.push_str(&format!(
            concat!(
                "<body>\n<header class=\"top\">\n<p class=\"kicker\">footring</p>\n<h1>{title}</h1>\n",
                "<p class=\"lead\">What looks like ware in these photos, cut out into a picture a piece. ",
                "Look through it before you go on: other things that stand about are taken for pieces too, ",
                "a cup with its saucer is often one, and what is small in the photo may be missing. ",
                "Delete the pictures of what is no piece and ask about the others.</p>\n",
                "<p class=\"tally\">{pieces} in {photos}.</p>\n</header>\n<main>\n",
                "{sections}</main>\n<footer>\n"
            ),
            title = escape(title),
            pieces = words::counted(self.pieces, "piece"),
            photos = words::counted(self.photos, "photo"),
            sections = self.sections,
        ));
        end(&mut out, heading);
        out
    }
}

fn photo(out: &mut String, number: usize, lot: &Lot) {
    out.push_str(&format!(
        "<section class=\"photo\" id=\"photo-{number}\" aria-labelledby=\"photo-{number}-name\">\n<p class=\"kicker\">Photo {number}</p>\n<h2 id=\"photo-{number}-name\"><bdi>{}</bdi></h2>\n",
        escape(&lot.photo)
    ));
    match &lot.found {
        Err(why) => out.push_str(&format!(
            "<div class=\"failed\"><h3>Could not be read</h3><p>{}</p></div>\n",
            escape(why)
        )),
        Ok(pieces) if pieces.is_empty() => out.push_str("<p>No ware is seen in this photo.</p>\n"),
        Ok(pieces) => {
            let sights: Vec<_> = (1..).zip(pieces.iter().map(|piece| &piece.sight)).collect();
            stage::stages(out, number, &sights, true);
            out.push_str("<div class=\"cut-outs\">\n");
            for (i, piece) in pieces.iter().enumerate() {
                cut_out(out, i + 1, piece);
            }
            out.push_str("</div>\n");
        }
    }
    out.push_str("</section>\n");
}

fn cut_out(out: &mut String, number: usize, piece: &CutOut) {
    let crop = &piece.sight.crop;
    let picture = html::jpeg(crop).map_or_else(String::new, |source| {
        format!(
            "<img class=\"crop\" src=\"{source}\" width=\"{}\" height=\"{}\" alt=\"Piece {number} alone\">",
            crop.width(),
            crop.height()
        )
    });
    let cut_off = if piece.touches_frame {
        ", cut off by the photo’s edge"
    } else {
        ""
    };
    out.push_str(&format!(
        "<figure>{picture}<figcaption><b>{number}</b> <bdi>{}</bdi>: {:.1} % of the photo{cut_off}</figcaption></figure>\n",
        escape(&piece.file),
        100.0 * piece.share
    ));
}
