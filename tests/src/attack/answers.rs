//! Everything that a store answers, as text.

use std::collections::BTreeMap;
use std::path::Path;

use copperwalk::records::{Of, PhotoId, Records};
use copperwalk::{link::CancelToken, rejudge, report::json};

/// An answer, or the words in which it was refused.
pub type Answer = Result<String, String>;

/// Photos in a store that is asked.
const PHOTOS: i64 = 2;

/// The answers by question: `unit`, `picture`, `lot`, `units`, `lots`, `judge` and `records check`.
pub fn of(store: &Path, units: &[&str], lots: &[&str]) -> BTreeMap<String, Answer> {
    let mut answers = BTreeMap::new();
    let mut note = |question: String, answer: Answer| drop(answers.insert(question, answer));
    let records = match Records::open_to_read(store) {
        Ok(records) => records,
        Err(error) => {
            note("open".into(), Err(error.to_string()));
            return answers;
        }
    };
    fn shown<T: serde::Serialize>(answer: Result<T, impl ToString>) -> Answer {
        let answer = answer.map_err(|error| error.to_string())?;
        json::object(&answer).map_err(|error| error.to_string())
    }
    for serial in units {
        note(format!("unit {serial}"), shown(records.unit(serial)));
    }
    // Numbers of photos count up from 1.
    for id in 1..=PHOTOS {
        let picture = records.picture(PhotoId(id)).map_err(|error| error.to_string());
        note(format!("picture {id}"), picture.map(|jpeg| format!("{jpeg:?}")));
    }
    for lot in lots {
        note(format!("lot {lot}"), shown(records.lot(lot)));
    }
    note("units".into(), shown(records.units()));
    note("lots".into(), shown(records.lots()));
    let judged = records.numbers(Of::All).map_err(|error| error.to_string()).and_then(|all| {
        let outcome = rejudge::again(&records, &all, None, None, &CancelToken::default())
            .map_err(|error| error.to_string())?;
        match outcome.skipped.first() {
            Some(skipped) => Err(skipped.why.clone()),
            None => shown(Ok::<_, String>(outcome)),
        }
    });
    note("judge".into(), judged);
    let check = records.check().map_err(|error| error.to_string()).and_then(|findings| {
        if findings.sound() { shown(Ok::<_, String>(findings)) } else { Err(findings.wrong.join("; ")) }
    });
    note("records check".into(), check);
    answers
}

/// Questions whose answer is another than before and is no refusal in words.
pub fn silent_changes(before: &BTreeMap<String, Answer>, after: &BTreeMap<String, Answer>) -> Vec<String> {
    after
        .iter()
        .filter(|(question, answer)| match answer {
            Ok(_) => before.get(*question) != Some(answer),
            Err(words) => words.trim().is_empty(),
        })
        .map(|(question, answer)| format!("{question}: {answer:?}"))
        .collect()
}
