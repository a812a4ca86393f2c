//! Piece types: how each is built from a shape.

mod body;
mod fittings;

use crate::shape::Shape;
use crate::solid::Solid;
use serde::Serialize;

/// A piece type.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Form {
    /// Cup for tea.
    Teacup,
    /// Saucer.
    Saucer,
    /// Dinner plate.
    DinnerPlate,
    /// Bowl for cereal.
    CerealBowl,
    /// Oval platter.
    Platter,
    /// Teapot.
    Teapot,
    /// Coffee pot.
    CoffeePot,
    /// Creamer.
    Creamer,
    /// Lidded sugar bowl.
    SugarBowl,
    /// Jug.
    Jug,
    /// Mug.
    Mug,
    /// Gravy boat.
    GravyBoat,
    /// Covered vegetable dish.
    CoveredVegetable,
}

/// Every piece type.
pub const FORMS: [Form; 13] = [
    Form::Teacup,
    Form::Saucer,
    Form::DinnerPlate,
    Form::CerealBowl,
    Form::Platter,
    Form::Teapot,
    Form::CoffeePot,
    Form::Creamer,
    Form::SugarBowl,
    Form::Jug,
    Form::Mug,
    Form::GravyBoat,
    Form::CoveredVegetable,
];

impl Form {
    /// The word of the trade.
    pub fn name(self) -> &'static str {
        match self {
            Form::Teacup => "teacup",
            Form::Saucer => "saucer",
            Form::DinnerPlate => "dinner plate",
            Form::CerealBowl => "cereal bowl",
            Form::Platter => "platter",
            Form::Teapot => "teapot",
            Form::CoffeePot => "coffee pot",
            Form::Creamer => "creamer",
            Form::SugarBowl => "sugar bowl",
            Form::Jug => "jug",
            Form::Mug => "mug",
            Form::GravyBoat => "gravy boat",
            Form::CoveredVegetable => "covered vegetable",
        }
    }

    /// The form of that name.
    pub fn named(name: &str) -> Option<Form> {
        FORMS.into_iter().find(|f| f.name() == name)
    }

    /// True for plates, saucers and platters.
    pub fn is_flat(self) -> bool {
        matches!(self, Form::Saucer | Form::DinnerPlate | Form::Platter)
    }
}

/// The geometry of one piece type in one shape.
pub fn build(shape: &Shape, form: Form) -> Solid {
    match form {
        Form::Saucer | Form::DinnerPlate | Form::Platter => body::flat(shape, form),
        _ => body::hollow(shape, form),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::Rng;
    use crate::vec3::v3;

    #[test]
    fn every_form_of_many_shapes_stands_and_is_closed() {
        for seed in 0..12 {
            let shape = Shape::random("s", &mut Rng::new(seed));
            for form in FORMS {
                let s = build(&shape, form);
                let (w, h) = s.size_mm();
                assert!(w > 50.0 && w < 420.0, "{form:?} {seed} width {w}");
                assert!(h > 10.0 && h < 300.0, "{form:?} {seed} height {h}");
                assert!(s.low.y > -1.0, "{form:?} {seed} below the table");
                // Outside the box is outside the clay.
                assert!(s.distance(v3(0.0, s.high.y + 5.0, 0.0)) > 0.0);
                assert!(s.distance(v3(s.high.x + 5.0, 20.0, 0.0)) > 0.0);
            }
        }
    }
}
