//! Routes of wires for tasks given as JSON: `cargo run --example routes < tasks.json > routes.json`.
//!
//! Reads a list of tasks on standard input and prints a list with, for each, its route with the middle line as places close together, or
//! why there is none. `tests/routes` makes the tasks and holds the routes against a general geometry library.

use std::error::Error;

use copperwalk::board::{Face, KeepOut, Side};
use copperwalk::route::{End, Hole, Task, Wire, shortest};
use serde_json::{Value, json};

/// Between places of the middle line that are printed, mm.
const STEP_MM: f64 = 0.05;

fn main() -> Result<(), Box<dyn Error>> {
    let tasks: Vec<Value> = serde_json::from_reader(std::io::stdin().lock())?;
    let mut routes = Vec::with_capacity(tasks.len());
    for task in &tasks {
        let task = read(task).ok_or("a task lacks a key, or has a value of another kind")?;
        routes.push(match shortest(&task) {
            Ok(route) => json!({
                "price": route.price_mm,
                "least": route.least_mm,
                "legs": route.legs.iter().map(|leg| json!({ "face": leg.face, "places": leg.places(STEP_MM) })).collect::<Vec<_>>(),
            }),
            Err(error) => json!({ "error": error.to_string() }),
        });
    }
    println!("{}", serde_json::to_string(&routes)?);
    Ok(())
}

fn read(value: &Value) -> Option<Task> {
    let number = |value: &Value, key: &str| value.get(key)?.as_f64();
    let text = |value: &Value, key: &str| Some(value.get(key)?.as_str()?.to_owned());
    let wire = value.get("wire")?;
    let keep_out = |value: &Value| {
        let side = if value.get("side")? == "front" { Face::Front } else { Face::Back };
        Some(KeepOut { side, polygon: places(value.get("polygon")?)?, height_mm: None, why: String::new() })
    };
    let end = |value: &Value| {
        let side = match value.get("side")?.as_str()? {
            "front" => Side::Front,
            "back" => Side::Back,
            _ => Side::Both,
        };
        Some(End { name: text(value, "name")?, at: place(value.get("at")?)?, side, pad_mm: None })
    };
    let hole = |value: &Value| {
        Some(Hole {
            name: text(value, "name")?,
            at: place(value.get("at")?)?,
            drill_mm: number(value, "drill")?,
        })
    };
    Some(Task {
        outline: places(value.get("outline")?)?,
        keep_outs: value.get("keep_outs")?.as_array()?.iter().map(keep_out).collect::<Option<_>>()?,
        thickness_mm: number(value, "thickness")?,
        wire: Wire {
            insulated_mm: number(wire, "insulated")?,
            conductor_mm: number(wire, "insulated")? / 2.0,
            bend_mm: number(wire, "bend")?,
            clearance_mm: number(wire, "clearance")?,
            edge_mm: number(wire, "edge")?,
            relief_mm: 15.0,
            slack_share: 0.0,
            slack_mm: 0.0,
        },
        from: end(value.get("from")?)?,
        to: end(value.get("to")?)?,
        holes: value.get("holes")?.as_array()?.iter().map(hole).collect::<Option<_>>()?,
        passage_mm: number(value, "passage")?,
    })
}

fn place(value: &Value) -> Option<[f64; 2]> {
    serde_json::from_value(value.clone()).ok()
}

fn places(value: &Value) -> Option<Vec<[f64; 2]>> {
    serde_json::from_value(value.clone()).ok()
}
