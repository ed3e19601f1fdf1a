//! What a layout file holds, line by line, for comparison with another reader:
//! `cargo run --example layout -- board.kicad_pcb`. Fields are parted by tabs; lengths are mm, y points up from the origin below.

use copperwalk::import;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args_os().nth(1).ok_or("name a layout file")?;
    let layout = import::read(path.as_ref())?;
    println!("layers\t{}", layout.layers.len());
    for track in &layout.tracks {
        let (net, layer) = (layout.net_name(track.net), track.layer);
        println!("track\t{net}\t{layer}\t{:.6}\t{:.6}", track.width_mm(), track.copper.length());
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
    }
    Ok(())
}
