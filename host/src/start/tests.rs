//! A first power from the first caution to the output that is off, on a modelled supply.

use super::{Modelled, Started, Starter, machine::Machine, rule::End, sample, verdict::Subject};
use crate::{
    link::CancelToken,
    quantity::Volts,
    supply::{Halt, Hand, Reading, Request, Scpi, Supply},
    verdict::Verdict,
    virtual_bench::VirtualSupply,
};

/// What came of it, what the supply was told, and what the person was told.
fn run(seed: u64, faults: &[&str], cancel: &CancelToken) -> (Started, Vec<String>, String) {
    let board = sample::board();
    let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
    let (line, bystander) = VirtualSupply::new(&board, seed, &faults).unwrap();
    let talked = line.talked();
    let mut told = String::new();
    let mut tell = |text: &str| told.push_str(&format!("{text}\n"));
    let mut attendant = Modelled::new(bystander, &mut tell);
    let mut supply = Scpi::open(line, "modelled supply", None).unwrap();
    let subject = Subject {
        serial: "A-1".into(),
        board: board.name.clone(),
        revision: board.revision.clone(),
        golden: false,
    };
    let started = Starter {
        supply: &mut supply,
        attendant: &mut attendant,
        machine: Machine::new(sample::plan()),
        cancel: cancel.clone(),
    }
    .run(subject);
    let said = talked.borrow().iter().map(|(_, text)| text.clone()).collect();
    (started, said, told)
}

fn judged(faults: &[&str]) -> (Started, Vec<String>, String) {
    run(1, faults, &CancelToken::default())
}

fn place(said: &[String], command: &str) -> usize {
    said.iter().position(|text| text == command).unwrap_or_else(|| panic!("{command} was not said: {said:?}"))
}

#[test]
fn good_units_pass_and_every_bound_is_set_and_read_back_before_the_output_goes_on() {
    for seed in 1..40 {
        let (started, said, told) = run(seed, &[], &CancelToken::default());
        assert_eq!(started.sheet.verdict, Verdict::Pass, "seed {seed}: {:?}", started.sheet.reasons);
        assert!(started.was_on && started.is_off);
        let on = place(&said, "OUTP ON");
        for bound in [
            "CURR 0.1200",
            "CURR?",
            "VOLT:PROT 3.3600",
            "VOLT:PROT?",
            "VOLT:PROT:STAT ON",
            "VOLT:PROT:STAT?",
            "CURR:PROT 0.1500",
            "CURR:PROT?",
            "CURR:PROT:STAT ON",
            "CURR:PROT:STAT?",
        ] {
            assert!(place(&said, bound) < on, "{bound}");
        }
        assert_eq!(said.last().map(String::as_str), Some("OUTP?"));
        assert!(told.contains("stays out") || told.contains("leave them out"), "{told}");
    }
}

#[test]
fn the_same_seed_gives_the_same_sheet_to_the_byte() {
    let text = |seed| serde_json::to_string(&run(seed, &[], &CancelToken::default()).0.sheet).unwrap();
    assert_eq!(text(7), text(7));
    assert_ne!(text(7), text(8));
}

#[test]
fn each_fault_is_charged_to_whom_it_belongs() {
    for (fault, verdict, reason) in [
        ("short=2 ohm", Verdict::Fail, "the voltage sags"),
        ("load=open", Verdict::Fail, "no load seen at 2.60 V"),
        ("load=latch-up", Verdict::Fail, "it draws "),
        ("load=14 mA", Verdict::Fail, "at rest, outside 2.00 mA to 9.00 mA"),
        ("load=8.6 mA", Verdict::Unproven, "too near the edge"),
        ("input=2.1 V", Verdict::Fail, "rail \"input\" reads 2.10 V"),
        ("display lights=no", Verdict::Fail, "check \"display lights\" was answered with no"),
        ("nose=smoke", Verdict::Fail, "something smokes"),
        ("supply=silent", Verdict::Void, "contact with the supply"),
        ("supply=error", Verdict::Void, "reports the error -222"),
        ("supply=deaf", Verdict::Void, "does not obey: the voltage was set to 400.0 mV"),
        ("supply=+0.3 V", Verdict::Void, "the supply gives 700 mV where 400 mV is set"),
    ] {
        let (started, said, told) = judged(&[fault]);
        let why = started.sheet.reasons.join("; ");
        assert_eq!(started.sheet.verdict, verdict, "{fault}: {why}");
        assert!(why.contains(reason), "{fault}: {why}");
        // Whatever ended it, the output is told to go off, and asked whether it is.
        let off = said.iter().rposition(|text| text == "OUTP OFF").unwrap();
        assert!(off > place(&said, "OUTP ON"), "{fault}");
        assert_eq!(started.is_off, fault != "supply=silent", "{fault}");
        assert_eq!(started.sheet.alarm.is_some(), fault == "supply=silent", "{fault}");
        assert_eq!(told.contains("SWITCH THE SUPPLY OFF BY HAND, NOW"), fault == "supply=silent", "{fault}");
    }
}

