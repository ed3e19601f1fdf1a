//! What a layout file holds, line by line, for comparison with another reader:
//! `cargo run --example layout -- board.kicad_pcb`, or a folder of Gerber files. Fields are parted by tabs; lengths are mm, y points up from the origin below.

use copperwalk::import;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args_os().nth(1).ok_or("name a layout file")?;
    let layout = import::read(path.as_ref())?;
    println!("layers\t{}", layout.layers.len());
    for track in &layout.tracks {
        let (net, layer) = (layout.net_name(track.net), track.layer);
        println!("track\t{net}\t{layer}\t{:.6}\t{:.6}", track.width_mm(), track.copper.length());
    }
    for track in &layout.tracks {
        let ends = [track.copper.points().first(), track.copper.points().last()];
        let [[ax, ay], [bx, by]] = ends.map(|at| at.copied().unwrap_or_default());
        println!("ends\t{}\t{}\t{ax:.6}\t{ay:.6}\t{bx:.6}\t{by:.6}", layout.net_name(track.net), track.layer);
    }
    for fill in &layout.fills {
        println!("fill\t{}\t{}\t{}", layout.net_name(fill.net), fill.layer, fill.copper.points().len());
    }
    for via in &layout.vias {
        let ([x, y], [first, last]) = (via.at, via.layers);
        let net = layout.net_name(via.net);
        println!("via\t{net}\t{x:.6}\t{y:.6}\t{:.6}\t{:.6}\t{first}\t{last}", via.land_mm, via.drill_mm);
    }
    for pad in &layout.pads {
        let (net, [x, y]) = (pad.net.map_or("", |net| layout.net_name(net)), pad.at);
        let layers: Vec<String> = pad.layers.iter().map(ToString::to_string).collect();
        println!("pad\t{}\t{net}\t{x:.6}\t{y:.6}\t{}", layout.pad_name(pad), layers.join(","));
        if let Some(hole) = &pad.hole {
            println!("hole\t{}\t{:.6}\t{:.6}", layout.pad_name(pad), 2.0 * hole.radius(), hole.length());
        }
    }
    Ok(())
}
