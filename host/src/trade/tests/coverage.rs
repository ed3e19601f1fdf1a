//! Do nine of ten lots fall into the stated intervals? A lot from some world is worked through and sold; what is learnt of it forecasts
//! the next lot from the same world.

use super::super::book::{Book, Came, Cost, Sale, Stand, Tried, UnitBook, Work};
use super::super::market::{Arrivals, Kind, Prices};
use super::super::odds::Odds;
use super::super::plan::Stake;
use super::super::worth::{Lane, Model};
use super::usual;
use super::worlds::{From, STATED, World};
use crate::{quantity::Money, random::Rng};

/// What a unit's spares are worth: said, and so.
const SPARES: f64 = 4.0;

fn empty() -> Book {
    Book {
        lot: "simulated".into(),
        cost: Cost { price: Some(Money::about(STATED, "EUR")), ..Cost::default() },
        units: Vec::new(),
        usual: usual(),
    }
}

fn stake(prices: Prices, hour: f64) -> Stake {
    Stake { price: prices.mean, spares: SPARES, hour }
}

/// The plans that are best by a book for what a world may bring, one for each of its sources.
fn plans(world: &World, book: &Book, hour: f64) -> Vec<Lane> {
    let kinds: Vec<Kind> = world.sources.iter().map(|source| source.kind).collect();
    let arrivals = Arrivals { weights: vec![1.0; kinds.len()], kinds };
    let prices = Prices::of(book).unwrap();
    Model::of(arrivals, &Odds::of(book), prices, stake(prices, hour)).lanes
}

/// A lot from a world, worked through by the plans that are best by what is known before it: what it came to, and what is written down
/// of it.
fn lot(world: &World, units: u32, known: &Book, hour: f64, rng: &mut Rng) -> (f64, Book) {
    let plans = plans(world, known, hour);
    let strips = stake(Prices::of(known).unwrap(), hour).given_up().gain > 0.0;
    let mut book = empty();
    let (mut value, mut minutes) = (0.0, 0.0);
    for number in 0..units {
        let mut unit = UnitBook::new(&number.to_string());
        let source = world.next(rng);
        let kind = world.sources[source].kind;
        let (mut good, mut lost) = (kind == Kind::Good, false);
        unit.came = Some(match kind {
            Kind::Good => Came::Good,
            Kind::Faulty(at, class) => Came::Faulty(Some(at), class),
        });
        minutes += world.sweep;
        for option in &plans[source].options {
            let Kind::Faulty(at, class) = kind else { break };
            let method = option.method;
            let worked = world.minutes(method, rng);
            minutes += worked + world.sweep;
            let written = worked.round().max(1.0) as u32;
            unit.work.push(Work { minutes: written, parts: None, method: Some(method) });
            lost = rng.unit() < world.spoils;
            if lost {
                break;
            }
            good = world.cures(source, method, rng);
            unit.tried.push(Tried { place: "there".into(), at: Some(at), class, method, worked: good });
            if good {
                break;
            }
        }
        unit.stand = if good { Stand::Sold } else { Stand::Scrapped };
        if good {
            let price = world.price(rng);
            value += price;
            unit.sales.push(Sale { price: Money::about(price, "EUR"), fees: None, returned: false });
        } else if !lost && strips {
            value += SPARES;
            minutes += world.strip;
        }
        book.units.push(unit);
    }
    (value - hour * minutes / 60.0, book)
}

/// Share of lots that fall into the interval stated for them, and of those below and above it; and half of the intervals are narrower
/// than so much a unit.
fn covered(from: From, units: u32, lots: u32, draws: u32) -> ([f64; 3], f64) {
    let mut rng = Rng::new(u64::from(units) * 1000 + from as u64);
    let mut counts = [0_u32; 3];
    let mut widths = Vec::new();
    for lot_number in 0..lots {
        let hour = [0.0, 20.0][lot_number as usize % 2];
        let world = World::draw(from, &mut rng);
        let (_, book) = lot(&world, units, &empty(), hour, &mut rng);
        let prices = Prices::of(&book).unwrap();
        let model = Model::of(Arrivals::of(&book), &Odds::of(&book), prices, stake(prices, hour));
        let ([low, high], _) = model.forecast(units, draws);
        let (value, _) = lot(&world, units, &book, hour, &mut rng);
        let place = if value < low { 1 } else { usize::from(value > high) * 2 };
        counts[place] += 1;
        widths.push((high - low) / f64::from(units));
    }
    widths.sort_by(f64::total_cmp);
    (counts.map(|count| f64::from(count) / f64::from(lots)), widths[widths.len() / 2])
}

#[test]
fn nine_of_ten_lots_fall_into_their_intervals() {
    let env = |n: &str, d: &str| std::env::var(n).unwrap_or(d.into());
    let sizes: Vec<u32> = env("SIZES", "5,20,100").split(',').map(|s| s.parse().unwrap()).collect();
    let lots: u32 = env("LOTS", "500").parse().unwrap();
    let draws: u32 = env("DRAWS", "199").parse().unwrap();
    println!("{:10} {}", "", sizes.iter().map(|s| format!("{s:>28}")).collect::<String>());
    let only = env("ONLY", "");
    for from in From::ALL {
        if !only.is_empty() && !only.contains(&format!("{from:?}")) { continue }
        let mut line = format!("{:10}", format!("{from:?}"));
        for &units in &sizes {
            let ([inside, below, above], width) = covered(from, units, lots, draws);
            let m = if inside < 0.88 || inside > 0.95 { '*' } else { ' ' };
            line += &format!("  {:5.1}{m} ({:4.1} {:4.1}) w{:6.2}", 100.0*inside, 100.0*below, 100.0*above, width);
        }
        println!("{line}");
    }
}
