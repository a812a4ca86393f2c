//! Sheets as rows: a table for people, CSV for spreadsheets.

use super::{Measure, Piece, Sheet};
use crate::{
    error::Result,
    identify::reading::Status,
    report::{csv as cells, words},
};

/// The measures, in the order in which they are told.
const MEASURES: [&str; 9] = [
    "height",
    "rim_diameter",
    "rim_least_diameter",
    "foot_diameter",
    "greatest_diameter",
    "neck_diameter",
    "stem_diameter",
    "overall_width",
    "overall_height",
];
/// The ratios, likewise.
const RATIOS: [&str; 6] = [
    "height_to_greatest",
    "rim_to_greatest",
    "foot_to_greatest",
    "foot_to_rim",
    "neck_to_greatest",
    "greatest_at_height",
];

/// Each photo with its view, measures and parts.
pub fn table(sheets: &[Sheet]) -> String {
    let mut out = String::new();
    for sheet in sheets {
        out += &words::plain(&sheet.photo);
        out.push('\n');
        match (&sheet.error, &sheet.piece) {
            (Some(error), _) => out += &format!("  failed     {}\n", words::plain(&error.message)),
            (None, Some(piece)) => told(&mut out, piece),
            (None, None) => out += "  read; no piece was found in it\n",
        }
        for warning in &sheet.warnings {
            out += &format!("  warning    {}\n", warning.text);
        }
        out.push('\n');
    }
    if sheets.iter().any(|s| s.piece.is_some()) {
        out += "± is about one standard deviation. Measures hold in the plane of the axis and for ware turned on a wheel.\n";
    }
    out
}

fn told(out: &mut String, piece: &Piece) {
    let mut seen = words::view(piece.view).to_owned();
    if let Some([e, error]) = piece.elevation_deg {
        seen += &format!(
            ", camera {e:.0} ± {:.0} degrees above the rim",
            error.max(1.0)
        );
    }
    if let Some(lean) = piece.lean_deg.filter(|l| l.abs() >= 0.5) {
        let side = if lean > 0.0 { "right" } else { "left" };
        seen += &format!(", leaning {:.1} degrees to the {side}", lean.abs());
    }
    out.push_str(&format!("  {seen}\n"));
    for name in MEASURES {
        if let Some(m) = piece.measures.get(name) {
            let name = name.replace('_', " ");
            out.push_str(&format!("  {name:<20} {}\n", length(m)));
        }
    }
    for name in RATIOS {
        if let Some([v, e]) = piece.ratios.get(name) {
            let name = name.replace('_', " ");
            out.push_str(&format!("  {name:<20} {v:>8.3} ± {e:.3}\n"));
        }
    }
    if let Some([angle, error]) = piece.wall_angle_deg {
        out.push_str(&format!(
            "  {:<20} {angle:>8.1} ± {error:.1} degrees from upright\n",
            "wall angle"
        ));
    }
    if let Some([ml, error]) = piece.volume_ml {
        out.push_str(&format!(
            "  {:<20} {ml:>8.0} ± {error:.0} mL, wall counted in: it holds less\n",
            "volume of revolution"
        ));
    }
    let parts: Vec<String> = piece.parts.iter().map(part).collect();
    if !parts.is_empty() {
        out.push_str(&format!("  {:<20} {}\n", "parts", parts.join(", ")));
    }
}

fn length(m: &Measure) -> String {
    match m.mm.zip(m.error_mm) {
        Some((mm, error)) => format!("{mm:>8.1} ± {error:.1} mm"),
        None => format!("{:>8.1} ± {:.1} px", m.px, m.error_px),
    }
}

fn part(part: &super::Part) -> String {
    use crate::outline::parts::{Kind, Side};
    let side = match part.side {
        Side::Left => " on the left",
        Side::Right => " on the right",
        Side::Middle => "",
    };
    let name = match part.kind {
        Kind::Loop => "loop handle",
        Kind::Spout => "spout",
        Kind::Projection => "projection",
        Kind::Finial => "finial",
        Kind::FootRing => "foot ring",
    };
    format!("{name}{side}")
}

/// A header and one row for each photo. Names of measures end in `_px`, `_mm`
/// and, for their uncertainty, `_error_px`, `_error_mm`; parts and codes of
/// warnings are joined by a space.
///
/// # Errors
/// [`crate::error::Kind::Internal`] if the rows cannot be written.
pub fn csv(sheets: &[Sheet]) -> Result<String> {
    let mut header: Vec<String> = [
        "photo",
        "status",
        "error",
        "view",
        "elevation_deg",
        "elevation_error_deg",
        "lean_deg",
        "mm_per_px",
    ]
    .map(str::to_owned)
    .to_vec();
    for name in MEASURES {
        header.extend(["px", "error_px", "mm", "error_mm"].map(|unit| format!("{name}_{unit}")));
    }
    for name in RATIOS {
        header.extend([name.to_owned(), format!("{name}_error")]);
    }
    header.extend(
        [
            "wall_angle_deg",
            "wall_angle_error_deg",
            "volume_ml",
            "volume_error_ml",
            "parts",
            "warnings",
        ]
        .map(str::to_owned),
    );
    let rows = sheets.iter().map(row).collect::<Result<Vec<_>>>()?;
    cells::write(header, rows)
}

fn row(sheet: &Sheet) -> Result<Vec<String>> {
    let mut row = vec![
        cells::guard(&sheet.photo),
        match sheet.status {
            Status::Ok => "ok".to_owned(),
            Status::Failed => "failed".to_owned(),
        },
        sheet
            .error
            .as_ref()
            .map_or_else(String::new, |e| cells::guard(&e.message)),
    ];
    let piece = sheet.piece.as_ref();
    let number = |v: Option<f64>| v.map_or_else(String::new, |v| format!("{v:.3}"));
    let pair = |v: Option<[f64; 2]>| [number(v.map(|v| v[0])), number(v.map(|v| v[1]))];
    row.push(piece.map_or(Ok(String::new()), |p| cells::code(&p.view))?);
    row.extend(pair(piece.and_then(|p| p.elevation_deg)));
    row.push(number(piece.and_then(|p| p.lean_deg)));
    row.push(
        piece
            .and_then(|p| p.mm_per_px)
            .map_or_else(String::new, |s| format!("{:.6}", s[0])),
    );
    for name in MEASURES {
        let m = piece.and_then(|p| p.measures.get(name));
        row.extend([
            number(m.map(|m| m.px)),
            number(m.map(|m| m.error_px)),
            number(m.and_then(|m| m.mm)),
            number(m.and_then(|m| m.error_mm)),
        ]);
    }
    for name in RATIOS {
        row.extend(pair(piece.and_then(|p| p.ratios.get(name).copied())));
    }
    row.extend(pair(piece.and_then(|p| p.wall_angle_deg)));
    row.extend(pair(piece.and_then(|p| p.volume_ml)));
    let parts = piece
        .iter()
        .flat_map(|p| &p.parts)
        .map(|p| cells::code(&p.kind))
        .collect::<Result<Vec<_>>>()?;
    row.push(parts.join(" "));
    row.push(cells::codes(&sheet.warnings)?);
    Ok(row)
}
