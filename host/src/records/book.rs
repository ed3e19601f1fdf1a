//! The book of a lot: everything that [`crate::trade`] asks, as plain data.

use std::collections::BTreeMap;

use super::files::Setup;
use super::ledger::Units;
use super::lot::{Glance, Past};
use super::status::Status;
use super::{Error, Store};
use crate::board::Board;
use crate::fault::method::{At, Method};
use crate::hypothesis::{Defect, Rates};
use crate::measurement::Basis;
use crate::trade::Dealing;
use crate::trade::book::{Book, Came, Stand, Suspected, Tried, UnitBook, Usual};
use crate::verdict::{Class, Verdict};

/// The boards of a lot by the hash of their files. One that this program no longer reads is left out.
type Boards = BTreeMap<String, Setup>;

impl Store {
    /// The book of a lot: what was said of it, and the trade and the repairs of each of its units.
    ///
    /// # Errors
    /// As [`Store::lot`].
    pub async fn book(&self, lot: &str) -> Result<Book, Error> {
        self.see_members(lot).await?;
        let mut pasts = self.pasts(Units::of_lot(lot)).await?;
        pasts.retain(|_, past| past.lot().as_deref() == Some(lot));
        if pasts.is_empty() {
            return Err(self.unknown_lot(lot).await);
        }
        let mut connection = self.reading().await?;
        let cost = self.cost(&mut connection, lot).await?;
        let mut boards = Boards::new();
        let mut sweeps = BTreeMap::<String, usize>::new();
        for glance in pasts.values().flat_map(|past| &past.sweeps) {
            let hash = &glance.basis.board_hash;
            *sweeps.entry(hash.clone()).or_default() += 1;
            if !boards.contains_key(hash)
                && let Ok(setup) = self.setup(&mut connection, &glance.basis).await
            {
                boards.insert(hash.clone(), setup);
            }
        }
        let most =
            sweeps.into_iter().max_by_key(|(_, sweeps)| *sweeps).and_then(|(hash, _)| boards.get(&hash));
        Ok(Book {
            lot: lot.to_owned(),
            cost,
            usual: most.map(|setup| usual(setup.board())).unwrap_or_default(),
            units: pasts.into_iter().map(|(serial, past)| unit(&serial, past, &boards)).collect(),
        })
    }
}

fn at(boards: &Boards, basis: &Basis, place: &str) -> Option<At> {
    At::of(boards.get(&basis.board_hash)?.board(), place)
}

/// How units of a board come in, by the table of rates.
fn usual(board: &Board) -> Vec<Usual> {
    let rates = Rates::table();
    let weights = rates.weights(board);
    let all: f64 = weights.iter().map(|(_, weight)| weight).sum();
    let faulty = 1.0 - rates.healthy();
    let mut usual: Vec<Usual> = Vec::new();
    for (defect, weight) in weights {
        let class = match defect {
            Defect::Open(_) => Class::Open,
            Defect::High(_) => Class::High,
            Defect::Film(_) => Class::Film,
            Defect::Flaky(_) => Class::Flaky,
            Defect::Low(_) => Class::Low,
            Defect::StaysClosed(_) | Defect::Bridge(_) => Class::Shorted,
            // The first fails no unit, the second is none of the unit's.
            Defect::BarrelLost(_) | Defect::SilentPin(_) => continue,
        };
        let at = defect.segment().map_or(At::Gap, |id| At::from(&board.segment(id).kind));
        let share = faulty * weight / all;
        match usual.iter_mut().find(|known| (known.at, known.class) == (at, class)) {
            Some(known) => known.share += share,
            None => usual.push(Usual { at, class, share }),
        }
    }
    usual
}

fn unit(serial: &str, mut past: Past, boards: &Boards) -> UnitBook {
    past.sweeps.sort_by_key(|glance| glance.entry);
    let status = past.status();
    let judged: Vec<&Glance> = past.sweeps.iter().filter(|glance| glance.verdict != Verdict::Void).collect();
    let suspects = |glance: &Glance| -> Vec<Suspected> {
        let suspected = |fault: &super::lot::Shown| Suspected {
            place: fault.place.place.clone(),
            at: at(boards, &glance.basis, &fault.place.place),
            class: fault.place.class,
            probability: fault.probability,
            alternative: fault.alternative,
        };
        glance.faults.iter().map(suspected).collect()
    };
    let mut unit = UnitBook::new(serial);
    unit.came = judged.first().and_then(|first| match first.verdict {
        Verdict::Pass => Some(Came::Good),
        _ => suspects(first).first().map(|fault| Came::Faulty(fault.at, fault.class)),
    });
    if let Some(last) = judged.last().filter(|last| last.verdict != Verdict::Pass) {
        unit.faults = suspects(last);
    }
    for (number, repair) in past.repairs.iter().enumerate() {
        let Some(method) = Method::of_action(&repair.action) else { continue };
        let Some(before) = judged.iter().rfind(|glance| glance.entry < repair.entry) else { continue };
        let Some(fault) = suspects(before).into_iter().find(|fault| fault.place == repair.place) else {
            continue;
        };
        let after = judged.iter().find(|glance| glance.entry > repair.entry);
        // Of several repairs of one place between two sweeps, nobody can tell which of the earlier ones did something.
        let until = after.map_or(i64::MAX, |glance| glance.entry);
        let mut later = past.repairs.iter().skip(number + 1);
        if later.any(|later| later.entry < until && later.place == repair.place) {
            continue;
        }
        match after {
            Some(after) => {
                let places = || after.faults.iter().map(|fault| &fault.place.place);
                let still =
                    places().any(|place| *place == repair.place || Some(place) == repair.wire.as_ref());
                unit.tried.push(Tried {
                    place: fault.place,
                    at: fault.at,
                    class: fault.class,
                    method,
                    worked: after.verdict == Verdict::Pass || !still,
                });
            }
            None => unit.waits = Some((fault.at, fault.class, method)),
        }
    }
    unit.stand = match status {
        Status::Received => Stand::Unswept,
        Status::Swept => Stand::Faulty,
        Status::InRepair
            if past
                .repairs
                .last()
                .is_some_and(|repair| judged.last().is_none_or(|last| last.entry < repair.entry)) =>
        {
            Stand::Repaired
        }
        // Somebody said that it is being repaired: it stands as its latest sweep says.
        Status::InRepair => {
            if judged.is_empty() {
                Stand::Unswept
            } else {
                Stand::Faulty
            }
        }
        Status::Good => Stand::Good,
        Status::Scrapped => Stand::Scrapped,
        Status::Sold => Stand::Sold,
    };
    for (entry, at_us, dealing) in &past.dealings {
        match dealing {
            // Work that names no method is that of the repair written down before it.
            Dealing::Work { minutes, parts, method: None, instead } => {
                let repair = past.repairs.iter().rfind(|repair| repair.entry < *entry);
                let method = repair.and_then(|repair| Method::of_action(&repair.action));
                let work =
                    Dealing::Work { minutes: *minutes, parts: parts.clone(), method, instead: *instead };
                unit.take(*at_us, &work);
            }
            _ => unit.take(*at_us, dealing),
        }
    }
    unit
}
