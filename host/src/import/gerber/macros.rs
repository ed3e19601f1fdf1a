//! Aperture macros: primitives whose figures are expressions of parameters and variables (from memory of the specification,
//! section 4.5).

use std::collections::HashMap;

use super::image::Budget;
use super::polarity::subtract;
use crate::import::coordinate::{FARTHEST_MM, bounded};
use crate::import::region::{At, Region, around, turned};
use crate::plane::apart;

/// Parentheses in parentheses.
const DEEPEST: usize = 30;
/// Primitives and assignments of one macro.
const MOST_LINES: usize = 10_000;
/// Corners of an outline.
const MOST_CORNERS: f64 = 20_000.0;
/// Corners of what one aperture cuts out of itself.
const MOST_CUT: usize = 100_000;

/// A macro as it is written.
#[derive(Clone, PartialEq, Debug)]
pub struct Macro(Vec<Line>);

#[derive(Clone, PartialEq, Debug)]
enum Line {
    Assign(u32, String),
    Primitive(Vec<String>),
}

impl Macro {
    /// Of the words after the name.
    ///
    /// # Errors
    /// A line is neither a primitive nor an assignment, or there are too many.
    pub fn read(words: &[String]) -> Result<Self, String> {
        if words.len() > MOST_LINES {
            return Err(format!("an aperture macro has more than {MOST_LINES} primitives"));
        }
        let lines = words.iter().filter(|word| !word.is_empty() && !word.starts_with('0')).map(|word| {
            if let Some(rest) = word.strip_prefix('$') {
                let (number, expression) = rest
                    .split_once('=')
                    .ok_or_else(|| format!("`{}` assigns nothing", crate::quantity::clip(word)))?;
                let number = number
                    .trim()
                    .parse()
                    .map_err(|_| format!("${} is no variable", crate::quantity::clip(number)))?;
                return Ok(Line::Assign(number, expression.to_owned()));
            }
            Ok(Line::Primitive(word.split(',').map(str::to_owned).collect()))
        });
        Ok(Self(lines.collect::<Result<_, String>>()?))
    }

    /// Copper of an aperture with these parameters, about the origin.
    ///
    /// # Errors
    /// A primitive is not known, lacks a figure, or is larger than any board.
    pub fn copper(
        &self,
        parameters: &[f64],
        unit_mm: f64,
        budget: &mut Budget,
    ) -> Result<Vec<Region>, String> {
        let numbered = parameters.iter().zip(1..);
        let mut variables: HashMap<u32, f64> = numbered.map(|(value, number)| (number, *value)).collect();
        let mut copper: Vec<Region> = Vec::new();
        let mut left = MOST_CUT;
        for line in &self.0 {
            let fields = match line {
                Line::Assign(number, expression) => {
                    budget.spend(0, cost(expression))?;
                    variables.insert(*number, value(expression, &variables)?);
                    continue;
                }
                Line::Primitive(fields) => fields,
            };
            budget.spend(0, fields.iter().map(|field| cost(field)).sum())?;
            let figures =
                fields.iter().map(|field| value(field, &variables)).collect::<Result<Vec<_>, _>>()?;
            let (dark, shapes) = primitive(&figures, unit_mm)?;
            budget.spend(0, shapes.iter().map(|shape| shape.points().len()).sum())?;
            if dark {
                copper.extend(shapes);
                continue;
            }
            let cuts: Vec<&Region> = shapes.iter().collect();
            let cut =
                copper.iter().map(|region| subtract(region, &cuts, &mut left)).collect::<Option<Vec<_>>>();
            copper = cut.ok_or("an aperture macro cuts out more than any pad does")?.concat();
        }
        Ok(copper)
    }
}

/// What the work on an expression counts for.
fn cost(expression: &str) -> usize {
    1 + expression.len() / 16
}

