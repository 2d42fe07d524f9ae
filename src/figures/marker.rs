//! Point markers. Shape and fill tell them apart; colour only repeats it.

use super::scene::{BRICK, Colour, INK, MOSS, OCHRE, PAPER, PLUM, Place, SEA, STONE, Scene, at};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    Circle,
    Square,
    Triangle,
    Diamond,
    PointDown,
    Cross,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Marker {
    pub form: Form,
    pub filled: bool,
    /// Radius of the circle with the visual weight of this marker, mm.
    pub size: f64,
    pub colour: Colour,
}

const FORMS: [Form; 6] = [Form::Circle, Form::Square, Form::Triangle, Form::Diamond, Form::PointDown, Form::Cross];
const COLOURS: [Colour; 6] = [SEA, BRICK, PLUM, MOSS, OCHRE, INK];
/// Width of the outline of an open marker, mm.
const OUTLINE: f64 = 0.25;
/// Width of the rim of a marker that is set off, mm.
const RIM: f64 = 0.15;

impl Marker {
    /// The most groups that markers tell apart: six shapes, filled and open.
    pub(super) const GROUPS: usize = 2 * FORMS.len();

    /// The marker of group `index` of `count`. More groups than [`Marker::GROUPS`] share one open circle: shapes
    /// that repeat would pretend a distinction.
    pub(super) fn of_group(index: usize, count: usize) -> Marker {
        let position = index % FORMS.len();
        let filled = index < FORMS.len();
        match FORMS.get(position).zip(COLOURS.get(position)) {
            Some((&form, &colour)) if count <= Marker::GROUPS => Marker { form, filled, size: 0.95, colour },
            _ => Marker { form: Form::Circle, filled: false, size: 0.85, colour: STONE },
        }
    }

    pub(super) fn draw(self, scene: &mut Scene, centre: Place) {
        self.fill(scene, centre, 0.0, self.colour);
        if !self.filled {
            self.fill(scene, centre, OUTLINE, PAPER);
        }
    }

    /// The same set off by a rim of paper, so that marks that touch can be counted.
    pub(super) fn draw_rimmed(self, scene: &mut Scene, centre: Place) {
        self.fill(scene, centre, -RIM, PAPER);
        self.draw(scene, centre);
    }

    /// Fills the marker's outline moved inward by `inset` mm.
    fn fill(self, scene: &mut Scene, centre: Place, inset: f64, colour: Colour) {
        let Place { x, y } = centre;
        let size = self.size;
        match self.form {
            Form::Circle => scene.disc(centre, size - inset, colour),
            Form::Square => {
                let half = 0.89 * size - inset;
                scene.rectangle(at(x - half, y - half), at(x + half, y + half), colour);
            }
            Form::Diamond => {
                let half = 1.3 * size - inset * std::f64::consts::SQRT_2;
                scene.area(vec![at(x, y - half), at(x + half, y), at(x, y + half), at(x - half, y)], colour);
            }
            Form::Triangle | Form::PointDown => {
                let reach = 1.5 * size - 2.0 * inset;
                let down = if self.form == Form::PointDown { -1.0 } else { 1.0 };
                let half = reach * 0.75_f64.sqrt();
                scene.area(
                    vec![
                        at(x, y - down * reach),
                        at(x + half, y + down * reach / 2.0),
                        at(x - half, y + down * reach / 2.0),
                    ],
                    colour,
                );
            }
            Form::Cross => {
                let (long, short) = (1.25 * size - inset, 0.47 * size - inset);
                scene.rectangle(at(x - long, y - short), at(x + long, y + short), colour);
                scene.rectangle(at(x - short, y - long), at(x + short, y + long), colour);
            }
        }
    }
}
