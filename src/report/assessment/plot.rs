//! Plots as SVG inside a page.
//!
//! Marks carry presentation attributes and a class: on its own the drawing is
//! complete, and the page's style sheet recolours it.

use std::fmt::Write as _;

use crate::{
    assess::{Curve, RiskPoint},
    report::page::escape,
};

/// Size of a drawing.
const SIZE: [f64; 2] = [360.0, 300.0];
/// Place of the plot's lower left corner, and its width and height.
const CORNER: [f64; 2] = [58.0, 240.0];
const SPAN: [f64; 2] = [286.0, 224.0];
/// Steps between the marks of an axis.
const STEPS: usize = 5;

/// A drawing begun: both axes from 0, with grid, numbers and names.
struct Plot {
    out: String,
    /// Where the axes end.
    to: [f64; 2],
}

impl Plot {
    /// `names` are those of the axes; `label` is read to those who cannot see it.
    fn new(label: &str, names: [&str; 2], to: [f64; 2]) -> Self {
        let [width, height] = SIZE;
        let mut plot = Self {
            out: format!(
                "<svg class=\"plot\" role=\"img\" aria-label=\"{}\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\">",
                escape(label)
            ),
            to,
        };
        let [left, bottom] = CORNER;
        let (right, top) = (left + SPAN[0], bottom - SPAN[1]);
        for step in 0..=STEPS {
            let share = step as f64 / STEPS as f64;
            let [x, y] = plot.at([share * to[0], share * to[1]]);
            plot.put(&format!(
                "<path class=\"grid\" d=\"M{x:.1} {bottom}V{top}M{left} {y:.1}H{right}\" stroke=\"#d9d1c4\" fill=\"none\"/>"
            ));
            plot.put(&format!(
                "<text x=\"{x:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text><text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
                bottom + 18.0,
                mark(share * to[0], to[0]),
                left - 7.0,
                y + 4.0,
                mark(share * to[1], to[1]),
            ));
        }
        let [middle_x, middle_y] = [(left + right) / 2.0, (top + bottom) / 2.0];
        plot.put(&format!(
            concat!(
                "<path class=\"axis\" d=\"M{left} {top}V{bottom}H{right}\" stroke=\"#23201c\" fill=\"none\"/>",
                "<text x=\"{mx}\" y=\"{low}\" text-anchor=\"middle\">{nx}</text>",
                "<text transform=\"translate(15 {my}) rotate(-90)\" text-anchor=\"middle\">{ny}</text>"
            ),
            left = left,
            top = top,
            bottom = bottom,
            right = right,
            mx = middle_x,
            my = middle_y,
            low = bottom + 42.0,
            nx = escape(names[0]),
            ny = escape(names[1]),
        ));
        plot
    }

    /// Where a value is drawn.
    fn at(&self, value: [f64; 2]) -> [f64; 2] {
        let share = [0, 1].map(|axis| (value[axis] / self.to[axis]).clamp(0.0, 1.0));
        [
            CORNER[0] + share[0] * SPAN[0],
            CORNER[1] - share[1] * SPAN[1],
        ]
    }

    fn put(&mut self, markup: &str) {
        self.out.push_str(markup);
    }

    fn line(&mut self, class: &str, look: &str, points: &[[f64; 2]]) {
        let mut d = String::new();
        for (i, point) in points.iter().enumerate() {
            let [x, y] = self.at(*point);
            let command = if i == 0 { 'M' } else { 'L' };
            // Writing to a String cannot fail.
            let _ = write!(d, "{command}{x:.1} {y:.1}");
        }
        self.put(&format!(
            "<path class=\"{class}\" d=\"{d}\" fill=\"none\" {look}/>"
        ));
    }

    fn finish(mut self) -> String {
        self.put("</svg>");
        self.out
    }
}

/// A number of an axis that ends at `to`.
fn mark(value: f64, to: f64) -> String {
    if to < 0.5 {
        format!("{value:.2}")
    } else {
        format!("{value:.1}")
    }
}

