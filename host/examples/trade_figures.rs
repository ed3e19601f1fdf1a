//! Prints figures of trade that `tests/trade` holds against a general library: `cargo run --example trade_figures`.
//!
//! Each line is a name, its arguments and the value found here.

use copperwalk::fault::method::Method;
use copperwalk::statistics::beta::Beta;
use copperwalk::trade::market::Prices;
use copperwalk::trade::odds::RepairOption;
use copperwalk::trade::plan::{self, Stake, Suspect};
use copperwalk::trade::skill::Record;

fn main() {
    for (a, b) in [(1.0, 1.0), (8.0, 2.0), (9.5, 0.5), (3.0, 7.0), (11.0, 29.0)] {
        let beta = Beta { a, b };
        let [low, high] = beta.interval(0.9);
        println!("beta_mean {a} {b} = {:e}", beta.mean());
        println!("beta_deviation {a} {b} = {:e}", beta.deviation());
        println!("beta_low {a} {b} = {low:e}");
        println!("beta_high {a} {b} = {high:e}");
        for (worked, tries) in [(0, 1), (3, 5), (17, 20), (60, 200)] {
            println!("beta_binomial {worked} {tries} {a} {b} = {:e}", beta.predicts(worked, tries));
        }
    }
    let prices = Prices { mean: 40.0, sales: 1.0, freedom: 4.0, spread: 10.0 };
    let after = prices.after(&[45.0, 38.5, 52.0, 31.0]);
    println!("price_mean = {:e}", after.mean);
    println!("price_spread = {:e}", after.spread);
    println!("price_freedom = {:e}", after.freedom);

    // A plan of two repairs whose chances are beta distributions: its expectation by the means, and by drawing the chances.
    let option = |a, b, minutes, parts, spoils| {
        let table = Beta { a, b };
        RepairOption {
            method: Method::Clean,
            chance: table,
            record: Record { table, worked: 0, failed: 0 },
            minutes,
            parts,
            spoils,
        }
    };
    let options = vec![option(7.0, 3.0, 7.0, 0.0, 0.002), option(9.0, 1.0, 18.0, 1.5, 0.03)];
    let stake = Stake { price: 45.0, spares: 3.0, hour: 12.0 };
    let plan = plan::best(&[vec![Suspect { probability: 1.0, options }]], stake);
    println!("plan_steps = {}", plan.steps.len());
    println!("plan_net = {:e}", plan.outcome.net(stake.hour));
    println!("plan_cured = {:e}", plan.outcome.cured);
}
