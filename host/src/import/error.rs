//! Why a layout is not imported; each with what would help.

use std::path::PathBuf;

use super::MOST_MIB;
use crate::visible::path as shown;

/// Why there is no board file.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// The file cannot be read.
    #[error("{}: {error}; see that the name is right and the file may be read", shown(path))]
    Read {
        /// Which.
        path: PathBuf,
        /// Why not.
        error: std::io::Error,
    },
    /// It is a pipe, a device.
    #[error("{} is {what}; name a layout file", shown(path))]
    NotPlain {
        /// Which.
        path: PathBuf,
        /// What it is.
        what: &'static str,
    },
    /// It is too large.
    #[error(
        "{} is larger than {MOST_MIB} MiB, and no layout is; check that it is the right file",
        shown(path)
    )]
    TooLarge {
        /// Which.
        path: PathBuf,
    },
    /// It is none of the formats that are read.
    #[error(
        "{} is neither a KiCad board (.kicad_pcb) nor an IPC-D-356A netlist; export one of these from the layout program, or name a \
         folder of Gerber and drill files",
        shown(path)
    )]
    Unknown {
        /// Which.
        path: PathBuf,
    },
    /// Something in it cannot be understood.
    #[error("{}:{line}: {what}; save the file anew, and report it if that does not help", shown(path))]
    Malformed {
        /// Which.
        path: PathBuf,
        /// Where, from 1.
        line: usize,
        /// What is wrong.
        what: String,
    },
    /// A folder without copper.
    #[error(
        "{} holds no Gerber file that says it is a copper layer; export Gerber with X2 attributes (extended X2 format) and drill \
         files into one folder, and name the folder",
        shown(path)
    )]
    NoCopper {
        /// Which folder.
        path: PathBuf,
    },
    /// A copper layer that is not there.
    #[error(
        "{} lacks the Gerber file of copper layer L{missing}; export all copper layers, a bare last one too, into this folder",
        shown(path)
    )]
    NoLayer {
        /// Which folder.
        path: PathBuf,
        /// Layer, from 1.
        missing: usize,
    },
    /// Gerber files without nets or parts.
    #[error(
        "the Gerber files in {} say neither which net copper is on nor which pin a pad is of; export them with X2 attributes and \
         with netlist attributes (in KiCad \"Use extended X2 format\" and \"Include netlist attributes\")",
        shown(path)
    )]
    NoNets {
        /// Which folder.
        path: PathBuf,
    },
    /// Lands for holes and no holes.
    #[error(
        "{} holds lands of plated holes and no drill file for them; export the drill files (XNC or Excellon) into this folder",
        shown(path)
    )]
    NoHoles {
        /// Which folder.
        path: PathBuf,
    },
    /// Holes that fit nothing, and too much to look for them in.
    #[error(
        "{} holds more plated holes beside all lands than can be looked for; check that all files are of one board",
        shown(path)
    )]
    ManyHoles {
        /// Which folder.
        path: PathBuf,
    },
    /// A folder of other things.
    #[error(
        "{} holds more than {most} files; put the Gerber and drill files into a folder of their own",
        shown(path)
    )]
    ManyFiles {
        /// Which folder.
        path: PathBuf,
        /// Most.
        most: usize,
    },
    /// A point that is written wrongly.
    #[error(
        "{given:?} is no point of a layout; write the part's reference and the pad's number, such as J1.1"
    )]
    NotAPoint {
        /// As given.
        given: String,
    },
    /// A pad that the layout does not have.
    #[error("the layout has no pad {given:?}; {help}")]
    NoPad {
        /// As given.
        given: String,
        /// Which it has.
        help: String,
    },
    /// A pad without a net.
    #[error("pad {given:?} belongs to no net; name a pad that copper leads away from")]
    NoNet {
        /// As given.
        given: String,
    },
    /// Two ends on one net that must be apart.
    #[error("{one:?} and {other:?} are on one net, {net:?}: {why}")]
    OneNet {
        /// One end.
        one: String,
        /// The other.
        other: String,
        /// Their net.
        net: String,
        /// Why that cannot be, and what would help.
        why: &'static str,
    },
    /// No way from one net to the other.
    #[error("nothing that is known to conduct leads from {from:?} to {to:?}; {between}")]
    Apart {
        /// One end.
        from: String,
        /// The other.
        to: String,
        /// What stands between.
        between: String,
    },
    /// A zone that is drawn but not filled.
    #[error(
        "the copper of net {net:?} does not join {from} to {to}, and its zone on {layer} is not filled in the file; refill all \
         zones in the layout program, save, and import again"
    )]
    Unfilled {
        /// Net.
        net: String,
        /// One end.
        from: String,
        /// The other.
        to: String,
        /// Layer of the zone.
        layer: String,
    },
    /// Copper that does not hang together.
    #[error(
        "the copper of net {net:?} does not join {from} to {to}; finish the layout, or name pads that are joined"
    )]
    Broken {
        /// Net.
        net: String,
        /// One end.
        from: String,
        /// The other.
        to: String,
    },
    /// A pair of pads that is written wrongly, or that no part has.
    #[error("--through {given}: {why}; write reference and the two pads, such as SW1.3-2")]
    Through {
        /// As given.
        given: String,
        /// What is wrong.
        why: String,
    },
    /// The way back is not known.
    #[error(
        "the way back to {ret:?} from {load:?} is not known: no pad of {part} is on net {net:?}; {between}"
    )]
    NoReturn {
        /// Where the return goes out.
        ret: String,
        /// The load.
        load: String,
        /// The part the load is a pad of.
        part: String,
        /// Net of the return.
        net: String,
        /// What stands between.
        between: String,
    },
    /// More than a board file takes.
    #[error(
        "the path has {count} segments, and a board file takes {most}; name ends that lie closer together"
    )]
    TooLong {
        /// Segments found.
        count: usize,
        /// Most.
        most: usize,
    },
    /// What came of it is no sound board file: a defect of this program, or a layout nobody thought of.
    #[error("the board file that would come of it is not sound, so it was not written: {problems}")]
    Unsound {
        /// Everything wrong with it.
        problems: String,
    },
}
