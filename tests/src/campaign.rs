//! Sweeps by the thousand on the modelled bench, against what is known of each unit.

use std::path::Path;

use crate::cases::Cases;
use copperwalk::{
    bed,
    board::{self, SegmentId},
    fixture::{self, Fixture},
    hypothesis::Rates,
    import::{self, Request},
    job::{Job, Subject},
    limits::LimitSet,
    link::Session,
    parallel,
    plan::{self, Plan, Sampling},
    proof::Proof,
    prove::{ProveError, Prover, Wanted},
    sweep::Sweep,
    virtual_bench::{Spec, Truth, VirtualBench},
};
use jiff::Timestamp;

/// When modelled benches are proven and units swept: 2026-09-21.
pub const PROVEN_US: i64 = 1_790_000_000_000_000;

/// The folders of the three invented boards.
pub const EXAMPLES: [&str; 3] = ["tide-gauge-head", "trail-counter", "greenhouse-valve-driver"];

/// A fixture and its plan.
#[derive(Debug)]
pub struct Bed {
    /// The fixture.
    pub fixture: Fixture,
    /// The plan.
    pub plan: Plan,
}

impl Bed {
    /// Plans for a fixture.
    ///
    /// # Panics
    /// If no plan can be made.
    pub fn new(fixture: Fixture, sampling: Sampling) -> Self {
        let plan = plan::compile(&fixture, &LimitSet::of_board(&fixture.board), sampling)
            .unwrap_or_else(|error| panic!("{error}"));
        Self { fixture, plan }
    }

    /// One of the examples.
    ///
    /// # Panics
    /// If its files are not in order.
    pub fn example(name: &str, sampling: Sampling) -> Self {
        let path = format!("{}/../fixtures/{name}/fixture.toml", env!("CARGO_MANIFEST_DIR"));
        let fixture = fixture::read(Path::new(&path)).unwrap_or_else(|problems| panic!("{problems}"));
        Self::new(fixture, sampling)
    }

    /// All three examples.
    pub fn examples(sampling: Sampling) -> Vec<Self> {
        EXAMPLES.iter().map(|name| Self::example(name, sampling)).collect()
    }

    /// Two boards that nobody drew for this program, from Debian's `kicad-demos`: each imported as its layout is, with every
    /// figure that a layout does not tell as the import assumes it, on the bed that is proposed for it.
    ///
    /// # Panics
    /// If the package is not installed, or a layout becomes no bed.
    pub fn imported(sampling: Sampling) -> Vec<Self> {
        let boards = [
            ("pic_programmer/pic_programmer", "P1.2", "U3.1", "P1.1"),
            ("complex_hierarchy/complex_hierarchy", "P2.1", "U2.3", "P2.2"),
        ];
        let beds = boards.map(|(layout, from, to, ret)| {
            let path = format!("/usr/share/kicad/demos/{layout}.kicad_pcb");
            let request =
                Request { from: from.into(), to: vec![to.into()], ret: ret.into(), through: Vec::new() };
            let imported = import::import(Path::new(&path), &request)
                .unwrap_or_else(|error| panic!("{path}, of Debian's kicad-demos: {error}"));
            let board = imported.board.unwrap_or_else(|| panic!("{layout} lacks a figure"));
            let bed = bed::propose(&board, bed::Start::new(&board), bed::Families::generic())
                .unwrap_or_else(|error| panic!("{layout}: {error}"));
            let text = bed::text::whole(&bed, &board, "board.toml");
            let fixture = fixture::parse("fixture.toml", &text, board);
            Self::new(fixture.unwrap_or_else(|problems| panic!("{layout}: {problems}")), sampling)
        });
        beds.into()
    }

    /// Sweeps one modelled unit.
    ///
    /// # Panics
    /// If the specification is not possible here, or the bench does not answer.
    pub fn sweep(&self, spec: &Spec) -> (Sweep, Truth) {
        self.sweep_by(spec, None)
    }

    /// Sweeps one modelled unit on a bench of which there is this proof.
    ///
    /// # Panics
    /// As [`sweep`](Self::sweep).
    pub fn sweep_by(&self, spec: &Spec, proof: Option<Proof>) -> (Sweep, Truth) {
        let serial = format!("seed {}", spec.unit_seed);
        let subject = Subject::new(serial, None, PROVEN_US);
        self.sweep_of(subject, spec, proof)
    }