/// Copper of a primitive, and whether it adds it or takes it away.
fn primitive(figures: &[f64], unit_mm: f64) -> Result<(bool, Vec<Region>), String> {
    let code = figures.first().copied().unwrap_or_default();
    let figure = |n: usize| {
        figures
            .get(n)
            .copied()
            .ok_or_else(|| format!("primitive {code} of an aperture macro has too few figures"))
    };
    let length = |n: usize| bounded(figure(n)? * unit_mm, FARTHEST_MM);
    let place = |n: usize| -> Result<At, String> { Ok([length(n)?, length(n + 1)?]) };
    let optional = |n: usize| bounded(figures.get(n).copied().unwrap_or_default(), 1e6);
    let dark = || Ok::<bool, String>(figure(1)? != 0.0);
    let rectangle = |[x, y]: At, [w, h]: At| {
        let (w, h) = (w / 2.0, h / 2.0);
        Region::polygon(vec![[x - w, y - h], [x + w, y - h], [x + w, y + h], [x - w, y + h]], 0.0)
    };
    let (dark, region) = match code as i64 {
        1 => (dark()?, Region::disc(place(3)?, length(2)?.abs()).turned(optional(5)?)),
        20 | 2 => {
            let (width, a, b) = (length(2)?, place(3)?, place(5)?);
            let ([ax, ay], [bx, by], long) = (a, b, apart(a, b).max(1e-9));
            let (ox, oy) = ((by - ay) / long * width / 2.0, (ax - bx) / long * width / 2.0);
            let corners =
                vec![[ax + ox, ay + oy], [bx + ox, by + oy], [bx - ox, by - oy], [ax - ox, ay - oy]];
            (dark()?, Region::polygon(corners, 0.0).turned(optional(7)?))
        }
        21 => (dark()?, rectangle(place(4)?, place(2)?).turned(optional(6)?)),
        22 => {
            let ([w, h], [x, y]) = (place(2)?, place(4)?);
            (dark()?, rectangle([x + w / 2.0, y + h / 2.0], [w, h]).turned(optional(6)?))
        }
        4 => {
            let count = figure(2)?;
            if !(2.0..=MOST_CORNERS).contains(&count) {
                return Err(format!("an outline of {count} corners is no pad's"));
            }
            let count = count as usize;
            let points = (0..=count).map(|i| place(3 + 2 * i)).collect::<Result<_, _>>()?;
            (dark()?, Region::polygon(points, 0.0).turned(optional(5 + 2 * count)?))
        }
        5 => {
            let corners = polygon(figure(2)?, length(5)?)?;
            (dark()?, Region::polygon(corners, 0.0).moved(place(3)?).turned(optional(6)?))
        }
        // A moiré is a target beside the circuit: no copper of a net.
        6 => return Ok((true, Vec::new())),
        7 => return Ok((true, thermal(place(1)?, length(3)?, length(4)?, length(5)?, optional(6)?))),
        _ => return Err(format!("primitive {code} of an aperture macro is not known")),
    };
    Ok((dark, vec![region]))
}

/// Corners of a regular polygon about the origin, the first to the right.
///
/// # Errors
/// It has fewer than 3 or more than 12 corners.
pub fn polygon(corners: f64, diameter: f64) -> Result<Vec<At>, String> {
    if !(3.0..=12.0).contains(&corners) {
        return Err(format!("a regular polygon has 3 to 12 corners, not {corners}"));
    }
    let step = 360.0 / corners.floor();
    Ok((0..corners as usize).map(|i| turned([diameter / 2.0, 0.0], step * i as f64)).collect())
}

/// A ring that a cross parts in four.
fn thermal(at: At, outer: f64, inner: f64, gap: f64, degrees: f64) -> Vec<Region> {
    let half = gap / 2.0;
    let bar = Region::polygon(vec![[-outer, -half], [outer, -half], [outer, half], [-outer, half]], 0.0);
    let [hole, cross] = [Region::disc([0.0; 2], inner), bar.turned(90.0)];
    let ring = Region::polygon(around([0.0; 2], outer / 2.0, 0.0, std::f64::consts::TAU), 0.0);
    let mut left = MOST_CUT;
    let parts = subtract(&ring, &[&hole, &bar, &cross], &mut left).unwrap_or_default();
    parts.into_iter().map(|part| part.moved(at).turned(degrees)).collect()
}

/// What an expression comes to: numbers, `$` variables (0 where none is set), `+ - x X /` and parentheses.
fn value(expression: &str, variables: &HashMap<u32, f64>) -> Result<f64, String> {
    let text: Vec<char> = expression.chars().filter(|c| !c.is_whitespace()).collect();
    let mut reader = Reader { text: &text, at: 0, variables };
    let found = reader.sum(0)?;
    if reader.at < text.len() || !found.is_finite() {
        return Err(format!("`{}` is no expression", crate::quantity::clip(expression)));
    }
    Ok(found)
}

struct Reader<'e> {
    text: &'e [char],
    at: usize,
    variables: &'e HashMap<u32, f64>,
}

