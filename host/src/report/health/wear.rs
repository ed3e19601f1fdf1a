//! How much of their life the relays of a bench have used.

use std::collections::{BTreeMap, HashMap};

use copperwalk_wire::shot::Contacts;
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    evidence::Bus,
    records::{Stored, summary::Worked},
};

/// Closures that a small reed relay is good for where nothing is switched under current: 10⁸ (common practice; sheets
/// state 10⁸ to 10⁹ at signal level, from memory).
pub const RATED: u64 = 100_000_000;

/// Relays of one bench.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Wear {
    /// The bench: its port, or that it is a modelled one.
    pub bench: String,
    /// Sweeps in the records.
    pub sweeps: u64,
    /// Relays closed in them.
    pub closures: u64,
    /// The relay that closes most often, where one of the bench's sweeps was looked at.
    pub busiest: Option<Busiest>,
}

/// The relay that closes most often.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Busiest {
    /// `force+ channel 3`.
    pub relay: String,
    /// Its closures in all sweeps of the bench, by its share in those that were looked at.
    pub closures: u64,
    /// Of the closures it is good for, 0 to 1 and beyond.
    pub used: f64,
    /// Sweeps like those that were looked at until it has closed as often as it is good for.
    pub sweeps_left: u64,
}

/// Every bench, the one with most closures first.
pub(super) fn wear(worked: &[Worked], looked_at: &[Stored]) -> Vec<Wear> {
    let mut benches = BTreeMap::<&str, (u64, u64)>::new();
    for Worked { bench_name, sweeps, closures } in worked {
        let bench = benches.entry(bench_of(bench_name)).or_default();
        *bench = (bench.0 + sweeps, bench.1 + closures);
    }
    let all = benches.into_iter().map(|(bench, (sweeps, closures))| Wear {
        bench: bench.into(),
        sweeps,
        closures,
        busiest: busiest(
            looked_at.iter().filter(|stored| bench_of(&stored.measurement.bench_name) == bench),
            closures,
        ),
    });
    let mut all: Vec<Wear> = all.collect();
    all.sort_by_key(|wear| std::cmp::Reverse(wear.closures));
    all
}

/// Modelled benches say after a comma which unit was drawn.
fn bench_of(name: &str) -> &str {
    name.split(',').next().unwrap_or(name)
}

fn busiest<'s>(sweeps: impl Iterator<Item = &'s Stored>, closures: u64) -> Option<Busiest> {
    let mut of_relay = HashMap::<(u8, u16), u64>::new();
    let (mut number, mut sum) = (0_u64, 0_u64);
    for stored in sweeps {
        number += 1;
        sum += u64::from(stored.measurement.work().closures);
        for run in &stored.measurement.runs {
            let mut before = [None; 4];
            for shot in &run.shots {
                let now = channels(&shot.shot.contacts);
                for (bus, (now, before)) in (0_u8..).zip(now.into_iter().zip(before)) {
                    if let Some(channel) = now.filter(|channel| before != Some(*channel)) {
                        *of_relay.entry((bus, channel)).or_default() += 1;
                    }
                }
                before = now;
            }
        }
    }
    // Of equals the one with the lowest number, so that the same sweeps tell of the same relay.
    let ((bus, channel), most) = of_relay
        .into_iter()
        .max_by_key(|((bus, channel), count)| (*count, std::cmp::Reverse((*bus, *channel))))?;
    let all = (closures as f64 * most as f64 / sum.max(1) as f64).round() as u64;
    let each = most as f64 / number.max(1) as f64;
    Some(Busiest {
        relay: format!("{} channel {channel}", word(BUSES.get(usize::from(bus)).copied()?)),
        closures: all,
        used: all as f64 / RATED as f64,
        sweeps_left: (RATED.saturating_sub(all) as f64 / each) as u64,
    })
}

const BUSES: [Bus; 4] = [Bus::ForcePlus, Bus::ForceMinus, Bus::SensePlus, Bus::SenseMinus];

fn channels(contacts: &Contacts) -> [Option<u16>; 4] {
    [contacts.force_plus, contacts.force_minus, contacts.sense_plus, contacts.sense_minus]
}

fn word(bus: Bus) -> String {
    format!("{}{}", bus.line().word(), if bus.plus() { "+" } else { "-" })
}