const DASHED: &str = "stroke=\"#1f4e66\" stroke-dasharray=\"5 4\"";
const DRAWN: &str = "stroke=\"#8a4b2a\" stroke-width=\"1.8\" stroke-linejoin=\"round\"";

/// Rate of right answers by their share of the evidence, with intervals; where both
/// are the same a dashed line runs. Larger dots stand for more answers.
pub(super) fn calibration(curve: &Curve, label: &str) -> String {
    let names = ["share of the evidence", "right"];
    let mut plot = Plot::new(label, names, [1.0, 1.0]);
    plot.line("ideal", DASHED, &[[0.0, 0.0], [1.0, 1.0]]);
    let means: Vec<[f64; 2]> = curve.bins.iter().map(|b| [b.share, b.right.rate]).collect();
    plot.line("curve", DRAWN, &means);
    let most = curve.bins.iter().map(|b| b.right.n).max().unwrap_or(1);
    for bin in &curve.bins {
        let interval = [[bin.share, bin.right.low], [bin.share, bin.right.high]];
        plot.line("curve", "stroke=\"#8a4b2a\"", &interval);
        let [x, y] = plot.at([bin.share, bin.right.rate]);
        let radius = 2.0 + 4.0 * (bin.right.n as f64 / most.max(1) as f64).sqrt();
        plot.put(&format!(
            "<circle class=\"dot\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{radius:.1}\" fill=\"#8a4b2a\"/>"
        ));
    }
    plot.finish()
}

/// What is wrong of the surest answers, by how many are answered. A dashed line is
/// drawn at each of `allowed` that lies in the picture.
pub(super) fn risk(points: &[RiskPoint], allowed: &[f64], label: &str) -> String {
    let highest = points.iter().map(|p| p.risk).fold(0.0, f64::max);
    // Ends whose fifths are round numbers.
    let mut ends = [0.1, 0.2, 0.5, 1.0].into_iter();
    let to = ends.find(|to| *to >= highest).unwrap_or(1.0);
    let names = ["answered", "of these wrong"];
    let mut plot = Plot::new(label, names, [1.0, to]);
    for risk in allowed.iter().filter(|risk| **risk <= to) {
        plot.line("ideal", DASHED, &[[0.0, *risk], [1.0, *risk]]);
    }
    let line: Vec<[f64; 2]> = points.iter().map(|p| [p.coverage, p.risk]).collect();
    plot.line("curve", DRAWN, &line);
    plot.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assess::{Bin, Rate};

    #[test]
    fn values_stand_where_the_axes_say() {
        let right = Rate {
            rate: 1.0,
            n: 9,
            low: 0.5,
            high: 1.0,
        };
        let curve = Curve {
            error: 0.5,
            by_chance: 0.1,
            bins: vec![Bin {
                from: 0.5,
                to: 0.6,
                share: 0.5,
                right,
            }],
        };
        let svg = calibration(&curve, "a \"plot\"");
        // Half way along the first axis, at the top of the second.
        assert!(svg.contains("cx=\"201.0\" cy=\"16.0\" r=\"6.0\""), "{svg}");
        assert!(svg.contains("M201.0 128.0L201.0 16.0"), "{svg}");
        assert!(svg.contains("a &quot;plot&quot;"));
        let point = |coverage, risk| RiskPoint {
            share: 0.5,
            coverage,
            risk,
        };
        let svg = risk(&[point(0.5, 0.0), point(1.0, 0.2)], &[0.1, 0.3], "r");
        // The second axis ends at 0.2; what is allowed beyond is not drawn.
        assert!(svg.contains("M201.0 240.0L344.0 16.0"), "{svg}");
        assert!(svg.contains("M58.0 128.0L344.0 128.0"), "{svg}");
        assert_eq!(svg.matches("class=\"ideal\"").count(), 1);
        assert!(svg.contains(">0.20</text>"));
    }
}