#[test]
fn a_short_gets_no_more_than_the_limit_and_stops_at_the_first_step() {
    let (started, ..) = judged(&["short=2 ohm"]);
    assert_eq!(started.sheet.steps.len(), 1);
    assert!(started.sheet.inrush_amps.unwrap().0 < 0.121);
    assert!(matches!(started.end, Some(End::Sags { at, .. }) if at < Volts(0.41)));
}

#[test]
fn the_alarm_is_what_comes_first_when_contact_is_lost() {
    let board = sample::board();
    let (line, bystander) = VirtualSupply::new(&board, 1, &["supply=silent".into()]).unwrap();
    let talked = line.talked();
    let mut rung = None;
    let mut tell = |text: &str| {
        if text.starts_with("SWITCH THE SUPPLY OFF") {
            rung.get_or_insert(talked.borrow().last().cloned());
        }
    };
    let mut attendant = Modelled::new(bystander, &mut tell);
    let mut supply = Scpi::open(line, "modelled supply", None).unwrap();
    let subject =
        Subject { serial: "A-1".into(), board: board.name.clone(), revision: "B".into(), golden: false };
    let machine = Machine::new(sample::plan());
    Starter { supply: &mut supply, attendant: &mut attendant, machine, cancel: CancelToken::default() }
        .run(subject);
    // The last thing said before it is the question that was not answered, and not yet a try to switch off.
    let before = rung.flatten().unwrap();
    assert!(before.1.ends_with('?') && !before.1.starts_with("OUTP"), "{before:?}");
}

#[test]
fn ctrl_c_takes_the_output_off() {
    let cancel = CancelToken::default();
    cancel.cancel();
    let (started, said, _) = run(1, &[], &cancel);
    assert!(matches!(started.end, Some(End::Nobody { cancelled: true, .. })), "{:?}", started.end);
    assert!(started.was_on && started.is_off);
    assert!(place(&said, "OUTP ON") < said.iter().rposition(|text| text == "OUTP OFF").unwrap());
}

#[test]
fn dropping_a_supply_takes_its_output_off() {
    struct Idle;
    impl Hand for Idle {
        fn done(&mut self, _: &Request) -> Result<(), Halt> {
            Ok(())
        }

        fn shows(&mut self, _: &Request) -> Result<Reading, Halt> {
            Err(Halt::Said)
        }
    }
    let (line, _) = VirtualSupply::new(&sample::board(), 1, &[]).unwrap();
    let talked = line.talked();
    let mut supply = Scpi::open(line, "modelled supply", None).unwrap();
    supply.on(&mut Idle).unwrap();
    drop(supply);
    assert_eq!(talked.borrow().last().map(|(_, text)| text.clone()).as_deref(), Some("OUTP OFF"));
}

#[test]
fn what_is_no_fault_is_told_with_what_would_be_one() {
    let refused = |fault: &str| {
        let faults = [fault.to_owned()];
        VirtualSupply::new(&sample::board(), 1, &faults).err().map(|error| error.to_string()).unwrap()
    };
    assert!(refused("short").contains("write NAME=WHAT"));
    assert!(refused("short=2").contains("write"));
    assert!(refused("loaf=open").contains("did you mean `load`?"));
    assert!(refused("load=heavy").contains("load=latch-up"));
    assert!(refused("supply=loud").contains("supply=silent"));
    assert!(refused("display lights=maybe").contains("yes or no"));
}
