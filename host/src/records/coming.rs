//! Units on their way in: which of a list are new, and what looks like a slip.

use std::collections::{BTreeSet, HashMap};

use super::slip;
use super::status::Status;
use super::summary::UnitLine;

/// Units on their way in.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Coming {
    /// Serial numbers to be written down.
    pub new: Vec<String>,
    /// How many are received already, with this lot or with any where none is named.
    pub again: usize,
    /// What looks like a slip, a sentence each.
    pub doubts: Vec<String>,
}

impl Coming {
    /// Holds a list against what is known: all units, and the names of all lots.
    pub fn of(listed: BTreeSet<String>, lot: Option<&str>, known: &[UnitLine], lots: &[String]) -> Self {
        let by_name: HashMap<&str, _> = known.iter().map(|line| (line.unit.serial.as_str(), line)).collect();
        let by_letters: HashMap<String, &str> =
            known.iter().map(|line| (line.unit.serial.to_lowercase(), line.unit.serial.as_str())).collect();
        let mut coming = Self::default();
        if let Some(lot) = lot {
            coming.doubts.extend(slip::new_but_for_capitals("lot", lot, lots));
        }
        for serial in listed {
            match by_name.get(serial.as_str()) {
                Some(line) => {
                    coming.doubts.extend(slip::moves(&serial, line.lot.as_deref(), lot));
                    let is_same = lot.is_none() || lot == line.lot.as_deref();
                    if is_same && line.unit.status == Status::Received {
                        coming.again += 1;
                        continue;
                    }
                }
                None => {
                    let twin = by_letters.get(&serial.to_lowercase());
                    coming.doubts.extend(twin.map(|known| slip::is_another("unit", &serial, known)));
                }
            }
            coming.new.push(serial);
        }
        coming
    }
}
