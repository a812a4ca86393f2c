//! Labels: the CSV file that footring reads.

/// One photo's row. Empty strings are left empty in the file.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// Path of the photo, relative to the file.
    pub photo: String,
    /// The object; photos of one piece are views of it.
    pub piece: String,
    /// Piece type.
    pub form: String,
    /// Moulded family.
    pub shape: String,
    /// Decoration.
    pub pattern: String,
    /// Ground colour.
    pub glaze: String,
    /// How colour sits.
    pub treatment: String,
    /// Pottery.
    pub maker: String,
    /// First and last year made.
    pub years: Option<(u32, u32)>,
    /// Mark.
    pub mark: String,
    /// View of the photo.
    pub view: String,
    /// Overall width and height, mm.
    pub size_mm: Option<(f32, f32)>,
    /// Remarks.
    pub notes: String,
}

/// Header of the file.
pub const HEADER: &str = "photo,piece,form,shape,pattern,glaze,treatment,maker,year_from,year_to,mark,view,width_mm,height_mm,size_basis,source,rights,notes";

impl Row {
    fn line(&self) -> String {
        let (from, to) = self.years.map_or((String::new(), String::new()), |(a, b)| {
            (a.to_string(), b.to_string())
        });
        let (w, h) = self
            .size_mm
            .map_or((String::new(), String::new()), |(w, h)| {
                (format!("{w:.0}"), format!("{h:.0}"))
            });
        let basis = if self.size_mm.is_some() {
            "overall"
        } else {
            ""
        };
        [
            &self.photo,
            &self.piece,
            &self.form,
            &self.shape,
            &self.pattern,
            &self.glaze,
            &self.treatment,
            &self.maker,
            &from,
            &to,
            &self.mark,
            &self.view,
            &w,
            &h,
            basis,
            "rendered",
            "MIT OR Apache-2.0",
            &self.notes,
        ]
        .map(quoted)
        .join(",")
    }
}

/// A CSV field, quoted where it must be.
pub fn quoted(s: &str) -> String {
    if s.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", s.replace('"', "\"\""))
    } else {
        s.to_string()
    }
}

/// The file's text.
pub fn csv(rows: &[Row]) -> String {
    let mut out = String::from(HEADER);
    out.push('\n');
    for r in rows {
        out.push_str(&r.line());
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_match_the_header() {
        let row = Row {
            notes: "one, two".into(),
            size_mm: Some((10.2, 20.0)),
            ..Row::default()
        };
        let text = csv(&[row]);
        let lines: Vec<&str> = text.lines().collect();
        // The quoted comma is one field.
        assert_eq!(
            lines[0].split(',').count(),
            lines[1].replace("one, two", "").split(',').count()
        );
        assert!(lines[1].contains("\"one, two\""));
    }
}