impl Reader<'_> {
    fn next_is(&mut self, any: &[char]) -> Option<char> {
        let found = self.text.get(self.at).copied().filter(|c| any.contains(c))?;
        self.at += 1;
        Some(found)
    }

    fn sum(&mut self, depth: usize) -> Result<f64, String> {
        let mut total = self.product(depth)?;
        while let Some(sign) = self.next_is(&['+', '-']) {
            let next = self.product(depth)?;
            total += if sign == '-' { -next } else { next };
        }
        Ok(total)
    }

    fn product(&mut self, depth: usize) -> Result<f64, String> {
        let mut total = self.factor(depth)?;
        while let Some(sign) = self.next_is(&['x', 'X', '/']) {
            let next = self.factor(depth)?;
            total = if sign == '/' { total / next } else { total * next };
        }
        Ok(total)
    }

    fn factor(&mut self, depth: usize) -> Result<f64, String> {
        let mut sign = 1.0;
        while let Some(found) = self.next_is(&['+', '-']) {
            sign *= if found == '-' { -1.0 } else { 1.0 };
        }
        if self.next_is(&['(']).is_some() {
            if depth >= DEEPEST {
                return Err("an expression has too many parentheses in each other".into());
            }
            let inner = self.sum(depth + 1)?;
            return self
                .next_is(&[')'])
                .map(|_| sign * inner)
                .ok_or_else(|| "an expression lacks a )".into());
        }
        let variable = self.next_is(&['$']).is_some();
        let mut digits = String::new();
        while let Some(found) = self.text.get(self.at).filter(|c| c.is_ascii_digit() || **c == '.') {
            digits.push(*found);
            self.at += 1;
        }
        let wrong = || format!("`{}` is no number in an expression", crate::quantity::clip(&digits));
        if variable {
            let number: u32 = digits.parse().map_err(|_| wrong())?;
            return Ok(sign * self.variables.get(&number).copied().unwrap_or_default());
        }
        Ok(sign * digits.parse::<f64>().map_err(|_| wrong())?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn copper(lines: &[&str], parameters: &[f64]) -> Result<Vec<Region>, String> {
        let words: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
        Macro::read(&words)?.copper(parameters, 1.0, &mut Budget::new())
    }

    #[test]
    fn expressions_follow_the_usual_order() {
        let variables = HashMap::from([(1, 2.0), (2, 5.0)]);
        for (text, wanted) in
            [("1+2x3", 7.0), ("-($1+$2)X2", -14.0), ("10/4-.5", 2.0), ("$9", 0.0), ("1--1", 2.0)]
        {
            assert_eq!(value(text, &variables), Ok(wanted), "{text}");
        }
        for bad in ["", "1/0", "1+", "(1", "1)", "$", "1e5", &"(".repeat(1000)] {
            assert!(value(bad, &variables).is_err(), "{bad}");
        }
    }

    #[test]
    fn primitives_have_their_places() {
        let found =
            copper(&["0 a comment", "$3=$1/2", "21,1,$1,$2,$3,0,90", "1,1,0.5,1,0"], &[2.0, 1.0]).unwrap();
        let [[lx, ly], [hx, hy]] = found[0].bounds().corners();
        for (found, wanted) in [(lx, -0.5), (ly, 0.0), (hx, 0.5), (hy, 2.0)] {
            assert!((found - wanted).abs() < 1e-9, "{lx} {ly} {hx} {hy}");
        }
        assert_eq!(found[1], Region::disc([1.0, 0.0], 0.5));
        let outline = copper(&["4,1,3,0,0,1,0,1,1,0,0,180"], &[]).unwrap();
        assert!(outline[0].holds([-0.9, -0.5], 0.0));
        assert_eq!(copper(&["5,1,6,0,0,2,0"], &[]).unwrap()[0].points().len(), 6);
        assert_eq!(copper(&["7,0,0,2,1,0.2,45"], &[]).unwrap().len(), 4);
        let ring = copper(&["1,1,2,0,0", "1,0,1,0,0"], &[]).unwrap();
        assert!(ring[0].holds([0.75, 0.0], 0.0) && !ring[0].holds([0.0, 0.0], 0.4));
        for bad in
            ["21,1,1", "99,1", "4,1,1e9,0,0", "4,1,3,0,0", "5,1,2,0,0,1,0", "1,1,99999,0,0", "$1", "$x=1"]
        {
            assert!(copper(&[bad], &[]).is_err(), "{bad}");
        }
    }
}