    /// The same of a unit of which more is known.
    ///
    /// # Panics
    /// As [`sweep`](Self::sweep).
    pub fn sweep_of(&self, subject: Subject, spec: &Spec, proof: Option<Proof>) -> (Sweep, Truth) {
        let bench = VirtualBench::new(&self.fixture, spec).unwrap_or_else(|error| panic!("{error}"));
        let mut operator = bench.operator();
        let mut session = Session::open(bench).unwrap_or_else(|error| panic!("{error}"));
        let (fixture, plan) = (&self.fixture, &self.plan);
        let mut job = Job { session: &mut session, operator: &mut operator, fixture, plan };
        let sweep =
            job.sweep(subject, proof, &mut |_| {}).unwrap_or_else(|error| panic!("{spec:?}: {error}"));
        (sweep, session.transport().truth())
    }

    /// Hunts in one modelled unit, by the table's rates.
    ///
    /// # Panics
    /// As [`sweep`](Self::sweep).
    pub fn hunt(&self, spec: &Spec) -> (Sweep, Truth) {
        let serial = format!("seed {}", spec.unit_seed);
        let subject = Subject::new(serial, None, PROVEN_US);
        let bench = VirtualBench::new(&self.fixture, spec).unwrap_or_else(|error| panic!("{error}"));
        let mut operator = bench.operator();
        let mut session = Session::open(bench).unwrap_or_else(|error| panic!("{error}"));
        let (fixture, plan) = (&self.fixture, &self.plan);
        let mut job = Job { session: &mut session, operator: &mut operator, fixture, plan };
        let hunt = job
            .hunt(subject, None, Rates::table(), &mut |_| {})
            .unwrap_or_else(|error| panic!("{spec:?}: {error}"));
        (hunt, session.transport().truth())
    }

    /// Proves the modelled bench.
    ///
    /// # Errors
    /// Those of [`Prover::prove`].
    ///
    /// # Panics
    /// If the specification is not possible here, or the bench does not answer.
    pub fn prove(&self, spec: &Spec, wanted: Wanted) -> Result<Proof, ProveError> {
        let bench = VirtualBench::new(&self.fixture, spec).unwrap_or_else(|error| panic!("{error}"));
        let mut operator = bench.operator();
        let mut session = Session::open(bench).unwrap_or_else(|error| panic!("{error}"));
        let mut prover = Prover {
            session: &mut session,
            operator: &mut operator,
            fixture: &self.fixture,
            plan: &self.plan,
        };
        prover.prove(wanted, Timestamp::from_microsecond(PROVEN_US).unwrap(), &mut |_| {})
    }

    /// The name of a segment.
    pub fn name(&self, id: SegmentId) -> &str {
        &self.fixture.board.segment(id).name
    }
}

/// Does `job` for every number below `count`, on as many threads as there are cores, and keeps the order.
///
/// # Panics
/// If a job does.
pub fn in_parallel<T: Send>(count: usize, job: impl Fn(usize) -> T + Sync) -> Vec<T> {
    parallel::map(&(0..count).collect::<Vec<_>>(), |&number| job(number))
}

/// A chain of known resistances in one state: parts read under load (`fuse`) or contacts read dry (`connector`).
///
/// # Panics
/// If the rules for board files change.
pub fn chain(kind: &str, ohms: &[f64]) -> Fixture {
    path(&ohms.iter().map(|value| (kind, *value)).collect::<Vec<_>>())
}

