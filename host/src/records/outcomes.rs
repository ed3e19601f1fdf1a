//! What came of repairs, and what healthy segments read: the experience that proposals are weighed by.

use std::collections::{BTreeMap, HashSet};

use sqlx::{Connection as _, Row as _};

use super::ledger::Units;
use super::logbook::{self, Entry};
use super::summary::Event;
use super::{Error, Store, head, judgement, list};
use crate::quantity::Ohms;
use crate::remedy::{Repaired, Taken};
use crate::sweep::UnitFault;
use crate::verdict::Verdict;

/// So many of the latest readings of a segment are looked at.
const READINGS: i64 = 300;

/// An entry of a unit's history, as far as it tells what came of repairs.
enum Step {
    Repair { place: String, action: String, taken: Option<Taken> },
    Swept(Vec<UnitFault>),
}

impl Step {
    fn faults(&self) -> Option<&[UnitFault]> {
        match self {
            Self::Swept(faults) => Some(faults),
            Self::Repair { .. } => None,
        }
    }
}

impl Store {
    /// Every repair of the units of a lot, or of all units, with the fault it was made for and what the next sweep showed.
    ///
    /// # Errors
    /// A damaged store; a row that is not as it was written.
    pub async fn repairs(&self, lot: Option<&str>) -> Result<Vec<Repaired>, Error> {
        let units = lot.map_or(Units::ALL, Units::of_lot);
        let mut connection = self.reading().await?;
        let read = async {
            let mut snapshot = connection.begin().await?;
            let heads = head::of_units(&mut snapshot, units).await?;
            let glances = judgement::at_a_glance(&mut snapshot, units).await?;
            Ok((heads, glances, logbook::of_units(&mut snapshot, units).await?))
        };
        let (heads, mut glances, entries) = read.await.map_err(|error| self.said(&error))?;
        let mut pasts = BTreeMap::<String, BTreeMap<i64, Step>>::new();
        let mut voids = HashSet::new();
        for Entry { serial, entry, event, .. } in self.as_written(entries)? {
            match event {
                Event::Repair(repair) => {
                    let step =
                        Step::Repair { place: repair.place, action: repair.action, taken: repair.taken };
                    pasts.entry(serial).or_default().insert(entry, step);
                }
                Event::Void(void) => drop(voids.insert(void.sweep.0)),
                _ => {}
            }
        }
        for head in heads.map_err(|altered| altered.error(&self.path))? {
            let Some(judged) = glances.remove(&head.id) else { continue };
            let judged = judged.map_err(|altered| altered.error(&self.path))?;
            // A unit without repairs tells nothing, and a void sweep neither.
            let Some(past) = pasts.get_mut(&head.serial) else { continue };
            if judged.verdict != Verdict::Void && !voids.contains(&head.id) {
                past.insert(head.entry, Step::Swept(judged.faults));
            }
        }
        Ok(pasts.into_values().flat_map(|past| repaired(&past)).collect())
    }

    /// The latest readings at 20 °C of a board's segments where they were proven good, by segment: of each unit the last one.
    ///
    /// # Errors
    /// A damaged store.
    pub async fn good_readings(&self, board_hash: &str) -> Result<BTreeMap<String, Vec<Ohms>>, Error> {
        // Of several judgements of a measurement the highest number counts, of several measurements of a unit the latest.
        let sql = "WITH last AS (
                       SELECT max(measurement_id) AS measurement_id FROM measurement
                       WHERE board_hash = $1 AND manner = 'sweep' GROUP BY serial
                       ORDER BY 1 DESC LIMIT $2),
                   latest AS (
                       SELECT measurement_id, max(number) AS number FROM judgement
                       WHERE measurement_id IN (SELECT measurement_id FROM last) GROUP BY measurement_id)
                   SELECT segment.name AS name, segment.ohms_20c AS ohms FROM latest
                   JOIN judgement USING (measurement_id, number)
                   JOIN segment USING (judgement_id)
                   WHERE segment.verdict = 'pass' AND segment.class = 'ok' AND segment.ohms_20c IS NOT NULL
                   ORDER BY judgement_id, line";
        let rows = list::query(sql.into()).bind(board_hash).bind(READINGS).fetch_all(&self.pool).await;
        let read = |rows: Vec<super::database::Row>| -> Result<_, sqlx::Error> {
            let mut readings = BTreeMap::<String, Vec<Ohms>>::new();
            for row in rows {
                readings.entry(row.try_get("name")?).or_default().push(Ohms(row.try_get("ohms")?));
            }
            Ok(readings)
        };
        rows.and_then(read).map_err(|error| self.said(&error))
    }
}

/// The repairs of one unit, by its history in order.
fn repaired(past: &BTreeMap<i64, Step>) -> Vec<Repaired> {
    let steps: Vec<&Step> = past.values().collect();
    let mut found = Vec::new();
    for (index, step) in steps.iter().enumerate() {
        let Step::Repair { place, action, taken } = step else { continue };
        let (before, after) = steps.split_at(index);
        let fault = before.iter().rev().find_map(|step| step.faults());
        let fault = fault.and_then(|faults| faults.iter().find(|fault| fault.place == *place));
        found.push(Repaired {
            place: place.clone(),
            class: taken.as_ref().map(|taken| taken.class).or(fault.map(|fault| fault.class)),
            action: action.clone(),
            taken: taken.clone(),
            after: after
                .iter()
                .find_map(|step| step.faults())
                .map(|faults| faults.iter().map(|fault| fault.place.clone()).collect()),
        });
    }
    found
}
