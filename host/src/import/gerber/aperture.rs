//! Apertures: what is put down by a flash, or draws a line.

use std::collections::HashMap;

use super::image::{Budget, Object};
use super::macros::{Macro, polygon};
use crate::import::attribute::Function;
use crate::import::coordinate::{FARTHEST_MM, bounded};
use crate::import::region::{At, Region};

/// An aperture.
#[derive(Clone, PartialEq, Debug)]
pub struct Aperture {
    /// What it looks like.
    pub shape: Shape,
    /// What it is for.
    pub function: Function,
}

/// What an aperture looks like.
#[derive(Clone, PartialEq, Debug)]
pub enum Shape {
    /// A disc of this diameter, mm.
    Round(f64),
    /// Regions about the origin.
    Other(Vec<Region>),
    /// Objects about the origin.
    Block(Vec<Object>),
}

/// Reads the definition after `ADD`: number, template, figures.
///
/// Holes in apertures are not cut out: they mark where a drill goes, and a pad counts as one potential anyway.
///
/// # Errors
/// The template is not known, or a figure is wrong.
pub fn read(
    word: &str,
    macros: &HashMap<String, Macro>,
    unit_mm: f64,
    budget: &mut Budget,
) -> Result<(u32, Shape), String> {
    let wrong = || format!("`{}` defines no aperture", crate::quantity::clip(word));
    let end = word.find(|c: char| !c.is_ascii_digit()).ok_or_else(wrong)?;
    let (number, rest) = word.split_at_checked(end).ok_or_else(wrong)?;
    let number: u32 = number.parse().map_err(|_| wrong())?;
    let (template, figures) = rest.split_once(',').unwrap_or((rest, ""));
    let figures = figures.split('X').filter(|figure| !figure.is_empty());
    let figures = figures.map(|figure| bounded(figure.trim().parse().map_err(|_| wrong())?, 1e6));
    let figures: Vec<f64> = figures.collect::<Result<_, String>>()?;
    let size = |n: usize| {
        let mm = bounded(figures.get(n).copied().ok_or_else(wrong)? * unit_mm, FARTHEST_MM)?;
        if mm < 0.0 { Err(wrong()) } else { Ok(mm) }
    };
    let shape = match template {
        "C" => Shape::Round(size(0)?),
        "R" => {
            let (w, h) = (size(0)? / 2.0, size(1)? / 2.0);
            Shape::Other(vec![Region::polygon(vec![[-w, -h], [w, -h], [w, h], [-w, h]], 0.0)])
        }
        "O" => {
            let (w, h) = (size(0)?, size(1)?);
            let (x, y) = ((w - h).max(0.0) / 2.0, (h - w).max(0.0) / 2.0);
            Shape::Other(vec![Region::line(vec![[-x, -y], [x, y]], w.min(h))])
        }
        "P" => {
            let corners = polygon(figures.get(1).copied().ok_or_else(wrong)?, size(0)?)?;
            Shape::Other(vec![
                Region::polygon(corners, 0.0).turned(figures.get(2).copied().unwrap_or_default()),
            ])
        }
        name => {
            let known = macros
                .get(name)
                .ok_or_else(|| format!("no macro is called {:?}", crate::quantity::clip(name)))?;
            Shape::Other(known.copper(&figures, unit_mm, budget)?)
        }
    };
    Ok((number, shape))
}

/// What an aperture that is not round leaves when it is drawn along a line: all of a convex one's way. `None` for others.
pub fn swept(shape: &[Region], a: At, b: At) -> Option<Region> {
    let [region] = shape else { return None };
    let [at_a, at_b] = [a, b].map(|at| region.moved(at));
    let points = hull(at_a.points().iter().chain(at_b.points()).copied().collect());
    Some(match points.as_slice() {
        [_, _] => Region::line(points, 2.0 * region.radius()),
        _ => Region::polygon(points, 2.0 * region.radius()),
    })
}

/// Convex hull, counter-clockwise.
fn hull(mut points: Vec<At>) -> Vec<At> {
    points.sort_by(|[ax, ay], [bx, by]| ax.total_cmp(bx).then(ay.total_cmp(by)));
    points.dedup();
    let half = |points: &mut dyn Iterator<Item = At>| {
        let mut chain: Vec<At> = Vec::new();
        for [x, y] in points {
            while let [.., [ax, ay], [bx, by]] = chain.as_slice() {
                if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0.0 {
                    break;
                }
                chain.pop();
            }
            chain.push([x, y]);
        }
        chain.pop();
        chain
    };
    let mut lower = half(&mut points.iter().copied());
    lower.extend(half(&mut points.iter().rev().copied()));
    lower
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shape(word: &str) -> Result<(u32, Shape), String> {
        read(word, &HashMap::new(), 25.4, &mut Budget::new())
    }

    #[test]
    fn standard_apertures() {
        assert_eq!(shape("10C,0.1X0.05"), Ok((10, Shape::Round(2.54))));
        let Ok((11, Shape::Other(oval))) = shape("11O,0.2X0.1") else { panic!() };
        assert_eq!((oval[0].radius(), oval[0].length()), (1.27, 2.54));
        let Ok((12, Shape::Other(hexagon))) = shape("12P,0.2X6X30") else { panic!() };
        assert!(hexagon[0].holds([0.0, 2.53], 0.0));
        for bad in
            ["C,1", "10C", "10C,-1", "10R,1", "10P,1", "10P,1X40", "10MINE", "10C,1e9", "99999999999C,1"]
        {
            assert!(shape(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_rectangle_drawn_along_a_line_covers_its_way() {
        let Ok((_, Shape::Other(rectangle))) = shape("10R,1X1") else { panic!() };
        let found = swept(&rectangle, [0.0, 0.0], [100.0, 100.0]).unwrap();
        assert_eq!(found.points().len(), 6);
        assert!(found.holds([112.0, 112.0], 0.0) && !found.holds([100.0, 60.0], 0.0));
    }
}