/// A path of pieces in one state, each of a kind and with its typical value, ohm. Limits are twice the value.
fn path(pieces: &[(&str, f64)]) -> Fixture {
    let points: String = (0..=pieces.len())
        .map(|i| {
            format!(
                "\"p{i}\" = {{ at = [{:.1}, 5.0], side = \"front\", kind = \"pad\" }}\n",
                2.0 + 2.0 * i as f64
            )
        })
        .collect();
    let segments: String = pieces
        .iter()
        .enumerate()
        .map(|(i, (kind, value))| {
            // Foil of 35 µm, a millimetre wide, has 0.4926 mΩ on each millimetre.
            let geometry = match *kind {
                "trace" => format!("length = \"{:.6} mm\"\nwidth = \"1 mm\"\n", value / 0.4926e-3),
                "shunt" => format!("value = \"{value:.9} ohm\"\n"),
                _ => format!("typical = \"{value:.9} ohm\"\n"),
            };
            format!(
                "[[segment]]\nname = \"s{i}\"\nkind = \"{kind}\"\nfrom = \"p{i}\"\nto = \"p{}\"\n\
                 {geometry}max = \"{:.9} ohm\"\n",
                i + 1,
                2.0 * value
            )
        })
        .collect();
    let text = format!(
        "format = 1\n[board]\nname = \"chain\"\nrevision = \"1\"\nthickness = \"1.6 mm\"\ncopper = \"35 um\"\n\
         outline = [[0, 0], [{wide}, 0], [{wide}, 10], [0, 10]]\n[supply]\nfrom = \"p0\"\nto = \"p{last}\"\n\
         return = \"ret\"\nvoltage = [\"2 V\", \"3 V\"]\nload = \"1 mA\"\nmax_drop = \"1 V\"\n[points]\n{points}\
         \"ret\" = {{ at = [2.0, 8.0], side = \"front\", kind = \"pad\" }}\n{segments}",
        last = pieces.len(),
        wide = 60.max(2 * pieces.len() + 4),
    );
    let board = board::parse("chain/board.toml", &text).unwrap_or_else(|problems| panic!("{problems}"));
    let pins: String = (0..=pieces.len())
        .map(|i| match i {
            0 => "\"p0\" = { force = 0, sense = 0 }\n".to_owned(),
            _ if i == pieces.len() => format!("\"p{i}\" = {{ force = 1, sense = {i} }}\n"),
            _ => format!("\"p{i}\" = {{ sense = {i} }}\n"),
        })
        .collect();
    let text = format!(
        "format = 1\n[fixture]\nname = \"chain bed\"\nboard = \"board.toml\"\n[controller]\nforce_channels = 16\n\
         sense_channels = 48\n[pins]\n{pins}\"ret\" = {{ force = 2, sense = {} }}\n",
        pieces.len() + 1
    );
    fixture::parse("chain/fixture.toml", &text, board).unwrap_or_else(|problems| panic!("{problems}"))
}

/// A path of traces, fuses, inductors, connectors and joints of all sizes, as no real board has it: every kind and range beside
/// every other. Limits are twice the value.
///
/// # Panics
/// If the rules for board files change.
pub fn mixed(cases: &mut Cases) -> Fixture {
    let values = |kind: &str, cases: &mut Cases| {
        let (low, high) = match kind {
            "trace" => (0.5e-3, 0.1),
            "fuse" | "inductor" => (5e-3, 2.0),
            "connector" => (5e-3, 0.3),
            _ => (0.4e-3, 5e-3),
        };
        cases.decades(low, high)
    };
    let kinds = ["trace", "fuse", "trace", "connector", "inductor", "joint"];
    let pieces: Vec<(&str, f64)> = kinds.iter().map(|kind| (*kind, values(kind, cases))).collect();
    path(&pieces)
}

/// The same fixture with two standards, 1 Ω with a certificate of 0.01 % and 10 mΩ, read in proofs only, and with a thermometer.
///
/// # Panics
/// If the fixture uses their channels for anything else, or has other standards than that of 1 Ω.
pub fn certified(fixture: &Fixture) -> Fixture {
    let (before, _) = fixture.source.split_once("[[standard]]").unwrap_or((&fixture.source, ""));
    let text = format!(
        "{before}\n[[standard]]\nname = \"1R\"\nforce = [14, 15]\nsense = [46, 47]\nvalue = \"1 ohm\"\n\
         tolerance = \"0.1 %\"\ncertificate = {{ value = \"1.00021 ohm\", uncertainty = \"0.01 %\", \
         from = \"2026-03-01\", due = \"2027-03-01\" }}\n\
         [[standard]]\nname = \"10m\"\nforce = [12, 13]\nsense = [44, 45]\nvalue = \"10 mohm\"\n\
         tolerance = \"0.5 %\"\nread = \"proof\"\n\
         [[thermometer]]\nname = \"plate\"\nkind = \"Pt1000\"\naccuracy = \"class A\"\nforce = [10, 11]\nsense = [42, 43]\n"
    );
    fixture::parse("certified/fixture.toml", &text, fixture.board.clone())
        .unwrap_or_else(|problems| panic!("{problems}"))
}
