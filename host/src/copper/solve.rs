//! From shapes to the resistance: mesh, potential and flow, again on a finer mesh where they differ most, until they agree.

use super::contour::Roundness;
use super::element::{Element, Local};
use super::energy::Least;
use super::flow::flow;
use super::held::held;
use super::mesh::{Mesh, Nodes, divide, triangulate};
use super::neck::hottest;
use super::pieces::prune;
use super::potential::potential;
use super::sheet::copper;
use super::{Conductor, CopperError, Solved, Terminal, Wanted};
use crate::parallel;
use crate::quantity::Ohms;

/// The triangles are divided that have together this part of the difference between the bounds.
const BULK: f64 = 0.8;

/// What rounding may take from either bound.
const ROUNDING: f64 = 1e-9;

/// Resistance between two terminals of a conductor.
///
/// # Errors
///
/// See [`CopperError`].
pub fn resistance(
    conductor: &Conductor,
    from: &Terminal,
    to: &Terminal,
    wanted: &Wanted,
) -> Result<Solved, CopperError> {
    let sheet: Vec<f64> = conductor.layers.iter().map(|layer| layer.sheet.0).collect();
    if let Some(&ohms) = sheet.iter().find(|ohms| !(**ohms > 0.0 && ohms.is_finite())) {
        return Err(CopperError::Resistance { ohms });
    }
    let round = Roundness::of(wanted.relative);
    let mut held = held(conductor, from, to, round)?;
    let mut mesh = Mesh { points: Vec::new(), triangles: Vec::new() };
    for (i, layer) in conductor.layers.iter().enumerate() {
        let copper = copper(layer, &mut held.areas[i], round)?;
        triangulate(&mut mesh, i, &copper, &held.areas[i], wanted.most_triangles)?;
    }
    prune(&mut mesh, &mut held)?;
    if mesh.triangles.len() > wanted.most_triangles {
        return Err(CopperError::Triangles { triangles: mesh.triangles.len(), most: wanted.most_triangles });
    }
    loop {
        let nodes = Nodes::new(&mesh);
        let (potential, flow) =
            parallel::both(|| potential(&mesh, &nodes, &held, &sheet), || flow(&mesh, &nodes, &held, &sheet));
        let (potential, flow) = (potential?, flow?);
        let (low, high) = (1.0 / potential.energy, flow.energy);
        let resistance = (low + high) / 2.0;
        let error = (high - low).max(0.0) / 2.0 + ROUNDING * resistance;
        let triangles = mesh.triangles.len();
        let last = triangles > wanted.most_triangles;
        let enough = if last { wanted.tolerable.max(wanted.relative) } else { wanted.relative };
        if error <= enough * resistance {
            let conductance = potential.energy;
            let neck = hottest(conductor, &mesh, &nodes, &potential.values, conductance, wanted.current);
            return Ok(Solved { resistance: Ohms(resistance), error: Ohms(error), neck, triangles });
        }
        let marked = largest(&differences(&mesh, &sheet, &potential, &flow));
        if last || !marked.contains(&true) {
            return Err(CopperError::TooFine { triangles, reached: error / resistance });
        }
        divide(&mut mesh, &marked);
    }
}

/// What each triangle adds to the difference between the bounds: the heat of the difference between the flow that follows from
/// the potential and the flow itself (Prager and Synge 1947).
fn differences(mesh: &Mesh, sheet: &[f64], potential: &Least, flow: &Least) -> Vec<f64> {
    let triangles = mesh.triangles.iter().zip(&potential.values).zip(&flow.values);
    triangles
        .map(|((triangle, volts), stream): ((_, &Local), &Local)| {
            let element = Element::new(mesh.at(triangle));
            let sheet = sheet[triangle.layer];
            let squared = [0, 1, 2].map(|side| {
                let [x, y] = element.gradient(volts, side).map(|slope| -slope / (sheet * potential.energy));
                let [along, across] = element.gradient(stream, side);
                (x - across).powi(2) + (y + along).powi(2)
            });
            sheet * element.integral(squared)
        })
        .collect()
}

/// The largest that are together [`BULK`] of all.
fn largest(differences: &[f64]) -> Vec<bool> {
    let mut order: Vec<usize> = (0..differences.len()).collect();
    order.sort_by(|a, b| differences[*b].total_cmp(&differences[*a]));
    let mut left = BULK * differences.iter().sum::<f64>();
    let mut marked = vec![false; differences.len()];
    for i in order {
        if left <= 0.0 {
            break;
        }
        marked[i] = true;
        left -= differences[i];
    }
    marked
}
