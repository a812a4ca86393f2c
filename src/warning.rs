//! What a reading should be taken with care for. A warning never stops
//! anything; its code is stable and part of the JSON schema.

use serde::{Deserialize, Serialize};

/// Something about a photo or a piece that lowers trust, with the advice that
/// mends it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Warning {
    /// The stable code.
    pub code: Code,
    /// One sentence: what was seen and what to do.
    pub text: String,
}

/// Stable codes of warnings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Code {
    /// The file ends early; the lower part of the picture is missing.
    Truncated,
    /// The colour profile could not be read; colours are taken as sRGB.
    ProfileIgnored,
    /// The piece is cut off by the edge of the photo.
    TouchesFrame,
    /// More than one piece is in the photo; the largest is read.
    SeveralPieces,
    /// Piece and background are hard to tell apart.
    LowContrast,
    /// The piece covers too few pixels.
    TooSmall,
    /// The piece is out of focus or shaken.
    Blurred,
    /// Much of the piece is glare or burnt out.
    Glare,
    /// The photo has no colour: nothing is said about colour.
    Colourless,
    /// No piece stands out from its surroundings; the whole photo was read.
    WholePhoto,
    /// The camera was neither level with the piece nor square above it.
    Tilted,
    /// The same file is in the cabinet already.
    Duplicate,
}

impl Warning {
    /// A warning with its usual wording.
    pub fn new(code: Code) -> Self {
        let text = match code {
            Code::Truncated => {
                "the file ends early and part of the picture is missing: copy it again from the camera"
            }
            Code::ProfileIgnored => {
                "the colour profile could not be read, colours are taken as sRGB: export the photo as sRGB to be sure"
            }
            Code::TouchesFrame => {
                "the piece is cut off by the edge of the photo, so its outline is not whole: step back and leave a margin all round"
            }
            Code::SeveralPieces => {
                "more than one piece is in the photo and only the largest was read: photograph one piece at a time, or cut them apart with `footring split`"
            }
            Code::LowContrast => {
                "the piece hardly differs from its background, so its edge is uncertain: use a background that is clearly lighter or darker"
            }
            Code::TooSmall => "the piece covers few pixels: come closer or use a larger photo",
            Code::Blurred => {
                "the piece is not sharp: rest the camera on something and focus on the rim"
            }
            Code::Glare => {
                "much of the piece is burnt out by glare: use flat, even light from the side"
            }
            Code::Colourless => "the photo has no colour, so nothing is said about colour",
            Code::WholePhoto => {
                "no piece stands out from its surroundings, so the whole photo was read: use a plain background"
            }
            Code::Tilted => {
                "the piece was seen from above at an angle of more than 15 degrees, so its outline is not its profile: lower the camera to the level of the piece and step well back, or photograph it square from above"
            }
            Code::Duplicate => "the same file is in the cabinet already and was not added again",
        };
        Self {
            code,
            text: text.to_owned(),
        }
    }
}
